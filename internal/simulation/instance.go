package simulation

import (
	"context"
	"errors"
	"log/slog"
	"runtime"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/inbox"
	"passbell/internal/night"
	"passbell/internal/store"
)

// instance is one passbell on the night's database. When it crashes, all that it
// held in memory is gone; boot makes it anew.
type instance struct {
	s      *sim
	number int
	rows   *store.Kitchen
	life   *life
	desk   *desk.Desk
	inbox  *inbox.Inbox
	wires  []*wire
	busy   map[string]int // tasks by lane
	tick   bool           // it should look whether something is due
	back   time.Time      // when it starts again; zero while it runs
	ahead  time.Duration  // by how much its clock is
}

// life is one run of an instance, from its start to its crash.
type life struct{ over bool } // guarded by sim.mu

func (in *instance) alive() bool { return in.back.IsZero() }

// clock is the time as this instance reads it: the last of several may be wrong.
func (in *instance) clock() time.Time { return in.s.clock().Add(in.ahead) }

// boot starts the instance with nothing in memory.
func (in *instance) boot() error {
	s := in.s
	in.life, in.busy, in.tick, in.back = &life{}, map[string]int{}, true, time.Time{}
	g := gate{s, in.life}
	var err error
	deskStore := desk.Store(deskGate{g, in.rows})
	if s.o.Break.Desk != nil {
		deskStore = s.o.Break.Desk(deskStore)
	}
	if in.desk, err = desk.New(desk.Config{Store: deskStore, Kitchen: s.k, Texts: s.texts, Now: in.clock, Routes: s.sc.routes}); err != nil {
		return err
	}
	inboxStore := inbox.Store(inboxGate{g, in.rows})
	if s.o.Break.Inbox != nil {
		inboxStore = s.o.Break.Inbox(inboxStore)
	}
	silent := slog.New(slog.DiscardHandler)
	if in.inbox, err = inbox.New(inbox.Config{Store: inboxStore, Kitchen: s.k, Desk: in.desk, Now: in.clock, Log: silent}); err != nil {
		return err
	}
	in.wires = nil
	for _, route := range s.sc.routes {
		w := &wire{g: g, in: in, name: route.Adapter}
		out := dispatch.Store(dispatchGate{g, in.rows})
		if s.o.Break.Dispatch != nil {
			out = s.o.Break.Dispatch(out)
		}
		spread := stream(s.o.Seed, "spread")
		c := s.sc.dispatch
		c.Store, c.Kitchen, c.Adapter, c.Sender = out, s.k, w.name, w
		c.Next, c.Replanner, c.Now, c.Spread, c.Log = s.sc.routes.Next, in.desk, in.clock, spread.Float64, silent
		if w.dispatcher, err = dispatch.New(c); err != nil {
			return err
		}
		in.wires = append(in.wires, w)
	}
	return nil
}

// gate stands before the database and the provider: whoever comes waits there
// for their turn, and may be cut off before or after.
type gate struct {
	s    *sim
	life *life
}

// verdict is what the scheduler decides for one who waits.
type verdict struct {
	die  moment // the instance is gone
	fail moment // the database does not answer
}

// moment is when a mishap strikes.
type moment int

const (
	never moment = iota
	before
	after
)

// away is what a database that can't be reached answers.
func away() error { return &night.StoreError{Doing: "reach the database", Err: night.ErrAway} }

// enter waits for the turn. It does not return where the instance is gone.
func (g gate) enter(ctx context.Context, point string) verdict {
	v := g.s.park(ctx, g.life, point, nil)
	if v.die == before {
		runtime.Goexit()
	}
	return v
}

// leave is the way out, once the database has done what it was asked.
func (g gate) leave(v verdict, wrote bool, err error) error {
	g.s.mu.Lock()
	g.s.wrote = g.s.wrote || wrote && err == nil
	if v.die == after {
		g.life.over = true
	}
	g.s.mu.Unlock()
	if v.die == after {
		runtime.Goexit()
	}
	if v.fail == after && err == nil {
		return away()
	}
	return err
}

// pass lets one transaction through the gate.
func (g gate) pass(ctx context.Context, point string, wrote bool, do func() error) error {
	v := g.enter(ctx, point)
	if v.fail == before {
		return away()
	}
	return g.leave(v, wrote, do())
}

// The packages each name the part of the store that they use.

type deskRows struct{ *store.Kitchen }

func (r deskRows) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return r.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (r deskRows) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return r.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

type deskGate struct {
	gate
	rows *store.Kitchen
}

func (d deskGate) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return d.pass(ctx, deskWrite, true, func() error {
		return d.rows.Write(ctx, func(t *store.Tx) error { return fn(t) })
	})
}

func (d deskGate) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return d.pass(ctx, deskRead, false, func() error {
		return d.rows.Read(ctx, func(t *store.Tx) error { return fn(t) })
	})
}

type inboxGate struct {
	gate
	rows *store.Kitchen
}

func (d inboxGate) Write(ctx context.Context, fn func(inbox.Tx) error) error {
	return d.pass(ctx, inboxWrite, true, func() error {
		return d.rows.Write(ctx, func(t *store.Tx) error { return fn(t) })
	})
}

func (d inboxGate) Read(ctx context.Context, fn func(inbox.Tx) error) error {
	return d.pass(ctx, inboxRead, false, func() error {
		return d.rows.Read(ctx, func(t *store.Tx) error { return fn(t) })
	})
}

type dispatchGate struct {
	gate
	rows *store.Kitchen
}

func (d dispatchGate) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	return d.pass(ctx, dispatchWrite, true, func() error {
		return d.rows.Write(ctx, func(t *store.Tx) error { return fn(t) })
	})
}

func (d dispatchGate) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	point, t := dispatchRead, ctx.Value(taskKey{}).(*task)
	if t.checks {
		point, t.checks = check, false
	}
	return d.pass(ctx, point, false, func() error {
		return d.rows.Read(ctx, func(t *store.Tx) error { return fn(t) })
	})
}

func (d dispatchGate) Claim(ctx context.Context, adapter string, now, leaseUntil time.Time, limit int) ([]night.Message, error) {
	v := d.enter(ctx, claim)
	if v.fail == before {
		return nil, away()
	}
	out, err := d.rows.Claim(ctx, adapter, now, leaseUntil, limit)
	err = d.leave(v, len(out) > 0, err)
	if err != nil {
		return nil, err
	}
	if len(out) > 0 { // now the attempts are on record and nothing has gone out
		if err := d.pass(ctx, claimed, false, func() error { return nil }); err != nil {
			return nil, err
		}
		ctx.Value(taskKey{}).(*task).checks = true
	}
	return out, nil
}

// wire is an instance's line to a provider.
type wire struct {
	g          gate
	in         *instance
	name       string
	dispatcher *dispatch.Dispatcher
}

// Send hands a text to the network and waits for the answer. Whoever crashes
// meanwhile never hears it.
func (w *wire) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	c := &call{in: w.in, adapter: w.name, text: m}
	if v := w.g.s.park(ctx, w.g.life, sending, c); v.die != never {
		return adapters.Accepted{}, errors.New("nobody is there to hear the answer")
	}
	return adapters.Accepted{IDs: c.fate.ids}, c.fate.err
}
