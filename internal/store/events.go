package store

import (
	"context"
	"time"

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

// Log appends an event.
func (t *Tx) Log(ctx context.Context, e night.Event) error {
	_, err := t.change(ctx, "events", `
		INSERT INTO events (kitchen_id, night_id, order_id, message_id, inbound_id, at, who, what, from_state, to_state, why)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		t.kitchen, e.NightID, e.OrderID, e.MessageID, e.InboundID, ms(e.At), e.Who, e.What, e.From, e.To, e.Why)
	return err
}

// Events gives a night's events with an id above after, at most limit of them,
// in the order in which they happened.
func (t *Tx) Events(ctx context.Context, nightID, after int64, limit int) ([]night.Event, error) {
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
	var rows []eventRow
	err := t.list(ctx, &rows, "events",
		`SELECT * FROM events WHERE kitchen_id = ? AND order_id = ? ORDER BY id`, t.kitchen, orderID)
	if err != nil {
		return nil, err
	}
	return each(rows, eventRow.event)
}

// LastEvent gives the id of the kitchen's latest event; 0 where there is none.
func (t *Tx) LastEvent(ctx context.Context) (int64, error) {
	var id int64
	err := t.get(ctx, &id, "events", `SELECT coalesce(max(id), 0) FROM events WHERE kitchen_id = ?`, t.kitchen)
	return id, err
}

// Sessions keeps the sign-ins of web pages, so that a restart on the night asks
// nobody for a passphrase again.
type Sessions struct {
	store *Store
	now   func() time.Time
}

// Sessions gives the store of sign-ins.
func (s *Store) Sessions(now func() time.Time) *Sessions { return &Sessions{store: s, now: now} }

// FindCtx gives the data of a session that has not expired.
func (s *Sessions) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	var data [][]byte
	err := s.store.reader.SelectContext(ctx, &data,
		`SELECT data FROM sessions WHERE token = ? AND expires > ?`, token, ms(s.now()))
	if err != nil {
		return nil, false, &night.StoreError{Doing: "read session", Err: err}
	}
	if len(data) == 0 {
		return nil, false, nil
	}
	return data[0], true, nil
}

// CommitCtx stores a session.
func (s *Sessions) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	_, err := s.store.writer.ExecContext(ctx, `
		INSERT INTO sessions (token, data, expires) VALUES (?, ?, ?)
		ON CONFLICT (token) DO UPDATE SET data = excluded.data, expires = excluded.expires`, token, data, ms(expiry))
	if err != nil {
		return &night.StoreError{Doing: "store session", Err: err}
	}
	return nil
}

// DeleteCtx forgets a session.
func (s *Sessions) DeleteCtx(ctx context.Context, token string) error {
	if _, err := s.store.writer.ExecContext(ctx, `DELETE FROM sessions WHERE token = ? OR expires <= ?`, token, ms(s.now())); err != nil {
		return &night.StoreError{Doing: "forget session", Err: err}
	}
	return nil
}

// Find is FindCtx without a context.
func (s *Sessions) Find(token string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), token)
}

// Commit is CommitCtx without a context.
func (s *Sessions) Commit(token string, data []byte, expiry time.Time) error {
	return s.CommitCtx(context.Background(), token, data, expiry)
}

// Delete is DeleteCtx without a context.
func (s *Sessions) Delete(token string) error { return s.DeleteCtx(context.Background(), token) }
