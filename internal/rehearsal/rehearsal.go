// Package rehearsal plays a whole collection night of an invented kitchen with
// the real house: order book, desk, dispatch, inbox and database are those of a
// real night; only the clock, the phone network and the people are not. The
// same seed gives the same night.
package rehearsal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"time"

	"github.com/jonboulle/clockwork"

	"passbell/adapters"
	"passbell/adapters/practice"
	"passbell/internal/book"
	"passbell/internal/config"
	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

// Options say what to rehearse.
type Options struct {
	Seed   uint64
	Orders int    // 1 to 150; 0 for 60
	Dir    string // a folder for the database
	Listen string // where the pass is served; "" for any free port of this machine
	Log    *slog.Logger
	Told   func(Line) // is told of each thing that happens; may be nil
	Hands  Hands      // of the kitchen; nil for ones that act at the desk
}

// Rehearsal is one night being played. It is not safe for concurrent use; the
// pass may be looked at meanwhile.
type Rehearsal struct {
	cast    Cast
	clock   *clockwork.FakeClock
	host    *gateway.Host
	house   *gateway.House
	gateway *gateway.Gateway
	network *practice.Network
	wire    *gateway.Wire
	night   night.Night
	agenda  agenda
	people  people
	tell    func(Line)
	hands   Hands
	watch   watch
	seen    int64 // the last event when the cook last looked
}

// people finds who is who.
type people struct {
	byRef   map[string]*row
	byPhone map[string]*party
	said    map[string]said // by the network's id of a text
	mishaps *mishaps
}

// said is a text of ours and who wrote it.
type said struct {
	line
	party *party // nil for a stranger
}

// The days of the rehearsal. The date is fixed, so that a report can be
// compared with another.
func theNight() night.Date { return night.Date{Year: 2026, Month: time.December, Day: 4} }

const adapterName = "practice"

// Config is the configuration of the Larkfield Dumpling Kitchen.
func Config(database, listen string) config.Config {
	c := config.Default()
	c.Database = database
	if c.Listen = listen; listen == "" {
		c.Listen = "127.0.0.1:0"
	}
	c.Kitchen.Name, c.Kitchen.Region, c.Kitchen.Zone = "Larkfield Dumpling Kitchen", "GB", "Europe/London"
	c.Night.Place, c.Night.Parking = "5 Mill Lane, Larkfield", "in the lay-by across the lane"
	c.Adapter = []config.Adapter{{
		// One send at a time, so that the same seed gives the same night.
		Name: adapterName, Kind: "practice", Window: 1, PerSecond: 1000, Timeout: adapters.Duration(30 * time.Second),
	}}
	return c
}

// odds is what may befall any text on the network.
func odds() practice.Odds {
	return practice.Odds{
		Refuse: 0.02, Throttle: 0.005, Fail: 0.008, NoReceipt: 0.02, RepeatReceipt: 0.03, LateProgress: 0.03, RepeatInbound: 0.04,
	}
}

