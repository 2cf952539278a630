package email

import (
	"context"
	"sync"
	"time"
)

// pacer lets e-mails go at an even pace: never more than the rate in any
// minute, and none while the server asked for a pause.
type pacer struct {
	every time.Duration // between two e-mails; 0 for no limit
	now   func() time.Time
	after func(time.Duration) <-chan time.Time

	mu   sync.Mutex
	next time.Time
}

func newPacer(perMinute float64, now func() time.Time, after func(time.Duration) <-chan time.Time) *pacer {
	p := &pacer{now: now, after: after}
	if perMinute > 0 {
		p.every = time.Duration(float64(time.Minute) / perMinute)
	}
	return p
}

// book takes the next place in the line and says when it is.
func (p *pacer) book(now time.Time) time.Time {
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

// wait returns when the caller's turn has come, or with the context's error.
func (p *pacer) wait(ctx context.Context) error {
	now := p.now()
	if d := p.book(now).Sub(now); d > 0 {
		select {
		case <-p.after(d):
		case <-ctx.Done():
		}
	}
	return ctx.Err()
}
