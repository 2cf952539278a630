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

// SaveOwnText stores a text in the place of what was saved under its name.
func (t *Tx) SaveOwnText(ctx context.Context, o night.OwnText) error {
	t.termsChange()
	_, err := t.change(ctx, "texts", `
		INSERT INTO texts (kitchen_id, name, words, saved_at, saved_by) VALUES (?, ?, ?, ?, ?)
		ON CONFLICT (kitchen_id, name) DO UPDATE SET words = excluded.words, saved_at = excluded.saved_at, saved_by = excluded.saved_by`,
		t.kitchen, o.Name, o.Words, ms(o.At), o.By)
	return err
}

// DropOwnText forgets the text that was saved under a name, and tells whether
// there was one.
func (t *Tx) DropOwnText(ctx context.Context, name string) (bool, error) {
	t.termsChange()
	n, err := t.change(ctx, "texts", `DELETE FROM texts WHERE kitchen_id = ? AND name = ?`, t.kitchen, name)
	return n > 0, err
}
