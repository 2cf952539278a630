// Package inbox takes in what customers write: stored first, then acknowledged,
// then read, matched and acted on, once however often it is delivered.
package inbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/night"
)

// Store is the part of the database that the inbox needs.
type Store interface {
	Write(ctx context.Context, fn func(Tx) error) error
	Read(ctx context.Context, fn func(Tx) error) error
}

// Tx is one transaction.
type Tx interface {
	AddInbound(ctx context.Context, in night.Inbound) (id int64, added bool, err error)
	Inbound(ctx context.Context, id int64) (night.Inbound, error)
	InboundsIn(ctx context.Context, state night.InboundState) ([]night.Inbound, error)
	Nights(ctx context.Context) ([]night.Night, error)
	Orders(ctx context.Context, nightID int64) ([]night.Order, error)
	OptedOut(ctx context.Context) (map[string]bool, error)
	Log(ctx context.Context, events ...night.Event) error
}

// Desk acts on what was understood.
type Desk interface {
	Apply(ctx context.Context, texts []night.Inbound, decide func(tx desk.Tx, in night.Inbound) (desk.Decision, error)) error
	Place(ctx context.Context, inboundID int64, ref, who string, dec desk.Decision) error
}

// Config is what an inbox needs. Every field is required.
type Config struct {
	Store   Store
	Kitchen night.Kitchen
	Desk    Desk
	Now     func() time.Time
	Log     *slog.Logger
}

// Inbox serves one kitchen.
type Inbox struct {
	c      Config
	taking shared[*taken]
	// reading keeps texts in order: a second text that completes the first
	// must not overtake it.
	reading shared[struct{}]
}

// taken is a text on its way into the database.
type taken struct {
	text night.Inbound
	now  time.Time
	new  bool
	err  error
}

// New makes an inbox.
func New(c Config) (*Inbox, error) {
	if c.Store == nil || c.Desk == nil || c.Now == nil || c.Log == nil || c.Kitchen.Zone == nil {
		return nil, errors.New("inbox: something is missing in its configuration")
	}
	return &Inbox{c: c}, nil
}

// Take stores a text for good and then acts on it. A nil error means that it is
// stored: only that is acknowledged. What can't be acted on now is acted on by
// the next CatchUp. Texts that come at once are stored in one transaction.
func (b *Inbox) Take(ctx context.Context, adapter string, in adapters.Inbound) error {
	now := b.c.Now().UTC()
	mine := &taken{text: Text(adapter, in, now), now: now}
	err := b.taking.join(mine, func(all []*taken) error {
		b.take(context.WithoutCancel(ctx), all) // others wait for it too
		return nil
	})
	if err = errors.Join(err, mine.err); err != nil {
		return fmt.Errorf("store a text: %w", err)
	}
	if mine.new {
		b.ReadNow(ctx, adapter)
	}
	return nil
}

// take stores texts; one that can't be stored does not keep out the others.
func (b *Inbox) take(ctx context.Context, all []*taken) {
	err := b.c.Store.Write(ctx, func(tx Tx) (err error) {
		for _, t := range all {
			if t.new, err = Put(ctx, tx, t.text, t.now); err != nil {
				return err
			}
		}
		return nil
	})
	switch {
	case err == nil:
	case len(all) == 1:
		all[0].err = err
	default:
		for _, t := range all {
			b.take(ctx, []*taken{t})
		}
	}
}

// Text is what there is to store of a text that an adapter took in.
func Text(adapter string, in adapters.Inbound, now time.Time) night.Inbound {
	out := night.Inbound{
		Adapter: adapter, ProviderID: in.ID, From: in.From, To: in.To, Text: in.Text, At: in.At.UTC(),
	}
	if in.At.IsZero() {
		out.At = now
	}
	return out
}

// Put stores a text in a kitchen, and tells whether it was new there.
func Put(ctx context.Context, tx interface {
	AddInbound(ctx context.Context, in night.Inbound) (id int64, added bool, err error)
	Log(ctx context.Context, events ...night.Event) error
}, in night.Inbound, now time.Time) (added bool, err error) {
	id, added, err := tx.AddInbound(ctx, in)
	if err != nil || !added {
		return false, err
	}
	return true, tx.Log(ctx, night.Event{InboundID: id, At: now, Who: "customer", What: night.TextCame, Why: "by " + in.Adapter})
}

