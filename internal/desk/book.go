package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/internal/night"
	"passbell/internal/reading"
)

// Loaded says what loading an order book did, by order reference.
type Loaded struct {
	New       []string `json:"new"`
	Changed   []Change `json:"changed"`
	Unchanged []string `json:"unchanged"`
	// Missing are orders of the night that the book no longer has. They stay:
	// only a person cancels.
	Missing []string `json:"missing"`
	// Cancelled are those that were missing from a book declared whole.
	Cancelled []string `json:"cancelled,omitempty"`
}

// Change says what is different about one order.
type Change struct {
	Ref  string   `json:"ref"`
	What []string `json:"what"` // such as "slot 17:10, was 17:00"
}

// Extent says how much of a night an order book holds.
type Extent int

// Open is the usual one: orders that the book lacks are told and left as they
// are. Whole declares that the book holds every order: what it lacks is
// cancelled. Single is one order by itself, of which nothing follows for the
// others.
const (
	OpenBook Extent = iota
	WholeBook
	SingleOrder
)

// Load takes an order book in, all or nothing. Loading a newer book again adds
// no doubles. What a person changed since stays, unless the book itself has
// changed in that field.
func (d *Desk) Load(ctx context.Context, nightID int64, book []night.Order, who string) (Loaded, error) {
	return d.LoadExtent(ctx, nightID, book, OpenBook, who)
}

// LoadExtent is Load for a book that is known to hold more or less of the night.
func (d *Desk) LoadExtent(ctx context.Context, nightID int64, book []night.Order, extent Extent, who string) (Loaded, error) {
	var out Loaded
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		out = Loaded{}
		n, err := tx.Night(ctx, nightID)
		if err != nil {
			return err
		}
		touched, err := d.load(ctx, tx, n, book, now, who, &out)
		if err != nil {
			return err
		}
		switch extent {
		case SingleOrder:
			out.Missing = nil
		case WholeBook:
			gone, err := cancelMissing(ctx, tx, n, &out, now, who)
			if err != nil {
				return err
			}
			touched = append(touched, gone...)
		case OpenBook:
		}
		why := fmt.Sprintf("%d new, %d changed, %d unchanged, %d missing", len(out.New), len(out.Changed), len(out.Unchanged), len(out.Missing))
		if err := tx.Log(ctx, night.Event{NightID: n.ID, At: now, Who: who, What: night.BookLoaded, Why: why}); err != nil {
			return err
		}
		if len(touched) == 0 {
			return nil
		}
		return d.replan(ctx, tx, n, now, touched...)
	})
	return out, err
}

func (d *Desk) load(ctx context.Context, tx Tx, n night.Night, book []night.Order, now time.Time, who string, out *Loaded) (touched []int64, err error) {
	have, err := tx.Orders(ctx, n.ID)
	if err != nil {
		return nil, err
	}
	booked, err := tx.Booked(ctx, n.ID)
	if err != nil {
		return nil, err
	}
	byRef := make(map[string]night.Order, len(have))
	lastBag := 0
	for _, o := range have {
		byRef[strings.ToLower(o.Ref)] = o
		lastBag = max(lastBag, o.Bag)
	}
	for _, row := range book {
		row.KitchenID, row.NightID, row.State = d.kitchen.ID, n.ID, night.Booked
		row.Vehicle = reading.ReadByRules(row.Note, reading.Context{Region: d.kitchen.Region}).Vehicle
		old, known := byRef[strings.ToLower(row.Ref)]
		delete(byRef, strings.ToLower(row.Ref))
		if !known {
			if !n.ClosedAt.IsZero() {
				lastBag++
				row.Bag = lastBag
			}
			id, err := tx.AddOrder(ctx, row)
			if err != nil {
				return nil, err
			}
			row.ID = id
			if err := log(ctx, tx, row, now, who, night.OrderAdded, ""); err != nil {
				return nil, err
			}
			out.New, touched = append(out.New, row.Ref), append(touched, id)
			continue
		}
		merged, what := merge(old, booked[old.ID], row)
		if err := tx.SetBooked(ctx, old.ID, row); err != nil {
			return nil, err
		}
		if len(what) == 0 {
			out.Unchanged = append(out.Unchanged, old.Ref)
			continue
		}
		if err := tx.SaveOrder(ctx, merged); err != nil {
			return nil, err
		}
		if err := log(ctx, tx, merged, now, who, night.OrderChanged, strings.Join(what, "; ")); err != nil {
			return nil, err
		}
		out.Changed, touched = append(out.Changed, Change{old.Ref, what}), append(touched, old.ID)
	}
	for _, o := range have {
		if _, missing := byRef[strings.ToLower(o.Ref)]; missing && o.State != night.Cancelled {
			out.Missing = append(out.Missing, o.Ref)
		}
	}
	return touched, nil
}