// Open sets everything up; nothing has happened yet. Close it when done.
func Open(ctx context.Context, o Options) (_ *Rehearsal, err error) {
	if o.Orders == 0 {
		o.Orders = 60
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Told == nil {
		o.Told = func(Line) {}
	}
	if o.Hands == nil {
		o.Hands = func(ctx context.Context, _ Task, atTheDesk func(context.Context) error) error { return atTheDesk(ctx) }
	}
	r := &Rehearsal{tell: o.Told, hands: o.Hands}
	if r.cast, err = NewCast(o.Seed, o.Orders); err != nil {
		return nil, err
	}
	r.people = newPeople(r.cast)
	r.watch = newWatch()
	c := Config(filepath.Join(o.Dir, "rehearsal.db"), o.Listen)
	if err := c.Validate(); err != nil {
		return nil, err
	}
	kitchen, err := c.House()
	if err != nil {
		return nil, err
	}
	start, _ := night.Instant(theNight().AddDays(-3), 12*60, kitchen.Zone)
	r.clock = clockwork.NewFakeClockAt(start)
	scatter := rand.New(rand.NewPCG(o.Seed, 0x73707265616421))
	r.host, err = gateway.Open(ctx, c.Alone(), gateway.Deps{Clock: r.clock, Log: o.Log, Spread: scatter.Float64})
	if err != nil {
		return nil, err
	}
	r.house = r.host.Houses[0]
	defer func() {
		if err != nil {
			err = errors.Join(err, r.Close(ctx))
		}
	}()
	r.network, err = practice.New(practice.Config{
		Name: adapterName, Seed: o.Seed, Odds: odds(),
		ReceiptAfter: adapters.Duration(2 * time.Second), ReceiptSpread: adapters.Duration(40 * time.Second),
	}, practice.Deps{Clock: r.clock, Log: o.Log, Fate: r.people.fateOf, OnText: r.people.hear})
	if err != nil {
		return nil, err
	}
	if r.gateway, err = gateway.New(r.host, r.network); err != nil {
		return nil, err
	}
	r.wire = r.gateway.Wires()[0]
	r.night, err = r.house.Desk.AddNight(ctx, c.NightOn(theNight(), firstSlot, lastSlot, kitchen.Zone), cook)
	if err != nil {
		return nil, err
	}
	r.prepare()
	return r, nil
}

// Serve opens the pass and gives its address.
func (r *Rehearsal) Serve(ctx context.Context) (string, error) {
	if err := r.gateway.Serve(ctx); err != nil {
		return "", err
	}
	return "http://" + r.gateway.Addr().String(), nil
}

// Now is the time of the rehearsal.
func (r *Rehearsal) Now() time.Time { return r.clock.Now() }

// Orders gives the orders as they stand on record.
func (r *Rehearsal) Orders(ctx context.Context) ([]night.Order, error) {
	return r.house.Desk.Orders(ctx, r.night.ID)
}

// Events gives what happened on the night after an event.
func (r *Rehearsal) Events(ctx context.Context, after int64, limit int) ([]night.Event, error) {
	return r.house.Desk.Events(ctx, r.night.ID, after, limit)
}

// Failed gives the error that ended the pass by itself, if one did.
func (r *Rehearsal) Failed() <-chan error { return r.gateway.Failed() }

// Close ends the pass and closes the database.
func (r *Rehearsal) Close(ctx context.Context) error {
	var err error
	if r.gateway != nil {
		err = r.gateway.Stop(ctx)
	}
	return errors.Join(err, r.host.Close())
}

// prepare fills the agenda with what does not depend on anything.
func (r *Rehearsal) prepare() {
	day := func(before int, c night.Clock) time.Time {
		at, _ := night.Instant(theNight().AddDays(-before), c, r.house.Kitchen.Zone)
		return at
	}
	r.agenda.plan(day(3, 12*60), func(ctx context.Context) error { return r.load(ctx, false) })
	r.agenda.plan(day(3, 17*60+30), r.close)
	r.agenda.plan(day(2, 11*60), func(ctx context.Context) error { return r.load(ctx, true) })
	for _, p := range r.cast.parties {
		r.expect(p, day)
	}
	for _, a := range r.cast.strange {
		r.agenda.plan(day(0, a.slot), func(context.Context) error {
			r.say(nil, a.from, line{means: meansOther, text: a.text})
			return nil
		})
	}
	r.watches(day)
}

// load reads the order book as `passbell book load` does.
func (r *Rehearsal) load(ctx context.Context, late bool) error {
	file, err := r.cast.Book(late)
	if err != nil {
		return err
	}
	b, err := book.Read(bytes.NewReader(file), "orders.csv", book.Options{
		Region: r.house.Kitchen.Region, Zone: r.house.Kitchen.Zone, Night: r.night, Fiction: true,
	})
	if err != nil {
		return err
	}
	if len(b.Unplaced) > 0 || len(b.LeftOut) > 0 {
		return fmt.Errorf("the invented order book was not read whole: %v, %v", b.LeftOut, b.Problems)
	}
	if _, err := r.house.Desk.Load(ctx, r.night.ID, b.Orders, cook); err != nil {
		return err
	}
	orders, err := r.house.Desk.Orders(ctx, r.night.ID)
	if err != nil {
		return err
	}
	r.watch.know(orders)
	return nil
}

// close closes orders and rings those whom no text can reach.
func (r *Rehearsal) close(ctx context.Context) error {
	p, err := r.house.Desk.Close(ctx, r.night.ID, cook)
	if err != nil {
		return err
	}
	refs := make(map[int64]string, len(p.Orders))
	for _, o := range p.Orders {
		refs[o.ID] = o.Ref
	}
	rung := map[int64]bool{}
	for _, l := range p.LeftOut {
		if l.Ring() && !rung[l.OrderID] {
			rung[l.OrderID] = true
			r.line(cook, "can't text "+r.watch.who(l.OrderID)+" and rings them: "+string(l.Why))
			if _, err := r.house.Desk.Told(ctx, desk.Act{Night: r.night.ID, Ref: refs[l.OrderID], Who: cook}); err != nil {
				return err
			}
		}
	}
	return nil
}

// next gives the next moment at which anything is due; ok is false at the end.
func (r *Rehearsal) next(ctx context.Context) (at time.Time, ok bool, err error) {
	now := r.clock.Now()
	consider := func(t time.Time) {
		if !t.After(now) { // something waits for the network to let it pass
			t = now.Add(time.Second)
		}
		if !ok || t.Before(at) {
			at, ok = t, true
		}
	}
	if t, waiting := r.agenda.next(); waiting {
		// A deed of this very moment has not been done yet.
		if !t.After(now) {
			return now, true, nil
		}
		consider(t)
	}
	if t, waiting := r.network.NextDue(); waiting {
		consider(t)
	}
	due, waits, err := r.house.NextDue(ctx)
	if waits {
		consider(due)
	}
	return at, ok, err
}

// Step moves the clock to the next moment at which anything is due and does all
// that is due then. more is false when nothing is left.
func (r *Rehearsal) Step(ctx context.Context) (more bool, err error) {
	at, ok, err := r.next(ctx)
	if err != nil || !ok {
		return false, err
	}
	r.clock.Advance(at.Sub(r.clock.Now()))
	return true, r.work(ctx)
}

// work does what is due now, until nothing is.
func (r *Rehearsal) work(ctx context.Context) error {
	for {
		for d, ok := r.agenda.due(r.clock.Now()); ok; d, ok = r.agenda.due(r.clock.Now()) {
			if err := d.do(ctx); err != nil {
				return err
			}
		}
		if err := r.network.Pump(ctx, r.wire); err != nil {
			return err
		}
		if err := r.house.Inbox.CatchUp(ctx); err != nil {
			return err
		}
		if err := r.observe(ctx); err != nil {
			return err
		}
		if err := r.wire.Dispatcher.Drain(ctx); err != nil {
			return err
		}
		if err := r.notice(ctx); err != nil {
			return err
		}
		if err := r.observe(ctx); err != nil {
			return err
		}
		now := r.clock.Now()
		deed, more := r.agenda.next()
		news, coming := r.network.NextDue()
		if !(more && !deed.After(now)) && !(coming && !news.After(now)) {
			return ctx.Err()
		}
	}
}

// Pace says how fast to play.
type Pace struct {
	// Speed is how many seconds of the evening pass in one; 0 plays as fast as
	// the machine can.
	Speed float64
	// Sleep waits, and returns early with the context's error.
	Sleep func(ctx context.Context, d time.Duration) error
}

const (
	// frameTime is how often a paced clock moves, so that waits can be seen to
	// grow.
	frameTime = 100 * time.Millisecond
	// hop is how long a moment is shown before and after the evening.
	hop = 8 * time.Millisecond
)

// Run plays to the end.
func (r *Rehearsal) Run(ctx context.Context, p Pace) error {
	for {
		at, ok, err := r.next(ctx)
		if err != nil || !ok {
			return err
		}
		if err := r.wait(ctx, at, p); err != nil {
			return err
		}
		if err := r.work(ctx); err != nil {
			return err
		}
	}
}

// wait moves the clock to a moment at the pace asked for.
func (r *Rehearsal) wait(ctx context.Context, at time.Time, p Pace) error {
	evening := r.night.SlotAt(firstSlot, r.house.Kitchen.Zone).Add(-30 * time.Minute)
	over := r.night.SlotAt(lastSlot, r.house.Kitchen.Zone).Add(time.Hour)
	if p.Speed > 0 && (at.Before(evening) || r.clock.Now().After(over)) {
		if err := p.Sleep(ctx, hop); err != nil {
			return err
		}
	}
	for p.Speed > 0 && r.clock.Now().Before(at) && !at.Before(evening) && !r.clock.Now().After(over) {
		if r.clock.Now().Before(evening) {
			r.clock.Advance(evening.Sub(r.clock.Now()))
			continue
		}
		d := min(at.Sub(r.clock.Now()), time.Duration(p.Speed*float64(frameTime)))
		if err := p.Sleep(ctx, time.Duration(float64(d)/p.Speed)); err != nil {
			return err
		}
		r.clock.Advance(d)
	}
	r.clock.Advance(at.Sub(r.clock.Now()))
	return nil
}