// ReadNow acts on what was just stored. Where that is not possible now, the next
// CatchUp does.
func (b *Inbox) ReadNow(ctx context.Context, adapter string) {
	if err := b.CatchUp(context.WithoutCancel(ctx)); err != nil {
		b.c.Log.Error("a text is stored and not yet read; it is read with the next tick", "adapter", adapter, "error", err)
	}
}

// CatchUp acts on every text that is stored and not yet read, the oldest first.
// Whoever comes while others are read shares the next round with all who wait.
func (b *Inbox) CatchUp(ctx context.Context) error {
	return b.reading.join(struct{}{}, func([]struct{}) error { return b.catchUp(ctx) })
}

func (b *Inbox) catchUp(ctx context.Context) error {
	var fresh []night.Inbound
	err := b.c.Store.Read(ctx, func(tx Tx) (err error) {
		fresh, err = tx.InboundsIn(ctx, night.Fresh)
		return err
	})
	if err != nil {
		return err
	}
	for some := range slices.Chunk(fresh, atOnce) {
		err := b.c.Desk.Apply(ctx, some, b.reader(ctx))
		if err == nil {
			continue
		}
		for _, in := range some { // one that can't be acted on holds up none before it
			if err := b.c.Desk.Apply(ctx, []night.Inbound{in}, b.reader(ctx)); err != nil {
				return err
			}
		}
	}
	return nil
}

// atOnce is how many texts are acted on in one transaction: the pass waits for
// no longer than that.
const atOnce = 50

// reader reads one text after the other against what stands in the transaction
// in which they are acted on. What acting on one changes is looked at again for
// the next: the orders that it was about.
func (b *Inbox) reader(ctx context.Context) func(tx desk.Tx, in night.Inbound) (desk.Decision, error) {
	var nights []night.Night
	var of night.Night
	var orders []night.Order
	var touched []int64
	return func(tx desk.Tx, in night.Inbound) (dec desk.Decision, err error) {
		if nights == nil {
			if nights, err = tx.Nights(ctx); err != nil {
				return dec, err
			}
		}
		n, _ := night.Current(nights, in.At, b.c.Kitchen.Zone)
		if n.ID != of.ID {
			of, touched = n, nil
			if orders, err = tx.Orders(ctx, n.ID); err != nil {
				return dec, err
			}
		}
		again, err := tx.OrdersByID(ctx, touched)
		if err != nil {
			return dec, err
		}
		for _, o := range again {
			if i := slices.IndexFunc(orders, func(have night.Order) bool { return have.ID == o.ID }); i >= 0 {
				orders[i] = o
			}
		}
		opted, err := tx.OptedOut(ctx)
		if err != nil {
			return dec, err
		}
		dec = Decide(Situation{Inbound: in, Kitchen: b.c.Kitchen, Night: n, Orders: orders, OptedOut: opted[in.From]})
		touched = dec.Orders
		return dec, nil
	}
}

// Place acts on a text by a person's word that it is about the order ref.
func (b *Inbox) Place(ctx context.Context, inboundID int64, ref, who string) error {
	b.reading.one.Lock()
	defer b.reading.one.Unlock()
	var in night.Inbound
	err := b.c.Store.Read(ctx, func(tx Tx) (err error) {
		in, err = tx.Inbound(ctx, inboundID)
		return err
	})
	if err != nil {
		return err
	}
	s, err := b.situation(ctx, in)
	if err != nil {
		return err
	}
	s.Placed = ref
	return b.c.Desk.Place(ctx, inboundID, ref, who, Decide(s))
}

// situation gathers what a text has to be read against.
func (b *Inbox) situation(ctx context.Context, in night.Inbound) (Situation, error) {
	s := Situation{Inbound: in, Kitchen: b.c.Kitchen}
	err := b.c.Store.Read(ctx, func(tx Tx) error {
		nights, err := tx.Nights(ctx)
		if err != nil {
			return err
		}
		var ok bool
		if s.Night, ok = night.Current(nights, in.At, b.c.Kitchen.Zone); !ok {
			return nil
		}
		if s.Orders, err = tx.Orders(ctx, s.Night.ID); err != nil {
			return err
		}
		opted, err := tx.OptedOut(ctx)
		s.OptedOut = opted[in.From]
		return err
	})
	return s, err
}
