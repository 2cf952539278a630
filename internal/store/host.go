package store

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"passbell/adapters"
	"passbell/internal/night"
)

// What a process that works for several kitchens may ask of all of them at once.
// Nothing but ids comes out, and every question names the kitchens that it is
// asked of: those that the process works for.

// across holds the questions in the words of one kind of database. On a server
// they are functions that go from kitchen to kitchen behind the wall, see
// migrations/postgres/0007_sharing.sql.
type across struct {
	expecting string // kitchens, address, states: kitchen
	sent      string // kitchens, adapter, ids of parts: kitchen, id
	have      string // kitchens, adapter, id of a text: kitchen
	astir     string // looks, moment: a Stir
}

var acrossServer = across{
	expecting: `SELECT kitchens_expecting($1, $2, $3)`,
	sent:      `SELECT kitchen, id FROM kitchens_that_sent($1, $2, $3)`,
	have:      `SELECT kitchens_that_have($1, $2, $3)`,
	astir:     `SELECT * FROM kitchens_astir($1, $2)`,
}

var acrossFile = across{
	expecting: `
		SELECT DISTINCT o.kitchen_id FROM json_each(?1) k
		JOIN nights n ON n.kitchen_id = k.value ->> 'id' AND (n.date > k.value ->> 'date' OR n.date = k.value ->> 'date' AND n.last_slot >= k.value ->> 'slot')
		JOIN orders o ON o.kitchen_id = n.kitchen_id AND o.night_id = n.id AND (o.phone = ?2 OR instr(?2, '@') > 0 AND lower(o.email) = lower(?2))
		WHERE o.state IN (SELECT value FROM json_each(?3))`,
	sent: `
		SELECT p.kitchen_id AS kitchen, p.provider_id AS id FROM json_each(?1) k, json_each(?3) i
		JOIN parts p ON p.kitchen_id = k.value AND p.adapter = ?2 AND p.provider_id = i.value`,
	have: `
		SELECT i.kitchen_id FROM json_each(?1) k
		JOIN inbounds i ON i.kitchen_id = k.value AND i.adapter = ?2 AND i.provider_id = ?3`,
	astir: `
		WITH looks AS (SELECT value ->> 'id' AS id, value ->> 'seen' AS seen, value ->> 'silent' AS silent, value ->> 'closes' AS closes,
			value ->> 'date' AS date, value ->> 'slot' AS slot FROM json_each(?1)),
		stirs AS (SELECT k.id AS kitchen, k.seen,
			coalesce((SELECT max(e.id) FROM events e WHERE e.kitchen_id = k.id), 0) AS event,
			EXISTS (SELECT 1 FROM outbox o WHERE o.kitchen_id = k.id AND o.next_at <= ?2)
				OR EXISTS (SELECT 1 FROM outbox o WHERE o.kitchen_id = k.id AND o.waits_from > ?2 AND o.waits_from > 0)
				OR EXISTS (SELECT 1 FROM kitchens c JOIN outbox o ON o.kitchen_id = c.id AND o.next_at <= c.claimed_at
					WHERE c.id = k.id AND o.attempt > 0)
				OR k.silent > 0 AND EXISTS (
					SELECT 1 FROM nights n JOIN messages m ON m.kitchen_id = n.kitchen_id AND m.night_id = n.id
					WHERE n.kitchen_id = k.id AND (n.date > k.date OR n.date = k.date AND n.last_slot >= k.slot)
						AND m.state = 'sent' AND m.fallen = 0 AND m.settled_at <= k.silent) AS sends,
			EXISTS (SELECT 1 FROM inbounds i WHERE i.kitchen_id = k.id AND i.state = 'fresh') AS reads,
			k.closes AND EXISTS (
				SELECT 1 FROM nights n WHERE n.kitchen_id = k.id AND (n.date > k.date OR n.date = k.date AND n.last_slot >= k.slot)
					AND n.closed_at = 0 AND n.closes_at > 0 AND n.closes_at <= ?2) AS closes
			FROM looks k)
		SELECT kitchen, event, sends, reads, closes FROM stirs WHERE event <> seen OR sends OR reads OR closes`,
}

// ask puts a question to several kitchens. What is no text is handed over as
// JSON, which both databases read.
func ask(ctx context.Context, from interface {
	SelectContext(ctx context.Context, dest any, query string, args ...any) error
}, dest any, question string, args ...any) error {
	for i, a := range args {
		if text, ok := a.(string); ok {
			args[i] = keepable(text)
			continue
		}
		b, err := json.Marshal(a)
		if err != nil {
			return &night.StoreError{Doing: "ask the kitchens", Err: err}
		}
		args[i] = string(b)
	}
	if err := from.SelectContext(ctx, dest, question, args...); err != nil {
		return worded(&night.StoreError{Doing: "ask the kitchens", Err: err})
	}
	return nil
}

