// Package desk is what people and the clock do: load an order book, close,
// resend, mark, move, tell. The shell, the pages, the API, the scheduler and
// the customers' texts all come through here, so that each change, its events
// and its consequences for the messages are one transaction.
package desk

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"passbell/internal/night"
	"passbell/internal/plan"
	"passbell/internal/wording"
)

// Store is the part of the database that belongs to the desk's kitchen.
type Store interface {
	Write(ctx context.Context, fn func(Tx) error) error
	Read(ctx context.Context, fn func(Tx) error) error
}

// Tx is one transaction.
type Tx interface {
	NightTx
	OrderTx
	MessageTx
	InboundTx
	BookTx
	TextTx
	WipeTx
	Log(ctx context.Context, events ...night.Event) error
	LastEvent(ctx context.Context) (int64, error)
	Events(ctx context.Context, nightID, after int64, limit int) ([]night.Event, error)
}

// NightTx reads and writes nights.
type NightTx interface {
	AddNight(ctx context.Context, n night.Night) (int64, error)
	SaveNight(ctx context.Context, n night.Night) error
	Night(ctx context.Context, id int64) (night.Night, error)
	Nights(ctx context.Context) ([]night.Night, error)
}

// OrderTx reads and writes orders.
type OrderTx interface {
	Orders(ctx context.Context, nightID int64) ([]night.Order, error)
	Order(ctx context.Context, id int64) (night.Order, error)
	OrdersByID(ctx context.Context, ids []int64) ([]night.Order, error)
	Stages(ctx context.Context, ids []int64) ([]night.Stage, error)
	MoveOrders(ctx context.Context, to []night.Stage) error
	SetBags(ctx context.Context, orders []night.Order) error
	OrderByRef(ctx context.Context, nightID int64, ref string) (night.Order, error)
	Household(ctx context.Context, nightID int64, ids []int64) ([]night.Order, error)
	Booked(ctx context.Context, nightID int64) (map[int64]night.Order, error)
	AddOrder(ctx context.Context, o night.Order) (int64, error)
	SaveOrder(ctx context.Context, o night.Order) error
	SaveOrders(ctx context.Context, all []night.Order) error
	OrderChanges(ctx context.Context) (int64, error)
	SetBooked(ctx context.Context, id int64, o night.Order) error
	EventsOf(ctx context.Context, orderID int64) ([]night.Event, error)
}

// MessageTx reads and writes messages that are planned or settled; sending is
// the business of package dispatch.
type MessageTx interface {
	Messages(ctx context.Context, nightID int64) ([]night.Message, error)
	MessagesAbout(ctx context.Context, orders []int64) ([]night.Message, error)
	Message(ctx context.Context, id int64) (night.Message, error)
	AddMessages(ctx context.Context, all []night.Message) ([]int64, error)
	AddMessage(ctx context.Context, m night.Message) (id int64, added bool, err error)
	Reword(ctx context.Context, m night.Message) (bool, error)
	Uncover(ctx context.Context, ids ...int64) error
	Withdraw(ctx context.Context, id int64, to night.MessageState, why string, now time.Time) (bool, error)
	WithdrawAll(ctx context.Context, all []night.Withdrawal, now time.Time) ([]bool, error)
	Answered(ctx context.Context, nightID int64, address string) (bool, error)
	SendAgain(ctx context.Context, id int64, expires time.Time) (bool, error)
	SetMessageState(ctx context.Context, id int64, from []night.MessageState, to night.MessageState, why string, now time.Time) (bool, error)
}

// InboundTx reads and writes texts from customers.
type InboundTx interface {
	Inbound(ctx context.Context, id int64) (night.Inbound, error)
	InboundOf(ctx context.Context, adapter, providerID string) (night.Inbound, error)
	Inbounds(ctx context.Context, nightID int64) ([]night.Inbound, error)
	InboundsIn(ctx context.Context, state night.InboundState) ([]night.Inbound, error)
	SaveInbound(ctx context.Context, in night.Inbound, from ...night.InboundState) (bool, error)
	SaveInbounds(ctx context.Context, all []night.Inbound, from ...night.InboundState) (int, error)
	OptOut(ctx context.Context, address string, when time.Time) (bool, error)
	OptIn(ctx context.Context, address string) (bool, error)
	OptedOut(ctx context.Context) (map[string]bool, error)
}

// BookTx keeps what was learned about order books.
type BookTx interface {
	SetMapping(ctx context.Context, shape string, mapping map[string]string) error
	Mapping(ctx context.Context, shape string) (map[string]string, error)
	SeeProblem(ctx context.Context, nightID int64, problem string) error
	SeenProblems(ctx context.Context, nightID int64) (map[string]bool, error)
}

// Desk serves one kitchen.
type Desk struct {
	store   Store
	kitchen night.Kitchen
	base    *wording.Set // the texts without what was saved, see texts
	said    *said
	now     func() time.Time
	changed func()
	routes  Routes
	foresee func(Consequence) // set where a change is only tried
}

