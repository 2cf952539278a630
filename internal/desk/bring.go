package desk

import (
	"context"
	"fmt"
	"iter"
	"slices"
	"time"

	"passbell/internal/night"
	"passbell/internal/plan"
	"passbell/internal/together"
	"passbell/internal/wording"
)

// replan brings the messages of a closed night in line with what is true now.
// With orders given, only the texts to the people behind these orders are
// looked at; no change of one person's order can move another person's texts.
func (d *Desk) replan(ctx context.Context, tx Tx, n night.Night, now time.Time, orders ...int64) error {
	_, err := d.planned(ctx, tx, n, now, orders...)
	return err
}

// planned is replan, and gives the plan that the messages are brought to; an
// empty one where orders are not closed.
func (d *Desk) planned(ctx context.Context, tx Tx, n night.Night, now time.Time, orders ...int64) (plan.Plan, error) {
	if n.ClosedAt.IsZero() {
		return plan.Plan{}, nil
	}
	in, err := d.planInput(ctx, tx, n, now, orders, func(ids []int64) ([]night.Order, error) { return tx.Household(ctx, n.ID, ids) })
	if err != nil {
		return plan.Plan{}, err
	}
	p := d.plan(in)
	said, err := d.bring(ctx, tx, in, p, len(orders) > 0)
	if err != nil {
		return plan.Plan{}, err
	}
	return p, tx.Log(ctx, said...)
}

// replanAbout is planned for all whom messages of one night are about; an empty plan
// where they are about no order.
func (d *Desk) replanAbout(ctx context.Context, tx Tx, now time.Time, about ...night.Message) (plan.Plan, error) {
	var orders []int64
	for _, m := range about {
		for _, c := range m.Covers {
			orders = append(orders, c.OrderID)
		}
	}
	if len(orders) == 0 {
		return plan.Plan{}, nil
	}
	n, err := tx.Night(ctx, about[0].NightID)
	if err != nil {
		return plan.Plan{}, err
	}
	slices.Sort(orders)
	return d.planned(ctx, tx, n, now, slices.Compact(orders)...)
}

// plan plans, and gives each message the way that it takes first. One whose way
// failed before stays on its other, where that leads to its customer still.
func (d *Desk) plan(in plan.Input) plan.Plan {
	p := plan.Make(in)
	for i := range p.Wanted {
		if m := &p.Wanted[i]; !m.Fallen || !d.routes.lead(m.Adapter, m.To) {
			m.Adapter = d.routes.First(m.To, m.Kind)
		}
	}
	return p
}

// bring makes the messages what a plan wants them to be, and gives what is to be
// said of it in the history; where not told to, only what is no plan's matter.
// What the plan wants gets its words.
func (d *Desk) bring(ctx context.Context, tx Tx, in plan.Input, p plan.Plan, tell bool) ([]night.Event, error) {
	have := make(map[int64]*night.Message, len(in.Messages))
	for i := range in.Messages {
		have[in.Messages[i].ID] = &in.Messages[i]
	}
	said, err := d.drop(ctx, tx, in, have, p.Drop, tell)
	if err != nil {
		return nil, err
	}
	write, err := d.writer(ctx, tx, in.Night, in.Orders)
	if err != nil {
		return nil, err
	}
	var changed []int64
	var stale, fresh []*night.Message
	for i := range p.Wanted {
		want := &p.Wanted[i]
		if want.ID == 0 {
			fresh = append(fresh, want)
			continue
		}
		if err := write(want); err != nil {
			return nil, err
		}
		if !same(have[want.ID], want) {
			stale, changed = append(stale, want), append(changed, want.ID)
		}
	}
	if err := tx.Uncover(ctx, changed...); err != nil {
		return nil, err
	}
	tellOf := func(what night.What, m *night.Message) {
		d.foretell(what, *m)
		if tell {
			said = append(said, aboutMessage(in, *m, what, fmt.Sprintf("%s for %s", m.Kind, d.local(m.DueAt))))
		}
	}
	for _, m := range stale {
		stored, err := tx.Reword(ctx, *m)
		if err != nil {
			return nil, err
		}
		if stored {
			tellOf(night.MessageChanged, m)
		}
	}
	for some := range together.Ahead(written(fresh, write)) {
		if some.err != nil {
			return nil, some.err
		}
		ids, err := tx.AddMessages(ctx, some.messages)
		if err != nil {
			return nil, err
		}
		for i, m := range some.of {
			if m.ID = ids[i]; m.ID != 0 {
				tellOf(night.MessagePlanned, m)
			}
		}
	}
	return said, nil
}

// batch is some new messages with their words, to be stored at once.
type batch struct {
	of       []*night.Message
	messages []night.Message // the same
	err      error           // why there is none
}

// batchSize is how many messages are written and then stored at once.
const batchSize = 1000

