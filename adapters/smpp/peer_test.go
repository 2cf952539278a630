package smpp_test

import (
	"bufio"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/linxGnu/gosmpp/data"
	gosmpp "github.com/linxGnu/gosmpp/pdu"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

// centre is a message centre for the tests. It is built on the codec of another
// library, so that a mistake in ours does not cancel out.
type centre struct {
	t  *testing.T
	ln net.Listener
	// refuseBind, where set, is the status of every answer to a bind.
	refuseBind data.CommandStatusType
	// mute lets enquire_link go unanswered.
	mute bool
	wg   sync.WaitGroup

	mu       sync.Mutex
	away     bool
	conns    map[*client]struct{}
	next     []adapterstest.Behaviour
	submits  []*gosmpp.SubmitSM
	taken    []adapterstest.Taken
	parts    map[string][]string
	ids      int
	numbers  map[string]string // by id: the number that the text went to
	offers   map[string]*offer
	order    []string
	binds    []*gosmpp.BindRequest
	unbinds  int
	enquired int
	answers  []answered
}

// answered is a deliver_sm_resp that came in.
type answered struct {
	id     string
	status data.CommandStatusType
}

// offer is something that waits to be delivered.
type offer struct {
	id    string
	pdu   func() gosmpp.PDU
	acked bool
	live  bool // delivered and not answered yet
}

// client is one connection to the centre.
type client struct {
	c     *centre
	conn  net.Conn
	bind  *gosmpp.BindRequest
	wmu   sync.Mutex
	seqs  map[int32]string
	seq   int32
	close sync.Once
}

func newCentre(t *testing.T) *centre {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	c := &centre{
		t: t, ln: ln, conns: map[*client]struct{}{}, parts: map[string][]string{},
		numbers: map[string]string{}, offers: map[string]*offer{},
	}
	c.wg.Go(c.serve)
	t.Cleanup(func() {
		_ = ln.Close()
		c.Unreachable(true)
		c.wg.Wait()
	})
	return c
}

func (c *centre) addr() string { return c.ln.Addr().String() }

func (c *centre) serve() {
	for {
		conn, err := c.ln.Accept()
		if err != nil {
			return
		}
		c.mu.Lock()
		if c.away {
			c.mu.Unlock()
			_ = conn.Close()
			continue
		}
		cl := &client{c: c, conn: conn, seqs: map[int32]string{}}
		c.conns[cl] = struct{}{}
		c.mu.Unlock()
		c.wg.Go(cl.run)
	}
}

func (cl *client) run() {
	defer cl.drop()
	r := bufio.NewReader(cl.conn)
	for {
		p, err := gosmpp.Parse(r)
		if err != nil {
			return
		}
		if !cl.answer(p) {
			return
		}
	}
}

func (cl *client) drop() {
	cl.close.Do(func() { _ = cl.conn.Close() })
	cl.c.mu.Lock()
	defer cl.c.mu.Unlock()
	delete(cl.c.conns, cl)
	for _, id := range cl.seqs { // what was not answered is delivered again
		if o := cl.c.offers[id]; o != nil {
			o.live = false
		}
	}
}

func (cl *client) write(p gosmpp.PDU) {
	b := gosmpp.NewBuffer(nil)
	p.Marshal(b)
	cl.wmu.Lock()
	defer cl.wmu.Unlock()
	_, _ = cl.conn.Write(b.Bytes()) // the reader sees that it broke
}

func (cl *client) answer(p gosmpp.PDU) bool {
	c := cl.c
	switch p := p.(type) {
	case *gosmpp.BindRequest:
		resp := gosmpp.NewBindResp(*p)
		c.mu.Lock()
		resp.CommandStatus = c.refuseBind
		resp.SystemID = "centre"
		c.binds = append(c.binds, p)
		if resp.CommandStatus == 0 {
			cl.bind = p
		}
		c.mu.Unlock()
		cl.write(resp)
		if resp.CommandStatus == 0 {
			c.redeliver()
		}
	case *gosmpp.EnquireLink:
		c.mu.Lock()
		c.enquired++
		mute := c.mute
		c.mu.Unlock()
		if !mute {
			cl.write(p.GetResponse())
		}
	case *gosmpp.Unbind:
		c.mu.Lock()
		c.unbinds++
		c.mu.Unlock()
		cl.write(p.GetResponse())
		return false
	case *gosmpp.SubmitSM:
		return cl.submit(p)
	case *gosmpp.DeliverSMResp:
		cl.delivered(p)
	}
	return true
}

// submit does with a text what the script says.
func (cl *client) submit(p *gosmpp.SubmitSM) bool {
	c := cl.c
	resp := p.GetResponse().(*gosmpp.SubmitSMResp) //nolint:forcetypeassert // the library's own
	c.mu.Lock()
	todo := adapterstest.Accept
	if firstPart(p) && len(c.next) > 0 {
		todo, c.next = c.next[0], c.next[1:]
	}
	status := data.ESME_ROK
	switch todo {
	case adapterstest.Temporary:
		status = data.ESME_RSYSERR
	case adapterstest.Permanent:
		status = data.ESME_RINVDSTADR
	case adapterstest.Throttle:
		status = data.ESME_RTHROTTLED
	}
	if status == data.ESME_ROK {
		c.take(p)
		c.ids++
		resp.MessageID = fmt.Sprintf("%08X", 0xA000+c.ids)
		c.numbers[resp.MessageID] = p.DestAddr.Address()
	}
	resp.CommandStatus = status
	c.mu.Unlock()
	switch todo {
	case adapterstest.Silent:
		return true
	case adapterstest.Drop:
		return false
	case adapterstest.ReceiptFirst:
		c.Receipt(adapters.Receipt{ID: resp.MessageID, Status: adapters.Delivered, At: time.Date(2026, 3, 13, 17, 30, 0, 0, time.UTC)})
	}
	cl.write(resp)
	return true
}

func firstPart(p *gosmpp.SubmitSM) bool {
	if udh := p.Message.UDH(); len(udh) > 0 {
		_, n, _, ok := udh.GetConcatInfo()
		return !ok || n == 1
	}
	return true
}

// take notes a text once all its parts are there.
func (c *centre) take(p *gosmpp.SubmitSM) {
	c.submits = append(c.submits, p)
	enc := data.GSM7BIT
	if p.Message.Encoding().DataCoding() == data.UCS2Coding {
		enc = data.UCS2
	}
	text, err := p.Message.GetMessageWithEncoding(enc)
	if err != nil {
		c.t.Errorf("a text that cannot be read: %v", err)
	}
	to := "+" + p.DestAddr.Address()
	total, n, ref, ok := p.Message.UDH().GetConcatInfo()
	if !ok {
		c.taken = append(c.taken, adapterstest.Taken{To: to, Text: text})
		return
	}
	key := fmt.Sprint(to, ref, total)
	if c.parts[key] == nil {
		c.parts[key] = make([]string, total)
	}
	c.parts[key][n-1] = text
	for _, part := range c.parts[key] {
		if part == "" {
			return
		}
	}
	c.taken = append(c.taken, adapterstest.Taken{To: to, Text: strings.Join(c.parts[key], "")})
	delete(c.parts, key)
}

func (c *centre) Taken() []adapterstest.Taken {
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([]adapterstest.Taken(nil), c.taken...)
}

func (c *centre) Next(b ...adapterstest.Behaviour) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.next = append(c.next, b...)
}

