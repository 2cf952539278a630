// Package dispatch sends what is due: it claims messages, looks once more
// whether they are still true, hands them to an adapter, and settles what
// became of them.
package dispatch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"golang.org/x/time/rate"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/night"
)

// Store is the part of the database that dispatch needs. Claim is committed
// before the provider is called, so that a crash leaves a row to look at and
// not a second text.
type Store interface {
	Claim(ctx context.Context, adapter string, now, leaseUntil time.Time, limit int) ([]night.Message, error)
	Write(ctx context.Context, fn func(Tx) error) error
	Read(ctx context.Context, fn func(Tx) error) error
}

// Tx is one transaction.
type Tx interface {
	desk.OrderTeller
	ReceiptTx
	Message(ctx context.Context, id int64) (night.Message, error)
	Abandoned(ctx context.Context, now time.Time) ([]night.Message, error)
	Settle(ctx context.Context, s night.Settlement, now time.Time) (bool, error)
	Unconfirmed(ctx context.Context, adapter string, before time.Time) ([]night.Message, error)
	Reroute(ctx context.Context, id int64, fall night.Fall, now time.Time) (bool, error)
	OptedOut(ctx context.Context) (map[string]bool, error)
}

// Replanner brings the texts about orders in line again.
type Replanner interface {
	Replan(ctx context.Context, nightID int64, orders ...int64) error
}

// Config is what a dispatcher needs. Every field is required but Changed.
type Config struct {
	Store     Store
	Kitchen   night.Kitchen
	Adapter   string // the adapter's name in the configuration
	Sender    adapters.Sender
	From      string // the sender to name; "" for the adapter's default
	Window    int    // how many sends may be under way at once
	PerSecond float64
	// Gap is the least time between two texts to one address, for networks that
	// take a burst to one phone for abuse; zero for none.
	Gap     time.Duration
	Timeout time.Duration // for one send
	Retry   Retry
	// FallAfter is how long after its time a message that no try could bring
	// takes the next way; zero waits for the last try.
	FallAfter time.Duration
	// FallUnconfirmed is how long after a provider took a text over it takes the
	// next way if no receipt came; zero, the default, never. The customer may
	// then read it twice: it is for kitchens that say so.
	FallUnconfirmed time.Duration
	// Next gives the next way of a message that this one could not bring; nil
	// where there is no other.
	Next      func(m night.Message, orders []night.Order) (night.Fall, bool)
	Replanner Replanner
	Now       func() time.Time
	Spread    func() float64 // 0 to 1, scatters retries
	Log       *slog.Logger
	Changed   func() // called after messages were settled
}

// Dispatcher sends what is due through one adapter.
type Dispatcher struct {
	c       Config
	pace    *rate.Limiter
	wake    chan struct{}
	results chan result
	paused  time.Time            // no sends before this moment
	lastTo  map[string]time.Time // by address, within the gap
}

type result struct {
	message  night.Message
	accepted adapters.Accepted
	err      error
}

// New makes a dispatcher.
func New(c Config) (*Dispatcher, error) {
	switch {
	case c.Store == nil, c.Sender == nil, c.Replanner == nil, c.Now == nil, c.Spread == nil, c.Log == nil:
		return nil, errors.New("dispatch: something is missing in its configuration")
	case c.Window < 1, c.PerSecond <= 0, c.Timeout <= 0, c.Retry.Attempts < 1:
		return nil, errors.New("dispatch: window, pace, timeout and attempts must be above zero")
	}
	if c.Changed == nil {
		c.Changed = func() {}
	}
	if c.Next == nil {
		c.Next = func(night.Message, []night.Order) (fall night.Fall, ok bool) { return fall, false }
	}
	return &Dispatcher{
		c:       c,
		pace:    rate.NewLimiter(rate.Limit(c.PerSecond), max(1, int(c.PerSecond))),
		wake:    make(chan struct{}, 1),
		results: make(chan result, c.Window),
		lastTo:  map[string]time.Time{},
	}, nil
}

