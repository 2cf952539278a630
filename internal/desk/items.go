package desk

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"passbell/internal/night"
	"passbell/internal/wording"
)

// Line names one line of an order.
type Line struct {
	Place int    // from 0
	Name  string // as it was seen; "" to trust the place alone
}

// Lack says how many pieces of a line are missing.
type Lack struct {
	Line
	Pieces int // 0 for none after all, AllOfIt for the whole line
}

// AllOfIt stands for every piece of a line.
const AllOfIt = -1

// LineError says that an order has no such line.
type LineError struct {
	Ref  string
	Line Line
}

func (e *LineError) Error() string {
	if e.Line.Name != "" {
		return fmt.Sprintf("order %s has no “%s” any more: see what is in it now", e.Ref, e.Line.Name)
	}
	return fmt.Sprintf("order %s has no item %d: see what is in it now", e.Ref, e.Line.Place+1)
}

// marking runs fn on an order of which only the kitchen's own marks change, so
// that no text is planned anew. Marks of two people at one moment both stand:
// whoever comes second reads the order again.
func (d *Desk) marking(ctx context.Context, a Act, fn func(tx Tx, o *night.Order, now time.Time) (changed bool, err error)) (night.Order, error) {
	const tries = 5
	var out night.Order
	var err error
	for range tries {
		err = d.write(ctx, func(tx Tx, now time.Time) error {
			o, err := tx.OrderByRef(ctx, a.Night, a.Ref)
			if err != nil {
				return err
			}
			o.Items = slices.Clone(o.Items)
			changed, err := fn(tx, &o, now)
			if err != nil {
				return err
			}
			if changed {
				if err := tx.SaveOrder(ctx, o); err != nil {
					return err
				}
			}
			out, err = tx.Order(ctx, o.ID)
			return err
		})
		if !errors.Is(err, night.ErrChanged) {
			break
		}
	}
	return out, err
}

// Tick marks that a line is in the bag, or takes the mark back. It packs
// nothing by itself, and no text depends on it.
func (d *Desk) Tick(ctx context.Context, a Act, line Line, ticked bool) (night.Order, error) {
	return d.marking(ctx, a, func(tx Tx, o *night.Order, now time.Time) (bool, error) {
		if o.State == night.Cancelled {
			return false, fmt.Errorf("order %s is %s, so nothing of it is packed", o.Ref, o.State)
		}
		i, ok := night.FindItem(o.Items, line.Place, line.Name)
		if !ok {
			return false, &LineError{o.Ref, line}
		}
		it := &o.Items[i]
		if it.Ticked == ticked {
			return false, nil
		}
		it.Ticked = ticked
		what := night.ItemTicked
		if !ticked {
			what = night.ItemUnticked
		}
		return true, log(ctx, tx, *o, now, a.Who, what, join(fmt.Sprintf("%d x %s", it.Qty, it.Name), a.Why))
	})
}

// Short notes what of an order is missing. With tell the customer gets a text
// that names all that is missing, once for each state of things; without, it is
// to be said at the gate. Lines that are not named stay as they were. A text
// about it that still waits is replaced.
func (d *Desk) Short(ctx context.Context, a Act, lacks []Lack, tell bool) (night.Order, error) {
	return d.marking(ctx, a, func(tx Tx, o *night.Order, now time.Time) (bool, error) {
		if o.State == night.Cancelled {
			return false, fmt.Errorf("order %s is %s, so nothing of it is missing", o.Ref, o.State)
		}
		changed, err := noteLacks(o, lacks, tell)
		if err != nil {
			return false, err
		}
		if !changed && !tell {
			return false, nil
		}
		n, err := tx.Night(ctx, o.NightID)
		if err != nil {
			return false, err
		}
		waited, err := d.takeShortBack(ctx, tx, *o, changed || !tell, now)
		if err != nil {
			return false, err
		}
		missing := night.MissingLine(o.Items)
		for i := range o.Items {
			if waited && !tell && o.Items[i].Short > 0 {
				o.Items[i].AtGate = true
			}
		}
		if changed {
			why := "nothing is missing after all"
			if missing != "" {
				why = missing
				if !tell {
					why += "; to be said at the gate"
				}
			}
			if err := log(ctx, tx, *o, now, a.Who, night.ItemsShort, join(why, a.Why)); err != nil {
				return false, err
			}
		}
		if !tell || missing == "" {
			return changed, nil
		}
		return changed, d.sayShort(ctx, tx, n, *o, now, a)
	})
}

// noteLacks writes into an order what is missing, and tells whether that is new.
func noteLacks(o *night.Order, lacks []Lack, tell bool) (changed bool, err error) {
	for _, l := range lacks {
		i, ok := night.FindItem(o.Items, l.Place, l.Name)
		if !ok {
			return false, &LineError{o.Ref, l.Line}
		}
		it := &o.Items[i]
		all := max(it.Qty, 1)
		pieces := l.Pieces
		if pieces == AllOfIt {
			pieces = all
		}
		if pieces < 0 || pieces > all {
			return false, fmt.Errorf("%d of “%s” can't be missing: the order has %d", pieces, it.Name, all)
		}
		if it.Short == pieces {
			continue
		}
		it.Short, it.AtGate, changed = pieces, pieces > 0 && !tell, true
		if pieces == all {
			it.Ticked = false
		}
	}
	for i := range o.Items { // a text names all of it
		if tell && o.Items[i].AtGate {
			o.Items[i].AtGate, changed = false, true
		}
	}
	return changed, nil
}

