// Package practice is a telephone network in memory, for the demo, rehearsals
// and simulations. It cannot reach a real phone: a text that it takes over goes
// into an inbox that only this process can read. What it does with a text is
// decided by a script or by odds and a seed, so that the same seed gives the
// same evening whatever the order in which texts are sent.
package practice

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"time"

	"passbell/adapters"
)

// Clock is the time that the network lives in; a clockwork.Clock fits.
type Clock interface {
	Now() time.Time
	After(d time.Duration) <-chan time.Time
}

// Config describes a practice network. The zero value takes every text at once
// and says that it was delivered two seconds later.
type Config struct {
	// Name stands in errors and logs; "practice" where empty.
	Name string `toml:"name"`
	// Seed decides, with Odds, the fate of each text.
	Seed uint64 `toml:"seed"`
	Odds Odds   `toml:"odds"`
	// AnswerAfter is how long the network takes to answer a send.
	AnswerAfter adapters.Duration `toml:"answer_after"`
	// ReceiptAfter is how long after the text a receipt comes in, 2 s where
	// zero; ReceiptSpread is added to it in part, drawn by the seed.
	ReceiptAfter  adapters.Duration `toml:"receipt_after"`
	ReceiptSpread adapters.Duration `toml:"receipt_spread"`
	// ThrottleWait is the wait that a throttled send is told, 5 s where zero.
	ThrottleWait adapters.Duration `toml:"throttle_wait"`
	// Journal names a file to which each text taken over is appended as one
	// line of JSON (see Line), in one write: a count of what went out that
	// outlives the process. No file where empty.
	Journal string `toml:"journal"`
}

// Odds are the chances, 0 to 1, of what may befall one text or receipt.
type Odds struct {
	Unreachable   float64 `toml:"unreachable"`    // the network cannot be reached
	Refuse        float64 `toml:"refuse"`         // refused for now
	Throttle      float64 `toml:"throttle"`       // refused as too fast
	Reject        float64 `toml:"reject"`         // refused for good
	LoseAnswer    float64 `toml:"lose_answer"`    // taken over and no answer
	LoseText      float64 `toml:"lose_text"`      // no answer and not taken over
	Fail          float64 `toml:"fail"`           // taken over, then not delivered
	NoReceipt     float64 `toml:"no_receipt"`     // taken over, never a receipt
	RepeatReceipt float64 `toml:"repeat_receipt"` // the receipt comes twice
	LateProgress  float64 `toml:"late_progress"`  // "on the way" after the last word
	RepeatInbound float64 `toml:"repeat_inbound"` // an inbound comes twice
}

// Fate is what the network does with one text. The zero value takes it over,
// says so at once and sends no receipt.
type Fate struct {
	// Outcome is how the send fails; "" for a text that is taken over.
	Outcome adapters.Outcome
	Wait    time.Duration // with Throttled or Temporary
	Reason  string
	Account bool
	// Taken says of an Unknown outcome that the text went out all the same.
	Taken bool
	// Delay passes before the answer; a text that is taken over is on the phone
	// before it.
	Delay time.Duration
	// Receipts come in, each after its own time counted from the text's arrival,
	// in the order of those times: that is how to script a repeat, a wrong order
	// or, with a Delay, a receipt that is here before the answer.
	Receipts []Later
}

// Later is a receipt that is still to come.
type Later struct {
	After  time.Duration // since the text reached the phone
	Status adapters.Status
	Reason string
}

// Deps is what a network is handed.
type Deps struct {
	Clock Clock
	// Log may be nil.
	Log *slog.Logger
	// Fate scripts the fate of a text; where it says false, or is nil, the odds
	// and the seed decide. It may be called from several goroutines.
	Fate func(m adapters.Message) (Fate, bool)
	// OnText is told of each text that reached a phone, before the sender has
	// its answer. It must not wait for the network. May be nil.
	OnText func(t Text)
}

// Text is one text on a phone.
type Text struct {
	ID   string // the network's id, the one in Accepted
	Key  string
	To   string
	From string
	Text string
	At   time.Time
}

// Line is one line of the journal.
type Line struct {
	Key  string    `json:"key"`
	To   string    `json:"to"`
	Text string    `json:"text"`
	At   time.Time `json:"at"`
	ID   string    `json:"id"`
}

// Network is the adapter and the far side in one. It is safe for concurrent
// use. Close it when done.
type Network struct {
	cfg  Config
	deps Deps

	mu      sync.Mutex
	script  []Fate
	sent    map[string]int
	phones  map[string][]Text
	waiting queue
	seq     uint64
	said    uint64
	journal io.WriteCloser

	wake chan struct{}
}

var (
	_ adapters.Sender   = (*Network)(nil)
	_ adapters.Receiver = (*Network)(nil)
	_ adapters.Hooker   = (*Network)(nil)
	_ adapters.Prober   = (*Network)(nil)
)

