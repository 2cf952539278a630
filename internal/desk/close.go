package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"passbell/internal/night"
	"passbell/internal/plan"
	"passbell/internal/wording"
)

// Preview is the plan of a night as it would stand if orders closed now.
type Preview struct {
	Night    night.Night
	Closed   bool // orders are closed already
	Orders   []night.Order
	Messages []night.Message // what would go out, with texts, in the order of sending
	LeftOut  []plan.LeftOut
	Parts    int // SMS parts in all
}

// Preview computes what closing would do and changes nothing.
func (d *Desk) Preview(ctx context.Context, nightID int64) (Preview, error) {
	var out Preview
	err := d.store.Read(ctx, func(tx Tx) error {
		n, err := tx.Night(ctx, nightID)
		if err != nil {
			return err
		}
		out, err = d.preview(ctx, tx, n, d.now().UTC())
		return err
	})
	return out, err
}

func (d *Desk) preview(ctx context.Context, tx Tx, n night.Night, now time.Time) (Preview, error) {
	in, err := d.planInput(ctx, tx, n, now, nil, nil)
	if err != nil {
		return Preview{}, err
	}
	if n.ClosedAt.IsZero() {
		numberBags(in.Orders)
	}
	p := d.plan(in)
	write, err := d.writer(ctx, tx, n, in.Orders)
	if err != nil {
		return Preview{}, err
	}
	for i := range p.Wanted {
		if err := write(&p.Wanted[i]); err != nil {
			return Preview{}, err
		}
	}
	return previewOf(n, in.Orders, p), nil
}

// previewOf shows a plan whose texts are written.
func previewOf(n night.Night, orders []night.Order, p plan.Plan) Preview {
	out := Preview{Night: n, Closed: !n.ClosedAt.IsZero(), Orders: orders, Messages: p.Wanted, LeftOut: p.LeftOut}
	for i := range p.Wanted {
		out.Parts += p.Wanted[i].Parts
	}
	return out
}

// Close closes orders: bags get their numbers and every text gets its time.
// Closing a closed night adds nothing.
func (d *Desk) Close(ctx context.Context, nightID int64, who string) (Preview, error) {
	var out Preview
	err := d.write(ctx, func(tx Tx, now time.Time) (err error) {
		out, err = d.close(ctx, tx, nightID, now, who)
		return err
	})
	return out, err
}

func (d *Desk) close(ctx context.Context, tx Tx, nightID int64, now time.Time, who string) (Preview, error) {
	n, err := tx.Night(ctx, nightID)
	if err != nil {
		return Preview{}, err
	}
	in, err := d.planInput(ctx, tx, n, now, nil, nil)
	if err != nil {
		return Preview{}, err
	}
	if n.ClosedAt.IsZero() {
		in.Night.ClosedAt = now
		if err := tx.SaveNight(ctx, in.Night); err != nil {
			return Preview{}, err
		}
		numberBags(in.Orders)
		if err := tx.SetBags(ctx, in.Orders); err != nil {
			return Preview{}, err
		}
	}
	p := d.plan(in)
	said, err := d.bring(ctx, tx, in, p, false)
	if err != nil {
		return Preview{}, err
	}
	out := previewOf(n, in.Orders, p)
	if n.ClosedAt.IsZero() {
		closed := night.Event{NightID: n.ID, At: now, Who: who, What: night.OrdersClosed, Why: out.planned()}
		said = append([]night.Event{closed}, said...)
	}
	return out, tx.Log(ctx, said...)
}

// planned says for the history what closing sets going.
func (p Preview) planned() string {
	ring := map[int64]bool{}
	for _, l := range p.LeftOut {
		if l.Ring() {
			ring[l.OrderID] = true
		}
	}
	if len(ring) > 0 {
		return fmt.Sprintf("%d orders, %d texts planned, %d to ring", len(p.Orders), len(p.Messages), len(ring))
	}
	return fmt.Sprintf("%d orders, %d texts planned", len(p.Orders), len(p.Messages))
}

