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
	Night   night.Night
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

// Apply acts on texts, each once and in their order: what it does to orders, to
// opt-outs, the answer, and whether a person has to look. decide is asked about
// each after those before it were acted on, in the same transaction: all of them
// are, or none. A text that was applied already does nothing.
func (d *Desk) Apply(ctx context.Context, texts []night.Inbound, decide func(tx Tx, in night.Inbound) (Decision, error)) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		for _, in := range texts {
			dec, err := decide(tx, in)
			if err == nil {
				err = d.apply(ctx, tx, in, dec, now)
			}
			if err != nil {
				return fmt.Errorf("act on text %d: %w", in.ID, err)
			}
		}
		return nil
	})
}

func (d *Desk) apply(ctx context.Context, tx Tx, in night.Inbound, dec Decision, now time.Time) error {
	in.NightID, in.Orders, in.Reading, in.Why = dec.Night.ID, dec.Orders, dec.Reading, dec.Why
	in.State = night.Applied
	if dec.Person || dec.Allergy || !dec.Sure && dec.Intent.Acts() {
		in.State = night.Open
	}
	fresh, err := tx.SaveInbound(ctx, in, night.Fresh)
	if err != nil || !fresh {
		return err
	}
	err = tx.Log(ctx, night.Event{
		NightID: in.NightID, OrderID: only(dec.Orders), InboundID: in.ID, At: now, Who: customer,
		What: night.TextRead, Why: string(dec.Intent) + ": " + dec.Why,
	})
	if err != nil {
		return err
	}
	changed, err := d.consent(ctx, tx, in, dec, now)
	if err != nil {
		return err
	}
	if dec.Intent == reading.Stop && !changed {
		return nil // it was confirmed when they first said so
	}
	var orders []night.Order
	if dec.Sure {
		if orders, err = d.act(ctx, tx, in, dec, now, customer); err != nil {
			return err
		}
	}
	if dec.Silent {
		return nil
	}
	return d.answer(ctx, tx, in, dec, orders, now)
}

func only(ids []int64) int64 {
	if len(ids) == 1 {
		return ids[0]
	}
	return 0
}

// consent keeps what a sender wants of texts at all, and tells whether that is
// new.
func (d *Desk) consent(ctx context.Context, tx Tx, in night.Inbound, dec Decision, now time.Time) (changed bool, err error) {
	what := night.OptedOut
	switch dec.Intent {
	case reading.Stop:
		changed, err = tx.OptOut(ctx, in.From, now)
	case reading.Start:
		what = night.OptedIn
		changed, err = tx.OptIn(ctx, in.From)
	default:
		return false, nil
	}
	if err != nil || !changed {
		return changed, err
	}
	err = tx.Log(ctx, night.Event{NightID: in.NightID, OrderID: only(dec.Orders), InboundID: in.ID, At: now, Who: customer, What: what})
	if err != nil || len(dec.Orders) == 0 {
		return true, err
	}
	return true, d.replan(ctx, tx, dec.Night, now, dec.Orders...)
}

// act does to the orders what a text that is surely about them says, and gives
// them as they then are.
func (d *Desk) act(ctx context.Context, tx Tx, in night.Inbound, dec Decision, now time.Time, who string) ([]night.Order, error) {
	var out []night.Order
	for _, id := range dec.Orders {
		o, err := tx.Order(ctx, id)
		if err != nil {
			return nil, err
		}
		before := o.Revision
		changed, err := d.actOn(ctx, tx, &o, in, dec, now, who)
		if err != nil {
			return nil, err
		}
		if changed {
			if err := d.save(ctx, tx, o, now); err != nil {
				return nil, err
			}
			o.Revision = before + 1
		}
		out = append(out, o)
	}
	return out, nil
}

