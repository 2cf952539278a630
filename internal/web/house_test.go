package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/inbox"
	"passbell/internal/live"
	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/store"
	"passbell/internal/store/storetest"
	"passbell/internal/web"
	"passbell/internal/wording"
	"passbell/templates"
)

// The packages each name the part of the store that they use.
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

// clock is a clock that stands still until it is set.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = t
}

// house is a kitchen with a real database and no network.
type house struct {
	t       testing.TB
	store   *store.Store
	rows    *store.Kitchen
	desk    *desk.Desk
	inbox   *inbox.Inbox
	hub     *live.Hub
	clock   *clock
	kitchen night.Kitchen
	night   night.Night
	texts   int
	routes  desk.Routes // set before the night is opened
	words   *wording.Set
}

type webConfig = web.Config

var london = mustZone("Europe/London")

func mustZone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

// evening is a moment of the Larkfield Dumpling Kitchen's Friday night.
func evening(c string) time.Time {
	at, err := night.ParseClock(c)
	if err != nil {
		panic(err)
	}
	t, _ := night.Instant(night.Date{Year: 2026, Month: time.December, Day: 4}, at, london)
	return t
}

// newHouse opens an empty house, days before the night.
func newHouse(t testing.TB) *house {
	t.Helper()
	return newHouseOn(t, storetest.Fresh(t))
}