// New opens a network. It fails where the odds are no chances, the clock is
// missing or the journal cannot be opened.
func New(cfg Config, deps Deps) (*Network, error) {
	if cfg.Name == "" {
		cfg.Name = "practice"
	}
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	if deps.Clock == nil {
		return nil, errors.New("practice: a clock is needed")
	}
	if deps.Log == nil {
		deps.Log = slog.New(slog.DiscardHandler)
	}
	n := &Network{
		cfg: cfg, deps: deps,
		sent:   map[string]int{},
		phones: map[string][]Text{},
		wake:   make(chan struct{}, 1),
	}
	if cfg.Journal != "" {
		f, err := os.OpenFile(cfg.Journal, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
		if err != nil {
			return nil, fmt.Errorf("practice: the journal cannot be opened: %w", err)
		}
		n.journal = f
	}
	return n, nil
}

// Validate says what in the description cannot be, naming the key.
func (c Config) Validate() error {
	o := c.Odds
	chances := []struct {
		key string
		v   float64
	}{
		{"unreachable", o.Unreachable},
		{"refuse", o.Refuse},
		{"throttle", o.Throttle},
		{"reject", o.Reject},
		{"lose_answer", o.LoseAnswer},
		{"lose_text", o.LoseText},
		{"fail", o.Fail},
		{"no_receipt", o.NoReceipt},
		{"repeat_receipt", o.RepeatReceipt},
		{"late_progress", o.LateProgress},
		{"repeat_inbound", o.RepeatInbound},
	}
	for _, ch := range chances {
		if !(ch.v >= 0 && ch.v <= 1) {
			return fmt.Errorf("practice: odds.%s is %v; a chance lies between 0 and 1", ch.key, ch.v)
		}
	}
	if sum := o.Unreachable + o.Refuse + o.Throttle + o.Reject + o.LoseAnswer + o.LoseText; sum > 1 {
		return fmt.Errorf("practice: the odds of a send going wrong add up to %v; together they must stay below 1", sum)
	}
	return nil
}

// Close closes the journal. The network must not be used afterwards.
func (n *Network) Close() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.journal == nil {
		return nil
	}
	err := n.journal.Close()
	n.journal = nil
	return err
}

// Next scripts the fates of the coming sends, in the order in which they come,
// before Deps.Fate and the odds are asked.
func (n *Network) Next(fates ...Fate) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.script = append(n.script, fates...)
}

// Texts returns what reached one phone, oldest first.
func (n *Network) Texts(number string) []Text {
	n.mu.Lock()
	defer n.mu.Unlock()
	return append([]Text(nil), n.phones[number]...)
}

// Phones returns the numbers that have a text, in no order.
func (n *Network) Phones() []string {
	n.mu.Lock()
	defer n.mu.Unlock()
	out := make([]string, 0, len(n.phones))
	for number := range n.phones {
		out = append(out, number)
	}
	return out
}

// Send decides the text's fate and carries it out.
func (n *Network) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	if ctx.Err() != nil {
		return adapters.Accepted{}, n.fail(Fate{Outcome: adapters.Temporary, Reason: "stopped before the text was handed over"}, ctx.Err())
	}
	fate, id := n.fate(m)
	taken := fate.Outcome == "" || fate.Outcome == adapters.Unknown && fate.Taken
	if taken {
		if err := n.take(m, id, fate); err != nil {
			return adapters.Accepted{}, err
		}
	}
	if fate.Delay > 0 {
		select {
		case <-n.deps.Clock.After(fate.Delay):
		case <-ctx.Done():
			// The network has the text from the moment of the call, as a real
			// one has: whoever stops waiting does not know.
			if taken || fate.Outcome == adapters.Unknown {
				return adapters.Accepted{}, n.fail(Fate{Outcome: adapters.Unknown, Reason: "no answer came in time"}, ctx.Err())
			}
			return adapters.Accepted{}, n.fail(Fate{Outcome: adapters.Temporary, Reason: "stopped before the text was taken over"}, ctx.Err())
		}
	}
	if fate.Outcome != "" {
		return adapters.Accepted{}, n.fail(fate, nil)
	}
	return adapters.Accepted{IDs: []string{id}}, nil
}

func (n *Network) fail(f Fate, cause error) error {
	reason := f.Reason
	if reason == "" {
		reason = defaultReason[f.Outcome]
	}
	return &adapters.SendError{
		Adapter: n.cfg.Name, Outcome: f.Outcome, Wait: f.Wait, Reason: reason, Account: f.Account, Err: cause,
	}
}

var defaultReason = map[adapters.Outcome]string{
	adapters.Temporary: "the practice network refused it for now",
	adapters.Throttled: "the practice network asks for a slower pace",
	adapters.Permanent: "the practice network will not take this number",
	adapters.Unknown:   "the practice network's answer was lost",
}

// Probe says that nothing real is behind this adapter.
func (n *Network) Probe(context.Context) ([]adapters.Finding, error) {
	return []adapters.Finding{{
		What: "practice network", OK: true,
		Note: "for trying things out: no text can reach a real phone",
	}}, nil
}