// Config is what a desk needs. Every field but Changed is required.
type Config struct {
	Store   Store
	Kitchen night.Kitchen
	Texts   *wording.Set // the built-in ones and those of the configuration
	Now     func() time.Time
	// Routes are the kitchen's ways out, the preferred one first. Without any,
	// a message goes by whichever adapter comes first.
	Routes Routes
	// Changed is called after every change that was kept, so that whoever
	// waits for one need not poll.
	Changed func()
}

// New makes a desk.
func New(c Config) (*Desk, error) {
	switch {
	case c.Store == nil:
		return nil, errors.New("desk: no store")
	case c.Texts == nil:
		return nil, errors.New("desk: no texts")
	case c.Now == nil:
		return nil, errors.New("desk: no clock")
	case c.Kitchen.Zone == nil:
		return nil, errors.New("desk: the kitchen has no time zone")
	}
	if c.Changed == nil {
		c.Changed = func() {}
	}
	return &Desk{store: c.Store, kitchen: c.Kitchen, base: c.Texts, said: new(said), now: c.Now, changed: c.Changed, routes: c.Routes}, nil
}

// Kitchen gives the kitchen that the desk serves.
func (d *Desk) Kitchen() night.Kitchen { return d.kitchen }

// write runs fn in one transaction with one moment, and tells who waits.
func (d *Desk) write(ctx context.Context, fn func(tx Tx, now time.Time) error) error {
	now := d.now().UTC()
	if err := d.store.Write(ctx, func(tx Tx) error { return fn(tx, now) }); err != nil {
		return err
	}
	d.changed()
	return nil
}

// AddNight stores a new night.
func (d *Desk) AddNight(ctx context.Context, n night.Night, who string) (night.Night, error) {
	if err := n.Validate(d.kitchen.Zone); err != nil {
		return n, err
	}
	n.KitchenID = d.kitchen.ID
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		id, err := tx.AddNight(ctx, n)
		if err != nil {
			return err
		}
		n.ID = id
		return tx.Log(ctx, night.Event{NightID: id, At: now, Who: who, What: night.NightAdded, Why: "the night of " + n.Date.String()})
	})
	return n, err
}

// Nights gives the kitchen's nights, the oldest first.
func (d *Desk) Nights(ctx context.Context) ([]night.Night, error) {
	var out []night.Night
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		out, err = tx.Nights(ctx)
		return err
	})
	return out, err
}

// ErrNoNight says that the kitchen has no night to work on.
var ErrNoNight = errors.New("there is no night yet: add one with `passbell night add`")

// Current gives the night that the kitchen is working on now: the first that is
// not over, else the latest.
func (d *Desk) Current(ctx context.Context) (night.Night, error) {
	nights, err := d.Nights(ctx)
	if err != nil {
		return night.Night{}, err
	}
	n, ok := night.Current(nights, d.now(), d.kitchen.Zone)
	if !ok {
		return n, ErrNoNight
	}
	return n, nil
}

// Replan brings the texts about orders in line with what is true now; all texts
// of the night where no order is named.
func (d *Desk) Replan(ctx context.Context, nightID int64, orders ...int64) error {
	return d.write(ctx, func(tx Tx, now time.Time) error { return d.ReplanIn(ctx, tx, now, nightID, orders...) })
}

// ReplanIn is Replan as a part of the transaction tx. Whoever stops a text
// because it is no longer true calls it, so that those who shared the text still
// get theirs, however soon after it the power fails.
func (d *Desk) ReplanIn(ctx context.Context, tx Tx, now time.Time, nightID int64, orders ...int64) error {
	n, err := tx.Night(ctx, nightID)
	if err != nil {
		return err
	}
	return d.replan(ctx, tx, n, now, orders...)
}

// log appends an event about an order.
func log(ctx context.Context, tx Tx, o night.Order, now time.Time, who string, what night.What, why string) error {
	return tx.Log(ctx, night.Event{NightID: o.NightID, OrderID: o.ID, At: now, Who: who, What: what, Why: why})
}

// replan brings the messages of a closed night in line with what is true now.
// With orders given, only the texts to the people behind these orders are
// looked at; no change of one person's order can move another person's texts.
func (d *Desk) replan(ctx context.Context, tx Tx, n night.Night, now time.Time, orders ...int64) error {
	if n.ClosedAt.IsZero() {
		return nil
	}
	in, err := d.planInput(ctx, tx, n, now, orders, func(ids []int64) ([]night.Order, error) { return tx.Household(ctx, n.ID, ids) })
	if err != nil {
		return err
	}
	said, err := d.bring(ctx, tx, in, len(orders) > 0)
	if err != nil {
		return err
	}
	return tx.Log(ctx, said...)
}

