// Package leader lets one of several processes do what must run once.
//
// It is a lease with a term. A database grants it for a time that it measures
// with its own clock; the process counts a duration from before it asked, less
// a margin, and then steps down by itself. So two processes never trust the
// lease at one moment, whatever their clocks show, as long as they run at about
// the same rate: the margin is what they may differ by over a term.
//
// A lease can't stop a process that was paused in the middle of its work. What
// is done under it must therefore be harmless when two do it at once: unique
// keys, or a change that names the state it expects.
package leader

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Lease is what the database keeps.
type Lease interface {
	// Grant gives the lease to the holder for ttl, from a moment after the call
	// and by the database's clock, if nobody else holds it. Each time that it
	// changes hands, and after each gap, it gets a higher term; while the same
	// holder renews it the term stays.
	Grant(ctx context.Context, holder string, ttl time.Duration) (term int64, ok bool, err error)
	// Release ends the lease at once if the holder has it.
	Release(ctx context.Context, holder string) error
}

// ErrNotLeader says that somebody else does what must run once.
var ErrNotLeader = errors.New("another instance does what must run once")

// Config is what a leader needs. Every field but Changed is required.
type Config struct {
	Lease  Lease
	Holder string // a name that no other process has
	// TTL is how long a lease lasts that nobody renews, the same in every
	// process; Margin is how much earlier the holder stops trusting it.
	TTL, Margin time.Duration
	// Now gives the time with its monotonic reading.
	Now func() time.Time
	// Changed is told the term when this process takes the lease, and 0 when
	// it steps down.
	Changed func(term int64)
}

// Leader asks for the lease and keeps it. It is safe for concurrent use.
type Leader struct {
	c Config

	mu    sync.Mutex
	term  int64     // of the lease that was granted last; 0 for none
	asked time.Time // before it was asked for
	ours  bool      // the database may have this process down as the holder
	gone  bool      // it was given back for good
}

// New makes a leader that does not lead yet.
func New(c Config) (*Leader, error) {
	switch {
	case c.Lease == nil || c.Holder == "" || c.Now == nil:
		return nil, errors.New("leader: no lease, no holder or no clock")
	case c.Margin <= 0 || c.TTL <= 2*c.Margin:
		return nil, fmt.Errorf("leader: a lease of %s is too short for a margin of %s", c.TTL, c.Margin)
	}
	if c.Changed == nil {
		c.Changed = func(int64) {}
	}
	return &Leader{c: c}, nil
}

// IsLeader gives nil where this process holds the lease and may trust it. It
// takes a lease that is free and renews its own once a third of the time is
// used. While the database is away it goes on trusting what it was granted, to
// the end of that and no longer.
func (l *Leader) IsLeader(ctx context.Context) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.gone {
		return ErrNotLeader
	}
	asked := l.c.Now()
	if l.left(asked) > l.trust()-l.c.TTL/3 {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, l.trust()) // a later answer is of no use
	defer cancel()
	l.ours = true // also where the answer gets lost
	term, ok, err := l.c.Lease.Grant(ctx, l.c.Holder, l.c.TTL)
	if err != nil {
		if l.left(l.c.Now()) > 0 {
			return nil
		}
		l.stepDown()
		return fmt.Errorf("nobody knows who does what must run once: %w", err)
	}
	if !ok {
		l.ours = false
		l.stepDown()
		return ErrNotLeader
	}
	taken := term != l.term
	l.term, l.asked = term, asked
	if l.left(l.c.Now()) <= 0 { // the answer came when it was over
		l.stepDown()
		return ErrNotLeader
	}
	if taken {
		l.c.Changed(term)
	}
	return nil
}

// Term gives the term of the lease that this process trusts now; 0 for none.
func (l *Leader) Term() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.left(l.c.Now()) <= 0 {
		return 0
	}
	return l.term
}

// Resign gives the lease back for good, so that another process takes it at
// once. The work must have ended before. It may be called twice.
func (l *Leader) Resign(ctx context.Context) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.gone = true
	l.stepDown()
	if !l.ours {
		return nil
	}
	l.ours = false
	return l.c.Lease.Release(ctx, l.c.Holder)
}

func (l *Leader) stepDown() {
	if l.term != 0 {
		l.term = 0
		l.c.Changed(0)
	}
}

// trust is for how long a granted lease is trusted.
func (l *Leader) trust() time.Duration { return l.c.TTL - l.c.Margin }

// left is for how long the lease is trusted yet. Of the two clocks of a machine
// the one counts that ran further: the monotonic one stands still while a
// machine sleeps, and the other one may be set back.
func (l *Leader) left(now time.Time) time.Duration {
	if l.term == 0 {
		return 0
	}
	return l.trust() - max(now.Sub(l.asked), now.Round(0).Sub(l.asked.Round(0)))
}
