package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"passbell/internal/night"
)

// Act names an order and who acts on it.
type Act struct {
	Night int64  // night id
	Ref   string // order reference, in any case
	Who   string // "cook", a helper's name
	Why   string // in words; may be empty
}

// order runs fn on one order, stores it, and brings its texts in line.
func (d *Desk) order(ctx context.Context, a Act, fn func(tx Tx, o *night.Order, now time.Time) error) (night.Order, error) {
	var out night.Order
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		o, err := tx.OrderByRef(ctx, a.Night, a.Ref)
		if err != nil {
			return err
		}
		if err := fn(tx, &o, now); err != nil {
			return err
		}
		if err := d.save(ctx, tx, o, now); err != nil {
			return err
		}
		out, err = tx.Order(ctx, o.ID)
		return err
	})
	return out, err
}

// save stores a changed order and brings its texts in line, and those of the
// orders also, which are stored already.
func (d *Desk) save(ctx context.Context, tx Tx, o night.Order, now time.Time, also ...int64) error {
	if err := tx.SaveOrder(ctx, o); err != nil {
		return err
	}
	n, err := tx.Night(ctx, o.NightID)
	if err != nil {
		return err
	}
	return d.replan(ctx, tx, n, now, append(also, o.ID)...)
}

// step moves o along the table and gives what is to be said of it in the history.
func step(o *night.Order, s night.Step, now time.Time, who, why string) (night.Event, error) {
	from := o.State
	to, err := from.After(s)
	if err != nil {
		return night.Event{}, err
	}
	o.State = to
	if s == night.Arrive {
		o.Arrival.At = now
	}
	return night.Event{NightID: o.NightID, OrderID: o.ID, At: now, Who: who, What: night.StepTaken, From: from, To: to, Why: why}, nil
}

// take moves o along the table and says so in the history.
func take(ctx context.Context, tx Tx, o *night.Order, s night.Step, now time.Time, who, why string) error {
	happened, err := step(o, s, now, who, why)
	if err != nil {
		return err
	}
	return tx.Log(ctx, happened)
}

// Here marks that the customer is at the collection point.
func (d *Desk) Here(ctx context.Context, a Act) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		return take(ctx, tx, o, night.Arrive, now, a.Who, a.Why)
	})
}

// Out marks that the bags are handed out. Somebody who was never marked as here
// came to the door: that is two steps at once.
func (d *Desk) Out(ctx context.Context, a Act) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		if _, err := o.State.After(night.HandOut); err != nil {
			if _, can := o.State.After(night.Arrive); can != nil {
				return err
			}
			if err := take(ctx, tx, o, night.Arrive, now, a.Who, "came to the door"); err != nil {
				return err
			}
		}
		return take(ctx, tx, o, night.HandOut, now, a.Who, a.Why)
	})
}

// Told marks that a person told the customer when and where to come, by a call
// as a rule, where no text could.
func (d *Desk) Told(ctx context.Context, a Act) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		return take(ctx, tx, o, night.Tell, now, a.Who, cmp.Or(a.Why, "by a call"))
	})
}

// Cancel takes an order off the night.
func (d *Desk) Cancel(ctx context.Context, a Act) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		return take(ctx, tx, o, night.Cancel, now, a.Who, a.Why)
	})
}

// Absent marks an order as not collected.
func (d *Desk) Absent(ctx context.Context, a Act) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		return take(ctx, tx, o, night.GiveUp, now, a.Who, a.Why)
	})
}

// ErrNothingToUndo says that no step of the order can be taken back.
var ErrNothingToUndo = errors.New("there is nothing to undo: what was sent to the customer can't be taken back")

// Undo takes back the last step that a person or a text took with the order.
func (d *Desk) Undo(ctx context.Context, a Act) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		events, err := tx.EventsOf(ctx, o.ID)
		if err != nil {
			return err
		}
		back, ok := night.Undone(events)
		if !ok {
			return fmt.Errorf("order %s is %s: %w", o.Ref, o.State, ErrNothingToUndo)
		}
		from := o.State
		o.State = back
		if from == night.Arrived {
			o.Arrival = night.Arrival{}
		}
		return tx.Log(ctx, night.Event{
			NightID: o.NightID, OrderID: o.ID, At: now, Who: a.Who, What: night.StepUndone, From: from, To: back, Why: a.Why,
		})
	})
}

// Packed marks that the bags are packed, or takes the mark back. Marking twice
// keeps the first time: it is when the food left the heat.
func (d *Desk) Packed(ctx context.Context, a Act, packed bool) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		switch {
		case packed && o.PackedAt.IsZero():
			o.PackedAt = now
			return log(ctx, tx, *o, now, a.Who, night.BagsPacked, a.Why)
		case !packed && !o.PackedAt.IsZero():
			o.PackedAt = time.Time{}
			return log(ctx, tx, *o, now, a.Who, night.BagsUnpacked, a.Why)
		}
		return nil
	})
}

func join(a, b string) string {
	if b == "" {
		return a
	}
	return a + ": " + b
}
