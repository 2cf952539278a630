package smpp

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"passbell/adapters/smpp/pdu"
)

// The reasons for which a session ends, beside those of the network.
var (
	errNoAnswer  = errors.New("no answer came in time")
	errSilent    = errors.New("the message centre went silent")
	errFlooded   = errors.New("the message centre does not read what it is sent")
	errSignedOff = errors.New("the message centre signed off")
	errLeaving   = errors.New("we signed off")
)

// session is one signed-in connection. Three goroutines serve it: a reader, a
// writer that sends whatever has gathered in one go, and a keeper that watches
// the time. When one of them ends, all do.
type session struct {
	conn     net.Conn
	now      func() time.Time
	after    func(time.Duration) <-chan time.Time
	response time.Duration
	enquire  time.Duration
	log      *slog.Logger
	// deliver is handed each deliver_sm and data_sm; it must not block. The body
	// is its own.
	deliver func(s *session, h pdu.Header, body []byte)
	// accepted is handed the body of each submit_sm_resp that says yes.
	accepted func(body []byte)

	wake  chan struct{}
	gone  chan struct{} // closed when the session is over
	heard atomic.Int64  // when the last PDU came in, Unix ms
	wg    sync.WaitGroup
	// workers are the adapter's.
	workers *sync.WaitGroup

	mu       sync.Mutex
	buf      []byte // waits for the writer
	spare    []byte
	gen      uint64 // counts the buffers that the writer has taken
	pending  map[uint32]*call
	seq      uint32
	err      error // why the session is over, nil while it is not
	leaving  bool  // no new submits
	quiet    chan struct{}
	enquired time.Time // when enquire_link was sent; zero when it is answered
	writing  time.Time // since when the writer is at it; zero when it is not
}

// call is a request that waits for its answer.
type call struct {
	id       pdu.ID
	seq      uint32
	gen      uint64
	deadline time.Time
	done     chan answer // holds one
}

// answer is how a request ended.
type answer struct {
	head pdu.Header
	body []byte
	err  error // no answer came
	// unwritten: the request never left this machine.
	unwritten bool
}

// maxQueued bounds, in octets, what may wait for a peer that does not read.
const maxQueued = 4 << 20

func newSession(conn net.Conn, a *Adapter, deliver func(*session, pdu.Header, []byte)) *session {
	s := &session{
		conn: conn, now: a.now, after: a.after,
		response: time.Duration(a.cfg.Response), enquire: time.Duration(a.cfg.Enquire),
		log: a.log, deliver: deliver,
		accepted: func(body []byte) {
			if id, err := pdu.MessageID(body); err == nil {
				a.ids.answer(id)
			}
		},
		wake: make(chan struct{}, 1), gone: make(chan struct{}),
		pending: map[uint32]*call{},
	}
	s.heard.Store(a.now().UnixMilli())
	s.workers = &a.wg
	s.spawn(s.read)
	s.spawn(s.write)
	s.spawn(s.keep)
	return s
}

// spawn runs f as one of the session's goroutines. The adapter waits for them
// too. The caller must be one that the adapter waits for.
func (s *session) spawn(f func()) {
	s.workers.Add(1)
	s.wg.Go(func() {
		defer s.workers.Done()
		f()
	})
}

// start puts a request in line and returns the call to wait for. The error says
// that nothing was, or will be, sent.
func (s *session) start(id pdu.ID, fill func(dst []byte, h pdu.Header) ([]byte, error)) (*call, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err != nil {
		return nil, s.err
	}
	if s.leaving && id != pdu.Unbind {
		return nil, errLeaving
	}
	for {
		s.seq = s.seq%pdu.MaxSeq + 1
		if _, taken := s.pending[s.seq]; !taken {
			break
		}
	}
	buf, err := fill(s.buf, pdu.Header{ID: id, Seq: s.seq})
	if err != nil {
		return nil, err
	}
	s.buf = buf
	c := &call{id: id, seq: s.seq, gen: s.gen, deadline: s.now().Add(s.response), done: make(chan answer, 1)}
	s.pending[s.seq] = c
	s.nudge()
	return c, nil
}

// ask sends a request without fields of its own and waits for the answer.
func (s *session) ask(ctx context.Context, id pdu.ID, fill func([]byte, pdu.Header) ([]byte, error)) (answer, error) {
	c, err := s.start(id, fill)
	if err != nil {
		return answer{}, err
	}
	select {
	case a := <-c.done:
		return a, a.err
	case <-ctx.Done():
		s.forget(c)
		return answer{}, ctx.Err()
	}
}