// cancelMissing cancels what a whole book no longer has. Who is here already, or
// served, is left for a person.
func cancelMissing(ctx context.Context, tx Tx, n night.Night, out *Loaded, now time.Time, who string) (gone []int64, err error) {
	var kept []string
	for _, ref := range out.Missing {
		o, err := tx.OrderByRef(ctx, n.ID, ref)
		if err != nil {
			return nil, err
		}
		if _, illegal := o.State.After(night.Cancel); illegal != nil {
			kept = append(kept, ref)
			continue
		}
		if err := take(ctx, tx, &o, night.Cancel, now, who, "no longer in the order book"); err != nil {
			return nil, err
		}
		if err := tx.SaveOrder(ctx, o); err != nil {
			return nil, err
		}
		out.Cancelled, gone = append(out.Cancelled, ref), append(gone, o.ID)
	}
	out.Missing = kept
	return gone, nil
}

// merge takes over into an order what the book changed since it was last
// loaded, and says what that is. Allergy words only ever gather: a note that a
// later book lost is still true of the customer.
func merge(have, was, row night.Order) (night.Order, []string) {
	var what []string
	take := func(field string, old, before, now string, set func()) {
		if now == before || now == old {
			return
		}
		set()
		if field == "items" || field == "note" {
			what = append(what, field+" changed")
			return
		}
		what = append(what, fmt.Sprintf("%s %s, was %s", field, now, cmp.Or(old, "none")))
	}
	take("name", have.Name, was.Name, row.Name, func() { have.Name = row.Name })
	take("number", numberOf(have), numberOf(was), numberOf(row), func() { have.Phone, have.PhoneTyped = row.Phone, row.PhoneTyped })
	take("e-mail", have.Email, was.Email, row.Email, func() { have.Email = row.Email })
	take("slot", have.Slot.String(), was.Slot.String(), row.Slot.String(), func() { have.Slot = row.Slot })
	take("note", have.Note, was.Note, row.Note, func() { have.Note = row.Note })
	take("items", itemLine(have.Items), itemLine(was.Items), itemLine(row.Items), func() { have.Items = night.KeepMarks(have.Items, row.Items) })
	if !sameVehicle(row.Vehicle, was.Vehicle) {
		have.Vehicle = have.Vehicle.Merge(row.Vehicle)
	}
	if row.Allergy != was.Allergy && !strings.Contains(have.Allergy, row.Allergy) {
		have.Allergy = joinWords(have.Allergy, row.Allergy)
		what = append(what, "allergy: "+row.Allergy)
	}
	return have, what
}

func joinWords(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// numberOf is what tells one number from another: the number itself, however it
// is typed, and what was typed where it is none.
func numberOf(o night.Order) string { return cmp.Or(o.Phone, o.PhoneTyped) }

func itemLine(items []night.Item) string {
	parts := make([]string, len(items))
	for i, it := range items {
		parts[i] = fmt.Sprintf("%dx %s (%s)", it.Qty, it.Name, it.Kind)
	}
	slices.Sort(parts)
	return strings.Join(parts, "; ")
}

// Orders gives a night's orders by slot, then reference.
func (d *Desk) Orders(ctx context.Context, nightID int64) ([]night.Order, error) {
	var out []night.Order
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		out, err = tx.Orders(ctx, nightID)
		return err
	})
	return out, err
}

// Card is one order with all that happened to it.
type Card struct {
	Order    night.Order
	Events   []night.Event
	Messages []night.Message
}

// Card gives one order with its history.
func (d *Desk) Card(ctx context.Context, nightID int64, ref string) (Card, error) {
	var c Card
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		if c.Order, err = tx.OrderByRef(ctx, nightID, ref); err != nil {
			return err
		}
		if c.Events, err = tx.EventsOf(ctx, c.Order.ID); err != nil {
			return err
		}
		c.Messages, err = tx.MessagesAbout(ctx, []int64{c.Order.ID})
		return err
	})
	return c, err
}
