// Package inbox takes in what customers write: stored first, then acknowledged,
// then read, matched and acted on, once however often it is delivered.
package inbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
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
	Log(ctx context.Context, e night.Event) error
}

// Desk acts on what was understood.
type Desk interface {
	Apply(ctx context.Context, in night.Inbound, dec desk.Decision) error
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
	c Config
	// reading keeps texts in order: a second text that completes the first
	// must not overtake it.
	reading sync.Mutex
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
// the next CatchUp.
func (b *Inbox) Take(ctx context.Context, adapter string, in adapters.Inbound) error {
	now := b.c.Now().UTC()
	added := false
	err := b.c.Store.Write(ctx, func(tx Tx) (err error) {
		added, err = Put(ctx, tx, Text(adapter, in, now), now)
		return err
	})
	if err != nil {
		return fmt.Errorf("store a text: %w", err)
	}
	if added {
		b.ReadNow(ctx, adapter)
	}
	return nil
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
	Log(ctx context.Context, e night.Event) error
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
func (b *Inbox) CatchUp(ctx context.Context) error {
	b.reading.Lock()
	defer b.reading.Unlock()
	var fresh []night.Inbound
	err := b.c.Store.Read(ctx, func(tx Tx) (err error) {
		fresh, err = tx.InboundsIn(ctx, night.Fresh)
		return err
	})
	if err != nil {
		return err
	}
	for _, in := range fresh {
		s, err := b.situation(ctx, in)
		if err != nil {
			return err
		}
		if err := b.c.Desk.Apply(ctx, in, Decide(s)); err != nil {
			return fmt.Errorf("act on text %d: %w", in.ID, err)
		}
	}
	return nil
}

// Place acts on a text by a person's word that it is about the order ref.
func (b *Inbox) Place(ctx context.Context, inboundID int64, ref, who string) error {
	b.reading.Lock()
	defer b.reading.Unlock()
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
