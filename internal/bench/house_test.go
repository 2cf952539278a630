package bench

import (
	"context"
	"database/sql"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"runtime/debug"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/gateway"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/wording"
	"passbell/templates"
)

// noon is a Friday noon in Larkfield; orders are collected that evening.
var noon = time.Date(2026, 12, 4, 12, 0, 0, 0, time.UTC)

// server starts a throw-away server on the disk, which flushes as it would on a
// night. No setting of it is tuned but the number of connections.
func server(t *testing.T) *pgtest.Server {
	t.Helper()
	if *memory {
		return pgtest.Start(t, "max_connections=400")
	}
	return pgtest.StartIn(t, os.TempDir(), "fsync=on", "max_connections=400")
}

// database is one place for kitchens, and a way past their walls to fill it.
type database struct {
	place string
	*store.Store
	raw  *sql.DB
	bind func(n int) string
}

func onServer(t *testing.T, s *pgtest.Server) *database {
	t.Helper()
	place := s.Database(t)
	d := opened(t, place)
	raw, err := sql.Open("postgres", s.PastWalls(place))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, raw.Close()) })
	d.raw, d.bind = raw, func(n int) string { return fmt.Sprintf("$%d", n) }
	return d
}

func embedded(t *testing.T) *database {
	t.Helper()
	place := filepath.Join(t.TempDir(), "passbell.db")
	d := opened(t, place)
	// As the store opens it: what is compared is as durable.
	raw, err := sql.Open("sqlite", "file:"+(&url.URL{Path: place}).EscapedPath()+"?_txlock=immediate&_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)")
	require.NoError(t, err)
	raw.SetMaxOpenConns(1)
	t.Cleanup(func() { require.NoError(t, raw.Close()) })
	d.raw, d.bind = raw, func(int) string { return "?" }
	return d
}

func opened(t *testing.T, place string) *database {
	t.Helper()
	collectLikeServe(t, place)
	s, err := store.Open(t.Context(), place)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return &database{place: place, Store: s}
}

// collectLikeServe has garbage collected as often as serve does over the database.
func collectLikeServe(t *testing.T, place string) {
	t.Helper()
	before := debug.SetGCPercent(gateway.HeapGrowth(place))
	t.Cleanup(func() { debug.SetGCPercent(before) })
}

// house is one kitchen with a night of orders.
type house struct {
	kitchen night.Kitchen
	rows    *store.Kitchen
	desk    *desk.Desk
	night   int64
}

// kitchen adds a kitchen and its night. Orders are closed, so what is planned
// goes into the database.
func (d *database) kitchen(t *testing.T, name string) *house {
	t.Helper()
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	h := &house{kitchen: night.Kitchen{
		Name: name, Region: "GB", Zone: zone, Number: "+447700900000", Quiet: night.Quiet{From: 21 * 60, To: 8 * 60},
	}}
	h.kitchen.ID, err = d.PutKitchen(t.Context(), h.kitchen)
	require.NoError(t, err)
	h.rows = d.Kitchen(h.kitchen.ID)
	texts, err := wording.Load(templates.Texts, nil, "en")
	require.NoError(t, err)
	h.desk, err = desk.New(desk.Config{Store: deskRows{h.rows}, Kitchen: h.kitchen, Texts: texts, Now: now})
	require.NoError(t, err)
	n, err := h.desk.AddNight(t.Context(), night.Night{
		Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16 * 60, Last: 20 * 60, Every: 10, Place: "5 Mill Lane, Larkfield",
		InstructAt: noon.Add(-time.Hour), RemindBefore: 2 * time.Hour, RemindFrom: 9 * 60,
	}, "cook")
	require.NoError(t, err)
	h.night = n.ID
	d.exec(t, `UPDATE nights SET closed_at = %d WHERE id = %d`, noon.UnixMilli(), h.night)
	return h
}

func now() time.Time { return noon }

// numbers writes the rows 1 to n, in the words of both databases.
const numbers = `WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d) `

