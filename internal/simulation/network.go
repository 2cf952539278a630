package simulation

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// The kinds of mishap on the network.
const (
	refusals  = "refusals"
	lostWords = "lost answers"
	failures  = "failures"
	repeats   = "repeats"
	disorder  = "disorder"
)

func networkMishaps() []string { return []string{refusals, lostWords, failures, repeats, disorder} }

// network is the far side. It remembers what really went out, whatever becomes
// of passbell.
type network struct {
	s       *sim
	calls   map[string]*call  // by the adapter's name and the key
	by      map[int64][]*call // by message
	letters []*letter         // what is under way to passbell
	seq     int
	said    map[string]*said // texts of customers, by the network's id
	byID    map[string]*call // by the network's id of a part
}

// call is one call of a provider.
type call struct {
	in       *instance
	adapter  string
	text     adapters.Message
	message  int64
	attempt  int
	covers   []night.Cover // what it was about
	at       time.Time
	read     time.Time // at, as its instance reads the clock
	event    int64     // the last event when it was made
	fate     fate
	answered bool            // passbell heard the answer
	lost     bool            // the network reported the text as lost
	unheard  map[string]bool // parts that passbell has no report of having arrived
	known    int             // the step since which passbell knows that all have; 0 for never
}

// fate is what becomes of a text.
type fate struct {
	taken bool // it reaches the phone
	ids   []string
	err   error
}

// nothingWent tells whether the answer says that nothing went out.
func (f fate) nothingWent() bool {
	var se *adapters.SendError
	return errors.As(f.err, &se) && se.Outcome != adapters.Unknown
}

// said is a text of a customer.
type said struct {
	line
	party  *party
	stored bool // it was acknowledged
}

// letter is a text or a receipt on its way to passbell.
type letter struct {
	due     time.Time
	seq     int
	adapter string
	text    *adapters.Inbound
	receipt *adapters.Receipt
	flying  bool // being delivered now
}

func newNetwork(s *sim) *network {
	return &network{s: s, calls: map[string]*call{}, by: map[int64][]*call{}, said: map[string]*said{}, byID: map[string]*call{}}
}

// take decides the fate of a text at the moment at which the provider is called.
func (n *network) take(ctx context.Context, c *call) {
	c.at, c.read = n.s.clock(), c.in.clock()
	n.s.out.Calls++
	if _, err := fmt.Sscanf(c.text.Key, "m%d-%d", &c.message, &c.attempt); err != nil {
		n.s.watch.violate("a provider was called with the key %q", c.text.Key)
		return
	}
	c.fate = n.draw(c)
	n.s.watch.called(ctx, c)
	n.calls[c.adapter+" "+c.text.Key] = c
	n.by[c.message] = append(n.by[c.message], c)
	if c.fate.taken {
		n.s.out.Texts++
	}
	n.count(c.fate)
	n.s.say("call %s by %s: %v %v", c.text.Key, c.adapter, c.fate.taken, c.fate.err)
}

// count counts what went wrong with a text.
func (n *network) count(f fate) {
	outcome := adapters.OutcomeOf(f.err)
	var se *adapters.SendError
	n.s.happened("the account is out of order", errors.As(f.err, &se) && se.Account)
	n.s.happened("refused", f.nothingWent())
	n.s.happened("throttled", f.nothingWent() && outcome == adapters.Throttled)
	n.s.happened("no answer, and it went out", f.err != nil && !f.nothingWent() && f.taken)
	n.s.happened("no answer, and it did not", f.err != nil && !f.nothingWent() && !f.taken)
}

// draw decides by the key alone.
func (n *network) draw(c *call) fate {
	r := stream(n.s.o.Seed, "fate "+c.adapter+" "+c.text.Key)
	refuse := func(o adapters.Outcome, wait time.Duration, account bool) fate {
		return fate{err: &adapters.SendError{Adapter: c.adapter, Outcome: o, Wait: wait, Account: account, Reason: "refused (simulated)"}}
	}
	u := r.Float64()
	on := n.s.sc.network
	if p := n.s.watch.partyBy(c.text.To); p != nil && p.dead {
		return refuse(adapters.Permanent, 0, false)
	}
	switch {
	case on[refusals] && u < 0.10:
		return refuse(adapters.Temporary, 0, false)
	case on[refusals] && u < 0.13:
		return refuse(adapters.Throttled, time.Duration(5+r.IntN(60))*time.Second, false)
	case on[refusals] && u < 0.15:
		return refuse(adapters.Permanent, 0, false)
	case on[refusals] && u < 0.16:
		return refuse(pick(r, adapters.Permanent, adapters.Temporary), 0, true)
	case on[lostWords] && u > 0.97:
		return fate{taken: chance(r, 0.5), err: errors.New("connection reset (simulated)")}
	case on[lostWords] && u > 0.90:
		f := refuse(adapters.Unknown, 0, false)
		f.taken = chance(r, 0.7)
		return f
	}
	f := fate{taken: true, ids: []string{c.text.Key + "/" + c.adapter}}
	if chance(r, 0.3) {
		f.ids = append(f.ids, f.ids[0]+".2")
	}
	if chance(r, 0.05) {
		f.ids = nil
	}
	c.unheard = map[string]bool{}
	for _, id := range f.ids {
		c.unheard[id] = true
		n.byID[id] = c
	}
	n.report(r, c, f.ids)
	return f
}

