package desk

import (
	"context"
	"errors"
	"time"

	"passbell/internal/night"
)

// clock is who acts when a time has come.
const clock = "clock"

// Why the clock leaves the closing to a person.
const (
	noBook     = "no order book was loaded: load it, look at the plan and close orders"
	lateOrders = "orders came in after their time: look at the plan and close orders"
)

// CloseDue closes orders of each night at its time, as Close does. It closes
// what was there at that time and no more: a night without an order book, or
// with orders that came in later, waits for a person, who then stands before the
// machine anyhow. An order that no text can reach holds nobody else up: it stands
// on the pass to be rung. Whatever keeps a night from being closed is said once in
// its history, and on the pass until it is closed.
//
// Two processes may do it at once: each looks again in the transaction in which
// it acts, and writes of one kitchen happen one after the other.
func (d *Desk) CloseDue(ctx context.Context) error {
	nights, err := d.Nights(ctx)
	if err != nil {
		return err
	}
	for _, n := range nights {
		if n.Overdue(d.now(), d.kitchen.Zone) {
			err = errors.Join(err, d.closeDue(ctx, n.ID))
		}
	}
	return err
}

func (d *Desk) closeDue(ctx context.Context, nightID int64) error {
	idle := false
	err := d.store.Read(ctx, func(tx Tx) error { // most looks find nothing to do, and need not take the kitchen's turn
		due, err := d.unclosed(ctx, tx, nightID, d.now())
		idle = !due.overdue || due.waits != "" && due.waits == due.said
		return err
	})
	if err != nil || idle {
		return err
	}
	err = d.write(ctx, func(tx Tx, now time.Time) error {
		due, err := d.unclosed(ctx, tx, nightID, now)
		switch {
		case err != nil || !due.overdue:
			return err
		case due.waits != "":
			return sayNotClosed(ctx, tx, nightID, now, due, due.waits)
		}
		_, err = d.close(ctx, tx, nightID, now, clock)
		return err
	})
	var broken *night.StoreError
	if err == nil || errors.As(err, &broken) || ctx.Err() != nil {
		return err
	}
	cause := err // it can't be closed as it is; each look tries again
	return d.write(ctx, func(tx Tx, now time.Time) error {
		due, err := d.unclosed(ctx, tx, nightID, now)
		if err != nil || !due.overdue {
			return err
		}
		return sayNotClosed(ctx, tx, nightID, now, due, cause.Error())
	})
}

// unclosed is what is known of a night whose orders should have been closed.
type unclosed struct {
	overdue bool
	waits   string // why a person has to close; "" where the clock may
	said    string // what the history says last of why
}

func (d *Desk) unclosed(ctx context.Context, tx Tx, nightID int64, now time.Time) (unclosed, error) {
	n, err := tx.Night(ctx, nightID)
	if err != nil || !n.Overdue(now, d.kitchen.Zone) {
		return unclosed{}, err
	}
	events, err := tx.Events(ctx, n.ID, 0, allEvents)
	if err != nil {
		return unclosed{}, err
	}
	return unclosed{true, waitsForPerson(n, events), notClosed(events)}, nil
}

// allEvents is more than a night has.
const allEvents = 1_000_000

// waitsForPerson says why a person has to close a night whose time has come, by
// what happened to it so far; "" where nothing speaks against closing it.
func waitsForPerson(n night.Night, events []night.Event) string {
	why := noBook
	for _, e := range events {
		if e.What != night.OrderAdded {
			continue
		}
		if !e.At.Before(n.ClosesAt) {
			return lateOrders
		}
		why = ""
	}
	return why
}

// notClosed gives what the history says last of why a night was not closed.
func notClosed(events []night.Event) string {
	why := ""
	for _, e := range events {
		if e.What == night.OrdersNotClosed {
			why = e.Why
		}
	}
	return why
}

func sayNotClosed(ctx context.Context, tx Tx, nightID int64, now time.Time, due unclosed, why string) error {
	if due.said == why {
		return nil
	}
	return tx.Log(ctx, night.Event{NightID: nightID, At: now, Who: clock, What: night.OrdersNotClosed, Why: why})
}