// Wake makes Run look for due messages now. It never blocks.
func (d *Dispatcher) Wake() {
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// Run sends what is due each time it is woken, until ctx is done. Sends that
// are under way then are waited for and settled.
func (d *Dispatcher) Run(ctx context.Context) {
	for {
		if err := d.Drain(ctx); err != nil && ctx.Err() == nil {
			d.c.Log.Error("sending stopped; it goes on with the next tick", "adapter", d.c.Adapter, "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-d.wake:
		}
	}
}

// Drain sends until nothing is due and nothing is under way. It is not safe for
// concurrent use.
func (d *Dispatcher) Drain(ctx context.Context) error {
	if err := d.abandon(ctx); err != nil {
		return err
	}
	if err := d.doubt(ctx); err != nil {
		return err
	}
	underway := 0
	for {
		started, err := d.start(ctx, d.c.Window-underway)
		underway += started
		if underway == 0 {
			return err
		}
		// Even if claiming failed, what is under way must be settled.
		batch := []result{}
		select {
		case r := <-d.results:
			batch = append(batch, r)
		case <-d.wake:
			continue
		}
		for more := true; more; {
			select {
			case r := <-d.results:
				batch = append(batch, r)
			default:
				more = false
			}
		}
		underway -= len(batch)
		if err := d.settle(ctx, batch); err != nil {
			return err
		}
	}
}

// start claims as many messages as may go now, checks them and hands them to
// the adapter. It gives how many sends it started.
func (d *Dispatcher) start(ctx context.Context, room int) (int, error) {
	now := d.c.Now().UTC()
	if ctx.Err() != nil || room == 0 || now.Before(d.paused) {
		return 0, ctx.Err()
	}
	room = min(room, int(d.pace.TokensAt(now)))
	if room == 0 {
		return 0, nil
	}
	claimed, err := d.c.Store.Claim(ctx, d.c.Adapter, now, now.Add(2*d.c.Timeout), room)
	if err != nil || len(claimed) == 0 {
		return 0, err
	}
	truths, err := d.truths(ctx, claimed)
	if err != nil {
		// Nothing was handed over yet: say so instead of leaving them in doubt.
		return 0, errors.Join(err, d.hold(ctx, claimed, now))
	}
	started := 0
	var stopped []night.Message
	var verdicts []Verdict
	for i, m := range claimed {
		v := Check(m, truths[i], now)
		if v.State == night.Sending {
			v = d.space(m.To, now)
		}
		if v.State != night.Sending {
			stopped, verdicts = append(stopped, m), append(verdicts, v)
			continue
		}
		started++
		d.pace.AllowN(now, 1)
		go d.send(ctx, m)
	}
	return started, d.stop(ctx, stopped, verdicts, now)
}

// space keeps the gap between two texts to one address.
func (d *Dispatcher) space(to string, now time.Time) Verdict {
	for address, at := range d.lastTo {
		if now.Sub(at) >= d.c.Gap {
			delete(d.lastTo, address)
		}
	}
	if last, ok := d.lastTo[to]; ok {
		return Verdict{State: night.Due, Until: last.Add(d.c.Gap), Reason: "another text to this number went out just before"}
	}
	if d.c.Gap > 0 {
		d.lastTo[to] = now
	}
	return Verdict{State: night.Sending}
}

// send makes one try. Once begun it is not cut short by a shutdown: only its
// own time limit ends it.
func (d *Dispatcher) send(ctx context.Context, m night.Message) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), d.c.Timeout)
	defer cancel()
	accepted, err := d.c.Sender.Send(ctx, adapters.Message{
		Key: fmt.Sprintf("m%d-%d", m.ID, m.Attempt), To: m.To, From: d.c.From,
		Subject: d.c.Kitchen.Name, Text: m.Text, ValidUntil: m.ExpiresAt,
	})
	d.results <- result{m, accepted, err}
}

func (d *Dispatcher) truths(ctx context.Context, messages []night.Message) ([]Truth, error) {
	out := make([]Truth, len(messages))
	err := d.c.Store.Read(ctx, func(tx Tx) error {
		opted, err := tx.OptedOut(ctx)
		if err != nil {
			return err
		}
		for i, m := range messages {
			out[i] = Truth{OptedOut: opted[m.To], Kitchen: d.c.Kitchen}
			for _, c := range m.Covers {
				o, err := tx.Order(ctx, c.OrderID)
				if err != nil {
					return err
				}
				out[i].Orders = append(out[i].Orders, o)
			}
		}
		return nil
	})
	return out, err
}

// hold puts claimed messages back that were not handed over.
func (d *Dispatcher) hold(ctx context.Context, messages []night.Message, now time.Time) error {
	verdicts := make([]Verdict, len(messages))
	for i := range messages {
		verdicts[i] = Verdict{State: night.Due, Until: now.Add(d.c.Retry.First), Reason: "the order could not be read"}
	}
	return d.stop(ctx, messages, verdicts, now)
}

