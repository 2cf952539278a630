// Package dispatch sends what is due: it claims messages, looks once more
// whether they are still true, hands them to an adapter, and settles what
// became of them.
package dispatch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/fault"
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

// Tx is one transaction. It is the desk's as well: what follows from a text that
// was not sent is planned in the transaction that says so.
type Tx interface {
	desk.Tx
	ReceiptTx
	Waits(ctx context.Context, adapter string, now time.Time) (bool, error)
	Abandoned(ctx context.Context, now time.Time) ([]night.Message, error)
	Misdated(ctx context.Context, now time.Time) ([]int64, error)
	Redate(ctx context.Context, ids []int64, now time.Time) error
	Trials(ctx context.Context, ids []int64) ([]night.Trial, error)
	Settle(ctx context.Context, all []night.Settlement) ([]night.MessageState, error)
	Unconfirmed(ctx context.Context, adapter string, before time.Time) ([]night.Message, error)
	Reroute(ctx context.Context, id int64, fall night.Fall) (bool, error)
}

// Replanner brings the texts to all whom messages are about in line again, as a
// part of the transaction tx.
type Replanner interface {
	ReplanIn(ctx context.Context, tx desk.Tx, now time.Time, about ...night.Message) error
	// StillSays tells whether a text about what is missing of an order would be
	// written the same now.
	StillSays(ctx context.Context, tx desk.Tx, m night.Message) (bool, error)
}

// Config is what a dispatcher needs. Every field is required but Changed and Pace.
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
	Gap time.Duration
	// Pace is what the dispatchers of other kitchens keep to as well, where they
	// share the adapter; nil makes one of Window, PerSecond and Gap.
	Pace    *Pace
	Timeout time.Duration // for one send
	// Breath is how long after everything was sent Run looks again at the soonest, by
	// the machine's own time: texts that are asked for one by one then go together.
	Breath time.Duration
	Retry  Retry
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
	wake    chan struct{}
	results chan *result // has room for all that are under way: whoever sends never waits for somebody who is gone
	behind  atomic.Bool
	late    atomic.Bool // time has passed, and a try may be overdue

	more      bool      // something may be due that was not there at the last claim
	underway  int       // sends whose result was not yet taken
	unsettled []*result // what became of tries, and is to be recorded
	held      []*result // what the database has not taken when it was to
	unread    int       // claimed messages of which nobody could find out what is true
}

// result is what became of a claimed message: the answer to one try, or, with
// stopped, why there was none.
type result struct {
	message  *night.Message
	orders   []night.Stage // that it covers, as they were at the last look
	accepted adapters.Accepted
	err      error
	began    time.Time // when the provider was called
	stopped  *Verdict
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
	if c.Pace == nil {
		c.Pace = NewPace(c.Window, c.PerSecond, c.Gap)
	}
	c.Pace.join()
	return &Dispatcher{c: c, wake: make(chan struct{}, 1), results: make(chan *result, c.Window)}, nil
}