func (d *Desk) actOn(ctx context.Context, tx Tx, o *night.Order, in night.Inbound, dec Decision, now time.Time, who string) (changed bool, err error) {
	say := func(what night.What, why string) error {
		changed = true
		return tx.Log(ctx, night.Event{
			NightID: o.NightID, OrderID: o.ID, InboundID: in.ID, At: now, Who: who, What: what, Why: why,
		})
	}
	if dec.Allergy && !strings.Contains(o.Allergy, in.Text) {
		o.Allergy = joinWords(o.Allergy, in.Text)
		if err := say(night.OrderChanged, "a text names an allergy or diet"); err != nil {
			return changed, err
		}
	}
	switch dec.Intent {
	case reading.Here, reading.Coming, reading.Car:
		if v := o.Vehicle.Merge(dec.Vehicle); !sameVehicle(v, o.Vehicle) {
			o.Vehicle = v
			if err := say(night.VehicleNoted, v.String()); err != nil {
				return changed, err
			}
		}
	default:
		return changed, nil
	}
	switch {
	case dec.Intent == reading.Coming && dec.Due != nil && o.State.Open():
		o.ExpectedAt = dec.Night.SlotAt(*dec.Due, d.kitchen.Zone)
		err = say(night.ArrivalExpected, "about "+dec.Due.String())
	case dec.Intent == reading.Here:
		if dec.Spot != "" {
			o.Arrival.Spot, changed = dec.Spot, true
		}
		if _, illegal := o.State.After(night.Arrive); illegal == nil {
			changed = true
			err = step(ctx, tx, o, night.Arrive, now, who, dec.Why, in.ID)
		}
	}
	return changed, err
}

func sameVehicle(a, b night.Vehicle) bool {
	return slices.Equal(a.Colours, b.Colours) && a.Make == b.Make && a.Model == b.Model &&
		a.Body == b.Body && a.Plate == b.Plate && a.PlatePart == b.PlatePart
}

// answer writes back where an answer helps: it confirms an opt-out once, tells
// somebody at the gate that they were seen, and asks a stranger for the order.
func (d *Desk) answer(ctx context.Context, tx Tx, in night.Inbound, dec Decision, orders []night.Order, now time.Time) error {
	opted, err := tx.OptedOut(ctx)
	if err != nil {
		return err
	}
	kind, text := reply(dec, orders, opted[in.From])
	if text == "" || dec.Night.ID == 0 {
		return nil
	}
	if kind == night.Reply && text == "reply-unsure" {
		asked, err := d.answered(ctx, tx, dec.Night.ID, in.From)
		if err != nil || asked {
			return err
		}
	}
	texts, err := d.texts(ctx, tx)
	if err != nil {
		return err
	}
	body, err := texts.Render(text, wording.FactsFor(d.kitchen, dec.Night, orders, texts.Lang()))
	if err != nil {
		return err
	}
	m := night.Message{
		KitchenID: d.kitchen.ID, NightID: dec.Night.ID, InboundID: in.ID, Kind: kind, Revision: int(in.ID),
		To: in.From, Text: body, Parts: wording.Measure(body).Parts, DueAt: now, AtOnce: true, ExpiresAt: now.Add(replyUseful),
	}
	// An answer goes back the way that the text came.
	m.Adapter = in.Adapter
	if kind == night.Confirmation {
		// An opt-out must be confirmed even if quiet hours hold it back.
		m.ExpiresAt = now.Add(24 * time.Hour)
	}
	for _, o := range orders {
		m.Covers = append(m.Covers, night.Cover{OrderID: o.ID, Slot: o.Slot})
	}
	_, _, err = tx.AddMessage(ctx, m)
	return err
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
func (d *Desk) answered(ctx context.Context, tx Tx, nightID int64, to string) (bool, error) {
	messages, err := tx.Messages(ctx, nightID)
	if err != nil {
		return false, err
	}
	return slices.ContainsFunc(messages, func(m night.Message) bool { return m.Kind == night.Reply && m.To == to }), nil
}

// PlacedBy begins the reason of a text that a person placed.
const PlacedBy = "placed by "

// Place acts on a text that stood open, by a person's word that it is about the
// order ref. What the text says is then done to that order.
func (d *Desk) Place(ctx context.Context, inboundID int64, ref, who string, dec Decision) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		in, err := tx.Inbound(ctx, inboundID)
		if err != nil {
			return err
		}
		o, err := tx.OrderByRef(ctx, dec.Night.ID, ref)
		if err != nil {
			return err
		}
		in.Orders, in.State, in.Why = []int64{o.ID}, night.Settled, PlacedBy+who
		ok, err := tx.SaveInbound(ctx, in, night.Open, night.Applied, night.Settled)
		if err != nil || !ok {
			return err
		}
		err = tx.Log(ctx, night.Event{
			NightID: dec.Night.ID, OrderID: o.ID, InboundID: in.ID, At: now, Who: who, What: night.TextSettled, Why: "it was order " + o.Ref,
		})
		if err != nil {
			return err
		}
		dec.Orders, dec.Sure = in.Orders, true
		orders, err := d.act(ctx, tx, in, dec, now, who)
		if err != nil {
			return err
		}
		return d.answer(ctx, tx, in, dec, orders, now)
	})
}

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
