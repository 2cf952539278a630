package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/internal/night"
	"passbell/internal/reading"
)

// Book is a night's orders in memory, as they are in a transaction that has the
// kitchen to itself. It may be kept for the next one if the transaction was; the
// zero value holds nothing. It is not safe for concurrent use.
type Book struct {
	Night  night.Night
	Orders []night.Order // by slot, then reference

	changes night.Count   // of the kitchen's orders, when it held
	at      map[int64]int // positions by order id
	anew    bool          // the orders were read anew since somebody asked
	news    []int         // positions that changed since
}

// Refresh brings the book in line with what stands in the transaction.
func (b *Book) Refresh(ctx context.Context, tx OrderTx, n night.Night) error {
	before := b.Night.ID
	b.Night = n
	if n.ID == 0 {
		b.put(nil)
		return nil
	}
	changes, err := tx.OrderChanges(ctx)
	if err != nil || before == n.ID && changes == b.changes {
		return err
	}
	orders, err := tx.Orders(ctx, n.ID)
	if err == nil {
		b.put(orders)
		b.changes = changes
	}
	return err
}

func (b *Book) put(orders []night.Order) {
	b.Orders, b.anew, b.news = orders, true, nil
	b.at = make(map[int64]int, len(orders))
	for i, o := range orders {
		b.at[o.ID] = i
	}
}

// News gives the positions of the orders that changed since it was last called,
// or says that all were read anew.
func (b *Book) News() (changed []int, anew bool) {
	changed, anew = b.news, b.anew
	b.news, b.anew = nil, false
	return changed, anew
}

// household gives the orders that share a number with any of the orders ids,
// those included.
func (b *Book) household(ids []int64) []night.Order {
	in, phones := make(map[int64]bool, len(ids)), map[string]bool{"": false}
	for _, id := range ids {
		if i, ok := b.at[id]; ok {
			in[id] = true
			phones[b.Orders[i].Phone] = b.Orders[i].Phone != ""
		}
	}
	var out []night.Order
	for _, o := range b.Orders {
		if in[o.ID] || phones[o.Phone] {
			out = append(out, o)
		}
	}
	return out
}

// Decide says what to do about a text, after those before it were acted on.
type Decide func(in night.Inbound) (Decision, error)

// ApplyIn acts on texts that nobody acted on yet, in their order and as a part of
// the transaction tx, which has the kitchen to itself: what they do to the orders
// of the book, to opt-outs, the answers, and whether a person has to look. All
// are acted on or none, and what they come to is written at once. Whoever keeps
// the transaction calls Changed.
func (d *Desk) ApplyIn(ctx context.Context, tx Tx, now time.Time, b *Book, texts []night.Inbound, decide Decide) error {
	r := &round{d: d, tx: tx, now: now, book: b}
	for _, in := range texts {
		dec, err := decide(in)
		if err == nil {
			err = r.apply(ctx, in, dec)
		}
		if err != nil {
			return fmt.Errorf("act on text %d: %w", in.ID, err)
		}
	}
	return r.write(ctx)
}

// PlaceIn acts on a text that stood open, by a person's word that it is about the
// order ref, as a part of the transaction tx. What the text says is then done to
// that order. Whoever keeps the transaction calls Changed.
func (d *Desk) PlaceIn(ctx context.Context, tx Tx, now time.Time, b *Book, in night.Inbound, ref, who string, dec Decision) error {
	i := slices.IndexFunc(b.Orders, func(o night.Order) bool { return strings.EqualFold(o.Ref, ref) })
	if i < 0 {
		return fmt.Errorf("order %s: %w", ref, night.ErrNotFound)
	}
	o := b.Orders[i]
	in.Orders, in.State, in.Why = []int64{o.ID}, night.Settled, PlacedBy+who
	ok, err := tx.SaveInbound(ctx, in, night.Open, night.Applied, night.Settled)
	if err != nil || !ok {
		return err
	}
	r := &round{d: d, tx: tx, now: now, book: b}
	r.log(night.Event{NightID: b.Night.ID, OrderID: o.ID, InboundID: in.ID, Who: who, What: night.TextSettled, Why: "it was order " + o.Ref})
	dec.Orders, dec.Sure = in.Orders, true
	orders, err := r.act(in, dec, who)
	if err != nil {
		return err
	}
	if err := r.answer(ctx, in, dec, orders); err != nil {
		return err
	}
	return r.write(ctx)
}

// Changed tells who waits that a transaction in which the desk acted was kept.
func (d *Desk) Changed() { d.changed() }