// report plans what the network says of the parts of a text.
func (n *network) report(r *rand.Rand, c *call, ids []string) {
	on := n.s.sc.network
	later := func(most time.Duration) time.Duration { return time.Duration(r.Int64N(int64(most))) }
	put := func(id string, status adapters.Status, after time.Duration) {
		at := c.at.Add(after)
		copies := 1 + b2i(on[repeats] && chance(r, 0.15))
		n.s.happened("a receipt is repeated", copies > 1)
		for range copies {
			n.post(&letter{due: at, adapter: c.adapter, receipt: &adapters.Receipt{ID: id, Status: status, Reason: "", At: at}})
			at = at.Add(later(10 * time.Minute))
		}
	}
	for _, id := range ids {
		if chance(r, 0.1) {
			continue // nothing is heard of it
		}
		spread := 40 * time.Second
		if on[disorder] && chance(r, 0.3) {
			spread = 90 * time.Minute
			n.s.happened("receipts out of order", true)
		}
		if chance(r, 0.3) {
			put(id, adapters.OnTheWay, later(spread))
		}
		lost := on[failures] && chance(r, 0.06)
		if lost {
			c.lost = true
			n.s.happened("lost by the network", true)
			put(id, adapters.Failed, later(spread))
			if !chance(r, 0.3) {
				continue
			}
		}
		put(id, adapters.Delivered, later(spread))
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// hear takes in a text of a customer.
func (n *network) hear(p *party, l line) {
	r := stream(n.s.o.Seed, fmt.Sprintf("text %s %s %d", l.from, l.text, len(n.said)))
	id := fmt.Sprintf("in-%d", 1+len(n.said))
	n.said[id] = &said{line: l, party: p}
	now := n.s.clock()
	in := &adapters.Inbound{ID: id, From: l.from, To: n.s.k.Number, Text: l.text, At: now}
	at := now.Add(time.Duration(r.IntN(3000)) * time.Millisecond)
	if n.s.sc.network[disorder] && chance(r, 0.1) {
		at = now.Add(time.Duration(r.IntN(20*60)) * time.Second)
	}
	copies := 1 + b2i(n.s.sc.network[repeats] && chance(r, 0.3))
	n.s.happened("a text is repeated", copies > 1)
	for range copies {
		n.post(&letter{due: at, adapter: n.s.sc.routes[0].Adapter, text: in})
		at = at.Add(time.Duration(r.IntN(3)*r.IntN(600)) * time.Second)
	}
}

func (n *network) post(l *letter) {
	n.seq++
	l.seq = n.seq
	n.letters = append(n.letters, l)
	slices.SortFunc(n.letters, func(a, b *letter) int { return cmp.Or(a.due.Compare(b.due), cmp.Compare(a.seq, b.seq)) })
}

func (n *network) next() (at time.Time, ok bool) {
	for _, l := range n.letters {
		if !l.flying {
			return l.due, true
		}
	}
	return at, false
}

// due gives what can be delivered now.
func (n *network) due(now time.Time) []*letter {
	const atOnce = 4
	var out []*letter
	for _, l := range n.letters {
		if !l.flying && !l.due.After(now) && len(out) < atOnce {
			out = append(out, l)
		}
	}
	return out
}

func (l *letter) name() string {
	if l.text != nil {
		return "take in " + l.text.ID
	}
	return "receipt " + l.receipt.ID + " " + string(l.receipt.Status)
}

// deliver hands a letter to an instance, as an adapter does.
func (l *letter) deliver(ctx context.Context, in *instance) error {
	if l.text != nil {
		return in.inbox.Take(ctx, l.adapter, *l.text)
	}
	for _, w := range in.wires {
		if w.name == l.adapter {
			return w.dispatcher.Receipt(ctx, *l.receipt)
		}
	}
	return nil
}

// heard notes what passbell knows of a text from a receipt that it acknowledged.
// Where the record does not say which try a part belongs to, it knows nothing.
func (n *network) heard(l *letter) {
	c, ctx := n.byID[l.receipt.ID], context.Background()
	if l.receipt.Status != adapters.Delivered {
		return
	}
	err := n.s.eye.Read(ctx, func(tx *store.Tx) error {
		part, err := tx.PartByProviderID(ctx, l.adapter, l.receipt.ID)
		if err == nil && part.Attempt == c.attempt {
			delete(c.unheard, l.receipt.ID)
		}
		return err
	})
	if err == nil && len(c.unheard) == 0 && c.known == 0 {
		c.known = n.s.out.Steps
	}
}

// delivered forgets a letter that was acknowledged and brings the others again.
func (n *network) delivered(l *letter, err error) {
	l.flying = false
	if err == nil {
		n.letters = slices.DeleteFunc(n.letters, func(x *letter) bool { return x == l })
		if l.text != nil && !n.said[l.text.ID].stored {
			n.said[l.text.ID].stored = true
			n.s.out.Inbound++
		}
		if l.receipt != nil {
			n.heard(l)
		}
		return
	}
	n.s.tolerate(l.name())(err)
	n.letters = slices.DeleteFunc(n.letters, func(x *letter) bool { return x == l })
	l.due = n.s.clock().Add(time.Duration(10+n.s.rnd.IntN(170)) * time.Second)
	n.post(l)
}