// numberBags numbers the bags of orders, which are by slot, then reference.
func numberBags(orders []night.Order) {
	for i := range orders {
		orders[i].Bag = i + 1
	}
}

// Resend sends a customer the instructions again, now; to another number where
// to is not empty. It is on record as a text of its own.
func (d *Desk) Resend(ctx context.Context, a Act, to string) (night.Message, error) {
	var out night.Message
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		o, err := tx.OrderByRef(ctx, a.Night, a.Ref)
		if err != nil {
			return err
		}
		n, err := tx.Night(ctx, o.NightID)
		if err != nil {
			return err
		}
		if to == "" {
			to = o.Address(d.routes.mail())
		}
		opted, err := tx.OptedOut(ctx)
		if err != nil {
			return err
		}
		if err := canTell(o, to, opted); err != nil {
			return err
		}
		before, err := tx.MessagesAbout(ctx, []int64{o.ID})
		if err != nil {
			return err
		}
		out = night.Message{
			KitchenID: d.kitchen.ID, NightID: n.ID, Kind: night.Resend, Revision: nextRevision(before, night.Resend),
			Covers: []night.Cover{{OrderID: o.ID, Slot: o.Slot}}, Place: n.Place, To: to,
			ExpiresAt: n.SlotAt(n.Last, d.kitchen.Zone).Add(graceAfterNight),
		}
		write, err := d.writer(ctx, tx, n, []night.Order{o})
		if err != nil {
			return err
		}
		if err := write(&out); err != nil {
			return err
		}
		return d.sendNow(ctx, tx, n, []night.Order{o}, &out, now, a)
	})
	return out, err
}

// graceAfterNight is how long after the last slot a text about the night is
// still of use: somebody who is late needs the address most.
const graceAfterNight = time.Hour

// sendNow stores a message that a person wants sent at once.
func (d *Desk) sendNow(ctx context.Context, tx Tx, n night.Night, about []night.Order, m *night.Message, now time.Time, a Act) error {
	m.Parts, m.DueAt, m.AtOnce = wording.Parts(m.Text), now, true
	if m.Adapter = d.routes.First(m.To, m.Kind); m.Adapter == "" && len(d.routes) > 0 {
		return fmt.Errorf("no adapter takes this number: ring them, or give another with --to")
	}
	id, added, err := tx.AddMessage(ctx, *m)
	if err != nil {
		return err
	}
	if !added {
		return fmt.Errorf("this text is on its way already")
	}
	m.ID = id
	d.foretell(night.MessagePlanned, *m)
	why := string(m.Kind)
	if len(about) > 0 && m.To != about[0].Phone {
		why += " to another number"
	}
	return tx.Log(ctx, night.Event{
		NightID: n.ID, OrderID: firstID(about), MessageID: id, At: now, Who: a.Who, What: night.MessagePlanned, Why: join(why, a.Why),
	})
}

func firstID(orders []night.Order) int64 {
	if len(orders) == 0 {
		return 0
	}
	return orders[0].ID
}

func canTell(o night.Order, to string, opted map[string]bool) error {
	switch {
	case !o.State.Open():
		return fmt.Errorf("order %s is %s, so nothing is sent about it", o.Ref, o.State)
	case to == "":
		return fmt.Errorf("order %s has no number that can take texts: ring or write another way, or give a number with --to", o.Ref)
	case opted[to]:
		return fmt.Errorf("the customer of order %s asked for no more texts: ring them instead", o.Ref)
	}
	return nil
}

func nextRevision(messages []night.Message, kind night.MessageKind) int {
	next := 0
	for _, m := range messages {
		if m.Kind == kind {
			next = max(next, m.Revision+1)
		}
	}
	return next
}

