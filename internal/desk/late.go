package desk

import (
	"context"
	"fmt"
	"time"

	"passbell/internal/night"
	"passbell/internal/wording"
)

// Behind says who is told that the kitchen runs late.
type Behind struct {
	Messages []night.Message // one a person, with the new time
	Ring     []night.Order   // those who can't be texted
}

// RunBehind moves the expectation of everybody who is not served and not here
// yet, from slot first to slot last, by whole minutes, and tells each of them
// once. Running behind again adds to what was said before. Foresee shows it
// beforehand.
func (d *Desk) RunBehind(ctx context.Context, nightID int64, first, last night.Clock, minutes int, who string) (Behind, error) {
	if minutes < 1 || minutes > 180 {
		return Behind{}, fmt.Errorf("%d minutes late: give 1 to 180", minutes)
	}
	var out Behind
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		out = Behind{}
		n, err := tx.Night(ctx, nightID)
		if err != nil {
			return err
		}
		orders, err := tx.Orders(ctx, nightID)
		if err != nil {
			return err
		}
		opted, err := tx.OptedOut(ctx)
		if err != nil {
			return err
		}
		people := map[string][]night.Order{}
		var inTurn []string
		for _, o := range orders {
			if !o.State.Open() || o.State == night.Arrived || o.Slot < first || o.Slot > last {
				continue
			}
			o.Behind += minutes
			o.ExpectedAt = time.Time{} // what they said was about the old time
			if err := tx.SaveOrder(ctx, o); err != nil {
				return err
			}
			o.Revision++
			why := fmt.Sprintf("%d minutes later, as the kitchen runs behind", o.Behind)
			if err := log(ctx, tx, o, now, who, night.ArrivalExpected, why); err != nil {
				return err
			}
			to := o.Address(d.routes.mail())
			if to == "" || opted[to] {
				out.Ring = append(out.Ring, o)
				continue
			}
			// Orders of one person that are late by as much share a text.
			key := fmt.Sprintf("%s %d", to, o.Behind)
			if people[key] == nil {
				inTurn = append(inTurn, key)
			}
			people[key] = append(people[key], o)
		}
		for _, key := range inTurn {
			m, err := d.sayLate(ctx, tx, n, people[key], now, who)
			if err != nil {
				return err
			}
			out.Messages = append(out.Messages, m)
		}
		return nil
	})
	return out, err
}

// sayLate tells one person the new time of their orders.
func (d *Desk) sayLate(ctx context.Context, tx Tx, n night.Night, orders []night.Order, now time.Time, who string) (night.Message, error) {
	about, err := tx.MessagesAbout(ctx, ids(orders))
	if err != nil {
		return night.Message{}, err
	}
	last := orders[len(orders)-1]
	m := night.Message{
		KitchenID: d.kitchen.ID, NightID: n.ID, Kind: night.Delay, Revision: nextRevision(about, night.Delay),
		To: orders[0].Address(d.routes.mail()), ExpiresAt: n.SlotAt(last.Slot.Add(last.Behind), d.kitchen.Zone),
	}
	for _, o := range orders {
		m.Covers = append(m.Covers, night.Cover{OrderID: o.ID, Slot: o.Slot})
	}
	texts, err := d.texts(ctx, tx)
	if err != nil {
		return m, err
	}
	facts := wording.FactsFor(d.kitchen, n, orders, texts.Lang()).Delayed(orders[0].Behind)
	if m.Text, err = texts.Render(wording.NameFor(night.Delay), facts); err != nil {
		return m, err
	}
	return m, d.sendNow(ctx, tx, n, orders, &m, now, Act{Who: who})
}