// since is a kitchen, and the last slot from which on its nights are meant.
type since struct {
	ID   int64  `json:"id"`
	Date string `json:"date"`
	Slot int    `json:"slot"` // minutes after midnight
}

// unfinished means a kitchen's nights that are not over at now.
func unfinished(k night.Kitchen, now time.Time) since {
	date, slot := night.Earliest(now, k.Zone)
	return since{k.ID, date.String(), int(slot)}
}

// Expecting gives those of the kitchens, in their order, that an address has an
// unfinished order with, in a night that is not over at now. Nobody is expected
// under an address that is not known.
func (s *Store) Expecting(ctx context.Context, kitchens []night.Kitchen, address string, now time.Time) ([]int64, error) {
	if address == "" || len(kitchens) == 0 {
		return nil, nil
	}
	from := make([]since, len(kitchens))
	for i, k := range kitchens {
		from[i] = unfinished(k, now)
	}
	var found []int64
	if err := ask(ctx, s.reader, &found, s.dialect.across.expecting, from, address, night.Unfinished()); err != nil {
		return nil, err
	}
	var out []int64
	for _, k := range kitchens {
		if slices.Contains(found, k.ID) {
			out = append(out, k.ID)
		}
	}
	return out, nil
}

// Senders gives by a provider's id which of the kitchens sent the part of a text
// that it names. What none of them has on record is left out.
func (s *Store) Senders(ctx context.Context, kitchens []int64, adapter string, ids []string) (map[string]int64, error) {
	if len(ids) == 0 || len(kitchens) == 0 {
		return nil, nil
	}
	var rows []struct {
		Kitchen int64  `db:"kitchen"`
		ID      string `db:"id"`
	}
	if err := ask(ctx, s.reader, &rows, s.dialect.across.sent, kitchens, adapter, ids); err != nil {
		return nil, err
	}
	out := make(map[string]int64, len(rows))
	for _, r := range rows {
		out[r.ID] = r.Kitchen
	}
	return out, nil
}

// Held tells whether one of the kitchens has a text from outside on record.
func (t *Tx) Held(ctx context.Context, kitchens []int64, adapter, providerID string) (bool, error) {
	var found []int64
	err := ask(ctx, t.tx, &found, t.dialect.across.have, kitchens, adapter, indexable(providerID))
	return len(found) > 0, err
}

// Holders gives those of the kitchens that have a text from outside on record.
func (s *Store) Holders(ctx context.Context, kitchens []int64, adapter, providerID string) ([]int64, error) {
	var found []int64
	err := ask(ctx, s.reader, &found, s.dialect.across.have, kitchens, adapter, indexable(providerID))
	return found, err
}

// WriteEach runs fn in each of the kitchens, in the order given and all in one
// transaction: what it does is kept in all of them or in none. Every one of them
// has its turn before the first is written in.
func (s *Store) WriteEach(ctx context.Context, kitchens []int64, fn func(kitchen int64, tx *Tx) error) error {
	return s.run(ctx, writing, kitchens, func(t *Tx) error { return fn(t.kitchen, t) })
}

// nobody stands for a kitchen that is not known yet: that of a receipt which
// came over a connection of several kitchens before its text was on record. No
// kitchen has this id, and no kitchen's transaction sees its rows.
const nobody = 0

// KeepEarly keeps a receipt of which nobody knows yet whose it is, and forgets
// those that were kept before the moment forget.
func (s *Store) KeepEarly(ctx context.Context, adapter string, r adapters.Receipt, now, forget time.Time) error {
	r.At = now
	return s.Kitchen(nobody).Write(ctx, func(t *Tx) error {
		if err := t.KeepReceipt(ctx, adapter, r); err != nil {
			return err
		}
		_, err := t.change(ctx, "receipts", `DELETE FROM early_receipts WHERE kitchen_id = ? AND at < ?`, nobody, ms(forget))
		return err
	})
}

// Early gives the kept receipts of an adapter, the oldest first.
func (s *Store) Early(ctx context.Context, adapter string) ([]adapters.Receipt, error) {
	var rows []receiptRow
	err := s.Kitchen(nobody).Read(ctx, func(t *Tx) error {
		return t.list(ctx, &rows, "receipts", `
			SELECT provider_id, status, reason, at FROM early_receipts WHERE kitchen_id = ? AND adapter = ?
			ORDER BY at, provider_id, status`, nobody, adapter)
	})
	return receipts(rows), err
}

// ForgetEarly forgets the kept receipts that name the ids: they were delivered.
func (s *Store) ForgetEarly(ctx context.Context, adapter string, ids []string) error {
	return s.Kitchen(nobody).Write(ctx, func(t *Tx) error {
		_, err := t.TakeReceipts(ctx, adapter, ids)
		return err
	})
}