// SendAgain sends a text again that failed, was missed or is in doubt, because
// a person says so. It says what is true now, and goes to those of whom that is
// so; what may have arrived goes word for word. It gives the time at which it goes,
// zero for at once: that of what it tells about may have moved. Where nothing of it
// should be sent any more the error says why, and it stays as it was.
func (d *Desk) SendAgain(ctx context.Context, messageID int64, who string) (time.Time, error) {
	var goes time.Time
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		m, err := tx.Message(ctx, messageID)
		if err != nil {
			return err
		}
		n, err := tx.Night(ctx, m.NightID)
		if err != nil {
			return err
		}
		expires := m.ExpiresAt
		switch m.Kind {
		case night.Instructions, night.Reminder, night.Update, night.Cancellation: // the plan says
		case night.Nudge, night.Delay, night.Resend, night.Short, night.Reply, night.Confirmation:
			expires = n.SlotAt(n.Last, d.kitchen.Zone).Add(graceAfterNight)
		}
		ok, err := tx.SendAgain(ctx, messageID, expires)
		if err != nil {
			return err
		}
		if !ok {
			return fmt.Errorf("this text is %s by now, so it is not sent again", m.State)
		}
		err = tx.Log(ctx, night.Event{
			NightID: m.NightID, OrderID: lead(m), MessageID: m.ID, At: now, Who: who, What: night.MessageChanged, Why: "sent again by hand",
		})
		if err != nil {
			return err
		}
		p, err := d.replanAbout(ctx, tx, now, m)
		if err != nil {
			return err
		}
		for _, drop := range p.Drop {
			if drop.MessageID == m.ID {
				return fmt.Errorf("%s, so this text is not sent again: if they need to know, ring them or send them the instructions", drop.Why)
			}
		}
		if m, err = tx.Message(ctx, messageID); err == nil && !m.AtOnce && m.DueAt.After(now) {
			goes = m.DueAt
		}
		return err
	})
	return goes, err
}

// SendDoubtfulAgain sends every text of the night again whose fate is not
// known, and gives their number. What can't be sent any more, or was settled
// meanwhile, stays as it is.
func (d *Desk) SendDoubtfulAgain(ctx context.Context, nightID int64, who string) (int, error) {
	messages, err := d.Messages(ctx, nightID)
	if err != nil {
		return 0, err
	}
	sent := 0
	for _, m := range messages {
		if m.State != night.InDoubt {
			continue
		}
		_, err := d.SendAgain(ctx, m.ID, who)
		var broken *night.StoreError
		if errors.As(err, &broken) {
			return sent, err
		}
		if err == nil {
			sent++
		}
	}
	return sent, nil
}

// ByHand records that a person told the customer in another way, by a call or
// from a phone of their own, what a text could not. A text that still waits for
// its time does not go out as well.
func (d *Desk) ByHand(ctx context.Context, messageID int64, who string) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		m, err := tx.Message(ctx, messageID)
		if err != nil {
			return err
		}
		from := []night.MessageState{night.Failed, night.Missed, night.InDoubt, night.Due}
		ok, err := tx.SetMessageState(ctx, messageID, from, night.ByHand, "told by "+who, now)
		if err != nil {
			return err
		}
		if !ok {
			return fmt.Errorf("this text is %s by now", m.State)
		}
		err = tx.Log(ctx, night.Event{
			NightID: m.NightID, OrderID: lead(m), MessageID: m.ID, At: now, Who: who, What: night.MessageSettled, Why: "told by hand",
		})
		if err != nil {
			return err
		}
		if err := Told(ctx, tx, []*night.Message{&m}, nil, now, who); err != nil {
			return err
		}
		return d.ReplanIn(ctx, tx, now, m)
	})
}

// OrderTeller is what Told needs.
type OrderTeller interface {
	Stages(ctx context.Context, ids []int64) ([]night.Stage, error)
	MoveOrders(ctx context.Context, to []night.Stage) error
	Log(ctx context.Context, events ...night.Event) error
}

