package rehearsal

import (
	"context"
	"fmt"
	"strings"

	"passbell/adapters/practice"
	"passbell/internal/night"
)

// watch looks at everything that happens and holds it against what must always
// be so (the design's list).
type watch struct {
	orders   map[int64]night.Order // as loaded: for names and references
	states   map[int64]night.State // by the events alone
	event    int64                 // the last that was looked at
	opted    map[string]bool
	stops    map[string]bool // texts that ask to stop and were not yet obeyed
	out      map[int64]practice.Text
	once     map[onceKey]int64
	broken   []string
	misreads []Misread
}

// onceKey is what a message must be alone in.
type onceKey struct {
	order    int64
	kind     night.MessageKind
	revision int
}

// Misread is a text that was understood wrongly or not at all, and what came of
// it. People put it right, so it is no fault of the night's end.
type Misread struct {
	Name string
	Text string
	What string
}

func newWatch() watch {
	return watch{
		orders: map[int64]night.Order{}, states: map[int64]night.State{}, opted: map[string]bool{}, stops: map[string]bool{},
		out: map[int64]practice.Text{}, once: map[onceKey]int64{},
	}
}

func (w *watch) know(orders []night.Order) {
	for _, o := range orders {
		w.orders[o.ID] = o
		if _, known := w.states[o.ID]; !known {
			w.states[o.ID] = night.Booked
		}
	}
}

// who names an order's customer.
func (w *watch) who(order int64) string {
	o, ok := w.orders[order]
	if !ok {
		return "somebody"
	}
	return o.Name + " (" + o.Ref + ")"
}

func (w *watch) violate(format string, args ...any) {
	w.broken = append(w.broken, fmt.Sprintf(format, args...))
}

func (w *watch) misread(name, text, what string) {
	w.misreads = append(w.misreads, Misread{name, text, what})
}

// keyOf is the first part of the key that dispatch gives a message.
func keyOf(id int64) string { return fmt.Sprintf("m%d", id) }

// sent checks a text that reached a phone.
func (w *watch) sent(t practice.Text, m night.Message, orders []night.Order, k night.Kitchen, n night.Night) {
	local := t.At.In(k.Zone)
	at := local.Format("Mon 15:04")
	if m.ID == 0 {
		w.violate("%s: a text went out that is not on record", at)
		return
	}
	what := fmt.Sprintf("%s: message %d, %s", at, m.ID, m.Kind)
	if before, twice := w.out[m.ID]; twice {
		w.violate("%s: went out twice, first as %s", what, before.Key)
	}
	w.out[m.ID] = t
	if k.Quiet.Holds(night.ClockOf(local)) {
		w.violate("%s: went out in the quiet hours", what)
	}
	if w.opted[t.To] && m.Kind != night.Confirmation {
		w.violate("%s: went to somebody who wants no texts", what)
	}
	byID := make(map[int64]night.Order, len(orders))
	for _, o := range orders {
		byID[o.ID] = o
	}
	for _, c := range m.Covers {
		key := onceKey{c.OrderID, m.Kind, m.Revision}
		if other, ok := w.once[key]; ok && other != m.ID {
			w.violate("%s: message %d of the same kind and revision told of %s already", what, other, w.who(c.OrderID))
		}
		w.once[key] = m.ID
		w.stillTrue(what, m, byID[c.OrderID], c, local.Before(n.SlotAt(c.Slot, k.Zone)))
	}
}

// stillTrue checks what a text says of one order.
func (w *watch) stillTrue(what string, m night.Message, o night.Order, c night.Cover, ahead bool) {
	switch m.Kind {
	case night.Reply, night.Confirmation, night.Cancellation:
		return
	case night.Instructions, night.Reminder, night.Update, night.Nudge, night.Delay, night.Resend, night.Short:
	}
	switch {
	case !o.State.Open():
		w.violate("%s: %s is %s", what, w.who(o.ID), o.State)
	case o.State == night.Arrived && m.Kind != night.Resend && m.Kind != night.Short:
		w.violate("%s: %s is here already", what, w.who(o.ID))
	case o.Slot != c.Slot && m.Kind != night.Short: // which names no time
		w.violate("%s: it quotes %s to %s, whose slot is %s", what, c.Slot, w.who(o.ID), o.Slot)
	case m.Kind == night.Reminder && !ahead:
		w.violate("%s: it came after the slot of %s", what, w.who(o.ID))
	}
}

// observe looks at the events since the last time and tells of them.
func (r *Rehearsal) observe(ctx context.Context) error {
	const atOnce = 1000
	events, err := r.house.Desk.Events(ctx, r.night.ID, r.watch.event, atOnce)
	if err != nil || len(events) == 0 {
		return err
	}
	texts := map[int64]night.Inbound{}
	for _, e := range events {
		if e.InboundID != 0 {
			inbounds, err := r.house.Desk.Inbounds(ctx, r.night.ID)
			if err != nil {
				return err
			}
			for _, in := range inbounds {
				texts[in.ID] = in
			}
			break
		}
	}
	for _, e := range events {
		r.watch.event = e.ID
		r.watch.step(e)
		if in, ok := texts[e.InboundID]; ok {
			r.compare(e, in)
		}
	}
	r.narrate(events, texts)
	return nil
}

// step checks that an order moves along the table and from where it was.
func (w *watch) step(e night.Event) {
	if e.To == "" {
		return
	}
	if have := w.states[e.OrderID]; have != e.From {
		w.violate("event %d: %s moves from %s, but was %s", e.ID, w.who(e.OrderID), e.From, have)
	}
	w.states[e.OrderID] = e.To
	legal := e.What == night.StepUndone && e.From.Undoable()
	for _, s := range e.From.Steps() {
		to, err := e.From.After(s)
		legal = legal || e.What == night.StepTaken && err == nil && to == e.To
	}
	if !legal {
		w.violate("event %d: %s went from %s to %s, which no step allows", e.ID, w.who(e.OrderID), e.From, e.To)
	}
}

// understood tells whether a reading does for the kitchen what the text means.
// Who describes the car at the gate is here; a stranger's text only has to
// leave everybody alone.
func (s said) understood(reading string) bool {
	intent, _, _ := strings.Cut(reading, ":")
	return s.party == nil || intent == string(s.means) || s.means == meansCar && s.party.present && intent == string(meansHere)
}

// compare holds what was made of a text against what it truly means.
func (r *Rehearsal) compare(e night.Event, in night.Inbound) {
	s, ours := r.people.said[in.ProviderID]
	if !ours {
		return
	}
	name := "a stranger"
	if s.party != nil {
		name = s.party.rows[0].name
	}
	switch {
	case e.What == night.OptedOut:
		r.watch.opted[in.From] = true
		delete(r.watch.stops, in.ProviderID)
		if s.means != meansStop {
			r.watch.violate("%s was opted out by %q", name, in.Text)
		}
	case e.What == night.TextRead && s.means == meansStop && !r.watch.opted[in.From]:
		r.watch.stops[in.ProviderID] = true
	case e.What == night.TextRead && !s.understood(e.Why):
		r.watch.misread(name, in.Text, fmt.Sprintf("is %s, was read as %s", s.means, e.Why))
	case e.What == night.StepTaken && e.To == night.Arrived && e.Who == "customer":
		if o := r.people.byRef[r.watch.orders[e.OrderID].Ref]; o != nil && o.party != s.party {
			r.watch.violate("%q of %s marked %s as here", in.Text, name, o.name)
		}
	}
}