// Wake makes Run look for due messages now. It never blocks.
func (d *Dispatcher) Wake() {
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// Tick is Wake for a time that has come and not for a change: what is overdue is
// looked for, and who waits for a place behind others is woken when it has one.
func (d *Dispatcher) Tick() {
	d.late.Store(true)
	if !d.c.Pace.behind(d) {
		d.Wake()
	}
}

// Behind tells whether the last look for due messages did not work: whoever wakes
// it then has it look again, and record what the database has not taken yet.
func (d *Dispatcher) Behind() bool { return d.behind.Load() }

// Run sends what is due each time it is woken, until ctx is done. Sends that
// are under way then are waited for and settled.
func (d *Dispatcher) Run(ctx context.Context) {
	defer d.c.Pace.leave(d)
	d.late.Store(true)
	for {
		err := d.drain(ctx)
		d.behind.Store(err != nil)
		if err != nil && ctx.Err() == nil {
			d.c.Log.Error("not everything could be sent or recorded; it is tried again with the next tick", "adapter", d.c.Adapter, "error", err)
		}
		rested := time.After(d.breath())
		select {
		case <-ctx.Done():
			return
		case <-d.wake:
		}
		select {
		case <-ctx.Done():
			return
		case <-rested:
		}
	}
}

// breath is how long to wait after everything was sent: not at all where something
// is due that waits for its place.
func (d *Dispatcher) breath() time.Duration {
	if d.more {
		return 0
	}
	return d.c.Breath
}

// drain is Drain after a change or a tick. A fault in the code is an error: what was
// claimed then ends in doubt, and the rest is sent with the next tick.
func (d *Dispatcher) drain(ctx context.Context) error {
	return d.sound(func() error { return d.sendAll(ctx) })
}

// Drain sends until nothing is due and nothing is under way. It is not safe for
// concurrent use.
func (d *Dispatcher) Drain(ctx context.Context) error {
	d.late.Store(true)
	return d.sendAll(ctx)
}

func (d *Dispatcher) sendAll(ctx context.Context) error {
	// What the database could not take at the last time comes first.
	d.unsettled, d.held, d.unread = slices.Concat(d.held, d.unsettled), nil, 0
	failed := d.settle(ctx)
	halted := d.halts(failed)
	if !halted && d.late.Swap(false) {
		if err := d.overdue(ctx); err != nil {
			d.late.Store(true)
			failed, halted = errors.Join(failed, err), d.halts(err)
		}
	}
	d.more = true
	for {
		claimed := 0
		if !halted && d.more {
			var err error
			claimed, err = d.start(ctx)
			err = errors.Join(err, d.settle(ctx)) // those that were stopped
			failed, halted = errors.Join(failed, err), d.halts(err)
		}
		if d.underway == 0 {
			if claimed > 0 { // none of them went out, and others may be due
				continue
			}
			return failed
		}
		// Even if claiming failed, what is under way must be settled.
		select {
		case r := <-d.results:
			d.collect(r)
		case <-d.wake:
			d.more = true
			continue
		}
		err := d.settle(ctx)
		failed, halted = errors.Join(failed, err), halted || d.halts(err)
	}
}

// onTheirOwn is how many texts may fail to be read or recorded while others are sent: a
// fault that is one text's keeps nobody else's, but where nothing can be recorded nothing
// more is to go out.
const onTheirOwn = 5

// halts tells whether nothing more may be sent for now after err.
func (d *Dispatcher) halts(err error) bool {
	return errors.Is(err, night.ErrAway) || len(d.held)+d.unread > onTheirOwn
}

// overdue gives up tries that nobody settles any more, and lets texts of which
// nothing was heard take their next way.
func (d *Dispatcher) overdue(ctx context.Context) error {
	err := d.abandon(ctx)
	if errors.Is(err, night.ErrAway) {
		return err
	}
	return errors.Join(err, d.doubt(ctx))
}

// collect takes a result and all others that have come, those among them whose turn on
// a processor was only just behind: they are recorded together.
func (d *Dispatcher) collect(r *result) {
	for waited := false; ; {
		d.underway--
		d.c.Pace.ended(d)
		d.unsettled = append(d.unsettled, r)
		if len(d.results) == 0 && !waited {
			runtime.Gosched()
			waited = true
		}
		select {
		case r = <-d.results:
		default:
			return
		}
	}
}

// start claims as many messages as may go now, checks them and hands them to
// the adapter. It gives how many it claimed.
func (d *Dispatcher) start(ctx context.Context) (n int, err error) {
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	now := d.c.Now().UTC()
	room := d.c.Pace.take(d, now)
	if room == 0 {
		return 0, d.lineUp(ctx, now)
	}
	claimed, err := d.c.Store.Claim(ctx, d.c.Adapter, now, now.Add(2*d.c.Timeout), room)
	unused := room
	defer func() { d.c.Pace.back(d, unused) }()
	if err != nil {
		return 0, err
	}
	if d.more = len(claimed) == room; d.more {
		d.c.Pace.wait(d)
	}
	if len(claimed) == 0 {
		return 0, nil
	}
	looks := make([]look, len(claimed))
	for i := range claimed {
		looks[i].message = &claimed[i]
	}
	blind, err := apart(looks, func(some []look) error {
		return d.sound(func() error { return d.look(ctx, some) })
	})
	d.unread += len(blind)
	for _, l := range blind { // it was not handed over: say so instead of leaving it in doubt
		d.stop(l.message, Verdict{State: night.Due, Until: now.Add(d.c.Retry.First), Reason: "the order could not be read"})
	}
	now = d.c.Now().UTC() // the machine may have slept since
	var sends sync.WaitGroup
	sending, cancel := context.WithTimeout(context.WithoutCancel(ctx), d.c.Timeout)
	for _, l := range looks {
		m := l.message
		if slices.ContainsFunc(blind, func(b look) bool { return b.message == m }) {
			continue
		}
		v := Check(*m, l.truth, now)
		if v.State == night.Sending {
			if until, ok := d.c.Pace.space(m.To, now); !ok {
				v = Verdict{State: night.Due, Until: until, Reason: "another text to this number went out just before"}
			}
		}
		if v.State != night.Sending {
			d.stop(m, v)
			continue
		}
		d.underway++
		unused--
		d.c.Pace.use(now)
		sends.Go(func() { d.send(sending, &result{message: m, orders: l.truth.Orders}) })
	}
	go func() {
		sends.Wait()
		cancel()
	}()
	return len(claimed), err
}

// stop notes that a claimed message was not handed over.
func (d *Dispatcher) stop(m *night.Message, v Verdict) {
	d.unsettled = append(d.unsettled, &result{message: m, stopped: &v})
}

// lineUp gets in the line for a place, where others may be faster again and
// again and something is due.
func (d *Dispatcher) lineUp(ctx context.Context, now time.Time) error {
	if !d.c.Pace.shared() {
		return nil
	}
	waits := false
	err := d.c.Store.Read(ctx, func(tx Tx) (err error) {
		waits, err = tx.Waits(ctx, d.c.Adapter, now)
		return err
	})
	if waits {
		d.c.Pace.wait(d)
	}
	return err
}

// send makes one try, of which r is to become the result. Once begun it is not cut
// short by a shutdown: only the time limit, one for all that begin together, ends it.
func (d *Dispatcher) send(ctx context.Context, r *result) {
	m := r.message
	r.began = d.c.Now().UTC()
	r.accepted, r.err = d.hand(ctx, adapters.Message{
		Key: fmt.Sprintf("m%d-%d", m.ID, m.Attempt), To: m.To, From: d.c.From,
		Subject: d.c.Kitchen.Name, Text: m.Text, ValidUntil: m.ExpiresAt,
	})
	d.results <- r
}

// hand gives a text to the adapter. After a fault in its code nobody knows whether
// the text went out.
func (d *Dispatcher) hand(ctx context.Context, m adapters.Message) (accepted adapters.Accepted, err error) {
	defer func() {
		if wrong := fault.Caught(recover(), d.c.Log); wrong != nil {
			err = &adapters.SendError{Outcome: adapters.Unknown, Reason: wrong.Error()}
		}
	}()
	return d.c.Sender.Send(ctx, m)
}

// look is a claimed message beside what is true when it is to be sent.
type look struct {
	message *night.Message
	truth   Truth
}

// look finds out what is true.
func (d *Dispatcher) look(ctx context.Context, looks []look) error {
	ids, about := make([]int64, len(looks)), make([]int64, 0, len(looks))
	for i := range looks {
		ids[i] = looks[i].message.ID
		for _, c := range looks[i].message.Covers {
			about = append(about, c.OrderID)
		}
	}
	return d.c.Store.Read(ctx, func(tx Tx) error {
		opted, err := tx.OptedOut(ctx)
		if err != nil {
			return err
		}
		trials, err := tx.Trials(ctx, ids)
		if err != nil {
			return err
		}
		orders, err := tx.Stages(ctx, about)
		if err != nil {
			return err
		}
		underway := make(map[int64]night.Trial, len(trials))
		for _, r := range trials {
			underway[r.MessageID] = r
		}
		order := make(map[int64]night.Stage, len(orders))
		for _, o := range orders {
			order[o.OrderID] = o
		}
		nights := map[int64]night.Night{}
		stages := make([]night.Stage, 0, len(about)) // of all, one after the other
		for i := range looks {
			m, out := looks[i].message, &looks[i].truth
			n, ok := nights[m.NightID]
			if !ok {
				if n, err = tx.Night(ctx, m.NightID); err != nil {
					return err
				}
				nights[m.NightID] = n
			}
			*out = Truth{Underway: underway[m.ID], Night: n, OptedOut: opted[m.To], Kitchen: d.c.Kitchen}
			if m.Attempt > 1 { // seldom
				stands, err := tx.Standing(ctx, m.ID)
				if err != nil {
					return err
				}
				out.Arrived = stands == night.Delivered
			}
			if m.Kind == night.Short { // seldom
				same, err := d.c.Replanner.StillSays(ctx, tx, *m)
				if err != nil {
					return err
				}
				about, err := tx.OrdersByID(ctx, ordersOf(m))
				if err != nil {
					return err
				}
				out.Outdated = !same
				out.Complete = slices.ContainsFunc(about, func(o night.Order) bool { return len(night.Missing(o.Items)) == 0 })
			}
			first := len(stages)
			for _, c := range m.Covers {
				o, ok := order[c.OrderID]
				if !ok {
					return fmt.Errorf("order of message %d: %w", m.ID, night.ErrNotFound)
				}
				stages = append(stages, o)
			}
			out.Orders = slices.Clip(stages[first:])
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