func (c *centre) Unreachable(yes bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.away = yes
	if !yes {
		return
	}
	for cl := range c.conns {
		cl.close.Do(func() { _ = cl.conn.Close() })
	}
}

// deliverSM makes a deliver_sm as a phone or the centre itself would.
func deliverSM(from string, esm byte, text []byte, enc data.Encoding) *gosmpp.DeliverSM {
	p := gosmpp.NewDeliverSM().(*gosmpp.DeliverSM) //nolint:forcetypeassert // the library's own
	p.SourceAddr.SetTon(1)
	p.SourceAddr.SetNpi(1)
	_ = p.SourceAddr.SetAddress(strings.TrimPrefix(from, "+"))
	p.DestAddr.SetTon(1)
	p.DestAddr.SetNpi(1)
	_ = p.DestAddr.SetAddress("447700900999")
	p.EsmClass = esm
	_ = p.Message.SetMessageDataWithEncoding(text, enc)
	return p
}

func (c *centre) Offer(in adapters.Inbound) {
	c.offer(in.ID, func() gosmpp.PDU {
		raw, _ := data.GSM7BIT.Encode(in.Text)
		return deliverSM(in.From, 0, raw, data.GSM7BIT)
	})
}

func (c *centre) offer(id string, make func() gosmpp.PDU) {
	c.mu.Lock()
	c.offers[id] = &offer{id: id, pdu: make}
	c.order = append(c.order, id)
	c.mu.Unlock()
	c.redeliver()
}

// redeliver sends what waits to a client that receives.
func (c *centre) redeliver() {
	c.mu.Lock()
	var to *client
	for cl := range c.conns {
		if cl.bind != nil && cl.bind.BindingType != gosmpp.Transmitter {
			to = cl
		}
	}
	var send []gosmpp.PDU
	for _, id := range c.order {
		o := c.offers[id]
		if to == nil || o.acked || o.live {
			continue
		}
		o.live = true
		to.seq++
		p := o.pdu()
		p.SetSequenceNumber(to.seq)
		to.seqs[to.seq] = id
		send = append(send, p)
	}
	c.mu.Unlock()
	for _, p := range send {
		to.write(p)
	}
}

// delivered notes the answer to a deliver_sm. What was refused is tried again a
// moment later.
func (cl *client) delivered(p *gosmpp.DeliverSMResp) {
	c := cl.c
	c.mu.Lock()
	id := cl.seqs[p.SequenceNumber]
	delete(cl.seqs, p.SequenceNumber)
	c.answers = append(c.answers, answered{id: id, status: p.CommandStatus})
	o := c.offers[id]
	again := false
	if o != nil {
		o.live = false
		o.acked = o.acked || p.CommandStatus == data.ESME_ROK
		again = !o.acked
	}
	c.mu.Unlock()
	if again {
		c.wg.Go(func() {
			time.Sleep(5 * time.Millisecond)
			c.redeliver()
		})
	}
}

func (c *centre) Acknowledged(id string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	o := c.offers[id]
	return o != nil && o.acked
}

func (c *centre) Repeat(id string) {
	c.mu.Lock()
	c.offers[id].acked = false
	c.mu.Unlock()
	c.redeliver()
}

// Receipt writes a receipt as Appendix B has it.
func (c *centre) Receipt(r adapters.Receipt) {
	stat := map[adapters.Status]string{
		adapters.Delivered: "DELIVRD", adapters.Failed: "UNDELIV", adapters.OnTheWay: "ACCEPTD",
	}[r.Status]
	at := r.At.UTC().Format("0601021504")
	text := fmt.Sprintf("id:%s sub:001 dlvrd:001 submit date:%s done date:%s stat:%s err:000 text:Larkfield", r.ID, at, at, stat)
	c.mu.Lock()
	number := c.numbers[r.ID]
	c.ids++
	id := fmt.Sprint("receipt", c.ids)
	c.mu.Unlock()
	c.offer(id, func() gosmpp.PDU { return deliverSM(number, 0x04, []byte(text), data.GSM7BIT) })
}