// forget gives up on a call; an answer that comes later belongs to nothing.
func (s *session) forget(c *call) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.pending[c.seq] == c {
		delete(s.pending, c.seq)
		s.calmIfIdle()
	}
}

func bare(dst []byte, h pdu.Header) ([]byte, error) { return pdu.AppendBare(dst, h), nil }

// reply puts an answer in line. It is dropped where the session is over.
func (s *session) reply(h pdu.Header) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err != nil {
		return
	}
	if len(s.buf) > maxQueued {
		s.failLocked(errFlooded)
		return
	}
	if h.ID == pdu.DeliverSM.Resp() || h.ID == pdu.DataSM.Resp() {
		// A refusal, too, has its empty message_id: §4.6.2 wants the field.
		if buf, err := pdu.AppendMessageResp(s.buf, h, ""); err == nil {
			s.buf = buf
		}
	} else {
		s.buf = pdu.AppendBare(s.buf, h)
	}
	s.nudge()
}

func (s *session) nudge() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// alive says whether requests can still be made.
func (s *session) alive() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err == nil && !s.leaving
}

// over says why the session ended; nil while it has not.
func (s *session) over() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// fail ends the session and tells everybody who waits. It is safe to call again.
func (s *session) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.failLocked(err)
}

func (s *session) failLocked(err error) {
	if s.err != nil {
		return
	}
	s.err = err
	for seq, c := range s.pending {
		delete(s.pending, seq)
		// What is still in the buffer was never handed to the network.
		c.done <- answer{err: err, unwritten: c.gen == s.gen}
	}
	s.buf, s.spare = nil, nil
	s.calm()
	close(s.gone)
	_ = s.conn.Close() // the peer learns of it, or is gone
}

// close ends the session and waits for its goroutines.
func (s *session) close(err error) {
	s.fail(err)
	s.wg.Wait()
}

func (s *session) write() {
	for {
		select {
		case <-s.wake:
		case <-s.gone:
			return
		}
		for {
			runtime.Gosched() // lets others who are ready add to the buffer
			s.mu.Lock()
			if s.err != nil || len(s.buf) == 0 {
				s.mu.Unlock()
				break
			}
			out := s.buf
			s.buf, s.spare = s.spare[:0], nil
			s.gen++
			s.writing = s.now()
			s.mu.Unlock()
			if _, err := s.conn.Write(out); err != nil {
				s.fail(fmt.Errorf("writing: %w", err))
				return
			}
			s.mu.Lock()
			s.writing = time.Time{}
			if s.err == nil && cap(out) <= 1<<20 {
				s.spare = out[:0]
			}
			s.mu.Unlock()
		}
	}
}

func (s *session) read() {
	r := pdu.NewReader(bufio.NewReaderSize(s.conn, 32<<10))
	for {
		h, body, err := r.Next()
		if err != nil {
			if errors.Is(err, pdu.ErrLength) {
				s.reply(pdu.Header{ID: pdu.Nack, Status: pdu.BadLength, Seq: h.Seq})
			}
			s.fail(fmt.Errorf("reading: %w", err))
			return
		}
		s.heard.Store(s.now().UnixMilli())
		if h.ID.IsResp() {
			s.settle(h, body)
			continue
		}
		switch h.ID {
		case pdu.EnquireLink:
			s.reply(pdu.Header{ID: h.ID.Resp(), Seq: h.Seq})
		case pdu.DeliverSM, pdu.DataSM:
			s.deliver(s, h, append([]byte(nil), body...))
		case pdu.Unbind:
			s.spawn(func() { s.obeyUnbind(h) })
		case pdu.Alert, pdu.Outbind:
			// Neither has an answer (§4.12.1, §4.1.7), nor a use here.
		default:
			s.reply(pdu.Header{ID: pdu.Nack, Status: pdu.BadCommand, Seq: h.Seq})
		}
	}
}

