package store

import (
	"context"

	"passbell/internal/night"
)

type eventRow struct {
	ID        int64  `db:"id"`
	KitchenID int64  `db:"kitchen_id"`
	NightID   int64  `db:"night_id"`
	OrderID   int64  `db:"order_id"`
	MessageID int64  `db:"message_id"`
	InboundID int64  `db:"inbound_id"`
	At        int64  `db:"at"`
	Who       string `db:"who"`
	What      string `db:"what"`
	From      string `db:"from_state"`
	To        string `db:"to_state"`
	Why       string `db:"why"`
}

func (r eventRow) event() (night.Event, error) {
	return night.Event{
		ID: r.ID, KitchenID: r.KitchenID, NightID: r.NightID, OrderID: r.OrderID, MessageID: r.MessageID,
		InboundID: r.InboundID, At: at(r.At), Who: r.Who, What: night.What(r.What),
		From: night.State(r.From), To: night.State(r.To), Why: r.Why,
	}, nil
}

// Log appends events in their order. They are written together, before the
// transaction is kept or anybody reads events in it.
func (t *Tx) Log(_ context.Context, events ...night.Event) error {
	t.said = append(t.said, events...)
	return nil
}

// writeEvents writes the events that were logged.
func (t *Tx) writeEvents(ctx context.Context) error {
	g := given{columns: []string{"message", "night", "about", "inbound", "at", "who", "what", "from_state", "to_state", "why"}}
	for _, e := range t.said {
		g.rows = append(g.rows, []any{e.MessageID, e.NightID, e.OrderID, e.InboundID, ms(e.At), e.Who, string(e.What), string(e.From), string(e.To), e.Why})
	}
	t.said = nil
	return t.putOff(ctx, later{table: "events", rows: g, args: []any{t.kitchen}, query: `
		INSERT INTO events (kitchen_id, night_id, order_id, message_id, inbound_id, at, who, what, from_state, to_state, why)
		SELECT CAST(? AS BIGINT), night, about, message, inbound, at, who, what, from_state, to_state, why FROM %s`})
}

// Events gives a night's events with an id above after, at most limit of them,
// in the order in which they happened.
func (t *Tx) Events(ctx context.Context, nightID, after int64, limit int) ([]night.Event, error) {
	if err := t.writeEvents(ctx); err != nil {
		return nil, err
	}
	var rows []eventRow
	err := t.list(ctx, &rows, "events",
		`SELECT * FROM events WHERE kitchen_id = ? AND night_id = ? AND id > ? ORDER BY id LIMIT ?`, t.kitchen, nightID, after, limit)
	if err != nil {
		return nil, err
	}
	return each(rows, eventRow.event)
}

// EventsOf gives the events about one order, in the order in which they
// happened.
func (t *Tx) EventsOf(ctx context.Context, orderID int64) ([]night.Event, error) {
	if err := t.writeEvents(ctx); err != nil {
		return nil, err
	}
	var rows []eventRow
	err := t.list(ctx, &rows, "events",
		`SELECT * FROM events WHERE kitchen_id = ? AND night_id = (SELECT night_id FROM orders WHERE id = ?) AND order_id = ? ORDER BY id`,
		t.kitchen, orderID, orderID)
	if err != nil {
		return nil, err
	}
	return each(rows, eventRow.event)
}

// LastEvent gives the id of the kitchen's latest event; 0 where there is none.
func (t *Tx) LastEvent(ctx context.Context) (int64, error) {
	if err := t.writeEvents(ctx); err != nil {
		return 0, err
	}
	var id int64
	err := t.get(ctx, &id, "events", `SELECT coalesce(max(id), 0) FROM events WHERE kitchen_id = ?`, t.kitchen)
	return id, err
}
