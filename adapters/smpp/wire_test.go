package smpp_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/smpp"
	"passbell/adapters/smpp/pdu"
)

// wire connects an adapter to the test by pipes, so that time can be made up.
type wire struct {
	t     *testing.T
	dials chan *end
	mu    sync.Mutex
	count int
	down  bool
}

// end is the far end of one connection.
type end struct {
	t    *testing.T
	conn net.Conn
	r    *pdu.Reader
	bind pdu.ID
	seq  uint32
}

func newWire(t *testing.T) *wire { return &wire{t: t, dials: make(chan *end, 16)} }

func (w *wire) dial(context.Context, string, string) (net.Conn, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.count++
	if w.down {
		return nil, &net.OpError{Op: "dial", Err: errors.New("connection refused")}
	}
	near, far := net.Pipe()
	w.dials <- &end{t: w.t, conn: far, r: pdu.NewReader(bufio.NewReader(far))}
	return near, nil
}

func (w *wire) dialled() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.count
}

// adapter makes an adapter on the wire, with round times.
func (w *wire) adapter(change func(*smpp.Config)) *smpp.Adapter {
	w.t.Helper()
	cfg := smpp.Config{
		Address: "centre.invalid:2775", SystemID: "larkfield", Password: password, From: "LARKFIELD",
		Enquire: adapters.Duration(30 * time.Second), Response: adapters.Duration(10 * time.Second),
		ReconnectMin: adapters.Duration(time.Second), ReconnectMax: adapters.Duration(time.Minute),
	}
	if change != nil {
		change(&cfg)
	}
	d := deps(nil)
	d.Dial = w.dial
	return adapter(w.t, cfg, d)
}

// accept takes the next connection and its bind.
func (w *wire) accept(status pdu.Status) *end {
	w.t.Helper()
	e := <-w.dials
	h, body := e.next()
	b, err := pdu.ParseBind(body)
	require.NoError(w.t, err)
	require.Equal(w.t, "larkfield", b.SystemID)
	require.Equal(w.t, password, b.Password)
	e.bind = h.ID
	if status != pdu.OK {
		e.bare(h.ID.Resp(), status, h.Seq)
		return e
	}
	e.answer(h, "centre")
	return e
}

func (e *end) next() (pdu.Header, []byte) {
	e.t.Helper()
	h, body, err := e.r.Next()
	require.NoError(e.t, err)
	return h, body
}

// expect reads the next PDU and checks what it is.
func (e *end) expect(id pdu.ID) (pdu.Header, []byte) {
	e.t.Helper()
	h, body := e.next()
	require.Equal(e.t, id.String(), h.ID.String())
	return h, body
}

func (e *end) submit() (pdu.Header, pdu.SM) {
	e.t.Helper()
	h, body := e.expect(pdu.SubmitSM)
	m, err := pdu.ParseSM(append([]byte(nil), body...))
	require.NoError(e.t, err)
	return h, m
}

func (e *end) write(b []byte, err error) {
	e.t.Helper()
	require.NoError(e.t, err)
	_, err = e.conn.Write(b)
	require.NoError(e.t, err)
}

// answer says yes with a C-octet string, as bind_resp and submit_sm_resp do.
func (e *end) answer(h pdu.Header, id string) {
	e.t.Helper()
	e.write(pdu.AppendMessageResp(nil, pdu.Header{ID: h.ID.Resp(), Seq: h.Seq}, id))
}

func (e *end) bare(id pdu.ID, status pdu.Status, seq uint32) {
	e.t.Helper()
	e.write(pdu.AppendBare(nil, pdu.Header{ID: id, Status: status, Seq: seq}), nil)
}

// deliver sends a deliver_sm and returns its number.
func (e *end) deliver(m pdu.SM) uint32 {
	e.t.Helper()
	e.seq++
	m.Source = pdu.Address{TON: 1, NPI: 1, Addr: "447700900123"}
	m.Dest = pdu.Address{TON: 1, NPI: 1, Addr: "447700900999"}
	e.write(m.Append(nil, pdu.Header{ID: pdu.DeliverSM, Seq: e.seq}))
	return e.seq
}

func (e *end) delivered(seq uint32, want pdu.Status) {
	e.t.Helper()
	h, _ := e.expect(pdu.DeliverSM.Resp())
	require.Equal(e.t, seq, h.Seq)
	require.Equal(e.t, want, h.Status)
}

// hangUp closes and takes whatever the other end still writes.
func (e *end) hangUp() { _ = e.conn.Close() }

// goodbye answers the unbind that an adapter ends with.
func (e *end) goodbye() {
	e.t.Helper()
	h, _ := e.expect(pdu.Unbind)
	e.bare(h.ID.Resp(), pdu.OK, h.Seq)
	_, _, err := e.r.Next()
	require.ErrorIs(e.t, err, io.EOF)
}

// closing closes an adapter while the test plays the far end.
func closing(t *testing.T, a *smpp.Adapter, far func()) {
	t.Helper()
	done := make(chan error, 1)
	go func() { done <- a.Close() }()
	far()
	require.NoError(t, <-done)
}

type sent struct {
	acc adapters.Accepted
	err error
}

func sending(ctx context.Context, a *smpp.Adapter, text string) chan sent {
	out := make(chan sent, 1)
	go func() {
		acc, err := a.Send(ctx, adapters.Message{Key: "m1-1", To: "+447700900123", Text: text})
		out <- sent{acc, err}
	}()
	return out
}

// refused checks the outcome of a send.
func refused(t *testing.T, s sent, want adapters.Outcome) *adapters.SendError {
	t.Helper()
	var se *adapters.SendError
	require.ErrorAs(t, s.err, &se)
	require.Equal(t, want, se.Outcome, se.Reason)
	return se
}

// receiving runs Receive and returns what ends it.
func receiving(t *testing.T, a *smpp.Adapter, sink adapters.Sink) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Receive(ctx, sink) }()
	return func() {
		cancel()
		require.NoError(t, <-done)
	}
}

func bubble(t *testing.T, f func(t *testing.T, w *wire)) {
	t.Helper()
	t.Parallel()
	synctest.Test(t, func(t *testing.T) { f(t, newWire(t)) })
}

func stopWith(t *testing.T, stop func(), far func()) {
	t.Helper()
	var wg sync.WaitGroup
	wg.Go(stop)
	far()
	wg.Wait()
}

var _ adapters.Sink = (*adapterstest.Sink)(nil)