// round is what texts that are acted on together come to, before it is written.
type round struct {
	d    *Desk
	tx   Tx
	now  time.Time
	book *Book

	texts   []night.Inbound // as they are to be saved
	touched []int           // positions of orders that changed
	replan  []int64         // orders whose customers' texts may no longer be true
	events  []night.Event
	answers []night.Message
}

func (r *round) log(events ...night.Event) {
	for _, e := range events {
		e.At = r.now
		r.events = append(r.events, e)
	}
}

func (r *round) apply(ctx context.Context, in night.Inbound, dec Decision) error {
	in.NightID, in.Orders, in.Reading, in.Why = r.book.Night.ID, dec.Orders, dec.Reading, dec.Why
	in.State = night.Applied
	if dec.Person || dec.Allergy || !dec.Sure && dec.Intent.Acts() {
		in.State = night.Open
	}
	r.texts = append(r.texts, in)
	r.log(night.Event{
		NightID: in.NightID, OrderID: only(dec.Orders), InboundID: in.ID, Who: customer, What: night.TextRead, Why: string(dec.Intent) + ": " + dec.Why,
	})
	changed, err := r.consent(ctx, in, dec)
	if err != nil {
		return err
	}
	if dec.Intent == reading.Stop && !changed {
		return nil // it was confirmed when they first said so
	}
	var orders []night.Order
	if dec.Sure {
		if orders, err = r.act(in, dec, customer); err != nil {
			return err
		}
	}
	if dec.Silent {
		return nil
	}
	return r.answer(ctx, in, dec, orders)
}

// consent keeps what a sender wants of texts at all, and tells whether that is
// new.
func (r *round) consent(ctx context.Context, in night.Inbound, dec Decision) (changed bool, err error) {
	what := night.OptedOut
	switch dec.Intent {
	case reading.Stop:
		changed, err = r.tx.OptOut(ctx, in.From, r.now)
	case reading.Start:
		what = night.OptedIn
		changed, err = r.tx.OptIn(ctx, in.From)
	default:
		return false, nil
	}
	if err != nil || !changed {
		return changed, err
	}
	r.log(night.Event{NightID: in.NightID, OrderID: only(dec.Orders), InboundID: in.ID, Who: customer, What: what})
	r.replan = append(r.replan, dec.Orders...)
	return true, nil
}

// act does to the orders what a text that is surely about them says, and gives
// them as they then are.
func (r *round) act(in night.Inbound, dec Decision, who string) ([]night.Order, error) {
	var out []night.Order
	for _, id := range dec.Orders {
		i, ok := r.book.at[id]
		if !ok {
			return nil, fmt.Errorf("order %d: %w", id, night.ErrNotFound)
		}
		o := r.book.Orders[i]
		happened, changed, err := r.d.actOn(&o, r.book.Night, in, dec, r.now, who)
		if err != nil {
			return nil, err
		}
		r.log(happened...)
		if changed {
			r.book.Orders[i] = o
			r.book.news = append(r.book.news, i)
			if !slices.Contains(r.touched, i) {
				r.touched = append(r.touched, i)
			}
			r.replan = append(r.replan, id)
		}
		out = append(out, o)
	}
	return out, nil
}

// write stores what the round came to. What it has to ask comes first, so that the
// rest is written together.
func (r *round) write(ctx context.Context) error {
	orders := make([]night.Order, len(r.touched))
	for k, i := range r.touched {
		orders[k] = r.book.Orders[i]
		r.book.Orders[i].Revision++
	}
	planned, err := r.plan(ctx)
	if err != nil {
		return err
	}
	n, err := r.tx.SaveInbounds(ctx, r.texts, night.Fresh)
	if err != nil {
		return err
	}
	if n != len(r.texts) {
		return fmt.Errorf("act on texts: %w", night.ErrChanged)
	}
	if err := r.tx.SaveOrders(ctx, orders); err != nil {
		return err
	}
	if err := r.tx.Log(ctx, append(r.events, planned...)...); err != nil {
		return err
	}
	if _, err := r.tx.AddMessages(ctx, r.answers); err != nil {
		return err
	}
	r.book.changes, err = r.tx.OrderChanges(ctx) // those of the round among them
	return err
}

// plan brings the texts to the customers of the round in line.
func (r *round) plan(ctx context.Context) ([]night.Event, error) {
	if len(r.replan) == 0 || r.book.Night.ClosedAt.IsZero() {
		return nil, nil
	}
	in, err := r.d.planInput(ctx, r.tx, r.book.Night, r.now, r.replan, func(ids []int64) ([]night.Order, error) { return r.book.household(ids), nil })
	if err != nil {
		return nil, err
	}
	return r.d.bring(ctx, r.tx, in, r.d.plan(in), true)
}