// fill adds so many orders to the night of every kitchen, one kitchen after the
// other and each of a customer of its own.
func (d *database) fill(t *testing.T, orders int) {
	t.Helper()
	d.exec(t, `INSERT INTO orders (kitchen_id, night_id, ref, bag, name, phone, phone_typed, email, collector, slot, items, note, allergy,
			state, packed_at, expected_at, behind, vehicle, arrived_at, spot, revision, booked) `+numbers+`
		SELECT kitchen_id, id, 'K' || i, i, 'Bethan Cadwgan ' || i, '+4477009' || (100000 + i), '', '', '', 960 + 10 * (i %% 24),
			'[{"qty":2,"name":"Pork bao","kind":"hot"},{"qty":1,"name":"Chilli oil","kind":"extra"}]', '', '',
			'booked', 0, 0, 0, '{}', 0, '', 0, '{}' FROM n, nights ORDER BY nights.id, i`, orders)
	d.refresh(t)
}

// due makes a text of a kind about every order due now, in every kitchen.
func (d *database) due(t *testing.T, kind night.MessageKind) {
	t.Helper()
	d.exec(t, `INSERT INTO messages (kitchen_id, night_id, kind, revision, place, address, text, parts, due_at, expires_at, state, adapter)
		SELECT kitchen_id, night_id, '%s', 0, '5 Mill Lane, Larkfield', phone, %s, 1, %d, %d, 'due', '' FROM orders ORDER BY id`, kind,
		`'Larkfield Dumpling Kitchen: collect order ' || ref || ' on Friday at 17:10 from 5 Mill Lane, Larkfield. Reply HERE with your car when you are at the gate.'`,
		noon.Add(-time.Hour).UnixMilli(), noon.Add(3*time.Hour).UnixMilli())
	d.exec(t, `INSERT INTO outbox (message_id, kitchen_id, next_at) SELECT id, kitchen_id, due_at FROM messages ORDER BY id`)
	d.exec(t, `INSERT INTO message_orders (kitchen_id, message_id, order_id, kind, revision, slot)
		SELECT o.kitchen_id, m.id, o.id, m.kind, 0, o.slot FROM messages m JOIN orders o ON o.id = m.id`)
	d.refresh(t)
}

// refresh brings a server's statistics up to date, as its own housekeeping would
// have by the evening. The embedded database has none.
func (d *database) refresh(t *testing.T) {
	t.Helper()
	if store.IsURL(d.place) {
		d.exec(t, `ANALYZE`)
	}
}

func (d *database) exec(t *testing.T, query string, args ...any) {
	t.Helper()
	if len(args) > 0 {
		query = fmt.Sprintf(query, args...)
	}
	_, err := d.raw.ExecContext(t.Context(), query)
	require.NoError(t, err, query)
}

func (d *database) count(t *testing.T, query string, args ...any) int {
	t.Helper()
	var n int
	require.NoError(t, d.raw.QueryRowContext(t.Context(), fmt.Sprintf(query, args...)).Scan(&n))
	return n
}

// dispatcher gives the kitchen a dispatcher that sends through a provider.
func (h *house) dispatcher(t *testing.T, sender adapters.Sender) *dispatch.Dispatcher {
	t.Helper()
	d, err := dispatch.New(dispatch.Config{
		Store: dispatchRows{h.rows}, Kitchen: h.kitchen, Adapter: "texts", Sender: sender, Window: 1000, PerSecond: 1e6, Timeout: time.Minute,
		Retry:     dispatch.Retry{First: 5 * time.Second, Cap: time.Minute, Attempts: 3},
		Replanner: h.desk, Now: now, Spread: func() float64 { return 0.5 }, Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	return d
}

// numbering is a provider that takes every text at once, does nothing with it and
// gives it a number.
type numbering struct{}

func (numbering) Send(_ context.Context, m adapters.Message) (adapters.Accepted, error) {
	return adapters.Accepted{IDs: []string{m.Key}}, nil
}

// silent is one that gives no number.
type silent struct{}

func (silent) Send(context.Context, adapters.Message) (adapters.Accepted, error) {
	return adapters.Accepted{}, nil
}

// The packages each name the part of the store that they use.

type deskRows struct{ *store.Kitchen }

func (s deskRows) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s deskRows) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

type dispatchRows struct{ *store.Kitchen }

func (s dispatchRows) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s dispatchRows) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}
