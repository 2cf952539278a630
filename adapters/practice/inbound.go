package practice

import (
	"container/heap"
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"passbell/adapters"
)

// redeliverAfter is how long the network waits before it offers again what the
// sink did not take.
const redeliverAfter = time.Second

// event is something that the network is about to hand to the sink.
type event struct {
	due     time.Time
	seq     uint64
	inbound *adapters.Inbound
	receipt *adapters.Receipt
}

// queue is a heap of events by their time and then by the order of planning.
type queue []event

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	if !q[i].due.Equal(q[j].due) {
		return q[i].due.Before(q[j].due)
	}
	return q[i].seq < q[j].seq
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

// Push is for container/heap.
func (q *queue) Push(x any) { *q = append(*q, x.(event)) }

// Pop is for container/heap.
func (q *queue) Pop() any {
	old := *q
	last := old[len(old)-1]
	*q = old[:len(old)-1]
	return last
}

// Say sends a text from a phone to the kitchen, now, and returns its id.
func (n *Network) Say(from, text string) string { return n.SayAfter(0, from, text) }

// SayAfter sends a text from a phone once d has passed, and returns its id.
func (n *Network) SayAfter(d time.Duration, from, text string) string {
	now := n.deps.Clock.Now().UTC()
	id, count := n.newID()
	at := now.Add(d)
	n.mu.Lock()
	in := adapters.Inbound{ID: id, From: from, Text: text, At: at}
	n.plan(at, event{inbound: &in})
	if n.repeats(count) {
		n.plan(at, event{inbound: &in})
	}
	n.mu.Unlock()
	n.nudge()
	return id
}

// newID names one more inbound. The time in it makes it differ from those of an
// earlier run of the process.
func (n *Network) newID() (id string, count uint64) {
	now := n.deps.Clock.Now()
	n.mu.Lock()
	defer n.mu.Unlock()
	n.said++
	return fmt.Sprintf("%s-in-%d-%d", n.cfg.Name, now.UnixMilli(), n.said), n.said
}

// repeats says whether the network delivers its inbound of that number twice.
func (n *Network) repeats(count uint64) bool {
	return rand.New(rand.NewPCG(n.cfg.Seed, count)).Float64() < n.cfg.Odds.RepeatInbound
}

// Offer hands a ready inbound to the network, which gives it to the sink as it
// stands, as often as Offer is called.
func (n *Network) Offer(in adapters.Inbound) {
	n.mu.Lock()
	n.plan(n.deps.Clock.Now(), event{inbound: &in})
	n.mu.Unlock()
	n.nudge()
}

// OfferReceipt hands a ready receipt to the network, which gives it to the sink
// as it stands.
func (n *Network) OfferReceipt(r adapters.Receipt) {
	n.mu.Lock()
	n.plan(n.deps.Clock.Now(), event{receipt: &r})
	n.mu.Unlock()
	n.nudge()
}

// NextDue tells when the next receipt or inbound is due: a simulation can move
// its clock there. It says false where nothing is on its way.
func (n *Network) NextDue() (time.Time, bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if len(n.waiting) == 0 {
		return time.Time{}, false
	}
	return n.waiting[0].due, true
}

// Receive hands what comes in to the sink at its time, until ctx is done. What
// the sink does not take is offered again a second later.
func (n *Network) Receive(ctx context.Context, sink adapters.Sink) error {
	for {
		_ = n.Pump(ctx, sink) // what was not taken is planned again
		if ctx.Err() != nil {
			return ctx.Err()
		}
		var alarm <-chan time.Time
		if due, ok := n.NextDue(); ok {
			wait := due.Sub(n.deps.Clock.Now())
			if wait <= 0 {
				continue
			}
			alarm = n.deps.Clock.After(wait)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-n.wake:
		case <-alarm:
		}
	}
}

// Pump hands over everything that is due now and returns; for simulations that
// drive the network without Receive. What the sink refuses is planned again,
// and the first refusal is returned.
func (n *Network) Pump(ctx context.Context, sink adapters.Sink) error {
	var first error
	for ctx.Err() == nil {
		ev, ok := n.due()
		if !ok {
			return first
		}
		if err := hand(ctx, sink, ev); err != nil {
			if first == nil {
				first = err
			}
			n.deps.Log.Warn("what came in could not be stored; it will be offered again", "adapter", n.cfg.Name)
			n.mu.Lock()
			n.plan(n.deps.Clock.Now().Add(redeliverAfter), ev)
			n.mu.Unlock()
		}
	}
	return ctx.Err()
}

func hand(ctx context.Context, sink adapters.Sink, ev event) error {
	if ev.inbound != nil {
		return sink.Inbound(ctx, *ev.inbound)
	}
	return sink.Receipt(ctx, *ev.receipt)
}

// due takes the next event whose time has come.
func (n *Network) due() (event, bool) {
	now := n.deps.Clock.Now()
	n.mu.Lock()
	defer n.mu.Unlock()
	if len(n.waiting) == 0 || n.waiting[0].due.After(now) {
		return event{}, false
	}
	return heap.Pop(&n.waiting).(event), true
}

// plan queues an event; the caller holds the lock.
func (n *Network) plan(due time.Time, ev event) {
	n.seq++
	ev.due, ev.seq = due, n.seq
	heap.Push(&n.waiting, ev)
}

// nudge makes Receive look again.
func (n *Network) nudge() {
	select {
	case n.wake <- struct{}{}:
	default:
	}
}
