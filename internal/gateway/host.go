package gateway

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"github.com/jonboulle/clockwork"

	"passbell/internal/config"
	"passbell/internal/night"
	"passbell/internal/store"
)

// Host is a database and the kitchens in it that one process works for, without
// anything running.
type Host struct {
	Config config.Host
	Houses []*House // in the order of the configuration; one or more
	Clock  clockwork.Clock

	store *store.Store
	log   *slog.Logger
}

// Open opens the database that the configuration names, brings it up to date,
// and opens every kitchen in it.
func Open(ctx context.Context, c config.Host, d Deps) (_ *Host, err error) {
	if d.Clock == nil || d.Log == nil {
		return nil, errors.New("gateway: no clock or no log")
	}
	if d.Spread == nil {
		if d.Spread, err = spread(); err != nil {
			return nil, err
		}
	}
	h := &Host{Config: c, Clock: d.Clock, log: d.Log}
	if h.store, err = store.Open(ctx, c.Database); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, h.store.Close())
		}
	}()
	cautions, err := h.store.Cautions(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range cautions {
		d.Log.Warn(c)
	}
	if err = h.openHouses(ctx, d); err != nil {
		return nil, err
	}
	return h, nil
}

// HeapGrowth is by how much memory in use should grow, in percent, before what nobody
// needs is cleared away. A kitchen's machine has more of the processor's time than of
// memory: half of what Go has by itself, which costs a few percent of that time. Where
// the database is a server, the machine serves many and has memory for it.
func HeapGrowth(database string) int {
	const byGo = 100
	if store.IsURL(database) {
		return byGo
	}
	return byGo / 2
}

func (h *Host) openHouses(ctx context.Context, d Deps) error {
	named := func(c config.Config, err error) error {
		if c.File == "" {
			return err
		}
		return fmt.Errorf("%s.toml: %w", c.File, err)
	}
	kitchens := make([]night.Kitchen, len(h.Config.Kitchens))
	for i, c := range h.Config.Kitchens {
		var err error
		if kitchens[i], err = c.House(); err != nil {
			return named(c, err)
		}
	}
	ids, err := h.store.PutKitchens(ctx, kitchens...)
	if err != nil {
		return err
	}
	for i, c := range h.Config.Kitchens {
		kitchens[i].ID = ids[i]
		house, err := openHouse(h.store, c, kitchens[i], d)
		if err != nil {
			return named(c, err)
		}
		h.Houses = append(h.Houses, house)
	}
	return nil
}

// Close closes the database, after a last word to the other instances.
func (h *Host) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), tick)
	defer cancel()
	for _, house := range h.Houses {
		house.lastWord(ctx)
	}
	return h.store.Close()
}