// Told moves the orders of messages on because their customers were told. An
// order that is further along stays where it is. known is how far the orders were
// when they were last looked at, nil for nowhere: if one was changed since, the
// answer is night.ErrChanged, and the transaction is of no use any more.
func Told(ctx context.Context, tx OrderTeller, messages []*night.Message, known []night.Stage, now time.Time, who string) error {
	var about []int64
	for _, m := range messages {
		if stepOf(m.Kind) == "" {
			continue
		}
		for _, c := range m.Covers {
			about = append(about, c.OrderID)
		}
	}
	if len(about) == 0 {
		return nil
	}
	moved, said, left := steps(messages, known, now, who)
	if left != nil { // only what moves is held against what was known of it
		stand, err := tx.Stages(ctx, about)
		if err != nil {
			return err
		}
		if moved, said, left = steps(messages, stand, now, who); errors.Is(left, night.ErrNotFound) {
			return left
		}
	}
	if err := tx.MoveOrders(ctx, moved); err != nil {
		return err
	}
	return tx.Log(ctx, said...)
}

// steps gives how far orders are once their customers have the messages, of those
// that move, and the events. The error says why the first of those does not move
// that do not.
func steps(messages []*night.Message, stand []night.Stage, now time.Time, who string) (to []night.Stage, said []night.Event, left error) {
	byID := make(map[int64]*night.Stage, len(stand))
	for _, o := range stand { // one may stand there for each of its messages
		byID[o.OrderID] = &o
	}
	moved := make(map[int64]bool, len(stand))
	for _, m := range messages {
		if stepOf(m.Kind) == "" {
			continue
		}
		for _, c := range m.Covers {
			o, ok := byID[c.OrderID]
			if !ok {
				return nil, nil, fmt.Errorf("order of message %d: %w", m.ID, night.ErrNotFound)
			}
			next, err := o.State.After(stepOf(m.Kind))
			if err != nil {
				left = cmp.Or(left, err)
				continue
			}
			said = append(said, night.Event{
				NightID: o.NightID, OrderID: o.OrderID, MessageID: m.ID, At: now, Who: who, What: night.StepTaken, From: o.State, To: next, Why: string(m.Kind),
			})
			o.State, moved[o.OrderID] = next, true
		}
	}
	for _, o := range stand {
		if moved[o.OrderID] {
			to = append(to, *byID[o.OrderID])
			delete(moved, o.OrderID)
		}
	}
	return to, said, left
}

// stepOf gives the step that an order takes when its customer has a text of the
// kind; "" for none.
func stepOf(kind night.MessageKind) night.Step {
	switch kind {
	case night.Instructions, night.Resend, night.Update:
		return night.Tell
	case night.Reminder:
		return night.Remind
	case night.Cancellation, night.Nudge, night.Delay, night.Reply, night.Confirmation, night.Short:
	}
	return ""
}

func lead(m night.Message) int64 {
	if len(m.Covers) == 0 {
		return 0
	}
	return m.Covers[0].OrderID
}

// Summary tells in a line what a preview holds.
func (p Preview) Summary() string {
	var kinds []string
	for _, k := range []night.MessageKind{night.Instructions, night.Reminder, night.Update, night.Cancellation} {
		count := 0
		for _, m := range p.Messages {
			if m.Kind == k {
				count++
			}
		}
		if count > 0 {
			kinds = append(kinds, fmt.Sprintf("%d %s", count, kindWords(k, count)))
		}
	}
	if len(kinds) == 0 {
		return "nothing to send"
	}
	texts, parts := plural(len(p.Messages), "text", "texts"), plural(p.Parts, "part", "parts")
	return fmt.Sprintf("%s: %d %s in %d %s", strings.Join(kinds, ", "), len(p.Messages), texts, p.Parts, parts)
}

// kindWords names a kind of text by its number; instructions are always many.
func kindWords(k night.MessageKind, n int) string {
	if k == night.Instructions {
		return string(k)
	}
	return plural(n, string(k), string(k)+"s")
}

// Messages gives all texts of a night in the order in which they are due.
func (d *Desk) Messages(ctx context.Context, nightID int64) ([]night.Message, error) {
	var out []night.Message
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		out, err = tx.Messages(ctx, nightID)
		return err
	})
	return out, err
}
