package practice

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"time"

	"passbell/adapters"
)

// fate decides what becomes of a message and which id it would get. Both hang
// on the seed, the message's key and number, and how often that pair was sent,
// never on what else is being sent at the same time.
func (n *Network) fate(m adapters.Message) (Fate, string) {
	n.mu.Lock()
	pair := m.Key + "\x00" + m.To
	n.sent[pair]++
	digest := sha256.Sum256(fmt.Appendf(nil, "%d\x00%s\x00%d", n.cfg.Seed, pair, n.sent[pair]))
	var scripted *Fate
	if len(n.script) > 0 {
		scripted = &n.script[0]
		n.script = n.script[1:]
	}
	n.mu.Unlock()

	id := n.cfg.Name + "-" + hex.EncodeToString(digest[:8])
	if scripted != nil {
		return *scripted, id
	}
	if n.deps.Fate != nil {
		if f, ok := n.deps.Fate(m); ok {
			return f, id
		}
	}
	rnd := rand.New(rand.NewPCG(binary.BigEndian.Uint64(digest[8:]), binary.BigEndian.Uint64(digest[16:])))
	return n.cfg.draw(rnd), id
}

// draw casts the dice for one text. The draws are made in a fixed order and
// all of them always, so that changing one chance leaves the others' luck alone.
func (c Config) draw(rnd *rand.Rand) Fate {
	send, fail, receipt := rnd.Float64(), rnd.Float64(), rnd.Float64()
	repeat, late, spread := rnd.Float64(), rnd.Float64(), rnd.Float64()

	f := Fate{Delay: time.Duration(c.AnswerAfter)}
	o := c.Odds
	hit := func(chance float64) bool {
		send -= chance
		return send < 0 && send >= -chance
	}
	switch {
	case hit(o.Unreachable):
		f.Outcome, f.Account = adapters.Temporary, true
		f.Reason = "the practice network cannot be reached"
		return f
	case hit(o.Refuse):
		f.Outcome = adapters.Temporary
		return f
	case hit(o.Throttle):
		f.Outcome, f.Wait = adapters.Throttled, c.ThrottleWait.Or(5*time.Second)
		return f
	case hit(o.Reject):
		f.Outcome = adapters.Permanent
		return f
	case hit(o.LoseText):
		f.Outcome = adapters.Unknown
		return f
	case hit(o.LoseAnswer):
		f.Outcome, f.Taken = adapters.Unknown, true
	}
	if receipt < o.NoReceipt {
		return f
	}
	last := Later{After: c.ReceiptAfter.Or(2 * time.Second), Status: adapters.Delivered}
	last.After += time.Duration(spread * float64(c.ReceiptSpread))
	if fail < o.Fail {
		last.Status, last.Reason = adapters.Failed, "the phone did not answer"
	}
	f.Receipts = append(f.Receipts, last)
	if repeat < o.RepeatReceipt {
		f.Receipts = append(f.Receipts, last)
	}
	if late < o.LateProgress {
		f.Receipts = append(f.Receipts, Later{After: last.After + time.Second, Status: adapters.OnTheWay})
	}
	return f
}

// take puts the text into the phone's inbox and plans its receipts. The journal
// comes first: a text that could not be written down does not go out.
func (n *Network) take(m adapters.Message, id string, fate Fate) error {
	now := n.deps.Clock.Now().UTC()
	t := Text{ID: id, Key: m.Key, To: m.To, From: m.From, Text: m.Text, At: now}

	n.mu.Lock()
	if err := n.write(t); err != nil {
		n.mu.Unlock()
		return n.fail(Fate{
			Outcome: adapters.Temporary, Account: true,
			Reason: "the practice journal cannot be written",
		}, err)
	}
	n.phones[m.To] = append(n.phones[m.To], t)
	for _, r := range fate.Receipts {
		n.plan(now.Add(r.After), event{receipt: &adapters.Receipt{
			ID: id, Status: r.Status, Reason: r.Reason, At: now.Add(r.After),
		}})
	}
	n.mu.Unlock()

	n.nudge()
	if n.deps.OnText != nil {
		n.deps.OnText(t)
	}
	return nil
}

// write appends to the journal in one write; the caller holds the lock.
func (n *Network) write(t Text) error {
	if n.journal == nil {
		return nil
	}
	line, err := json.Marshal(Line{Key: t.Key, To: t.To, Text: t.Text, At: t.At, ID: t.ID})
	if err != nil {
		return err
	}
	_, err = n.journal.Write(append(line, '\n'))
	return err
}
