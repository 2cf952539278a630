package simulation

import (
	"context"
	"maps"
	"slices"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// end checks what must have come about when the night is over.
func (w *watch) end(ctx context.Context) error {
	if err := w.look(ctx); err != nil {
		return err
	}
	refs := map[string]bool{}
	for _, o := range w.orders {
		refs[o.Ref] = true
		switch o.State {
		case night.HandedOut, night.Cancelled, night.NotCollected:
		case night.Booked, night.Told, night.Reminded, night.Arrived:
			w.violate("at the end order %s is %s", o.Ref, o.State)
		}
		p := w.partyOf(o.Ref)
		if p != nil && p.present && o.State == night.NotCollected {
			w.violate("at the end order %s is %s, and its customer was there", o.Ref, o.State)
		}
	}
	for _, b := range w.s.sc.orders {
		if !refs[b.ref] {
			w.violate("at the end order %s is lost", b.ref)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(w.s.net.said)) {
		if said := w.s.net.said[id]; !said.stored {
			w.violate("at the end the text %q was never acknowledged", said.text)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(w.messages)) {
		w.ended(w.messages[id])
	}
	for id := range w.s.net.by {
		if _, ok := w.messages[id]; !ok {
			w.violate("at the end message %d, which a provider was given, is not on record", id)
		}
	}
	return w.nothingMissing(ctx)
}

// ended checks that what became of a message is what the record says.
func (w *watch) ended(m night.Message) {
	calls := w.s.net.by[m.ID]
	// What a person or a rule sent again is known to have gone out more often.
	maybe := 0
	for _, c := range calls {
		if c.fate.taken {
			maybe++
		}
	}
	switch m.State {
	case night.Due, night.Sending:
		w.violate("at the end message %d, %s, is %s", m.ID, m.Kind, m.State)
	case night.Sent, night.Delivered, night.InDoubt, night.ByHand:
	case night.Missed, night.Dropped:
		if maybe > 0 {
			w.violate("at the end message %d, %s, is %s, and it reached a phone", m.ID, m.Kind, m.State)
		}
	case night.Failed: // then the network said that it was lost
		if slices.ContainsFunc(calls, func(c *call) bool { return c.fate.taken && !c.lost }) {
			w.violate("at the end message %d, %s, is %s, and it reached a phone", m.ID, m.Kind, m.State)
		}
	}
	if maybe > 1 && !w.resent(m.ID, 0) && !m.Fallen {
		w.violate("at the end message %d, %s, reached a phone %d times", m.ID, m.Kind, maybe)
	}
}

// nothingMissing checks that planning once more would add nothing, but for what was
// too late already when a clock was put back.
func (w *watch) nothingMissing(ctx context.Context) error {
	foreseen, err := w.desk.Foresee(ctx, func(d *desk.Desk) error { return d.Replan(ctx, w.s.night.ID) })
	if err != nil {
		return err
	}
	mended := map[int64]bool{} // whom a person sees to
	for _, m := range w.messages {
		switch m.State {
		case night.Failed, night.Missed, night.InDoubt:
			for _, c := range m.Covers {
				mended[c.OrderID] = true
			}
		case night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Dropped:
		}
	}
	for _, c := range foreseen {
		late := c.What == night.MessagePlanned && !c.Message.ExpiresAt.IsZero() && !c.Message.ExpiresAt.After(w.latest)
		if c.What == night.MessagePlanned && !late && !mended[c.Message.Covers[0].OrderID] {
			w.violate("a %s about order %d is missing: planning again would add it", c.Message.Kind, c.Message.Covers[0].OrderID)
		}
	}
	return nil
}
