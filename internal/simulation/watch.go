package simulation

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/store"
)

// watch holds what is in the database and what really reached phones against
// what must always be so (the design's list):
//
//  1. A message exists once for (order, kind, revision).
//  2. No message is knowingly sent twice, and none is dropped silently.
//  3. An inbound is stored before it is acknowledged, and handled once.
//  4. Orders move only along the table, and every move is an event.
//  5. Nobody who opted out is written to, save the one confirmation.
//  6. Nothing goes out in quiet hours or after its time; nothing about a
//     cancelled order but its cancellation.
//  7. A text from an unknown sender marks nobody as arrived.
//  8. A customer is never left unread.
//
// It reads the database with the store's own reading methods and knows the
// truth from the network, which nobody else asks.
type watch struct {
	s      *sim
	desk   *desk.Desk // to ask what planning again would do
	broken []string

	turn     int
	event    int64 // the last that was looked at
	night    night.Night
	orders   map[int64]night.Order
	messages map[int64]night.Message
	inbounds map[int64]night.Inbound
	optedOut map[string]bool

	states   map[int64]night.State     // of orders, by the events alone
	settled  map[int64][]night.Event   // by message: settled, changed, withdrawn
	came     map[int64]int             // events by inbound: how often it came,
	read     map[int64]string          // and what it was read as
	consents map[string]bool           // who opted out, by the events alone
	outs     map[string]int            // opt-outs by address
	confirms map[string]map[int64]bool // confirmations that were sent, by address
	once     map[onceKey]int64
	claimed  map[int64]int             // by message: the step at which its last attempt came on record
	latest   time.Time                 // the latest that the clock has shown
	phones   map[int64]map[string]bool // numbers that an order has had
	byRef    map[string]*party
	byPhone  map[string]*party
}

// onceKey is what a message must be alone in.
type onceKey struct {
	order    int64
	kind     night.MessageKind
	revision int
}

func newWatch(s *sim) *watch {
	w := &watch{
		s: s, states: map[int64]night.State{}, settled: map[int64][]night.Event{}, came: map[int64]int{}, read: map[int64]string{},
		consents: map[string]bool{}, outs: map[string]int{}, confirms: map[string]map[int64]bool{}, once: map[onceKey]int64{}, claimed: map[int64]int{},
		phones: map[int64]map[string]bool{}, byRef: map[string]*party{}, byPhone: map[string]*party{},
		messages: map[int64]night.Message{}, orders: map[int64]night.Order{}, inbounds: map[int64]night.Inbound{}, optedOut: map[string]bool{},
	}
	for _, b := range s.sc.orders {
		w.byRef[strings.ToLower(b.ref)] = b.party
		w.byRef[strings.ToLower(b.ref+"B")] = b.party
		if b.party.phone != "" {
			w.byPhone[b.party.phone] = b.party
		}
		w.byPhone[b.party.other] = b.party
	}
	return w
}

func (w *watch) partyOf(ref string) *party { return w.byRef[strings.ToLower(ref)] }

func (w *watch) partyBy(phone string) *party { return w.byPhone[phone] }

func (w *watch) ok() bool { return len(w.broken) == 0 }

func (w *watch) violate(format string, args ...any) {
	local := w.s.clock().In(w.s.k.Zone).Format("Mon 2 Jan 2006 15:04:05 MST: ")
	w.broken = append(w.broken, local+fmt.Sprintf(format, args...))
}

// underway tells whether an attempt is on record that nobody has settled.
func (w *watch) underway() bool {
	for _, m := range w.messages {
		if m.State == night.Sending {
			return true
		}
	}
	return false
}

// unread tells whether a text is stored and not yet read.
func (w *watch) unread() bool {
	for _, in := range w.inbounds {
		if in.State == night.Fresh {
			return true
		}
	}
	return false
}

// sight is what is in the database at one moment.
type sight struct {
	night    night.Night
	orders   map[int64]night.Order
	messages map[int64]night.Message
	inbounds map[int64]night.Inbound
	optedOut map[string]bool
	events   []night.Event
}

