// Package gateway wires the parts together and runs them.
package gateway

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	mathrand "math/rand/v2"
	"sync"
	"time"

	"github.com/jonboulle/clockwork"

	"passbell/internal/book"
	"passbell/internal/config"
	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/inbox"
	"passbell/internal/live"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/wording"
	"passbell/templates"
)

// Deps is what the surroundings hand in.
type Deps struct {
	Clock clockwork.Clock
	Log   *slog.Logger
	// Spread gives numbers between 0 and 1 that scatter retries; nil for ones
	// that nobody can foretell. A rehearsal hands in its own to be repeatable.
	Spread func() float64
}

// House is a kitchen's part of the database and its desk, without anything
// running. Every command works on one.
type House struct {
	Config  config.Config
	Kitchen night.Kitchen
	Desk    *desk.Desk
	Inbox   *inbox.Inbox
	Live    *live.Hub
	Price   wording.Price
	Clock   clockwork.Clock

	rows   *store.Kitchen
	news   chan struct{} // something changed that the other instances don't know of
	log    *slog.Logger
	spread func() float64
}

// openHouse opens a kitchen's part of the database.
func openHouse(s *store.Store, c config.Config, kitchen night.Kitchen, d Deps) (*House, error) {
	texts, err := wording.Load(templates.Texts, c.Texts, c.Kitchen.Language)
	if err != nil {
		return nil, err
	}
	h := &House{Config: c, Live: new(live.Hub), Clock: d.Clock, log: d.Log, spread: d.Spread, news: make(chan struct{}, 1)}
	if c.File != "" {
		h.log = d.Log.With("kitchen", c.File)
	}
	if c.Kitchen.Price != "" {
		if h.Price, err = wording.ParsePrice(c.Kitchen.Price); err != nil {
			return nil, fmt.Errorf("kitchen.price: %w", err)
		}
	}
	h.Kitchen, h.rows = kitchen, s.Kitchen(kitchen.ID)
	h.Desk, err = desk.New(desk.Config{
		Store: deskStore{h.rows}, Kitchen: kitchen, Texts: texts, Now: d.Clock.Now, Changed: h.changed, Routes: routes(c),
	})
	if err != nil {
		return nil, err
	}
	h.Inbox, err = inbox.New(inbox.Config{
		Store: inboxStore{h.rows}, Kitchen: kitchen, Desk: h.Desk, Now: d.Clock.Now, Log: h.log,
	})
	return h, err
}

// changed tells the pages of this instance at once, and notes that the others
// are to be told.
func (h *House) changed() {
	h.Live.Changed()
	select {
	case h.news <- struct{}{}:
	default: // they will be told of both at once
	}
}

// announce tells the other instances what they have not been told.
func (h *House) announce(ctx context.Context) {
	if err := h.rows.Announce(ctx); err != nil && ctx.Err() == nil {
		h.log.Warn("the other instances hear of a change a second later", "error", err)
	}
}

// lastWord tells the other instances what they have not been told, before the
// database is closed.
func (h *House) lastWord(ctx context.Context) {
	select {
	case <-h.news:
		h.announce(ctx)
	default:
	}
}

// The packages each name the part of the store that they use; these carry the
// one store to all of them.

type deskStore struct{ *store.Kitchen }

func (s deskStore) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s deskStore) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

type inboxStore struct{ *store.Kitchen }

func (s inboxStore) Write(ctx context.Context, fn func(inbox.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s inboxStore) Read(ctx context.Context, fn func(inbox.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

type dispatchStore struct{ *store.Kitchen }

func (s dispatchStore) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s dispatchStore) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

// spread gives a source of numbers between 0 and 1 to scatter retries with. It
// is safe for concurrent use: all dispatchers draw from it.
func spread() (func() float64, error) {
	chance, err := source()
	if err != nil {
		return nil, err
	}
	var turn sync.Mutex
	return func() float64 {
		turn.Lock()
		defer turn.Unlock()
		return chance.Float64()
	}, nil
}

// source gives a source of randomness of its own.
func source() (*mathrand.Rand, error) {
	var seed [32]byte
	if _, err := rand.Read(seed[:]); err != nil {
		return nil, fmt.Errorf("no randomness: %w", err)
	}
	return mathrand.New(mathrand.NewChaCha8(seed)), nil
}

// NextDue gives the moment at which the next text is due, zero for at once, and whether any
// waits. Whoever drives the clock itself can move it there.
func (h *House) NextDue(ctx context.Context) (next time.Time, waits bool, err error) {
	return h.rows.NextDue(ctx)
}

// routes gives the ways out that the configuration describes, in its order.
func routes(c config.Config) desk.Routes {
	out := make(desk.Routes, len(c.Adapter))
	for i, a := range c.Adapter {
		out[i] = desk.Route{Adapter: a.Name, Mail: a.Mail(), Countries: a.Countries, Lines: a.Lines, Kinds: a.Kinds}
	}
	return out
}

// BookOptions gives what a reader of order books must know of a night. Numbers
// reserved for fiction are taken only where no adapter reaches a real phone.
func (h *House) BookOptions(n night.Night) book.Options {
	return book.Options{Region: h.Kitchen.Region, Zone: h.Kitchen.Zone, Night: n, Fiction: h.OnlyPractice()}
}

// newNight gives a night with the configured defaults.
func (h *House) newNight(date night.Date) night.Night {
	return h.Config.NightOn(date, FirstSlot, LastSlot, h.Kitchen.Zone)
}

// The slots of a night where nothing else is said: common practice, no source.
const (
	FirstSlot night.Clock = 16*60 + 30
	LastSlot  night.Clock = 19*60 + 30
)

// OnlyPractice tells whether no configured adapter can reach a real phone.
func (h *House) OnlyPractice() bool {
	for _, a := range h.Config.Adapter {
		if a.Kind != "practice" {
			return false
		}
	}
	return true
}
