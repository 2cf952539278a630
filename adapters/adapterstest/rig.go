// Package adapterstest is the one suite that every adapter must pass. An
// adapter's own test writes the far side, a Peer that obeys the protocol and
// fails on demand, and hands it over in a Rig:
//
//	func TestSuite(t *testing.T) {
//		adapterstest.Run(t, adapterstest.Rig{New: newFixture})
//	}
package adapterstest

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"passbell/adapters"
)

// Rig tells the suite how to build an adapter and what its protocol lacks.
type Rig struct {
	// New builds a fresh adapter and a fresh far side for one test and cleans
	// both up at its end. The adapter must log to log and nowhere else.
	New func(t *testing.T, log *slog.Logger) Fixture
	// Lacks names what the protocol cannot do; those cases are skipped.
	Lacks Lacks
	// Number makes the i-th recipient; +4477009000xx where nil. An e-mail
	// adapter makes addresses.
	Number func(i int) string
}

// Fixture is one adapter with its far side.
type Fixture struct {
	Adapter adapters.Sender
	Peer    Peer
	// Listen starts the way in: it serves the adapter's hook where the peer
	// calls, or runs Receive, until ctx is done. It returns once the way in is
	// open. Nil where the protocol has none; where it is nil and the adapter is
	// a Receiver, the suite runs Receive itself.
	Listen func(ctx context.Context, sink adapters.Sink)
	// Secrets are the passwords and tokens that the adapter was given.
	Secrets []string
}

// Lacks says what a protocol cannot do.
type Lacks struct {
	Temporary   bool // refusing for now
	Throttle    bool // refusing as too fast
	Wait        bool // saying how long to wait
	IDs         bool // numbering what was accepted
	Inbound     bool // texts from outside
	Repeat      bool // delivering one inbound twice
	Receipts    bool // telling what became of a text
	EarlyAnswer bool // sending a receipt before its text's answer
	Silence     bool // taking a text over and keeping silent
	Drop        bool // taking a text over and breaking the connection
	Progress    bool // receipts other than the last word
}

// Behaviour is what the far side does with the next text.
type Behaviour string

// The behaviours that a Peer must know.
const (
	Accept    Behaviour = "accept"
	Temporary Behaviour = "refuse for now"
	Permanent Behaviour = "refuse for good"
	// Throttle refuses as too fast and, where the protocol can, asks for a
	// wait of ThrottleWait.
	Throttle Behaviour = "refuse as too fast"
	// Silent takes the text over, counts it as taken, and never answers.
	Silent Behaviour = "take and keep silent"
	// Drop takes the text over, counts it as taken, and breaks the connection.
	Drop Behaviour = "take and break the connection"
	// ReceiptFirst takes the text over and pushes a Delivered receipt for it
	// before the answer goes out. The answer must not wait for the receipt's
	// acknowledgement.
	ReceiptFirst Behaviour = "receipt before answer"
)

// ThrottleWait is the wait that a throttling peer asks for.
const ThrottleWait = 7 * time.Second

// Taken is one text as it arrived at the far side.
type Taken struct {
	To   string // as the suite wrote it, whatever the protocol's spelling
	Text string // put together from its parts
}

// Peer is the far side of an adapter. It is used from several goroutines.
type Peer interface {
	// Taken returns what the far side took over so far, whether or not its
	// answer reached the adapter. Refused texts are not among them.
	Taken() []Taken
	// Next scripts the coming texts in turn; unscripted ones are accepted.
	Next(b ...Behaviour)
	// Unreachable breaks off every connection and refuses new ones until it is
	// called with false.
	Unreachable(yes bool)
	// Offer hands an inbound to the network, which delivers it again and again,
	// as the protocol does, until the adapter acknowledges it. in.ID is the
	// network's id, or only a handle where the network has none. It does not
	// wait.
	Offer(in adapters.Inbound)
	// Acknowledged says whether that inbound was acknowledged (or deleted).
	Acknowledged(id string) bool
	// Repeat delivers an inbound that was acknowledged once more. Not called
	// where Lacks.Repeat.
	Repeat(id string)
	// Receipt tells, in the protocol's own words, what became of an accepted
	// text. r.ID is an id from Accepted. It does not wait.
	Receipt(r adapters.Receipt)
}

// Sink is a scripted adapters.Sink that remembers everything.
type Sink struct {
	// OnInbound and OnReceipt decide the answer; nil stores everything.
	OnInbound func(in adapters.Inbound) error
	OnReceipt func(r adapters.Receipt) error

	box box
}

// Inbound remembers the text and answers as scripted.
func (s *Sink) Inbound(_ context.Context, in adapters.Inbound) error {
	s.box.mu.Lock()
	s.box.inbound = append(s.box.inbound, in)
	s.box.mu.Unlock()
	if s.OnInbound != nil {
		return s.OnInbound(in)
	}
	return nil
}

// Receipt remembers the receipt and answers as scripted.
func (s *Sink) Receipt(_ context.Context, r adapters.Receipt) error {
	s.box.mu.Lock()
	s.box.receipts = append(s.box.receipts, r)
	s.box.mu.Unlock()
	if s.OnReceipt != nil {
		return s.OnReceipt(r)
	}
	return nil
}

// Inbounds returns every inbound offered so far, refused ones too.
func (s *Sink) Inbounds() []adapters.Inbound {
	s.box.mu.Lock()
	defer s.box.mu.Unlock()
	return append([]adapters.Inbound(nil), s.box.inbound...)
}

// Receipts returns every receipt offered so far, refused ones too.
func (s *Sink) Receipts() []adapters.Receipt {
	s.box.mu.Lock()
	defer s.box.mu.Unlock()
	return append([]adapters.Receipt(nil), s.box.receipts...)
}