// see reads the database.
func (w *watch) see(ctx context.Context) (sight, error) {
	v := sight{orders: map[int64]night.Order{}, messages: map[int64]night.Message{}}
	w.turn++
	err := w.s.eye.Read(ctx, func(tx *store.Tx) (err error) {
		last, err := tx.LastEvent(ctx)
		if err != nil {
			return err
		}
		messages, err := tx.Messages(ctx, w.s.night.ID)
		if err != nil {
			return err
		}
		for _, m := range messages {
			v.messages[m.ID] = m
		}
		stray, err := tx.Stray(ctx)
		if err != nil {
			return err
		}
		if len(stray) > 0 {
			w.violate("the messages %v are due and not in the outbox, or in it and not due", stray)
		}
		// Nothing but a claim should change anything without an event; whether
		// that is so is looked at now and then.
		const nowAndThen = 4
		if v.inbounds = w.inbounds; last == w.event && w.turn%nowAndThen > 0 {
			v.night, v.orders, v.optedOut = w.night, w.orders, w.optedOut
			return nil
		}
		if v.night, err = tx.Night(ctx, w.s.night.ID); err != nil {
			return err
		}
		orders, err := tx.Orders(ctx, v.night.ID)
		if err != nil {
			return err
		}
		for _, o := range orders {
			v.orders[o.ID] = o
		}
		if v.optedOut, err = tx.OptedOut(ctx); err != nil {
			return err
		}
		return w.seeTexts(ctx, tx, &v)
	})
	return v, err
}

func (w *watch) seeTexts(ctx context.Context, tx *store.Tx, v *sight) error {
	v.inbounds = map[int64]night.Inbound{}
	fresh, err := tx.InboundsIn(ctx, night.Fresh)
	if err != nil {
		return err
	}
	texts, err := tx.Inbounds(ctx, v.night.ID)
	if err != nil {
		return err
	}
	for _, in := range append(texts, fresh...) {
		v.inbounds[in.ID] = in
	}
	for _, of := range []int64{0, v.night.ID} {
		const all = 1_000_000
		events, err := tx.Events(ctx, of, w.event, all)
		if err != nil {
			return err
		}
		v.events = append(v.events, events...)
	}
	slices.SortFunc(v.events, func(a, b night.Event) int { return int(a.ID - b.ID) })
	return nil
}

// look compares what is in the database now with what was there at the last
// look.
func (w *watch) look(ctx context.Context) error {
	v, err := w.see(ctx)
	if err != nil {
		return err
	}
	for _, e := range v.events {
		w.event = e.ID
		w.happened(e, v)
	}
	w.compareOrders(v)
	w.compareMarks(v)
	w.compareMessages(v)
	w.everybodyTold(v)
	w.compareTexts(v)
	if !maps.Equal(v.optedOut, w.consents) {
		w.violate("opted out are %d addresses, by the events it is %d", len(v.optedOut), len(w.consents))
	}
	w.night, w.orders, w.messages, w.inbounds, w.optedOut = v.night, v.orders, v.messages, v.inbounds, v.optedOut
	return nil
}

// happened takes in an event.
func (w *watch) happened(e night.Event, v sight) {
	_, _ = fmt.Fprintf(w.s.trace, "%d %s %s %d %d %s", e.ID, e.What, e.Why, e.OrderID, e.MessageID, e.To)
	w.s.o.Tell(fmt.Sprintf("    event %d: %s %s order %d message %d text %d %s %s: %s", e.ID, e.Who, e.What, e.OrderID, e.MessageID, e.InboundID, e.From, e.To, e.Why))
	switch e.What {
	case night.OrderAdded:
		w.states[e.OrderID] = night.Booked
	case night.StepTaken, night.StepUndone:
		w.stepped(e, v)
	case night.MessageSettled, night.MessageChanged, night.MessageWithdrawn:
		w.settled[e.MessageID] = append(w.settled[e.MessageID], e)
	case night.TextCame:
		if w.came[e.InboundID]++; w.came[e.InboundID] > 1 {
			w.violate("text %d came twice by its events", e.InboundID)
		}
	case night.TextRead:
		if as, twice := w.read[e.InboundID]; twice {
			w.violate("text %d was read twice: as %q and as %q", e.InboundID, as, e.Why)
		}
		w.read[e.InboundID] = e.Why
	case night.OptedOut:
		from := v.inbounds[e.InboundID].From
		w.consents[from] = true
		w.outs[from]++
	case night.OptedIn:
		delete(w.consents, v.inbounds[e.InboundID].From)
	default:
	}
}