// bring makes the messages what the plan wants them to be, and gives what is to
// be said of it in the history; where not told to, only what is no plan's matter.
func (d *Desk) bring(ctx context.Context, tx Tx, in plan.Input, tell bool) ([]night.Event, error) {
	p := plan.Make(in)
	said, err := d.drop(ctx, tx, in, p.Drop, tell)
	if err != nil {
		return nil, err
	}
	texts, err := d.render(ctx, tx, in.Night, in.Orders, p.Wanted)
	if err != nil {
		return nil, err
	}
	before := make(map[int64]night.Message, len(in.Messages))
	for _, m := range in.Messages {
		before[m.ID] = m
	}
	wanted := make([]night.Message, 0, len(p.Wanted))
	var changed []int64
	for i, want := range p.Wanted {
		want.KitchenID, want.NightID = d.kitchen.ID, in.Night.ID
		want.Text, want.Parts = texts[i], wording.Parts(texts[i])
		have := before[want.ID]
		if want.Adapter = have.Adapter; !have.Fallen {
			want.Adapter = d.routes.First(want.To, want.Kind)
		}
		if want.ID != 0 {
			if same(have, want) {
				continue
			}
			changed = append(changed, want.ID)
		}
		wanted = append(wanted, want)
	}
	if err := tx.Uncover(ctx, changed...); err != nil {
		return nil, err
	}
	put, err := d.putMessages(ctx, tx, in, wanted, tell)
	return append(said, put...), err
}

// drop takes planned messages back, or shows that their time went by.
func (d *Desk) drop(ctx context.Context, tx Tx, in plan.Input, drops []plan.Drop, tell bool) ([]night.Event, error) {
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
		m := find(in.Messages, w.MessageID)
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
		if in.Messages, err = tx.MessagesAbout(ctx, ids(in.Orders)); err != nil {
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

// putMessages stores planned messages, new or changed, and gives what is to be
// said of it in the history where told to.
func (d *Desk) putMessages(ctx context.Context, tx Tx, in plan.Input, wanted []night.Message, tell bool) ([]night.Event, error) {
	fresh := make([]night.Message, 0, len(wanted))
	stored := make([]bool, len(wanted))
	for i, want := range wanted {
		var err error
		if want.ID == 0 {
			fresh = append(fresh, want)
		} else if stored[i], err = tx.Reword(ctx, want); err != nil {
			return nil, err
		}
	}
	ids, err := tx.AddMessages(ctx, fresh)
	if err != nil {
		return nil, err
	}
	var said []night.Event
	for i, want := range wanted {
		what := night.MessageChanged
		if want.ID == 0 {
			want.ID, ids, what = ids[0], ids[1:], night.MessagePlanned
			stored[i] = want.ID != 0
		}
		if !stored[i] {
			continue
		}
		d.foretell(what, want)
		if tell {
			said = append(said, aboutMessage(in, want, what, fmt.Sprintf("%s for %s", want.Kind, d.local(want.DueAt))))
		}
	}
	return said, nil
}

func aboutMessage(in plan.Input, m night.Message, what night.What, why string) night.Event {
	return night.Event{NightID: in.Night.ID, OrderID: lead(m), MessageID: m.ID, At: in.Now, Who: clock, What: what, Why: why}
}

// same tells whether a stored message already is what is wanted.
func same(have, want night.Message) bool {
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

func find(messages []night.Message, id int64) night.Message {
	for _, m := range messages {
		if m.ID == id {
			return m
		}
	}
	return night.Message{}
}

// render writes the texts of planned messages.
func (d *Desk) render(ctx context.Context, tx TextTx, n night.Night, orders []night.Order, messages []night.Message) ([]string, error) {
	set, err := d.texts(ctx, tx)
	if err != nil {
		return nil, err
	}
	byID := make(map[int64]*night.Order, len(orders))
	for i := range orders {
		byID[orders[i].ID] = &orders[i]
	}
	occasion := wording.OccasionOf(d.kitchen, n, set.Lang())
	out := make([]string, len(messages))
	var about []*night.Order
	for i, m := range messages {
		about = about[:0]
		for _, c := range m.Covers {
			o, ok := byID[c.OrderID]
			if !ok {
				return nil, fmt.Errorf("order of the %s: %w", m.Kind, night.ErrNotFound)
			}
			about = append(about, o)
		}
		text, err := set.Render(wording.NameFor(m.Kind), occasion.About(about))
		if err != nil {
			return nil, fmt.Errorf("write the %s: %w", m.Kind, err)
		}
		out[i] = text
	}
	return out, nil
}

// local writes a moment as the kitchen's people say it.
func (d *Desk) local(t time.Time) string { return t.In(d.kitchen.Zone).Format("Mon 2 Jan 15:04") }

func ids(orders []night.Order) []int64 {
	out := make([]int64, len(orders))
	for i, o := range orders {
		out[i] = o.ID
	}
	return out
}
