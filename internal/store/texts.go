package store

import (
	"context"

	"passbell/internal/night"
)

type textRow struct {
	Name    string `db:"name"`
	Words   string `db:"words"`
	SavedAt int64  `db:"saved_at"`
	SavedBy string `db:"saved_by"`
}

func (r textRow) text() (night.OwnText, error) {
	return night.OwnText{Name: r.Name, Words: r.Words, At: at(r.SavedAt), By: r.SavedBy}, nil
}

// OwnTexts gives the kitchen's saved texts by name.
func (t *Tx) OwnTexts(ctx context.Context) ([]night.OwnText, error) {
	if t.own != nil {
		return *t.own, nil
	}
	var rows []textRow
	err := t.list(ctx, &rows, "texts",
		`SELECT name, words, saved_at, saved_by FROM texts WHERE kitchen_id = ? ORDER BY name`, t.kitchen)
	if err != nil {
		return nil, err
	}
	own, err := each(rows, textRow.text)
	t.own = &own
	return own, err
}

// SaveOwnText stores a text in the place of what was saved under its name.
func (t *Tx) SaveOwnText(ctx context.Context, o night.OwnText) error {
	t.own = nil
	_, err := t.change(ctx, "texts", `
		INSERT INTO texts (kitchen_id, name, words, saved_at, saved_by) VALUES (?, ?, ?, ?, ?)
		ON CONFLICT (kitchen_id, name) DO UPDATE SET words = excluded.words, saved_at = excluded.saved_at, saved_by = excluded.saved_by`,
		t.kitchen, o.Name, o.Words, ms(o.At), o.By)
	return err
}

// DropOwnText forgets the text that was saved under a name, and tells whether
// there was one.
func (t *Tx) DropOwnText(ctx context.Context, name string) (bool, error) {
	t.own = nil
	n, err := t.change(ctx, "texts", `DELETE FROM texts WHERE kitchen_id = ? AND name = ?`, t.kitchen, name)
	return n > 0, err
}
