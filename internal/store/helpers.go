package store

import (
	"context"
	"time"

	"passbell/internal/night"
)

type helperRow struct {
	ID        int64  `db:"id"`
	KitchenID int64  `db:"kitchen_id"`
	NightID   int64  `db:"night_id"`
	Name      string `db:"name"`
	Hash      string `db:"hash"`
	MadeAt    int64  `db:"made_at"`
	ExpiresAt int64  `db:"expires_at"`
	EndedAt   int64  `db:"ended_at"`
}

func (r helperRow) helper() (night.Helper, error) {
	return night.Helper{ID: r.ID, NightID: r.NightID, Name: r.Name, MadeAt: at(r.MadeAt), Expires: at(r.ExpiresAt), Ended: at(r.EndedAt)}, nil
}

// AddHelper stores a helper under the hash of their link's secret, and says so
// in the night's history.
func (k *Kitchen) AddHelper(ctx context.Context, h night.Helper, hash, who string) (int64, error) {
	var id int64
	err := k.Write(ctx, func(t *Tx) error {
		err := t.get(ctx, &id, "helper", `
			INSERT INTO helpers (kitchen_id, night_id, name, hash, made_at, expires_at) VALUES (?, ?, ?, ?, ?, ?) RETURNING id`,
			t.kitchen, h.NightID, h.Name, hash, ms(h.MadeAt), ms(h.Expires))
		if err != nil {
			return err
		}
		return t.Log(ctx, night.Event{NightID: h.NightID, At: h.MadeAt, Who: who, What: night.NightChanged, Why: h.Name + " may help"})
	})
	return id, err
}

// HelperBy gives the helper whose link's secret has a hash.
func (k *Kitchen) HelperBy(ctx context.Context, hash string) (night.Helper, error) {
	return k.helper(ctx, `SELECT * FROM helpers WHERE kitchen_id = ? AND hash = ?`, hash)
}

// Helper gives a helper.
func (k *Kitchen) Helper(ctx context.Context, id int64) (night.Helper, error) {
	return k.helper(ctx, `SELECT * FROM helpers WHERE kitchen_id = ? AND id = ?`, id)
}

func (k *Kitchen) helper(ctx context.Context, query string, key any) (night.Helper, error) {
	var r helperRow
	err := k.Read(ctx, func(t *Tx) error { return t.get(ctx, &r, "helper", query, t.kitchen, key) })
	if err != nil {
		return night.Helper{}, err
	}
	return r.helper()
}

// Helpers gives a night's helpers, the latest first.
func (k *Kitchen) Helpers(ctx context.Context, nightID int64) ([]night.Helper, error) {
	var rows []helperRow
	err := k.Read(ctx, func(t *Tx) error {
		return t.list(ctx, &rows, "helpers", `SELECT * FROM helpers WHERE kitchen_id = ? AND night_id = ? ORDER BY id DESC`, t.kitchen, nightID)
	})
	if err != nil {
		return nil, err
	}
	return each(rows, helperRow.helper)
}

// EndHelper ends a helper's link. Ending one that has ended changes nothing.
func (k *Kitchen) EndHelper(ctx context.Context, id int64, who string, now time.Time) error {
	return k.Write(ctx, func(t *Tx) error {
		n, err := t.change(ctx, "helper", `UPDATE helpers SET ended_at = ? WHERE kitchen_id = ? AND id = ? AND ended_at = 0`, ms(now), t.kitchen, id)
		if err != nil || n == 0 {
			return err
		}
		var r helperRow
		if err := t.get(ctx, &r, "helper", `SELECT * FROM helpers WHERE kitchen_id = ? AND id = ?`, t.kitchen, id); err != nil {
			return err
		}
		return t.Log(ctx, night.Event{NightID: r.NightID, At: now, Who: who, What: night.NightChanged, Why: r.Name + " helps no more"})
	})
}

// Secret gives the kitchen's key of a name; the first time it is the fresh one.
func (k *Kitchen) Secret(ctx context.Context, name string, fresh []byte) ([]byte, error) {
	var out []byte
	err := k.Write(ctx, func(t *Tx) error {
		if _, err := t.change(ctx, "secret", `INSERT INTO secrets (kitchen_id, name, value) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, t.kitchen, name, fresh); err != nil {
			return err
		}
		return t.get(ctx, &out, "secret", `SELECT value FROM secrets WHERE kitchen_id = ? AND name = ?`, t.kitchen, name)
	})
	return out, err
}