// newHouseOn opens an empty house on a database.
func newHouseOn(t testing.TB, database *store.Store) *house {
	t.Helper()
	ctx := t.Context()
	h := &house{t: t, hub: new(live.Hub), clock: &clock{now: evening("12:00").AddDate(0, 0, -3)}, store: database}
	var err error
	h.kitchen = night.Kitchen{Name: "Larkfield Dumpling Kitchen", Region: "GB", Zone: london, Number: "+447700900100"}
	h.kitchen.ID, err = h.store.PutKitchen(ctx, h.kitchen)
	require.NoError(t, err)
	h.rows = h.store.Kitchen(h.kitchen.ID)
	texts, err := wording.Load(templates.Texts, nil, "en")
	require.NoError(t, err)
	h.words = texts
	h.desk, err = h.newDesk()
	require.NoError(t, err)
	h.inbox, err = inbox.New(inbox.Config{
		Store: inboxStore{h.rows}, Kitchen: h.kitchen, Desk: h.desk, Now: h.clock.Now, Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	return h
}

// handler serves the house, changed by with.
func (h *house) handler(with func(*web.Config)) http.Handler {
	h.t.Helper()
	c := web.Config{
		Desk: h.desk, Inbox: h.inbox, Live: h.hub, Keep: h.rows, Kitchen: h.kitchen, Sessions: h.rows.Sessions(time.Now),
		Now: h.clock.Now, Log: slog.New(slog.NewTextHandler(logWriter{h.t}, nil)), Demo: true,
		Pace: web.Pace{Beat: 200 * time.Millisecond, Look: 100 * time.Millisecond, Every: 10 * time.Millisecond},
	}
	if with != nil {
		with(&c)
	}
	handler, err := web.New(c)
	require.NoError(h.t, err)
	return handler
}

// logWriter shows the log of a failed test.
type logWriter struct{ t testing.TB }

func (w logWriter) Write(b []byte) (int, error) {
	defer func() { _ = recover() }() // a stream may still log when the test is over
	w.t.Log(string(b))
	return len(b), nil
}

var _ io.Writer = logWriter{}

func (h *house) newDesk() (*desk.Desk, error) {
	return desk.New(desk.Config{Store: deskStore{h.rows}, Kitchen: h.kitchen, Texts: h.words, Now: h.clock.Now, Changed: h.hub.Changed, Routes: h.routes})
}

// open adds the night and loads its book; nobody is told yet.
func (h *house) open() {
	h.t.Helper()
	h.openEmpty()
	_, err := h.desk.Load(h.t.Context(), h.night.ID, book(), "cook")
	require.NoError(h.t, err)
}

// openEmpty adds the night, without a book.
func (h *house) openEmpty() {
	h.t.Helper()
	ctx := h.t.Context()
	var err error
	h.desk, err = h.newDesk()
	require.NoError(h.t, err)
	h.night, err = h.desk.AddNight(ctx, night.Night{
		Date: night.Date{Year: 2026, Month: time.December, Day: 4}, First: 16*60 + 30, Last: 19 * 60, Every: 10, Capacity: 4,
		Place: "the yard behind 14 Mill Lane", Parking: "in front of the green gate",
		ClosesAt: evening("18:00").AddDate(0, 0, -3), InstructAt: evening("18:00").AddDate(0, 0, -3),
		RemindBefore: 5 * time.Hour, RemindFrom: 9 * 60,
	}, "cook")
	require.NoError(h.t, err)
}

// carry has the network take every text that is due in any future; fate
// decides on those that it names a state for.
func (h *house) carry(fate func(night.Message) (night.MessageState, string)) {
	h.t.Helper()
	ctx := h.t.Context()
	messages, err := h.desk.Messages(ctx, h.night.ID)
	require.NoError(h.t, err)
	err = h.rows.Write(ctx, func(tx *store.Tx) error {
		for _, m := range messages {
			to, why := night.Delivered, ""
			if fate != nil {
				if to, why = fate(m); to == "" {
					to = night.Delivered
				}
			}
			ok, err := tx.SetMessageState(ctx, m.ID, []night.MessageState{night.Due}, to, why, m.DueAt)
			if err != nil || !ok {
				if err != nil {
					return err
				}
				continue
			}
			if err := tx.Log(ctx, night.Event{NightID: m.NightID, OrderID: m.Covers[0].OrderID, MessageID: m.ID, At: m.DueAt, Who: "clock", What: night.MessageSettled, Why: string(m.Kind) + " " + string(to)}); err != nil {
				return err
			}
			if to.WentOut() {
				if err := desk.Told(ctx, tx, []*night.Message{&m}, nil, m.DueAt, "clock"); err != nil {
					return err
				}
			}
		}
		return nil
	})
	require.NoError(h.t, err)
	h.hub.Changed()
}

func (h *house) order(ref string) night.Order {
	h.t.Helper()
	c, err := h.desk.Card(h.t.Context(), h.night.ID, ref)
	require.NoError(h.t, err)
	return c.Order
}

func (h *house) act(ref string) desk.Act { return desk.Act{Night: h.night.ID, Ref: ref, Who: "cook"} }

// text has a customer write; what is understood of it is given. The orders are
// named by reference.
func (h *house) text(from, body string, dec desk.Decision, refs ...string) int64 {
	h.t.Helper()
	ctx := h.t.Context()
	h.texts++
	in := night.Inbound{Adapter: "texts", ProviderID: fmt.Sprintf("p%d", h.texts), From: from, To: h.kitchen.Number, Text: body, At: h.clock.Now().UTC()}
	err := h.rows.Write(ctx, func(tx *store.Tx) error {
		id, _, err := tx.AddInbound(ctx, in)
		in.ID = id
		return err
	})
	require.NoError(h.t, err)
	for _, r := range refs {
		dec.Orders = append(dec.Orders, h.order(r).ID)
	}
	if dec.Reading == nil {
		dec.Reading, err = json.Marshal(map[string]any{"intent": dec.Intent, "vehicle": dec.Vehicle})
		require.NoError(h.t, err)
	}
	require.NoError(h.t, h.rows.Write(ctx, func(tx *store.Tx) error {
		var book desk.Book
		if err := book.Refresh(ctx, tx, h.night); err != nil {
			return err
		}
		return h.desk.ApplyIn(ctx, tx, h.clock.Now().UTC(), &book, []night.Inbound{in}, func(night.Inbound) (desk.Decision, error) { return dec, nil })
	}))
	h.desk.Changed()
	return in.ID
}

// arrive has the customer of an order write that they are there.
func (h *house) arrive(ref, body string, v night.Vehicle, spot string) int64 {
	h.t.Helper()
	return h.text(h.order(ref).Phone, body, desk.Decision{Intent: reading.Here, Sure: true, Vehicle: v, Spot: spot, Why: "their number"}, ref)
}

func car(colour, make, model, plate string) night.Vehicle {
	v := night.Vehicle{Make: make, Model: model, Plate: plate}
	if colour != "" {
		v.Colours = []string{colour}
	}
	return v
}
