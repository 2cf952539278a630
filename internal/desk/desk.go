// Package desk is what people and the clock do: load an order book, close,
// resend, mark, move, tell. The shell, the pages, the API, the scheduler and
// the customers' texts all come through here, so that each change, its events
// and its consequences for the messages are one transaction.
package desk

import (
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"passbell/internal/night"
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
	OrderChanges(ctx context.Context) (night.Count, error)
	SetBooked(ctx context.Context, id int64, o night.Order) error
	EventsOf(ctx context.Context, orderID int64) ([]night.Event, error)
}

// MessageTx reads and writes messages that are planned or settled; sending is
// the business of package dispatch.
type MessageTx interface {
	Messages(ctx context.Context, nightID int64) ([]night.Message, error)
	MessagesAbout(ctx context.Context, orders []int64, but ...night.MessageKind) ([]night.Message, error)
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
	return d.write(ctx, func(tx Tx, now time.Time) error {
		n, err := tx.Night(ctx, nightID)
		if err != nil {
			return err
		}
		return d.replan(ctx, tx, n, now, orders...)
	})
}

// ReplanIn brings the texts to all whom some messages are about in line with what is
// true now, as a part of the transaction tx. Whoever changes what became of a
// message calls it, as what its customers know or wait for is then another thing;
// so whoever shared it gets what is theirs, however soon after it the power fails.
func (d *Desk) ReplanIn(ctx context.Context, tx Tx, now time.Time, about ...night.Message) error {
	byNight := map[int64][]night.Message{}
	for _, m := range about {
		byNight[m.NightID] = append(byNight[m.NightID], m)
	}
	for _, id := range slices.Sorted(maps.Keys(byNight)) {
		if _, err := d.replanAbout(ctx, tx, now, byNight[id]...); err != nil {
			return err
		}
	}
	return nil
}

// log appends an event about an order.
func log(ctx context.Context, tx Tx, o night.Order, now time.Time, who string, what night.What, why string) error {
	return tx.Log(ctx, night.Event{NightID: o.NightID, OrderID: o.ID, At: now, Who: who, What: what, Why: why})
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
