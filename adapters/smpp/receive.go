package smpp

import (
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"strconv"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/adapters/longtext"
	"passbell/adapters/smpp/pdu"
)

func durationOf(d adapters.Duration) time.Duration { return time.Duration(d) }

// The texts of one sender are handled in their order, on one of these lanes.
const (
	laneCount = 8
	laneRoom  = 64
)

// desk is what is remembered of what came in, across connections.
type desk struct {
	mu      sync.Mutex
	parts   *longtext.Assembler
	repeats *repeats
	held    map[*longtext.Gathering][]waiting
}

// waiting is a delivery whose answer is held back.
type waiting struct {
	s     *session
	h     pdu.Header
	since time.Time
}

func newDesk(cfg *Config) desk {
	return desk{
		parts:   longtext.New(durationOf(cfg.AssembleWithin), unackedFor),
		repeats: newRepeats(durationOf(cfg.RepeatWindow)),
		held:    map[*longtext.Gathering][]waiting{},
	}
}

// inlet is one run of Receive.
type inlet struct {
	a     *Adapter
	sink  adapters.Sink
	ctx   context.Context // outlives Receive's own, so that a text under way is stored
	seed  maphash.Seed
	lanes [laneCount]chan job
	done  chan struct{}
	wg    sync.WaitGroup
}

// job is a delivery, or a text to hand on with its gaps.
type job struct {
	s     *session
	h     pdu.Header
	m     pdu.SM
	flush *longtext.Gathering
}

// Receive signs in and hands everything that comes to sink until ctx is done;
// then it finishes what is under way, signs off and returns nil. Calls of sink
// come from several goroutines, those about one sender in order.
func (a *Adapter) Receive(ctx context.Context, sink adapters.Sink) error {
	in := &inlet{a: a, sink: sink, ctx: context.WithoutCancel(ctx), seed: maphash.MakeSeed(), done: make(chan struct{})}
	for i := range in.lanes {
		in.lanes[i] = make(chan job, laneRoom)
	}
	if a.closed() {
		return fmt.Errorf("%s: receiving: %w", a.cfg.Name, errLeaving)
	}
	if !a.inlet.CompareAndSwap(nil, in) {
		return fmt.Errorf("%s: receiving is under way already", a.cfg.Name)
	}
	for i := range in.lanes {
		in.wg.Go(func() { in.work(in.lanes[i]) })
	}
	in.wg.Go(in.sweep)
	var holds sync.WaitGroup
	for _, l := range a.links() {
		holds.Go(func() { l.hold(ctx) })
	}
	holds.Wait()

	a.inlet.Store(nil)
	close(in.done)
	in.wg.Wait()
	a.desk.letGo(time.Time{})
	var leaves sync.WaitGroup
	for _, l := range a.links() {
		leaves.Go(l.leave)
	}
	leaves.Wait()
	return nil
}

// delivered takes a delivery off a session's reader. It does not block.
func (a *Adapter) delivered(s *session, h pdu.Header, body []byte) {
	in := a.inlet.Load()
	if in == nil {
		refuse(s, h, pdu.TemporaryFault)
		return
	}
	parse := pdu.ParseSM
	if h.ID == pdu.DataSM {
		parse = pdu.ParseDataSM
	}
	m, err := parse(body)
	if err != nil {
		a.log.Error("the message centre delivered something that cannot be read; it was refused", "error", err)
		refuse(s, h, pdu.PermanentFault)
		return
	}
	if !in.put(job{s: s, h: h, m: m}, m.Source.Addr) {
		refuse(s, h, pdu.TemporaryFault)
	}
}

func refuse(s *session, h pdu.Header, why pdu.Status) {
	s.reply(pdu.Header{ID: h.ID.Resp(), Status: why, Seq: h.Seq})
}

func accept(s *session, h pdu.Header) {
	s.reply(pdu.Header{ID: h.ID.Resp(), Seq: h.Seq})
}

