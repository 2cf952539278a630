package modem

import (
	"context"
	"errors"
	"sync"
	"time"
)

// link keeps one session at a time, and opens the port again after it broke.
type link struct {
	a *Adapter

	mu      sync.Mutex
	cur     *session
	opening chan struct{} // closed when the try under way has ended
	fails   int
	next    time.Time // no try before
	opened  time.Time // when cur was
	err     error     // of the last try
	closed  bool
}

// downError says why there is no session.
type downError struct {
	reason string // for a cook
	err    error
}

func (e *downError) Error() string { return e.reason }
func (e *downError) Unwrap() error { return e.err }

var errClosed = errors.New("the modem was closed")

// get returns the session, opening the port where it is time to. While it is not,
// the error is that of the last try.
func (l *link) get(ctx context.Context) (*session, error) {
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		l.mu.Lock()
		switch {
		case l.closed:
			l.mu.Unlock()
			return nil, &downError{"the program is closing down", errClosed}
		case l.cur != nil && l.cur.gone() == nil:
			s := l.cur
			l.mu.Unlock()
			return s, nil
		case l.opening == nil && l.early():
			err := l.err
			l.mu.Unlock()
			return nil, err
		case l.opening == nil:
			l.opening = make(chan struct{})
			l.a.wg.Go(l.try)
		}
		done := l.opening
		l.mu.Unlock()
		select {
		case <-done:
		case <-ctx.Done():
		}
		l.mu.Lock()
		err := l.err
		l.mu.Unlock()
		if err != nil && ctx.Err() == nil {
			return nil, err
		}
	}
}

// early says that it is not yet time for a try. A modem that answers and breaks
// at once is not opened again in a tight loop. l.mu is held.
func (l *link) early() bool {
	now := l.a.now()
	if l.err == nil && l.cur != nil {
		if soon := l.opened.Add(time.Duration(l.a.cfg.ReconnectMin)); now.Before(soon) {
			l.next = soon
			l.err = &downError{"the connection to the modem broke; it is opened again in a moment", l.cur.gone()}
		}
	}
	return l.err != nil && now.Before(l.next)
}

// try opens the port once.
func (l *link) try() {
	s, err := l.a.start(l.a.life)
	l.mu.Lock()
	defer l.mu.Unlock()
	close(l.opening)
	l.opening, l.err = nil, err
	if err != nil {
		l.fails++
		wait := time.Duration(l.a.cfg.ReconnectMax)
		if l.fails < 16 { // beyond, the shift might overflow
			wait = min(wait, time.Duration(l.a.cfg.ReconnectMin)<<(l.fails-1))
		}
		l.next = l.a.now().Add(wait - time.Duration(l.a.chance()*float64(wait)/2))
		l.a.log.Warn("the modem is not ready; it is tried again", "error", err, "cause", errors.Unwrap(err), "wait", wait)
		return
	}
	if l.closed {
		s.fail(errClosed)
		return
	}
	if l.fails > 0 || l.cur != nil {
		l.a.log.Info("the modem is ready again")
	}
	l.fails, l.cur, l.opened = 0, s, l.a.now()
}

// wait is how long until the next try.
func (l *link) wait() time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return max(l.next.Sub(l.a.now()), time.Millisecond)
}

func (l *link) leave() {
	l.mu.Lock()
	l.closed = true
	s := l.cur
	l.mu.Unlock()
	if s != nil {
		s.fail(errClosed)
	}
}