// stop settles messages that were claimed and not handed over, and lets those
// who shared an untrue text get a true one.
func (d *Dispatcher) stop(ctx context.Context, messages []night.Message, verdicts []Verdict, now time.Time) error {
	if len(messages) == 0 {
		return nil
	}
	ctx = context.WithoutCancel(ctx)
	err := d.write(ctx, func(tx Tx) error {
		for i, m := range messages {
			v := verdicts[i]
			_, err := d.record(ctx, tx, m, night.Settlement{State: v.State, Reason: v.Reason, RetryAt: v.Until, Outcome: "not sent"}, now)
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for i, m := range messages {
		if verdicts[i].State != night.Dropped || len(m.Covers) == 0 {
			continue
		}
		orders := make([]int64, len(m.Covers))
		for j, c := range m.Covers {
			orders[j] = c.OrderID
		}
		if err := d.c.Replanner.Replan(ctx, m.NightID, orders...); err != nil {
			return err
		}
	}
	return nil
}

// settle records what became of tries.
func (d *Dispatcher) settle(ctx context.Context, batch []result) error {
	ctx = context.WithoutCancel(ctx) // a shutdown must not lose what is known
	now := d.c.Now().UTC()
	return d.write(ctx, func(tx Tx) error {
		for _, r := range batch {
			out := Decide(r.err, r.message, d.c.Retry, now, d.c.Spread())
			if until := now.Add(out.Pause); out.Pause > 0 && until.After(d.paused) {
				d.paused = until
			}
			counted, err := d.record(ctx, tx, r.message, night.Settlement{
				State: out.State, Reason: out.Reason, RetryAt: out.RetryAt, Outcome: out.Word, IDs: r.accepted.IDs,
			}, now)
			if err != nil {
				return err
			}
			if counted {
				err = d.follow(ctx, tx, r, out, now)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// follow does what follows from a settled try: the order moves on, or the
// message takes another way.
func (d *Dispatcher) follow(ctx context.Context, tx Tx, r result, out Outcome, now time.Time) error {
	silent := out.State == night.Due && d.c.FallAfter > 0 && now.Sub(r.message.DueAt) >= d.c.FallAfter
	switch {
	case out.State == night.Failed || silent:
		return d.fall(ctx, tx, r.message, now)
	case out.State == night.Sent:
		if err := desk.Told(ctx, tx, r.message, now, d.c.Adapter); err != nil {
			return err
		}
		return d.joinEarly(ctx, tx, r.accepted.IDs, now)
	}
	return nil
}

// fall sends a message another way, where there is one.
func (d *Dispatcher) fall(ctx context.Context, tx Tx, m night.Message, now time.Time) error {
	var orders []night.Order
	for _, c := range m.Covers {
		o, err := tx.Order(ctx, c.OrderID)
		if err != nil {
			return err
		}
		orders = append(orders, o)
	}
	next, ok := d.c.Next(m, orders)
	if !ok {
		return nil
	}
	fell, err := tx.Reroute(ctx, m.ID, next, now)
	if err != nil || !fell {
		return err
	}
	return tx.Log(ctx, settled(m, now, d.c.Adapter, fmt.Sprintf("%s: goes by %s instead", m.Kind, next.Adapter)))
}

// record settles one attempt and says so in the history.
func (d *Dispatcher) record(ctx context.Context, tx Tx, m night.Message, s night.Settlement, now time.Time) (bool, error) {
	s.MessageID, s.Attempt, s.Adapter = m.ID, m.Attempt, d.c.Adapter
	counted, err := tx.Settle(ctx, s, now)
	if err != nil || !counted {
		return false, err
	}
	why := fmt.Sprintf("%s: %s", m.Kind, s.State)
	if s.State == night.Due {
		why = fmt.Sprintf("%s: not yet", m.Kind)
	}
	if s.Reason != "" {
		why += ", " + s.Reason
	}
	return true, tx.Log(ctx, settled(m, now, d.c.Adapter, why))
}

func settled(m night.Message, now time.Time, who, why string) night.Event {
	e := night.Event{NightID: m.NightID, MessageID: m.ID, InboundID: m.InboundID, At: now, Who: who, What: night.MessageSettled, Why: why}
	if len(m.Covers) > 0 {
		e.OrderID = m.Covers[0].OrderID
	}
	return e
}

// abandon finds tries that nobody will settle any more: whoever made them is
// gone, and nobody knows whether the text went out.
func (d *Dispatcher) abandon(ctx context.Context) error {
	now := d.c.Now().UTC()
	var found []night.Message
	err := d.c.Store.Read(ctx, func(tx Tx) (err error) {
		found, err = tx.Abandoned(ctx, now)
		return err
	})
	if err != nil || len(found) == 0 {
		return err
	}
	return d.write(ctx, func(tx Tx) error {
		for _, m := range found {
			_, err := d.record(ctx, tx, m, night.Settlement{
				State: night.InDoubt, Outcome: string(adapters.Unknown),
				Reason: "passbell was stopped while sending: it may have gone out",
			}, now)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// doubt sends another way what no receipt came for, where the kitchen wants
// that. Each message is looked at once more in the transaction that moves it: a
// receipt may have come meanwhile.
func (d *Dispatcher) doubt(ctx context.Context) error {
	if d.c.FallUnconfirmed <= 0 {
		return nil
	}
	now := d.c.Now().UTC()
	var silent []night.Message
	err := d.c.Store.Read(ctx, func(tx Tx) (err error) {
		silent, err = tx.Unconfirmed(ctx, d.c.Adapter, now.Add(-d.c.FallUnconfirmed))
		return err
	})
	if err != nil || len(silent) == 0 {
		return err
	}
	return d.write(ctx, func(tx Tx) error {
		for _, m := range silent {
			current, err := tx.Message(ctx, m.ID)
			if err != nil {
				return err
			}
			if current.State != night.Sent || !m.ExpiresAt.IsZero() && !now.Before(m.ExpiresAt) {
				continue
			}
			if err := d.fall(ctx, tx, m, now); err != nil {
				return err
			}
		}
		return nil
	})
}

// write runs fn in a transaction, tries a busy database again, and tells who
// waits.
func (d *Dispatcher) write(ctx context.Context, fn func(Tx) error) error {
	const tries = 3
	var err error
	for range tries {
		if err = d.c.Store.Write(ctx, fn); err == nil {
			d.c.Changed()
			return nil
		}
	}
	return fmt.Errorf("record what became of a text: %w", err)
}