// takeShortBack withdraws the text about what is missing that still waits, where
// it is no longer true, and tells whether there was one.
func (d *Desk) takeShortBack(ctx context.Context, tx Tx, o night.Order, untrue bool, now time.Time) (bool, error) {
	if !untrue {
		return false, nil
	}
	about, err := tx.MessagesAbout(ctx, []int64{o.ID})
	if err != nil {
		return false, err
	}
	waited := false
	for _, m := range about {
		if m.Kind != night.Short || m.State != night.Due {
			continue
		}
		const why = "something else is missing now"
		gone, err := tx.Withdraw(ctx, m.ID, night.Dropped, why, now)
		if err != nil {
			return false, err
		}
		if !gone {
			continue
		}
		waited = true
		d.foretell(night.MessageWithdrawn, m)
		err = tx.Log(ctx, night.Event{NightID: m.NightID, OrderID: o.ID, MessageID: m.ID, At: now, Who: clock, What: night.MessageWithdrawn, Why: why})
		if err != nil {
			return false, err
		}
	}
	return waited, nil
}

// sayShort tells the customer all that is missing of an order, unless the last
// text that went out, or is about to, says just that.
func (d *Desk) sayShort(ctx context.Context, tx Tx, n night.Night, o night.Order, now time.Time, a Act) error {
	to := o.Address(d.routes.mail())
	opted, err := tx.OptedOut(ctx)
	if err != nil {
		return err
	}
	if err := canTell(o, to, opted); err != nil {
		return err
	}
	about, err := tx.MessagesAbout(ctx, []int64{o.ID})
	if err != nil {
		return err
	}
	text, err := d.shortText(ctx, tx, n, o)
	if err != nil {
		return err
	}
	if last, ok := lastShort(about); ok && last.Text == text && last.To == to && (last.State == night.Due || last.State.WentOut()) {
		return nil
	}
	m := night.Message{
		KitchenID: d.kitchen.ID, NightID: n.ID, Kind: night.Short, Revision: nextRevision(about, night.Short),
		Covers: []night.Cover{{OrderID: o.ID, Slot: o.Slot}}, To: to, Text: text,
		ExpiresAt: n.SlotAt(n.Last, d.kitchen.Zone).Add(graceAfterNight),
	}
	return d.sendNow(ctx, tx, n, []night.Order{o}, &m, now, a)
}

// shortText says all that is missing of an order.
func (d *Desk) shortText(ctx context.Context, tx Tx, n night.Night, o night.Order) (string, error) {
	texts, err := d.texts(ctx, tx)
	if err != nil {
		return "", err
	}
	return texts.Render(wording.NameFor(night.Short), wording.FactsFor(d.kitchen, n, []night.Order{o}, texts.Lang()))
}

// StillSays tells whether a text about what is missing of an order would be
// written the same now. A text that was tried may be tried again, or go another
// way, long after it was written.
func (d *Desk) StillSays(ctx context.Context, tx Tx, m night.Message) (bool, error) {
	if len(m.Covers) != 1 {
		return false, nil // it was about one order when it was written
	}
	n, err := tx.Night(ctx, m.NightID)
	if err != nil {
		return false, err
	}
	o, err := tx.Order(ctx, m.Covers[0].OrderID)
	if err != nil {
		return false, err
	}
	text, err := d.shortText(ctx, tx, n, o)
	return text == m.Text, err
}

func lastShort(about []night.Message) (last night.Message, ok bool) {
	for _, m := range about {
		if m.Kind == night.Short && (!ok || m.Revision > last.Revision) {
			last, ok = m, true
		}
	}
	return last, ok
}

// Unsaid tells whether somebody still has to say to the customer that something
// of their order is missing: no text was to, or none surely can. The messages are
// those about the order, or those of the night.
func Unsaid(o night.Order, messages []night.Message) bool {
	missing := night.Missing(o.Items)
	if len(missing) == 0 {
		return false
	}
	if slices.ContainsFunc(missing, func(it night.Item) bool { return it.AtGate }) {
		return true
	}
	var about []night.Message
	for _, m := range messages {
		if m.Kind == night.Short && slices.ContainsFunc(m.Covers, func(c night.Cover) bool { return c.OrderID == o.ID }) {
			about = append(about, m)
		}
	}
	last, ok := lastShort(about)
	return !ok || last.State != night.Due && !last.State.WentOut() || last.State == night.InDoubt
}

// Stand notes where somebody who is here stands, in their own words; "" for
// nowhere in particular.
func (d *Desk) Stand(ctx context.Context, a Act, spot string) (night.Order, error) {
	return d.marking(ctx, a, func(tx Tx, o *night.Order, now time.Time) (bool, error) {
		switch {
		case o.Arrival.Spot == spot:
			return false, nil
		case o.State != night.Arrived:
			return false, fmt.Errorf("order %s is %s: nobody stands anywhere", o.Ref, o.State)
		}
		o.Arrival.Spot = spot
		return true, log(ctx, tx, *o, now, a.Who, night.SpotNoted, join(spot, a.Why))
	})
}
