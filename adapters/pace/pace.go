// Package pace spaces what an adapter hands over.
package pace

import (
	"context"
	"sync"
	"time"
)

// Pacer lets things go one after the other at an even pace, and none while the
// far side asked for a pause. It is safe for concurrent use.
type Pacer struct {
	every time.Duration // between two; 0 for no limit
	now   func() time.Time
	after func(time.Duration) <-chan time.Time

	mu   sync.Mutex
	next time.Time
}

// New makes a pacer for so many things in each unit of time; 0 for no limit.
func New(rate float64, unit time.Duration, now func() time.Time, after func(time.Duration) <-chan time.Time) *Pacer {
	p := &Pacer{now: now, after: after}
	if rate > 0 {
		p.every = time.Duration(float64(unit) / rate)
	}
	return p
}

// book takes the next place in the line and says when it is.
func (p *Pacer) book(now time.Time) time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	at := now
	if p.next.After(at) {
		at = p.next
	}
	if p.every > 0 {
		p.next = at.Add(p.every)
	}
	return at
}

// Pause lets nothing go before until; places that are taken already stand.
func (p *Pacer) Pause(until time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if until.After(p.next) {
		p.next = until
	}
}

// Wait returns when the caller's turn has come, or with the context's error.
func (p *Pacer) Wait(ctx context.Context) error {
	now := p.now()
	if d := p.book(now).Sub(now); d > 0 {
		select {
		case <-p.after(d):
		case <-ctx.Done():
		}
	}
	return ctx.Err()
}
