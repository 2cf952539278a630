package store

import (
	"context"
	"encoding/json"
	"errors"

	"passbell/internal/night"
)

// SetMapping keeps how files of a shape are to be read.
func (t *Tx) SetMapping(ctx context.Context, shape string, mapping map[string]string) error {
	b, err := json.Marshal(mapping)
	if err != nil {
		return &night.StoreError{Doing: "keep a file's columns", Err: err}
	}
	_, err = t.change(ctx, "columns", `
		INSERT INTO book_shapes (kitchen_id, shape, mapping) VALUES (?, ?, ?)
		ON CONFLICT (kitchen_id, shape) DO UPDATE SET mapping = excluded.mapping`, t.kitchen, shape, string(b))
	return err
}

// Mapping gives how files of a shape are to be read; nil where nobody said.
func (t *Tx) Mapping(ctx context.Context, shape string) (map[string]string, error) {
	var text string
	err := t.get(ctx, &text, "columns", `SELECT mapping FROM book_shapes WHERE kitchen_id = ? AND shape = ?`, t.kitchen, shape)
	if errors.Is(err, night.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out map[string]string
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		return nil, &night.StoreError{Doing: "read a file's columns", Err: err}
	}
	return out, nil
}

// SeeProblem keeps that a person has looked at an oddity of a night's book.
func (t *Tx) SeeProblem(ctx context.Context, nightID int64, problem string) error {
	_, err := t.change(ctx, "problems",
		`INSERT INTO seen_problems (kitchen_id, night_id, problem) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, t.kitchen, nightID, problem)
	return err
}

// SeenProblems gives the oddities of a night's book that a person has looked at.
func (t *Tx) SeenProblems(ctx context.Context, nightID int64) (map[string]bool, error) {
	var rows []string
	err := t.list(ctx, &rows, "problems", `SELECT problem FROM seen_problems WHERE kitchen_id = ? AND night_id = ?`, t.kitchen, nightID)
	if err != nil {
		return nil, err
	}
	out := make(map[string]bool, len(rows))
	for _, p := range rows {
		out[p] = true
	}
	return out, nil
}
