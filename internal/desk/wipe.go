package desk

import (
	"context"
	"fmt"
	"time"

	"passbell/internal/night"
)

// WipeTx counts and wipes what names somebody.
type WipeTx interface {
	Personal(ctx context.Context, nightID int64, before time.Time) (night.Personal, error)
	Wipe(ctx context.Context, nightID int64, before time.Time) (night.Personal, error)
}

// Wiped is what was wiped of a night, or would be.
type Wiped struct {
	Date night.Date `json:"date"` // zero for texts that came near no night
	night.Personal

	id int64
}

// Wipeable gives what Wipe would wipe now, the oldest night first.
func (d *Desk) Wipeable(ctx context.Context, before night.Date) ([]Wiped, error) {
	now := d.now()
	if today := night.DateOf(now.In(d.kitchen.Zone)); today.Before(before) {
		return nil, fmt.Errorf("%s is still to come: give today's date, or an earlier one", before)
	}
	moment, _ := night.Instant(before, 0, d.kitchen.Zone)
	out := []Wiped{}
	err := d.store.Read(ctx, func(tx Tx) error {
		nights, err := tx.Nights(ctx)
		if err != nil {
			return err
		}
		for _, n := range append([]night.Night{{}}, nights...) {
			if n.ID != 0 && (!n.Date.Before(before) || !n.Over(now, d.kitchen.Zone)) {
				continue
			}
			kept, err := tx.Personal(ctx, n.ID, moment)
			if err != nil {
				return err
			}
			if !kept.None() {
				out = append(out, Wiped{Date: n.Date, Personal: kept, id: n.ID})
			}
		}
		return nil
	})
	return out, err
}

// Wipe takes names, numbers, texts, cars, notes and allergies off every night
// before a date that is over, and gives what it wiped. References, states, times
// and figures stay, so that a report still counts; so do the numbers that asked
// for no more texts. Each night is one transaction, which says in the night's
// history that it was wiped.
//
// Two processes may do it at once: what one has wiped the other finds empty.
func (d *Desk) Wipe(ctx context.Context, before night.Date, who string) ([]Wiped, error) {
	todo, err := d.Wipeable(ctx, before)
	if err != nil {
		return nil, err
	}
	moment, _ := night.Instant(before, 0, d.kitchen.Zone)
	done := []Wiped{}
	for _, w := range todo {
		err := d.write(ctx, func(tx Tx, now time.Time) (err error) {
			if w.Personal, err = tx.Wipe(ctx, w.id, moment); err != nil || w.None() {
				return err
			}
			return tx.Log(ctx, night.Event{NightID: w.id, At: now, Who: who, What: night.NightWiped, Why: w.String()})
		})
		if err != nil {
			return done, err
		}
		if !w.None() {
			done = append(done, w)
		}
	}
	return done, nil
}