// settle hands an answer to the call that it belongs to. Requests of the peer
// have sequence numbers of their own, so only answers are looked up, and an
// answer to another command is none.
func (s *session) settle(h pdu.Header, body []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := s.pending[h.Seq]
	if c == nil || (h.ID != c.id.Resp() && h.ID != pdu.Nack) {
		s.log.Debug("an answer belongs to nothing that was asked", "command", h.ID.String(), "status", h.Status.String())
		return
	}
	delete(s.pending, h.Seq)
	if h.ID == pdu.SubmitSM.Resp() && h.Status == pdu.OK {
		s.accepted(body) // before a receipt that follows is looked at
	}
	if c.id == pdu.EnquireLink {
		s.enquired = time.Time{}
	}
	c.done <- answer{head: h, body: append([]byte(nil), body...)}
	s.calmIfIdle()
}

// keep watches the time: calls whose answer is overdue, and the connection's
// life. A peer that sends half a PDU, or reads nothing, is silent too.
func (s *session) keep() {
	tick := max(min(s.response, s.enquire)/8, time.Millisecond)
	for {
		select {
		case <-s.after(tick):
		case <-s.gone:
			return
		}
		now := s.now()
		s.mu.Lock()
		if !s.writing.IsZero() && now.Sub(s.writing) >= s.response {
			// Before calls expire: what the writer has not taken never went out.
			s.failLocked(errFlooded)
		}
		s.mu.Unlock()
		s.expire(now)
		s.mu.Lock()
		idle := now.Sub(time.UnixMilli(s.heard.Load()))
		switch {
		case s.err != nil:
		case !s.enquired.IsZero() && now.Sub(s.enquired) >= s.response:
			s.failLocked(errSilent)
		case s.enquired.IsZero() && idle >= s.enquire:
			s.enquired = now
			s.mu.Unlock()
			_, _ = s.start(pdu.EnquireLink, bare) // an error says that the session is over
			continue
		}
		s.mu.Unlock()
	}
}

// waiting says whether a submit waits for its answer.
func (s *session) waiting() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.busy()
}

// expire ends the calls whose time is up. One that never left the buffer was not
// sent; but it still may be, so its fate is not known either.
func (s *session) expire(now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for seq, c := range s.pending {
		if now.Before(c.deadline) || c.id == pdu.EnquireLink {
			continue
		}
		delete(s.pending, seq)
		c.done <- answer{err: errNoAnswer}
	}
	s.calmIfIdle()
}

// busy says whether anything but an enquire_link waits for its answer.
func (s *session) busy() bool {
	for _, c := range s.pending {
		if c.id != pdu.EnquireLink {
			return true
		}
	}
	return false
}

func (s *session) calmIfIdle() {
	if s.quiet != nil && !s.busy() {
		s.calm()
	}
}

// calm tells drain that nothing waits any more.
func (s *session) calm() {
	if s.quiet != nil {
		close(s.quiet)
		s.quiet = nil
	}
}

// drain takes no new requests and waits, at most as long as an answer may take,
// until those under way are answered.
func (s *session) drain() {
	s.mu.Lock()
	s.leaving = true
	if s.err != nil || !s.busy() {
		s.mu.Unlock()
		return
	}
	quiet := s.quiet
	if quiet == nil {
		quiet = make(chan struct{})
		s.quiet = quiet
	}
	s.mu.Unlock()
	select {
	case <-quiet:
	case <-s.after(s.response):
	}
}

// flush waits until the writer has taken everything, so that a last answer is
// not lost to the end of the connection.
func (s *session) flush() {
	for range 50 {
		s.mu.Lock()
		empty := s.err != nil || (len(s.buf) == 0 && s.spare != nil)
		s.mu.Unlock()
		if empty {
			return
		}
		select {
		case <-s.after(max(s.response/500, time.Millisecond)):
		case <-s.gone:
			return
		}
	}
}

// obeyUnbind answers an unbind once what is under way has been answered.
func (s *session) obeyUnbind(h pdu.Header) {
	s.drain()
	s.reply(pdu.Header{ID: h.ID.Resp(), Seq: h.Seq})
	s.flush()
	s.fail(errSignedOff)
}

// signOff unbinds and closes. It takes at most twice the time of an answer.
func (s *session) signOff() {
	s.drain()
	if c, err := s.start(pdu.Unbind, bare); err == nil {
		select {
		case <-c.done:
		case <-s.gone:
		}
	}
	s.close(errLeaving)
}

// unheardSince says whether the session ended without a sign of life after t.
func (s *session) unheardSince(t time.Time) bool {
	return s.over() != nil && s.heard.Load() <= t.UnixMilli()
}