// put queues a job on its sender's lane; false where the lane is full.
func (in *inlet) put(j job, sender string) bool {
	lane := in.lanes[maphash.String(in.seed, sender)%laneCount]
	select {
	case <-in.done:
		return false
	case lane <- j:
		return true
	default:
		return false
	}
}

func (in *inlet) work(lane chan job) {
	for {
		select {
		case j := <-lane:
			in.handle(j)
		case <-in.done:
			for {
				select {
				case j := <-lane:
					in.handle(j)
				default:
					return
				}
			}
		}
	}
}

// sweep refuses for now the parts whose answer was held back long enough, and
// hands on the texts whose parts have been missing for too long.
func (in *inlet) sweep() {
	hold := durationOf(in.a.cfg.HoldParts)
	for {
		select {
		case <-in.a.after(max(hold/4, time.Millisecond)):
		case <-in.done:
			return
		}
		now := in.a.now()
		in.a.desk.letGo(now.Add(-hold))
		d := &in.a.desk
		d.mu.Lock()
		due := d.parts.Due(now)
		d.mu.Unlock()
		for _, g := range due {
			in.put(job{flush: g}, g.Key.Lane) // where it is full, the next sweep comes
		}
	}
}

// letGo refuses for now what has been held back since before t; the zero time
// lets everything go.
func (d *desk) letGo(t time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for g, list := range d.held {
		kept := list[:0]
		for _, w := range list {
			if t.IsZero() || !w.since.After(t) {
				refuse(w.s, w.h, pdu.TemporaryFault)
			} else {
				kept = append(kept, w)
			}
		}
		if len(kept) == 0 {
			delete(d.held, g)
		} else {
			d.held[g] = kept
		}
	}
}

// release takes the deliveries that are held back for a text.
func (d *desk) release(g *longtext.Gathering) []waiting {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := d.held[g]
	delete(d.held, g)
	return out
}

func (in *inlet) handle(j job) {
	if j.flush != nil {
		in.flush(j.flush)
		return
	}
	if j.m.IsReceipt() {
		in.receipt(j)
		return
	}
	h, octets := splitHeader(j.m.ESM, j.m.Payload())
	text := decode(j.m.Coding, h, octets, in.a.cfg.Alphabet)
	if kind, ref, total, seq, ok := concatOf(&j.m, h); ok {
		in.part(j, longtext.Part{
			Key: longtext.Key{
				Lane: j.m.Source.Addr, From: number(j.m.Source), To: number(j.m.Dest),
				Kind: kind, Ref: ref, Total: total,
			},
			Seq: seq, Text: text,
		})
		return
	}
	mark := printOf(&j.m, text)
	if err := in.store(number(j.m.Source), number(j.m.Dest), text, mark); err != nil {
		refuse(j.s, j.h, pdu.TemporaryFault)
		return
	}
	in.acknowledge(j.s, j.h, mark)
}

// printOf is the content by which a text is known again. An id or a reference
// that the centre hands on is part of it.
func printOf(m *pdu.SM, text string) [32]byte {
	id, _ := m.TLVs.CString(pdu.TagReceiptedID)
	ref, ok := m.TLVs.Uint16(pdu.TagUserReference)
	reference := ""
	if ok {
		reference = strconv.Itoa(int(ref))
	}
	return fingerprint(m.Source.Addr, m.Dest.Addr, text, id, reference)
}

// store hands a text to the sink. The sink has as long as a request may take.
func (in *inlet) store(from, to, text string, mark [32]byte) error {
	d := &in.a.desk
	d.mu.Lock()
	id := d.repeats.id(in.a.now(), mark)
	d.mu.Unlock()
	ctx, cancel := in.limit()
	defer cancel()
	err := in.sink.Inbound(ctx, adapters.Inbound{ID: id, From: from, To: to, Text: text})
	if err != nil {
		in.a.log.Warn("a text could not be stored; the message centre is asked to deliver it again", "error", err)
	}
	return err
}

func (in *inlet) limit() (context.Context, context.CancelFunc) {
	return context.WithTimeoutCause(in.ctx, durationOf(in.a.cfg.Response), errors.New("storing took too long"))
}

