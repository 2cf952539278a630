package modem

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"
)

// Why a command has no result.
var (
	errGone      = errors.New("the connection to the modem broke")
	errNoAnswer  = errors.New("the modem did not answer in time")
	errOutOfStep = errors.New("the modem's answers do not fit the commands")
)

// unhandedError is a failure before a PDU was handed over.
type unhandedError struct{ err error }

func (e *unhandedError) Error() string { return e.err.Error() }
func (e *unhandedError) Unwrap() error { return e.err }

// command is one AT command.
type command struct {
	line string // without the <CR>
	// prefix begins the lines of the answer that count; "*" for any line.
	prefix string
	// pdu is handed over at the prompt, where there is one.
	pdu string
	// time is how long to wait for the result.
	time time.Duration
}

// answer is what came before OK.
type answer struct {
	lines []string
	pdus  []event // lines that a PDU follows
}

// running is the command that is being worked on.
type running struct {
	command
	got    answer
	asked  chan struct{} // closed at the prompt
	prompt bool
	done   chan *fault // one; nil for OK
}

// session is one opening of the port.
type session struct {
	a    *Adapter
	port io.ReadWriteCloser
	turn chan struct{} // who holds it may give a command
	dead chan struct{}

	acked   bool     // +CMT and +CDS want an acknowledgement (AT+CSMS=1)
	cnmi    string   // the indications that were set
	settled string   // what the modem made of them
	mems    []string // the stores to look at
	mem     string   // the one that is selected

	mu  sync.Mutex
	cur *running
	err error // why it is dead
}

func newSession(a *Adapter, port io.ReadWriteCloser) *session {
	s := &session{a: a, port: port, turn: make(chan struct{}, 1), dead: make(chan struct{})}
	a.wg.Go(s.read)
	context.AfterFunc(a.life, func() { s.fail(errClosed) })
	return s
}

// read takes in what the modem says until the port breaks.
func (s *session) read() {
	var (
		cut splitter
		fr  framer
		buf [1024]byte
	)
	for {
		n, err := s.port.Read(buf[:])
		for _, token := range cut.feed(buf[:n]) {
			if ev, ok := fr.push(token); ok {
				s.heard(ev)
			}
		}
		if err == nil && n == 0 {
			err = io.ErrUnexpectedEOF // an unplugged port reads as empty
		}
		if err != nil {
			s.fail(fmt.Errorf("%w: %w", errGone, err))
			return
		}
	}
}

