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

// What must run once for a kitchen, however many instances serve it, is done by
// the one that holds the kitchen's lease: closing orders at their time and wiping
// what was kept long enough. An instance asks for the lease when there is
// something to do. Two may still do it at once, for a moment: each duty does no
// harm then.

const (
	// leaseFor is how long it takes at most until another instance does what
	// one that died did; leaseMargin how much earlier that one stops.
	leaseFor    = 30 * time.Second
	leaseMargin = 5 * time.Second
)

// holder makes a name for this process that no other one has.
func holder() (string, error) {
	chance, err := source()
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%016x%016x", chance.Uint64(), chance.Uint64()), nil
}

// leads asks for the kitchen's lease.
func (h *House) leads(holder string) (*leader.Leader, error) {
	return leader.New(leader.Config{
		Lease: h.rows, Holder: holder, TTL: leaseFor, Margin: leaseMargin, Now: h.Clock.Now,
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
func (k *kitchen) onlyHere(do func(context.Context) error) func(context.Context) error {
	return func(ctx context.Context) error {
		switch err := k.lead.IsLeader(ctx); {
		case errors.Is(err, leader.ErrNotLeader):
			return nil
		case err != nil:
			return err
		}
		return do(ctx)
	}
}

// resign gives the leases back that this process has: another instance goes on
// at once.
func (g *Gateway) resign(ctx context.Context) error {
	var ending sync.WaitGroup
	for _, k := range g.kitchens {
		ending.Go(func() {
			if err := k.lead.Resign(ctx); err != nil {
				k.house.log.Warn("another instance does what must run once a little later", "within", leaseFor, "error", err)
			}
		})
	}
	ending.Wait()
	return nil
}

// wipe has one kitchen after the other forget: there is time for it.
func (g *Gateway) wipe(ctx context.Context) {
	for _, k := range g.kitchens {
		if err := k.forget(ctx); err != nil && ctx.Err() == nil {
			k.house.log.Error("wiping what was kept long enough did not work; passbell tries again", "within", wipeEvery, "error", err)
		}
	}
}

// forget wipes what names anybody on nights that are older than the kitchen keeps
// them, and what ended. The lease is asked for where there is something to wipe.
func (k *kitchen) forget(ctx context.Context) error {
	h := k.house
	ended := func(err error) error { return errors.Join(err, h.rows.CleanUp(ctx, h.Clock.Now())) }
	days := h.Config.Kitchen.KeepDays
	if days == 0 {
		return ended(nil)
	}
	before := night.DateOf(h.Clock.Now().In(h.Kitchen.Zone)).AddDays(-days)
	kept, err := h.Desk.Wipeable(ctx, before)
	if err != nil || len(kept) == 0 {
		return ended(err)
	}
	return ended(k.onlyHere(func(ctx context.Context) error {
		done, err := h.Desk.Wipe(ctx, before, "clock")
		for _, w := range done {
			h.log.Info("wiped what was kept long enough", "night", w.Date, "wiped", w.String())
		}
		return err
	})(ctx))
}

// Wipe wipes what names anybody on nights before a date, and what ended.
func (h *House) Wipe(ctx context.Context, before night.Date, who string) ([]desk.Wiped, error) {
	done, err := h.Desk.Wipe(ctx, before, who)
	return done, errors.Join(err, h.rows.CleanUp(ctx, h.Clock.Now()))
}
