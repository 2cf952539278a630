// Package inbox takes in what customers write: stored first, then acknowledged,
// then read, matched and acted on, once however often it is delivered.
package inbox

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync/atomic"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/fault"
	"passbell/internal/match"
	"passbell/internal/night"
	"passbell/internal/together"
)

// Store is the part of the database that the inbox needs.
type Store interface {
	Write(ctx context.Context, fn func(Tx) error) error
	Read(ctx context.Context, fn func(Tx) error) error
}

// Tx is one transaction.
type Tx interface {
	desk.Tx
	AddInbounds(ctx context.Context, all []night.Inbound) (ids []int64, err error)
	Held(ctx context.Context, kitchens []int64, adapter, providerID string) (bool, error)
}

// Desk acts on what was understood.
type Desk interface {
	ApplyIn(ctx context.Context, tx desk.Tx, now time.Time, b *desk.Book, texts []night.Inbound, decide desk.Decide) error
	PlaceIn(ctx context.Context, tx desk.Tx, now time.Time, b *desk.Book, in night.Inbound, ref, who string, dec desk.Decision) error
	Changed()
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
	c       Config
	intake  *Intake
	reading together.Work[struct{}]
	// known is what the last round that was kept knew. Whoever begins a round takes
	// it away, so that a round which fails leaves nothing behind.
	known atomic.Pointer[known]
}

// New makes an inbox.
func New(c Config) (*Inbox, error) {
	if c.Store == nil || c.Desk == nil || c.Now == nil || c.Log == nil || c.Kitchen.Zone == nil {
		return nil, errors.New("inbox: something is missing in its configuration")
	}
	b := &Inbox{c: c}
	b.intake = NewIntake(func(ctx context.Context, kitchens []int64, fn func(kitchen int64, tx Tx) error) error {
		return c.Store.Write(ctx, func(tx Tx) error { return fn(kitchens[0], tx) })
	}, 0)
	b.intake.Add(b)
	return b, nil
}

