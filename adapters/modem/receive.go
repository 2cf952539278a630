package modem

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/adapters/longtext"
)

// inlet is what is remembered of what came in, across sessions.
type inlet struct {
	a    *Adapter
	wake chan struct{}

	mu      sync.Mutex
	unheard []direct // told by the modem and not yet looked at

	// The rest is Receive's alone.
	sink    adapters.Sink
	waiting []direct // with a PDU, and not yet stored
	parts   *longtext.Assembler
	loose   map[*longtext.Gathering][]slot // parts that are in no store of the modem
}

// direct is one thing that a modem told unasked.
type direct struct {
	s  *session
	ev event
}

// slot is where a part of a long text is, and what it is.
type slot struct {
	index int // -1: nowhere
	seq   uint8
	id    string
}

const (
	maxUnheard = 1000
	// keepDone is how long the parts of a stored long text are known again: a
	// network repeats what it thinks undelivered within hours (common practice,
	// no source), and a sender's reference comes again after 256 long texts.
	keepDone = 24 * time.Hour
)

func (in *inlet) init(a *Adapter) {
	in.a = a
	in.wake = make(chan struct{}, 1)
	in.parts = longtext.New(time.Duration(a.cfg.AssembleWithin), keepDone)
	in.loose = map[*longtext.Gathering][]slot{}
}

// news takes in what the modem tells. It does not block.
func (in *inlet) news(s *session, ev event) {
	in.mu.Lock()
	if len(in.unheard) < maxUnheard {
		in.unheard = append(in.unheard, direct{s, ev})
	} else {
		in.a.log.Warn("more comes in than can be stored; the network is left to repeat it")
	}
	in.mu.Unlock()
	select {
	case in.wake <- struct{}{}:
	default:
	}
}

// Receive opens the port and hands everything that comes to sink until ctx is
// done; then it returns nil. Calls of sink come one at a time.
func (a *Adapter) Receive(ctx context.Context, sink adapters.Sink) error {
	if !a.receiving.CompareAndSwap(false, true) {
		return fmt.Errorf("%s: receiving is under way already", a.cfg.Name)
	}
	defer a.receiving.Store(false)
	in := &a.inlet
	in.sink = sink
	for ctx.Err() == nil {
		s, err := a.link.get(ctx)
		switch {
		case errors.Is(err, errClosed):
			return fmt.Errorf("%s: receiving: %w", a.cfg.Name, err)
		case err != nil:
			a.pause(ctx, a.link.wait())
			continue
		}
		in.serve(ctx, s)
	}
	return nil
}

// serve looks after one session until it breaks or ctx is done.
func (in *inlet) serve(ctx context.Context, s *session) {
	cfg := &in.a.cfg
	check := false
	for ctx.Err() == nil && s.gone() == nil {
		stored := in.round(ctx, s, check)
		wait := time.Duration(cfg.Poll)
		if !stored {
			wait = min(wait, time.Duration(cfg.StoreRetry))
		}
		check = false
		select {
		case <-in.wake:
		case <-in.a.after(wait):
			check = stored
		case <-s.dead:
		case <-ctx.Done():
		}
	}
}

// round looks at everything once. False where something could not be stored or
// looked at.
func (in *inlet) round(ctx context.Context, s *session, check bool) bool {
	if check {
		if err := s.well(ctx); err != nil {
			in.a.log.Warn("the modem has lost its settings; it is set up again", "error", err)
			s.fail(err)
			return false
		}
	}
	in.hear(s)
	all := in.directs(ctx, s)
	for _, mem := range slices.Clone(s.mems) {
		if err := in.sweep(ctx, s, mem, &all); err != nil {
			in.a.log.Warn("the modem's store cannot be read", "store", mem, "error", err)
			return false
		}
	}
	return all
}