// written writes messages, some at a time.
func written(all []*night.Message, write func(m *night.Message) error) iter.Seq[batch] {
	return func(yield func(batch) bool) {
		for some := range slices.Chunk(all, batchSize) {
			b := batch{of: some, messages: make([]night.Message, len(some))}
			for i, m := range some {
				if b.err = write(m); b.err != nil {
					break
				}
				b.messages[i] = *m
			}
			if !yield(b) {
				return
			}
		}
	}
}

// drop takes planned messages back, or shows that their time went by.
func (d *Desk) drop(ctx context.Context, tx Tx, in plan.Input, have map[int64]*night.Message, drops []plan.Drop, tell bool) ([]night.Event, error) {
	all := make([]night.Withdrawal, len(drops))
	for i, drop := range drops {
		all[i] = night.Withdrawal{MessageID: drop.MessageID, To: drop.State, Why: string(drop.Why)}
	}
	gone, err := tx.WithdrawAll(ctx, all, in.Now)
	if err != nil {
		return nil, err
	}
	var said []night.Event
	for i, w := range all {
		if !gone[i] {
			continue
		}
		m := *have[w.MessageID]
		d.foretell(night.MessageWithdrawn, m)
		if !tell && m.Attempt == 0 && w.To != night.Missed {
			continue // it is forgotten, and what the whole night was planned for is on record
		}
		said = append(said, aboutMessage(in, m, night.MessageWithdrawn, w.Why))
	}
	return said, nil
}

// planInput gathers what a plan depends on: the whole night, or, with orders
// given, everybody whose texts these orders have a part in. Somebody who
// changed their number still shares a text with those under the old one, so the
// circle is widened until no text reaches out of it. household gives the orders
// that share a number with some.
func (d *Desk) planInput(
	ctx context.Context, tx Tx, n night.Night, now time.Time, orders []int64, household func(ids []int64) ([]night.Order, error),
) (plan.Input, error) {
	in := plan.Input{Kitchen: d.kitchen, Night: n, Now: now, Mail: d.routes.mail()}
	var err error
	if in.OptedOut, err = tx.OptedOut(ctx); err != nil {
		return in, err
	}
	if len(orders) == 0 {
		if in.Orders, err = tx.Orders(ctx, n.ID); err != nil {
			return in, err
		}
		in.NoWay = d.routes.noWay(in.Orders)
		in.Messages, err = tx.Messages(ctx, n.ID)
		return in, err
	}
	for {
		if in.Orders, err = household(orders); err != nil {
			return in, err
		}
		if in.Messages, err = tx.MessagesAbout(ctx, ids(in.Orders), night.Reply, night.Confirmation); err != nil { // of answers nothing is planned
			return in, err
		}
		wider := ids(in.Orders)
		for _, m := range in.Messages {
			for _, c := range m.Covers {
				if !slices.Contains(wider, c.OrderID) {
					wider = append(wider, c.OrderID)
				}
			}
		}
		if len(wider) == len(in.Orders) {
			in.NoWay = d.routes.noWay(in.Orders)
			return in, nil
		}
		orders = wider
	}
}

func aboutMessage(in plan.Input, m night.Message, what night.What, why string) night.Event {
	return night.Event{NightID: in.Night.ID, OrderID: lead(m), MessageID: m.ID, At: in.Now, Who: clock, What: what, Why: why}
}

// same tells whether a stored message already is what is wanted.
func same(have, want *night.Message) bool {
	if have.State != night.Due || have.Revision != want.Revision || have.Text != want.Text || have.To != want.To || have.Adapter != want.Adapter || have.Place != want.Place ||
		!have.DueAt.Equal(want.DueAt) || !have.ExpiresAt.Equal(want.ExpiresAt) || len(have.Covers) != len(want.Covers) {
		return false
	}
	slots := make(map[int64]night.Clock, len(have.Covers))
	for _, c := range have.Covers {
		slots[c.OrderID] = c.Slot
	}
	for _, c := range want.Covers {
		if slot, ok := slots[c.OrderID]; !ok || slot != c.Slot {
			return false
		}
	}
	return true
}

// writer gives what writes the text of a message about a night's orders, and
// counts its parts.
func (d *Desk) writer(ctx context.Context, tx TextTx, n night.Night, orders []night.Order) (func(m *night.Message) error, error) {
	set, err := d.texts(ctx, tx)
	if err != nil {
		return nil, err
	}
	byID := make(map[int64]*night.Order, len(orders))
	for i := range orders {
		byID[orders[i].ID] = &orders[i]
	}
	occasion := wording.OccasionOf(d.kitchen, n, set.Lang())
	var about []*night.Order
	return func(m *night.Message) error {
		about = about[:0]
		for _, c := range m.Covers {
			o, ok := byID[c.OrderID]
			if !ok {
				return fmt.Errorf("order of the %s: %w", m.Kind, night.ErrNotFound)
			}
			about = append(about, o)
		}
		text, err := set.Render(wording.NameFor(m.Kind), occasion.About(about))
		if err != nil {
			return fmt.Errorf("write the %s: %w", m.Kind, err)
		}
		m.Text, m.Parts = text, wording.Parts(text)
		return nil
	}, nil
}
