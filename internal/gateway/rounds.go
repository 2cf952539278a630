package gateway

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/go-co-op/gocron/v2"

	"passbell/internal/store"
)

const (
	// tick is how often the gateway looks whether something is due or was changed
	// by another process.
	tick = time.Second
	// wipeEvery is how often to look whether something was kept long enough.
	// The first look is at the start: a cook's machine may be off at night.
	wipeEvery = 24 * time.Hour
)

// round is what the process does again and again, beginning at the start. gocron
// only ticks: what is due is decided by the database.
type round struct {
	name  string
	every time.Duration
	do    func(context.Context)
}

// rounds are few, however many kitchens there are: they ask all of them at once
// and go on with those in which something waits.
func (g *Gateway) rounds() []round {
	out := []round{{"looking for what is due", tick, g.look}, {"wiping what was kept long enough", wipeEvery, g.wipe}}
	for _, l := range g.lines {
		if len(l.wires) > 1 {
			out = append(out, round{"joining delivery reports", tick, func(ctx context.Context) {
				if err := l.joinEarly(ctx); err != nil && ctx.Err() == nil {
					g.host.log.Error("delivery reports wait to be joined with their texts; passbell tries again", "adapter", l.Name, "error", err)
				}
			}})
		}
	}
	return out
}

// startRounds begins the rounds, each by itself: one that has to wait holds up no
// other. There is one scheduler for the process: gocron watches the end of its
// jobs without a pause, and many that stop at once would leave nothing of the
// machine to the jobs.
func (g *Gateway) startRounds(ctx context.Context, rounds []round) error {
	ticks, err := gocron.NewScheduler(gocron.WithClock(g.host.Clock), gocron.WithLocation(time.UTC), gocron.WithStopTimeout(10*time.Second))
	if err != nil {
		return fmt.Errorf("start the rounds: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	g.onStop("leases", g.resign)
	g.onStop("rounds", func(ctx context.Context) error {
		cancel() // what waits for the database waits no longer, and what is half done there is undone
		return errors.Join(ticks.ShutdownWithContext(ctx), waitFor(ctx, &g.acting))
	})
	for _, r := range rounds {
		_, err = ticks.NewJob(gocron.DurationJob(r.every), gocron.NewTask(func() { g.caught(func() { r.do(ctx) }) }), gocron.WithName(r.name),
			gocron.WithSingletonMode(gocron.LimitModeReschedule), gocron.WithStartAt(gocron.WithStartImmediately()))
		if err != nil {
			return fmt.Errorf("start the rounds: %w", err)
		}
	}
	ticks.Start()
	return nil
}

// look asks all kitchens at once what waits in them, and acts on it.
func (g *Gateway) look(ctx context.Context) {
	now := g.host.Clock.Now().UTC()
	looks := make([]store.Look, len(g.kitchens))
	for i, k := range g.kitchens {
		looks[i] = k.looksFor(now)
	}
	stirs, err := g.host.store.Astir(ctx, looks, now)
	if err != nil && ctx.Err() == nil {
		g.host.log.Error("nobody knows what is due; passbell looks again", "error", err)
	}
	found := make(map[int64]store.Stir, len(stirs))
	for _, s := range stirs {
		found[s.Kitchen] = s
	}
	for _, k := range g.kitchens {
		k.house.Inbox.Rest()
		s, ok := found[k.house.Kitchen.ID]
		for _, w := range k.wires {
			if s.Sends || w.Dispatcher.Behind() {
				w.Dispatcher.Tick()
			}
		}
		if ok && s.Event != k.shown { // another process may have changed something
			k.shown = s.Event
			k.house.Live.Changed()
		}
		for _, c := range k.chores {
			if c.waits(s) {
				c.begin(ctx, g)
			}
		}
	}
}

// looksFor says what the kitchen has to be asked.
func (k *kitchen) looksFor(now time.Time) store.Look {
	out := store.Look{Kitchen: k.house.Kitchen, Seen: k.shown, Closes: k.house.Config.Night.CloseByItself}
	for _, a := range k.house.Config.Adapter {
		if after := time.Duration(a.FallUnconfirmed); after > 0 && out.Silent.Before(now.Add(-after)) {
			out.Silent = now.Add(-after)
		}
	}
	return out
}

// chore is work in one kitchen that a look may find. It is done beside that of
// the other kitchens, and not begun again before it ended.
type chore struct {
	waits func(store.Stir) bool
	do    func(context.Context) error
	fault func(error) // says that it did not work, and is tried again

	busy sync.Mutex
}

func (c *chore) begin(ctx context.Context, g *Gateway) {
	if !c.busy.TryLock() {
		return
	}
	g.acting.Go(func() {
		defer c.busy.Unlock()
		g.caught(func() {
			if err := c.do(ctx); err != nil && ctx.Err() == nil {
				c.fault(err)
			}
		})
	})
}

// allChores lists what else there is to do in a kitchen than to send.
func (k *kitchen) allChores() []*chore {
	h := k.house
	said := func(words string) func(error) {
		return func(err error) { h.log.Error(words+"; passbell tries again", "error", err) }
	}
	return []*chore{
		{waits: func(s store.Stir) bool { return s.Reads }, do: h.Inbox.CatchUp, fault: said("texts wait to be read")},
		{waits: func(store.Stir) bool { return h.Config.Watch != "" }, do: h.Watch, fault: said("an order book waits in the folder")},
		{waits: func(s store.Stir) bool { return s.Closes }, do: k.onlyHere(h.Desk.CloseDue), fault: said("closing orders at their time did not work")},
	}
}