// hear sorts what the modem told: what it stored is found in its store.
func (in *inlet) hear(s *session) {
	in.mu.Lock()
	news := in.unheard
	in.unheard = nil
	in.mu.Unlock()
	for _, n := range news {
		if n.ev.pdu != nil {
			in.waiting = append(in.waiting, n)
		} else if v := values(n.ev.line); n.s == s && len(v) > 0 {
			s.addStore(v[0])
		}
	}
}

// directs hands on what came with its PDU and is in no store. It is acknowledged
// once it is stored, where the modem waits for that (AT+CSMS=1).
func (in *inlet) directs(ctx context.Context, s *session) bool {
	all := true
	kept := in.waiting[:0]
	for _, n := range in.waiting {
		if !in.direct(ctx, s, n.ev.pdu) {
			all = false
			kept = append(kept, n)
			continue
		}
		if n.s != s || !s.acked {
			continue
		}
		if _, err := s.ask(ctx, "AT+CNMA", ""); err != nil {
			// Too late: the network repeats it, and the modem may have switched
			// its indications off.
			in.a.log.Info("an acknowledgement came too late", "error", err)
			if s.gone() == nil && s.well(ctx) != nil {
				s.fail(errOutOfStep)
			}
		}
	}
	in.waiting = kept
	return all
}

// direct stores one thing that is in no store of the modem.
func (in *inlet) direct(ctx context.Context, s *session, pdu []byte) bool {
	d, r, err := parse(pdu)
	switch {
	case errors.Is(err, errNotForUs):
		return true
	case err != nil:
		return in.store(ctx, &delivery{text: unreadable(pdu), id: mark(pdu)})
	case r != nil:
		return in.receipt(ctx, s, r)
	case d.head.Kind == 0:
		return in.store(ctx, d)
	}
	// A part of a long text: it goes into the modem's store until the others are
	// there, else it is lost in a crash.
	_, err = s.do(ctx, command{
		line: fmt.Sprintf("AT+CMGW=%d,0", len(pdu)-int(pdu[0])-1), prefix: "+CMGW:", pdu: fmt.Sprintf("%X", pdu),
	})
	if err == nil {
		return true
	}
	in.a.log.Info("the modem does not store a part of a long text; it is kept in memory", "error", err)
	v := in.parts.Add(in.a.now(), partOf(d))
	if v.Pushed != nil {
		in.hand(ctx, s, v.Pushed, nil)
	}
	sl := slot{index: -1, seq: d.head.Seq, id: d.id}
	switch {
	case v.Waiting != nil:
		in.loose[v.Waiting] = append(in.loose[v.Waiting], sl)
	case v.Full != nil:
		in.loose[v.Full] = append(in.loose[v.Full], sl)
		return in.hand(ctx, s, v.Full, nil)
	}
	return !v.NoRoom
}

func partOf(d *delivery) longtext.Part {
	return longtext.Part{
		Key: longtext.Key{Lane: d.from, From: d.from, Kind: d.head.Kind, Ref: d.head.Ref, Total: d.head.Total},
		Seq: d.head.Seq, Text: d.text,
	}
}