// heard passes on one word of the modem. It does not block.
func (s *session) heard(ev event) {
	if ev.kind == evNews {
		s.a.inlet.news(s, ev)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	r := s.cur
	if r == nil {
		return
	}
	switch ev.kind {
	case evPrompt:
		if r.pdu != "" && !r.prompt {
			r.prompt = true
			close(r.asked)
		}
	case evFinal:
		s.cur = nil
		r.done <- ev.fault
	case evInfo:
		switch {
		case ev.line == r.line: // an echo
		case ev.pdu != nil && strings.HasPrefix(ev.line, r.prefix):
			r.got.pdus = append(r.got.pdus, ev)
		case r.prefix != "" && (r.prefix == "*" || strings.HasPrefix(ev.line, r.prefix)):
			r.got.lines = append(r.got.lines, ev.line)
		}
	}
}

// fail ends the session. It may be called again.
func (s *session) fail(err error) {
	s.mu.Lock()
	first := s.err == nil
	if first {
		s.err = err
		close(s.dead)
	}
	s.mu.Unlock()
	if first {
		_ = s.port.Close() // it is given up either way
	}
}

func (s *session) gone() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// take waits for the turn.
func (s *session) take(ctx context.Context) error {
	select {
	case <-s.dead:
		return s.gone()
	default:
	}
	select {
	case s.turn <- struct{}{}:
		return nil
	case <-s.dead:
		return s.gone()
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *session) give() { <-s.turn }

// ask takes the turn, gives a command and waits for its answer.
func (s *session) ask(ctx context.Context, line, prefix string) (answer, error) {
	return s.do(ctx, command{line: line, prefix: prefix})
}

func (s *session) do(ctx context.Context, c command) (answer, error) {
	if err := s.take(ctx); err != nil {
		return answer{}, &unhandedError{err}
	}
	defer s.give()
	return s.exec(ctx, c, nil)
}

// exec gives a command; the caller holds the turn. ctx ends it until a PDU is
// handed over; from then on only the modem's result does, or its time. handed is
// called just before. Without a result the session is at an end, since a late one
// would be taken for that of the next command.
func (s *session) exec(ctx context.Context, c command, handed func()) (answer, error) {
	if c.time == 0 {
		c.time = time.Duration(s.a.cfg.Command)
	}
	r := &running{command: c, asked: make(chan struct{}), done: make(chan *fault, 1)}
	s.mu.Lock()
	if s.err != nil {
		s.mu.Unlock()
		return answer{}, &unhandedError{s.err}
	}
	s.cur = r
	s.mu.Unlock()
	if _, err := s.write(c.line + "\r"); err != nil {
		return answer{}, &unhandedError{err}
	}
	if c.pdu != "" {
		if err := s.handOver(ctx, r, handed); err != nil {
			return answer{}, &unhandedError{err}
		}
	}
	select {
	case f := <-r.done:
		return r.result(f)
	case <-s.a.after(c.time):
		s.fail(errNoAnswer)
		return answer{}, errNoAnswer
	case <-s.dead:
		select {
		case f := <-r.done: // the result was the last that came
			return r.result(f)
		default:
			return answer{}, s.gone()
		}
	}
}

// result is called once the result has come, so nobody writes to got any more.
func (r *running) result(f *fault) (answer, error) {
	if f != nil {
		return r.got, f
	}
	return r.got, nil
}

// handOver waits for the prompt and writes the PDU.
func (s *session) handOver(ctx context.Context, r *running, handed func()) error {
	select {
	case <-r.asked:
	case f := <-r.done:
		if f == nil { // an OK where a prompt should be: the answer to something else
			s.fail(errOutOfStep)
			return errOutOfStep
		}
		return f
	case <-s.a.after(time.Duration(s.a.cfg.Command)):
		s.fail(errNoAnswer)
		return errNoAnswer
	case <-s.dead:
		return s.gone()
	case <-ctx.Done():
		s.abort(r)
		return ctx.Err()
	}
	if ctx.Err() != nil {
		s.abort(r)
		return ctx.Err()
	}
	if handed != nil {
		handed()
	}
	text := r.pdu + "\x1A"
	if n, err := s.write(text); err != nil && n < len(text) {
		return err // the end mark did not go out
	}
	return nil
}

// abort leaves a prompt by ESC (TS 27.005 §3.5.1) and waits for the modem to say
// so.
func (s *session) abort(r *running) {
	if _, err := s.write("\x1B"); err != nil {
		return
	}
	select {
	case <-r.done:
	case <-s.dead:
	case <-s.a.after(time.Duration(s.a.cfg.Command)):
		s.fail(errNoAnswer)
	}
}

// write writes all of text or fails the session. A modem that takes nothing any
// more (flow control) is given up after the time of a command.
func (s *session) write(text string) (int, error) {
	type result struct {
		n   int
		err error
	}
	done := make(chan result, 1)
	go func() {
		n, err := io.WriteString(s.port, text)
		done <- result{n, err}
	}()
	select {
	case r := <-done:
		if r.err != nil {
			err := fmt.Errorf("%w: %w", errGone, r.err)
			s.fail(err)
			return r.n, err
		}
		return r.n, nil
	case <-s.a.after(time.Duration(s.a.cfg.Command)):
		s.fail(errNoAnswer)
		return len(text), errNoAnswer // some or all of it may still go out
	}
}
