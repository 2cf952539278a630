package gateway

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"github.com/jonboulle/clockwork"

	"passbell/internal/config"
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
	for _, k := range c.Kitchens {
		house, err := openHouse(ctx, h.store, k, d)
		if err != nil && k.File != "" {
			err = fmt.Errorf("%s.toml: %w", k.File, err)
		}
		if err != nil {
			return nil, err
		}
		h.Houses = append(h.Houses, house)
	}
	return h, nil
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
