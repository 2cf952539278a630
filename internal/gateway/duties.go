package gateway

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"passbell/internal/desk"
	"passbell/internal/leader"
	"passbell/internal/night"
)

const (
	// leaseFor is how long it takes at most until another instance does what
	// one that died did; leaseMargin how much earlier that one stops.
	leaseFor    = 30 * time.Second
	leaseMargin = 5 * time.Second
	// closeEvery is how often to look whether a night has to be closed.
	closeEvery = 2 * time.Second
	// wipeEvery is how often to look whether something was kept long enough.
	// The first look is at the start: a cook's machine may be off at night.
	wipeEvery = 24 * time.Hour
)

// duties are what must run once for each kitchen, however many instances serve
// it: the one that holds the kitchen's lease does it. When this one stops,
// another instance takes it on at once.
func (g *Gateway) duties() (rounds []round, err error) {
	leads := make([]*leader.Leader, len(g.kitchens))
	for i, k := range g.kitchens {
		if leads[i], err = k.house.lead(); err != nil {
			return nil, err
		}
		for _, d := range k.house.duties() {
			rounds = append(rounds, round{d.name, d.every, k.house.onlyHere(leads[i], d)})
		}
	}
	g.onStop("leases", func(ctx context.Context) error {
		var ending sync.WaitGroup
		for i, k := range g.kitchens {
			ending.Go(func() {
				if err := leads[i].Resign(ctx); err != nil {
					k.house.log.Warn("another instance does what must run once a little later", "within", leaseFor, "error", err)
				}
			})
		}
		ending.Wait()
		return nil
	})
	return rounds, nil
}

// lead asks for the kitchen's lease.
func (h *House) lead() (*leader.Leader, error) {
	holder, err := source()
	if err != nil {
		return nil, err
	}
	return leader.New(leader.Config{
		Lease: h.rows, Holder: fmt.Sprintf("%016x%016x", holder.Uint64(), holder.Uint64()), TTL: leaseFor, Margin: leaseMargin, Now: h.Clock.Now,
		Changed: func(term int64) {
			if term == 0 {
				h.log.Info("another instance may do now what must run once")
				return
			}
			h.log.Info("this instance does what must run once", "term", term)
		},
	})
}

// onlyHere does a duty where this instance holds the kitchen's lease.
func (h *House) onlyHere(lead *leader.Leader, d duty) func(context.Context) {
	return func(ctx context.Context) {
		if lead.IsLeader(ctx) != nil {
			return // somebody else does it, or nobody knows who
		}
		if err := d.do(ctx); err != nil && ctx.Err() == nil {
			h.log.Error(d.name+" did not work; passbell tries again", "term", lead.Term(), "error", err)
		}
	}
}

// duty is something that must run once for a kitchen. Two instances may still do
// it at once, for a moment: each does no harm then.
type duty struct {
	name  string
	every time.Duration
	do    func(context.Context) error
}

// duties lists them.
func (h *House) duties() []duty {
	out := []duty{{"wiping what was kept long enough", wipeEvery, h.forget}}
	if h.Config.Night.CloseByItself {
		out = append(out, duty{"closing orders at their time", closeEvery, h.Desk.CloseDue})
	}
	return out
}

// forget wipes what names anybody on nights that are older than the kitchen keeps
// them, and what ended.
func (h *House) forget(ctx context.Context) error {
	days := h.Config.Kitchen.KeepDays
	if days == 0 {
		return h.rows.CleanUp(ctx, h.Clock.Now())
	}
	today := night.DateOf(h.Clock.Now().In(h.Kitchen.Zone))
	done, err := h.Wipe(ctx, today.AddDays(-days), "clock")
	for _, w := range done {
		h.log.Info("wiped what was kept long enough", "night", w.Date, "wiped", w.String())
	}
	return err
}

// Wipe wipes what names anybody on nights before a date, and what ended.
func (h *House) Wipe(ctx context.Context, before night.Date, who string) ([]desk.Wiped, error) {
	done, err := h.Desk.Wipe(ctx, before, who)
	return done, errors.Join(err, h.rows.CleanUp(ctx, h.Clock.Now()))
}