// Take is Intake.Take on a line of the kitchen alone.
func (b *Inbox) Take(ctx context.Context, adapter string, in adapters.Inbound) error {
	now := b.c.Now().UTC()
	text := Text(adapter, in, now)
	text.KitchenID = b.c.Kitchen.ID
	return b.intake.Take(ctx, now, nil, text)
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

// readNow acts on what was just stored. Where that is not possible now, the next
// CatchUp does.
func (b *Inbox) readNow(ctx context.Context) {
	if err := b.CatchUp(ctx); err != nil {
		b.c.Log.Error("a text is stored and not yet read; it is read with the next tick", "error", err)
	}
}

// CatchUp acts on every text that is stored and not yet read, the oldest first.
// Whoever comes while others are read shares the next round with all who wait.
// A text that can't be acted on holds up nobody's but its sender's: what they
// write next may complete it. What it gives is why some were not acted on.
func (b *Inbox) CatchUp(ctx context.Context) error {
	return b.reading.Do(struct{}{}, func([]struct{}) error { return b.catchUp(ctx) })
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
	var failed []error
	held := map[string]bool{} // by sender
	for some := range slices.Chunk(fresh, atOnce) {
		some = slices.DeleteFunc(slices.Clone(some), func(in night.Inbound) bool { return held[in.From] })
		if err := b.act(ctx, some...); err == nil {
			continue
		}
		for _, in := range some {
			if held[in.From] {
				continue
			}
			err := b.act(ctx, in)
			switch {
			case err == nil:
			case errors.Is(err, night.ErrAway) || ctx.Err() != nil:
				return errors.Join(append(failed, err)...)
			default:
				failed, held[in.From] = append(failed, err), true
			}
		}
	}
	return errors.Join(failed...)
}

// atOnce is how many texts are acted on in one transaction: the pass waits for
// no longer than that.
const atOnce = 50

// act acts on those of the texts that nobody acted on meanwhile, in a transaction
// of their own.
func (b *Inbox) act(ctx context.Context, texts ...night.Inbound) error {
	keep := func() {}
	err := b.c.Store.Write(ctx, func(tx Tx) error {
		fresh, err := tx.InboundsIn(ctx, night.Fresh)
		if err != nil {
			return err
		}
		fresh = slices.DeleteFunc(fresh, func(in night.Inbound) bool {
			return !slices.ContainsFunc(texts, func(of night.Inbound) bool { return of.ID == in.ID })
		})
		keep, err = b.actIn(ctx, tx, fresh)
		return err
	})
	if err == nil {
		keep()
	}
	return err
}

// actOnNew acts on the n texts that were just stored in the transaction. Where
// others wait before them it does nothing, and tells so.
func (b *Inbox) actOnNew(ctx context.Context, tx Tx, n int) (done bool, keep func(), err error) {
	defer func() { // the text is stored before anything is made of it
		err = errors.Join(err, fault.Caught(recover(), b.c.Log))
	}()
	keep = func() {}
	fresh, err := tx.InboundsIn(ctx, night.Fresh)
	if err != nil || len(fresh) > n || n > atOnce {
		return false, keep, err
	}
	keep, err = b.actIn(ctx, tx, fresh)
	return true, keep, err
}

// actIn acts on texts that nobody acted on yet, in a transaction that has the
// kitchen to itself. keep is called once that is kept.
func (b *Inbox) actIn(ctx context.Context, tx Tx, texts []night.Inbound) (keep func(), err error) {
	if len(texts) == 0 {
		return func() {}, nil
	}
	now := b.c.Now().UTC()
	r := &reader{kitchen: b.c.Kitchen}
	if k := b.known.Swap(nil); k != nil {
		r = k.reader
	}
	nights, err := tx.Nights(ctx)
	if err != nil {
		return nil, err
	}
	current := func(in night.Inbound) night.Night {
		n, _ := night.Current(nights, in.At, b.c.Kitchen.Zone)
		return n
	}
	for len(texts) > 0 {
		of := current(texts[0])
		n := slices.IndexFunc(texts, func(in night.Inbound) bool { return current(in).ID != of.ID })
		if n < 0 {
			n = len(texts)
		}
		if err := r.book.Refresh(ctx, tx, of); err != nil {
			return nil, err
		}
		if err := b.c.Desk.ApplyIn(ctx, tx, now, &r.book, texts[:n], func(in night.Inbound) (desk.Decision, error) { return r.decide(ctx, tx, in, "") }); err != nil {
			return nil, err
		}
		texts = texts[n:]
	}
	return func() {
		b.known.Store(&known{r, now})
		b.c.Desk.Changed()
	}, nil
}

// Rest lets go of what was kept in memory for the next round where none came for a
// while. It is called now and then.
func (b *Inbox) Rest() {
	if k := b.known.Load(); k != nil && b.c.Now().Sub(k.since) > keepFor {
		b.known.CompareAndSwap(k, nil)
	}
}

// keepFor is how long a night's orders are kept in memory for the next text.
const keepFor = time.Minute

// Place acts on a text by a person's word that it is about the order ref.
func (b *Inbox) Place(ctx context.Context, inboundID int64, ref, who string) error {
	now := b.c.Now().UTC()
	err := b.c.Store.Write(ctx, func(tx Tx) error {
		in, err := tx.Inbound(ctx, inboundID)
		if err != nil {
			return err
		}
		nights, err := tx.Nights(ctx)
		if err != nil {
			return err
		}
		of, _ := night.Current(nights, in.At, b.c.Kitchen.Zone)
		r := &reader{kitchen: b.c.Kitchen}
		if err := r.book.Refresh(ctx, tx, of); err != nil {
			return err
		}
		dec, err := r.decide(ctx, tx, in, ref)
		if err != nil {
			return err
		}
		return b.c.Desk.PlaceIn(ctx, tx, now, &r.book, in, ref, who, dec)
	})
	if err == nil {
		b.c.Desk.Changed()
	}
	return err
}

// known is a reader at rest. It is never changed, since Rest looks at it while a
// round may take the reader.
type known struct {
	reader *reader
	since  time.Time
}

// reader reads texts one after the other against a night's orders as they are
// after what the texts before did to them.
type reader struct {
	kitchen night.Kitchen
	book    desk.Book
	index   *match.Index
}

func (r *reader) decide(ctx context.Context, tx Tx, in night.Inbound, placed string) (desk.Decision, error) {
	opted, err := tx.OptedOut(ctx)
	if err != nil {
		return desk.Decision{}, err
	}
	changed, anew := r.book.News()
	for _, i := range changed {
		anew = anew || !r.index.Update(i, candidate(r.book.Orders[i]))
	}
	if anew || r.index == nil {
		r.index = match.New(Candidates(r.book.Orders))
	}
	return Decide(Situation{
		Inbound: in, Kitchen: r.kitchen, Night: r.book.Night, Orders: r.book.Orders, Index: r.index, OptedOut: opted[in.From], Placed: placed,
	}), nil
}