// stepped checks that an order moves along the table, from where it was, and
// that no stranger's text moved it.
func (w *watch) stepped(e night.Event, v sight) {
	if have := w.states[e.OrderID]; have != e.From {
		w.violate("event %d: order %d moves from %s, but was %s", e.ID, e.OrderID, e.From, have)
	}
	w.states[e.OrderID] = e.To
	legal := e.What == night.StepUndone && e.From.Undoable()
	for _, step := range e.From.Steps() {
		to, err := e.From.After(step)
		legal = legal || e.What == night.StepTaken && err == nil && to == e.To
	}
	if !legal {
		w.violate("event %d: order %d went from %s to %s, which no step allows", e.ID, e.OrderID, e.From, e.To)
	}
	if e.To != night.Arrived || e.Who != "customer" {
		return
	}
	in, o := v.inbounds[e.InboundID], v.orders[e.OrderID]
	own := w.phones[o.ID][in.From] || o.Phone == in.From
	text := strings.ToLower(in.Text)
	names := strings.Contains(text, strings.ToLower(o.Ref)) || strings.Contains(text, strings.ToLower(o.Name))
	if !own && !names {
		w.violate("event %d: %q from a number that is not that of order %s marked it as arrived", e.ID, in.Text, o.Ref)
	}
}

// compareOrders checks that no order moved without an event, or went.
func (w *watch) compareOrders(v sight) {
	for id := range w.orders {
		if _, ok := v.orders[id]; !ok {
			w.violate("order %d is gone", id)
		}
	}
	for id, o := range v.orders {
		if have := w.states[id]; have != o.State {
			w.violate("order %s is %s, by its events it is %q", o.Ref, o.State, have)
		}
		if w.phones[id] == nil {
			w.phones[id] = map[string]bool{}
		}
		if o.Phone != "" {
			w.phones[id][o.Phone] = true
		}
	}
}

// compareTexts checks that no text from a customer is lost, doubled or left
// unread.
func (w *watch) compareTexts(v sight) {
	count := map[string]int{}
	for id, in := range v.inbounds {
		if count[in.ProviderID]++; count[in.ProviderID] > 1 {
			w.violate("the text %s is stored twice", in.ProviderID)
		}
		before, known := w.inbounds[id]
		if known && !textMay(before.State, in.State) {
			w.violate("text %d was %s and is %s", id, before.State, in.State)
		}
		if in.State == night.Fresh {
			continue
		}
		as, ok := w.read[id]
		if !ok {
			w.violate("text %d is %s, and no event says that it was read", id, in.State)
		}
		intent, _, _ := strings.Cut(as, ":")
		switch reading.Intent(intent) {
		case reading.Cancel, reading.Move, reading.Problem, reading.Ask:
			if in.State == night.Applied {
				w.violate("text %d, %q, asks for something and no person sees it", id, in.Text)
			}
		default:
		}
		if in.State == night.Applied && len(in.Orders) == 0 && reading.Intent(intent).Acts() {
			w.violate("text %d, %q, is about nobody's order and no person sees it", id, in.Text)
		}
	}
	for id := range w.inbounds {
		if _, ok := v.inbounds[id]; !ok {
			w.violate("text %d is gone", id)
		}
	}
	for id, s := range w.s.net.said {
		if s.stored && count[id] != 1 {
			w.violate("the text %s, %q, was acknowledged and is stored %d times", id, s.text, count[id])
		}
	}
}

// textMay tells whether a text may go from one state to another.
func textMay(from, to night.InboundState) bool {
	switch {
	case from == to:
		return true
	case from == night.Fresh:
		return to == night.Applied || to == night.Open || to == night.Settled // both since the last look
	case from == night.Open || from == night.Applied:
		return to == night.Settled
	}
	return false
}

func (w *watch) slotAt(c night.Clock) time.Time { return w.night.SlotAt(c, w.s.k.Zone) }
