package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/wording"
)

// Decision is what reading and matching make of a text from a customer.
type Decision struct {
	Intent  reading.Intent
	Orders  []int64 // order ids, the likeliest first
	Sure    bool    // acting on Orders without a person is safe
	Person  bool    // a person has to read it
	Silent  bool    // nothing is written back
	Allergy bool
	Vehicle night.Vehicle
	Spot    string
	Due     *night.Clock // when they now expect to come
	To      *night.Clock // the slot they ask for
	Reading []byte       // JSON, for the page
	Why     string
}

// customer is who acts when a text is applied.
const customer = "customer"

func only(ids []int64) int64 {
	if len(ids) == 1 {
		return ids[0]
	}
	return 0
}

// actOn does to an order what a text says, and gives what happened. Not all that
// changed happened: where somebody stands is part of their coming.
func (d *Desk) actOn(o *night.Order, n night.Night, in night.Inbound, dec Decision, now time.Time, who string) (happened []night.Event, changed bool, err error) {
	say := func(what night.What, why string) {
		happened = append(happened, night.Event{NightID: o.NightID, OrderID: o.ID, InboundID: in.ID, Who: who, What: what, Why: why})
	}
	if dec.Allergy && !strings.Contains(o.Allergy, in.Text) {
		o.Allergy = joinWords(o.Allergy, in.Text)
		say(night.OrderChanged, "a text names an allergy or diet")
	}
	switch dec.Intent {
	case reading.Here, reading.Coming, reading.Car:
		if v := o.Vehicle.Merge(dec.Vehicle); !sameVehicle(v, o.Vehicle) {
			o.Vehicle = v
			say(night.VehicleNoted, v.String())
		}
	default:
		return happened, len(happened) > 0, nil
	}
	spot := false
	switch {
	case dec.Intent == reading.Coming && dec.Due != nil && o.State.Open():
		o.ExpectedAt = n.SlotAt(*dec.Due, d.kitchen.Zone)
		say(night.ArrivalExpected, "about "+dec.Due.String())
	case dec.Intent == reading.Here:
		if spot = dec.Spot != ""; spot {
			o.Arrival.Spot = dec.Spot
		}
		if _, illegal := o.State.After(night.Arrive); illegal == nil {
			var came night.Event
			if came, err = step(o, night.Arrive, now, who, dec.Why); err != nil {
				return nil, false, err
			}
			came.InboundID = in.ID
			happened = append(happened, came)
		}
	}
	return happened, spot || len(happened) > 0, nil
}

func sameVehicle(a, b night.Vehicle) bool {
	return slices.Equal(a.Colours, b.Colours) && a.Make == b.Make && a.Model == b.Model &&
		a.Body == b.Body && a.Plate == b.Plate && a.PlatePart == b.PlatePart
}

// answer writes back where an answer helps: it confirms an opt-out once, tells
// somebody at the gate that they were seen, and asks a stranger for the order.
func (r *round) answer(ctx context.Context, in night.Inbound, dec Decision, orders []night.Order) error {
	d, n := r.d, r.book.Night
	opted, err := r.tx.OptedOut(ctx)
	if err != nil {
		return err
	}
	kind, text := reply(dec, orders, opted[in.From])
	if text == "" || n.ID == 0 {
		return nil
	}
	if kind == night.Reply && text == "reply-unsure" {
		asked, err := r.answered(ctx, in.From)
		if err != nil || asked {
			return err
		}
	}
	texts, err := d.texts(ctx, r.tx)
	if err != nil {
		return err
	}
	body, err := texts.Render(text, wording.FactsFor(d.kitchen, n, orders, texts.Lang()))
	if err != nil {
		return err
	}
	m := night.Message{
		KitchenID: d.kitchen.ID, NightID: n.ID, InboundID: in.ID, Kind: kind, Revision: int(in.ID),
		To: in.From, Text: body, Parts: wording.Parts(body), DueAt: r.now, AtOnce: true, ExpiresAt: r.now.Add(replyUseful),
	}
	// An answer goes back the way that the text came.
	m.Adapter = in.Adapter
	if kind == night.Confirmation {
		// An opt-out must be confirmed even if quiet hours hold it back.
		m.ExpiresAt = r.now.Add(24 * time.Hour)
	}
	for _, o := range orders {
		m.Covers = append(m.Covers, night.Cover{OrderID: o.ID, Slot: o.Slot})
	}
	r.answers = append(r.answers, m)
	return nil
}