// sweep hands on everything in one store and deletes what is stored. all becomes
// false where something could not be stored.
func (in *inlet) sweep(ctx context.Context, s *session, mem string, all *bool) error {
	err := s.selectStore(ctx, mem)
	if isFault(err) && mem != s.mems[0] {
		s.dropStore(mem)
		return nil
	}
	if err != nil {
		return err
	}
	got, err := s.do(ctx, command{line: "AT+CMGL=4", prefix: answerList, time: 6 * time.Duration(in.a.cfg.Command)})
	if err != nil {
		return err
	}
	var (
		open  []*longtext.Gathering // in the order in which they were seen
		slots = map[*longtext.Gathering][]slot{}
	)
	for _, ev := range got.pdus {
		v := values(ev.line) // index, state, name, length
		index := number(v, 0)
		if state := number(v, 1); index < 0 || state != 0 && state != 1 {
			continue // written with this SIM, not received
		}
		d, r, err := parse(ev.pdu)
		done := false
		switch {
		case errors.Is(err, errNotForUs):
			continue
		case err != nil:
			in.a.log.Warn("a text cannot be read; it is handed on as it is", "error", err)
			done = in.store(ctx, &delivery{text: unreadable(ev.pdu), id: mark(ev.pdu)})
		case r != nil:
			done = in.receipt(ctx, s, r)
		case d.head.Kind == 0:
			done = in.store(ctx, d)
		default:
			v := in.parts.Add(in.a.now(), partOf(d))
			if v.Pushed != nil && !in.hand(ctx, s, v.Pushed, slots[v.Pushed]) {
				*all = false
			}
			g := v.Waiting
			if v.Full != nil {
				g = v.Full
			}
			if g == nil {
				done = v.Again
				break
			}
			if slots[g] == nil {
				open = append(open, g)
			}
			slots[g] = append(slots[g], slot{index: index, seq: d.head.Seq, id: d.id})
			continue
		}
		if !done {
			*all = false
			continue
		}
		if err := s.remove(ctx, index); err != nil {
			return err
		}
	}
	for _, g := range open {
		if (g.Complete() || in.parts.Overdue(in.a.now(), g)) && !in.hand(ctx, s, g, slots[g]) {
			*all = false
		}
	}
	for _, g := range in.parts.Due(in.a.now()) {
		if _, loose := in.loose[g]; loose && slots[g] == nil && !in.hand(ctx, s, g, nil) {
			*all = false
		}
	}
	return s.gone()
}

// remove deletes one text from the store that is selected.
func (s *session) remove(ctx context.Context, index int) error {
	_, err := s.ask(ctx, fmt.Sprintf("AT+CMGD=%d", index), "")
	if isFault(err) {
		s.a.log.Warn("the modem does not delete a text; it will be handed on again", "error", err)
		return nil
	}
	return err
}

// hand stores a long text and deletes its parts. It says whether it was stored.
func (in *inlet) hand(ctx context.Context, s *session, g *longtext.Gathering, slots []slot) bool {
	slots = append(slots[:len(slots):len(slots)], in.loose[g]...)
	byPart := map[uint8]string{}
	for _, sl := range slots {
		if byPart[sl.seq] == "" {
			byPart[sl.seq] = sl.id
		}
	}
	ids := [][]byte{[]byte(g.Key.From)}
	for seq := range g.Key.Total {
		ids = append(ids, []byte(byPart[seq+1]))
	}
	if !in.store(ctx, &delivery{from: g.Key.From, text: g.Whole(), id: mark(ids...)}) {
		return false
	}
	in.parts.Finish(in.a.now(), g)
	delete(in.loose, g)
	for _, sl := range slots {
		if sl.index >= 0 && s.remove(ctx, sl.index) != nil {
			break // the session is gone; they are known as stored when they come again
		}
	}
	return true
}

// store hands a text to the sink. What is under way is stored even when ctx ends.
func (in *inlet) store(ctx context.Context, d *delivery) bool {
	err := in.sink.Inbound(context.WithoutCancel(ctx), adapters.Inbound{ID: d.id, From: d.from, Text: d.text, At: d.at})
	if err != nil {
		in.a.log.Warn("a text could not be stored; it stays where it is and is tried again", "error", err)
	}
	return err == nil
}

// receipt hands on a status report.
func (in *inlet) receipt(ctx context.Context, s *session, r *report) bool {
	id, known := in.a.book.join(r)
	if !known {
		// Its part may have been handed over just now, and the result be on its
		// way: with the turn, nothing is.
		if err := s.take(ctx); err != nil {
			return false
		}
		s.give()
		id, known = in.a.book.join(r)
	}
	ids := []string{id}
	if !known {
		ids = candidates(r)
	}
	status, reason := statusOf(r.status)
	for _, id := range ids {
		err := in.sink.Receipt(context.WithoutCancel(ctx), adapters.Receipt{ID: id, Status: status, Reason: reason, At: r.at})
		if err != nil {
			in.a.log.Warn("a receipt could not be stored; it is tried again", "error", err)
			return false
		}
	}
	return true
}
