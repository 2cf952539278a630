package practice_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/practice"
)

// instantClock stands still and lets every wait end at once, so that nothing
// here takes real time.
type instantClock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *instantClock {
	return &instantClock{now: time.Date(2026, 3, 13, 15, 0, 0, 0, time.UTC)}
}

func (c *instantClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// After moves the clock on; a wait of a day or more never ends.
func (c *instantClock) After(d time.Duration) <-chan time.Time {
	if d >= 24*time.Hour {
		return nil
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
	ch := make(chan time.Time, 1)
	ch <- c.now
	return ch
}

// peer drives a network's script in the words of the suite.
type peer struct {
	net *practice.Network

	mu      sync.Mutex
	away    bool
	next    []adapterstest.Behaviour
	taken   []adapterstest.Taken
	offered map[string]adapters.Inbound
	acked   map[string]bool
}

func (p *peer) fate(adapters.Message) (practice.Fate, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.away {
		return practice.Fate{Outcome: adapters.Temporary, Account: true, Reason: "the network cannot be reached"}, true
	}
	b := adapterstest.Accept
	if len(p.next) > 0 {
		b, p.next = p.next[0], p.next[1:]
	}
	switch b {
	case adapterstest.Temporary:
		return practice.Fate{Outcome: adapters.Temporary}, true
	case adapterstest.Permanent:
		return practice.Fate{Outcome: adapters.Permanent}, true
	case adapterstest.Throttle:
		return practice.Fate{Outcome: adapters.Throttled, Wait: adapterstest.ThrottleWait}, true
	case adapterstest.Silent:
		return practice.Fate{Outcome: adapters.Unknown, Taken: true, Delay: 48 * time.Hour}, true
	case adapterstest.Drop:
		return practice.Fate{Outcome: adapters.Unknown, Taken: true}, true
	case adapterstest.ReceiptFirst:
		return practice.Fate{Delay: time.Second, Receipts: []practice.Later{{Status: adapters.Delivered}}}, true
	case adapterstest.Accept:
	}
	return practice.Fate{}, true
}

func (p *peer) Next(b ...adapterstest.Behaviour) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next = append(p.next, b...)
}

func (p *peer) Unreachable(yes bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.away = yes
}

func (p *peer) Taken() []adapterstest.Taken {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]adapterstest.Taken(nil), p.taken...)
}

func (p *peer) Offer(in adapters.Inbound) {
	p.mu.Lock()
	p.offered[in.ID] = in
	p.mu.Unlock()
	p.net.Offer(in)
}

func (p *peer) Repeat(id string) {
	p.mu.Lock()
	in := p.offered[id]
	p.mu.Unlock()
	p.net.Offer(in)
}

func (p *peer) Acknowledged(id string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.acked[id]
}

func (p *peer) Receipt(r adapters.Receipt) { p.net.OfferReceipt(r) }

// noting tells the peer what the sink stored: to the network, a nil error is
// the acknowledgement.
type noting struct {
	adapters.Sink
	p *peer
}

func (n noting) Inbound(ctx context.Context, in adapters.Inbound) error {
	err := n.Sink.Inbound(ctx, in)
	if err == nil {
		n.p.mu.Lock()
		n.p.acked[in.ID] = true
		n.p.mu.Unlock()
	}
	return err
}

func TestSuite(t *testing.T) {
	t.Parallel()
	adapterstest.Run(t, adapterstest.Rig{New: func(t *testing.T, log *slog.Logger) adapterstest.Fixture {
		p := &peer{offered: map[string]adapters.Inbound{}, acked: map[string]bool{}}
		net, err := practice.New(practice.Config{}, practice.Deps{
			Clock: newClock(), Log: log, Fate: p.fate,
			OnText: func(x practice.Text) {
				p.mu.Lock()
				defer p.mu.Unlock()
				p.taken = append(p.taken, adapterstest.Taken{To: x.To, Text: x.Text})
			},
		})
		require.NoError(t, err)
		p.net = net
		return adapterstest.Fixture{Adapter: net, Peer: p, Listen: func(ctx context.Context, sink adapters.Sink) {
			done := make(chan struct{})
			go func() {
				defer close(done)
				_ = net.Receive(ctx, noting{sink, p}) // ends with ctx
			}()
			t.Cleanup(func() { <-done })
		}}
	}})
}