// replyUseful is how long an answer to somebody at the gate is of use.
const replyUseful = 20 * time.Minute

// reply names the text that answers, and "" for none.
func reply(dec Decision, orders []night.Order, opted bool) (night.MessageKind, string) {
	switch {
	case dec.Intent == reading.Stop:
		return night.Confirmation, "stop-confirmed"
	case opted:
		return night.Reply, ""
	case dec.Intent == reading.Start:
		return night.Reply, "start-confirmed"
	case dec.Intent == reading.Help:
		return night.Reply, "help"
	case dec.Intent == reading.Here && !dec.Sure:
		return night.Reply, "reply-unsure"
	case dec.Intent != reading.Here || len(orders) == 0 || orders[0].State != night.Arrived:
		return night.Reply, ""
	case orders[0].Vehicle.IsZero():
		return night.Reply, "reply-here-car"
	}
	return night.Reply, "reply-here"
}

// answered tells whether the sender was answered this night already.
func (r *round) answered(ctx context.Context, to string) (bool, error) {
	if slices.ContainsFunc(r.answers, func(m night.Message) bool { return m.Kind == night.Reply && m.To == to }) {
		return true, nil
	}
	return r.tx.Answered(ctx, r.book.Night.ID, to)
}

// PlacedBy begins the reason of a text that a person placed.
const PlacedBy = "placed by "

// Settle takes a text off the pass: a person has read it.
func (d *Desk) Settle(ctx context.Context, inboundID int64, who string) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		in, err := tx.Inbound(ctx, inboundID)
		if err != nil {
			return err
		}
		return settle(ctx, tx, in, now, who, "read")
	})
}

// elsewhere is why a text needs nobody here any more. It does not say whose it
// was.
const elsewhere = "it was for another kitchen at this number"

// PlacedElsewhere takes a text off the pass that several kitchens have: somebody
// in another one of them said that it is theirs.
func (d *Desk) PlacedElsewhere(ctx context.Context, adapter, providerID string) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		in, err := tx.InboundOf(ctx, adapter, providerID)
		if err != nil {
			return err
		}
		in.Why = elsewhere
		return settle(ctx, tx, in, now, "", elsewhere)
	})
}

// settle takes a text off the pass, if it stands there.
func settle(ctx context.Context, tx Tx, in night.Inbound, now time.Time, who, why string) error {
	in.State = night.Settled
	ok, err := tx.SaveInbound(ctx, in, night.Open)
	if err != nil || !ok {
		return err
	}
	return tx.Log(ctx, night.Event{
		NightID: in.NightID, OrderID: only(in.Orders), InboundID: in.ID, At: now, Who: who, What: night.TextSettled, Why: why,
	})
}

// CorrectVehicle puts right what was read of a customer's car. The correction
// is kept beside the text it came from, where there is one.
func (d *Desk) CorrectVehicle(ctx context.Context, a Act, v night.Vehicle, inboundID int64, corrected []byte) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		o.Vehicle = v
		if inboundID != 0 {
			in, err := tx.Inbound(ctx, inboundID)
			if err != nil {
				return err
			}
			in.Corrected = corrected
			if _, err := tx.SaveInbound(ctx, in, in.State); err != nil {
				return err
			}
		}
		return tx.Log(ctx, night.Event{
			NightID: o.NightID, OrderID: o.ID, InboundID: inboundID, At: now, Who: a.Who, What: night.VehicleNoted,
			Why: fmt.Sprintf("put right: %s", v),
		})
	})
}

// Inbounds gives a night's texts, the oldest first.
func (d *Desk) Inbounds(ctx context.Context, nightID int64) ([]night.Inbound, error) {
	var out []night.Inbound
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		out, err = tx.Inbounds(ctx, nightID)
		return err
	})
	return out, err
}