func (in *inlet) acknowledge(s *session, h pdu.Header, mark [32]byte) {
	accept(s, h)
	now := in.a.now()
	d := &in.a.desk
	d.mu.Lock()
	defer d.mu.Unlock()
	d.repeats.acked(now, mark, func() bool { return s.unheardSince(now) })
}

// part takes in a part of a long text.
func (in *inlet) part(j job, p longtext.Part) {
	d := &in.a.desk
	now := in.a.now()
	d.mu.Lock()
	v := d.parts.Add(now, p)
	if v.Waiting != nil {
		d.held[v.Waiting] = append(d.held[v.Waiting], waiting{s: j.s, h: j.h, since: now})
	}
	d.mu.Unlock()

	if v.Pushed != nil {
		in.hand(v.Pushed)
	}
	switch {
	case v.Again:
		accept(j.s, j.h)
	case v.NoRoom:
		in.a.log.Warn("too many unfinished long texts; a part was refused for now")
		refuse(j.s, j.h, pdu.TemporaryFault)
	case v.Full != nil:
		if in.hand(v.Full) {
			accept(j.s, j.h)
		} else {
			refuse(j.s, j.h, pdu.TemporaryFault)
		}
	}
}

// flush hands on a text with its gaps, unless its parts came meanwhile.
func (in *inlet) flush(g *longtext.Gathering) {
	d := &in.a.desk
	d.mu.Lock()
	due := d.parts.Overdue(in.a.now(), g)
	d.mu.Unlock()
	if due {
		in.hand(g)
	}
}

// hand stores a long text, answers the parts of it that are held back, and says
// whether it was stored.
func (in *inlet) hand(g *longtext.Gathering) bool {
	d := &in.a.desk
	text := g.Whole()
	mark := fingerprint(g.Key.Lane, g.Key.To, text, "", "")
	err := in.store(g.Key.From, g.Key.To, text, mark)
	held := d.release(g)
	if err != nil {
		for _, w := range held {
			refuse(w.s, w.h, pdu.TemporaryFault)
		}
		return false
	}
	now := in.a.now()
	d.mu.Lock()
	d.parts.Finish(now, g)
	d.repeats.acked(now, mark, nil)
	d.mu.Unlock()
	for _, w := range held {
		accept(w.s, w.h)
	}
	return true
}

// maxUnsure bounds how many receipts are asked for again because their id may
// become clear: the first text's receipt clears it.
const maxUnsure = 200

// receipt hands on what became of a text.
func (in *inlet) receipt(j job) {
	h, octets := splitHeader(j.m.ESM, j.m.Payload())
	// A receipt's text is the centre's own and in ASCII, whatever alphabet
	// data_coding 0 stands for; in the phones' alphabet an underscore of an id
	// would be another sign.
	text := string(octets)
	if r := readingOf(j.m.Coding); r == readUCS2 {
		text = decode(j.m.Coding, h, octets, in.a.cfg.Alphabet)
	}
	r := parseReceipt(&j.m, text, in.a.zone)
	if r.id == "" {
		in.a.log.Warn("a receipt names no text; it was taken and left aside")
		accept(j.s, j.h)
		return
	}
	id, sure := in.a.ids.receipt(r.id)
	if !sure && in.a.out.waiting() && in.a.unsure.Add(1) <= maxUnsure {
		// The answer may be on its way, and tell how this centre spells its ids.
		refuse(j.s, j.h, pdu.TemporaryFault)
		return
	}
	status, reason := r.status()
	at := r.done
	if at.IsZero() {
		at = in.a.now().UTC()
	}
	ctx, cancel := in.limit()
	defer cancel()
	err := in.sink.Receipt(ctx, adapters.Receipt{ID: id, Status: status, Reason: reason, At: at})
	if err != nil {
		in.a.log.Warn("a receipt could not be stored; the message centre is asked to deliver it again", "error", err)
		refuse(j.s, j.h, pdu.TemporaryFault)
		return
	}
	accept(j.s, j.h)
}
