package smpp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// link keeps one place at the centre signed in: it makes a session when one is
// asked for, and not again before the wait after a failure is over.
type link struct {
	a    *Adapter
	bind pdu.ID
	addr string

	mu      sync.Mutex
	current *session
	dialing chan struct{} // closed when the dialling under way is over
	fails   int
	since   time.Time // when current signed in
	retryAt time.Time
	last    error
	version byte
}

// downError says why there is no connection, and when the next try is.
type downError struct {
	reason string
	wait   time.Duration
	err    error
}

func (e *downError) Error() string { return e.reason }
func (e *downError) Unwrap() error { return e.err }

// get returns a session that is signed in, making one where needed.
func (l *link) get(ctx context.Context) (*session, error) {
	for {
		l.mu.Lock()
		if l.current != nil && l.current.alive() {
			defer l.mu.Unlock()
			return l.current, nil
		}
		l.retire()
		if l.dialing == nil {
			if l.a.closed() {
				l.mu.Unlock()
				return nil, &downError{reason: "the connection is closed", err: errLeaving}
			}
			if d := l.retryAt.Sub(l.a.now()); d > 0 {
				defer l.mu.Unlock()
				return nil, &downError{reason: reasonOf(l.last), wait: d, err: l.last}
			}
			l.dialing = make(chan struct{})
			l.a.wg.Add(1)
			go l.dial()
		}
		wait := l.dialing
		l.mu.Unlock()
		select {
		case <-wait:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// retire notes that the current session is over and plans the next try. A
// session that held for longer than the longest wait clears the count.
func (l *link) retire() {
	s := l.current
	if s == nil {
		return
	}
	l.current = nil
	if l.a.now().Sub(l.since) > time.Duration(l.a.cfg.ReconnectMax) {
		l.fails = 0
	}
	err := s.over()
	if err == nil {
		err = errSignedOff // it is leaving
	}
	l.setback(fmt.Errorf("the connection to the message centre broke: %w", err))
	l.a.log.Warn("the connection to the message centre broke; it is made again",
		"bind", l.bind.String(), "error", err, "wait", l.retryAt.Sub(l.a.now()))
}

// setback plans the next try: the wait doubles and is shortened by chance by up
// to a half, so that many clients of one centre do not come back as one.
func (l *link) setback(err error) {
	lo, hi := time.Duration(l.a.cfg.ReconnectMin), time.Duration(l.a.cfg.ReconnectMax)
	d := hi
	if l.fails < 20 && lo<<l.fails > 0 {
		d = min(lo<<l.fails, hi)
	}
	var refused *refusedBind
	if errors.As(err, &refused) && stubborn(refused.status) {
		d = hi
	}
	l.fails++
	l.last = err
	l.retryAt = l.a.now().Add(d - time.Duration(float64(d)/2*l.a.chance()))
}

// refusedBind is a bind_resp that says no.
type refusedBind struct{ status pdu.Status }

func (e *refusedBind) Error() string { return bindReason(e.status) }

func reasonOf(err error) string {
	var refused *refusedBind
	if errors.As(err, &refused) {
		return refused.Error()
	}
	return "the message centre cannot be reached; texts wait until the connection is back"
}

// dial makes a session, whoever waits for it.
func (l *link) dial() {
	defer l.a.wg.Done()
	s, err := l.signIn()
	l.mu.Lock()
	defer l.mu.Unlock()
	if err == nil && l.a.closed() {
		s.close(errLeaving)
		err = errLeaving
	}
	if err != nil {
		l.setback(err)
		l.a.log.Warn("signing in to the message centre failed; it is tried again",
			"bind", l.bind.String(), "error", err, "wait", l.retryAt.Sub(l.a.now()))
	} else {
		l.current, l.since, l.retryAt, l.last = s, l.a.now(), time.Time{}, nil
		l.a.log.Info("signed in to the message centre", "bind", l.bind.String())
	}
	close(l.dialing)
	l.dialing = nil
}

func (l *link) signIn() (*session, error) {
	ctx, cancel := context.WithCancel(l.a.life)
	defer cancel()
	connected := make(chan struct{})
	go func() { // the time limit, by the clock that was handed in
		select {
		case <-l.a.after(time.Duration(l.a.cfg.Response)):
			cancel()
		case <-connected:
		case <-ctx.Done():
		}
	}()
	conn, err := l.a.dial(ctx, l.addr)
	close(connected)
	if err != nil {
		return nil, fmt.Errorf("connecting to %s: %w", l.addr, scrub(err))
	}
	s := newSession(conn, l.a, l.a.delivered)
	bind := pdu.Bind{SystemID: l.a.cfg.SystemID, Password: l.a.password, SystemType: l.a.cfg.SystemType}
	ans, err := s.ask(l.a.life, l.bind, bind.Append)
	if err != nil {
		s.close(errLeaving)
		return nil, fmt.Errorf("signing in: %w", err)
	}
	if ans.head.Status != pdu.OK || ans.head.ID == pdu.Nack {
		s.close(errLeaving)
		return nil, &refusedBind{status: ans.head.Status}
	}
	if resp, err := pdu.ParseBindResp(ans.body); err == nil {
		l.mu.Lock()
		l.version = resp.Version
		l.mu.Unlock()
	}
	return s, nil
}

// scrub takes the wrapping off a network error that a person need not read.
func scrub(err error) error {
	var op *net.OpError
	if errors.As(err, &op) && op.Err != nil {
		return op.Err
	}
	return err
}

// waiting says whether a submit waits for its answer.
func (l *link) waiting() bool {
	l.mu.Lock()
	s := l.current
	l.mu.Unlock()
	return s != nil && s.waiting()
}

// hold keeps the link signed in until ctx is done.
func (l *link) hold(ctx context.Context) {
	for ctx.Err() == nil {
		s, err := l.get(ctx)
		var down *downError
		switch {
		case err == nil:
			select {
			case <-s.gone:
			case <-ctx.Done():
			}
		case errors.As(err, &down):
			select {
			case <-l.a.after(max(down.wait, time.Millisecond)):
			case <-ctx.Done():
			}
		}
		if l.a.closed() {
			return
		}
	}
}

// leave signs off, if signed in. A dialling under way is left to itself.
func (l *link) leave() {
	l.mu.Lock()
	s := l.current
	l.current = nil
	l.mu.Unlock()
	if s != nil {
		s.signOff()
	}
}

// unavailable is the outcome of a text for which there is no connection.
func (a *Adapter) unavailable(err error) *adapters.SendError {
	se := &adapters.SendError{
		Adapter: a.cfg.Name, Outcome: adapters.Temporary, Account: true,
		Reason: "the message centre cannot be reached; texts wait until the connection is back", Err: err,
	}
	var down *downError
	if errors.As(err, &down) {
		se.Reason, se.Wait = down.reason, down.wait
	}
	return se
}
