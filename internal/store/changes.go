package store

import (
	"context"
	"database/sql/driver"
	"slices"

	"passbell/internal/night"
)

// changes counts how often something of a kitchen was changed, as the database
// counts it.
type changes struct {
	Orders int64 `db:"orders"`
	Terms  int64 `db:"terms"` // nights, opt-outs, own texts
}

// counted gives what was counted up to now, the transaction's own changes among it.
func (t *Tx) counted(ctx context.Context) (changes, error) {
	if t.changes == nil {
		var found []changes
		if err := t.list(ctx, &found, "changes", `SELECT orders, terms FROM changes WHERE kitchen_id = ?`, t.kitchen); err != nil {
			return changes{}, err
		}
		t.changes = &changes{}
		if len(found) > 0 {
			*t.changes = found[0]
		}
	}
	return *t.changes, nil
}

// countedAt gives what the words that began a transaction were answered: what was
// counted up to then, nil where that is not known.
func countedAt(answer []driver.Value) *changes {
	if len(answer) != 2 {
		return nil
	}
	var c changes // of which none was counted before the first change
	c.Orders, _ = answer[0].(int64)
	c.Terms, _ = answer[1].(int64)
	return &c
}

// OrderChanges counts how often any of the kitchen's orders was changed: as long as
// it stays, what was read of them holds.
func (t *Tx) OrderChanges(ctx context.Context) (night.Count, error) {
	c, err := t.counted(ctx)
	return night.Count{Life: t.life, Changes: c.Orders}, err
}

// termsChange is called by whatever changes the kitchen's terms, before it does. What
// the transaction reads of them from then on is for itself: it may not be kept.
func (t *Tx) termsChange() { t.changes, t.terms, t.changesTerms = nil, nil, true }

// ordersChange is called by whatever changes orders, before it does.
func (t *Tx) ordersChange() { t.changes = nil }

// terms is what a kitchen's rounds go by, as it stands between two changes of it.
// Every part is nil until somebody read it, and never changed after that.
type terms struct {
	count  night.Count
	nights *[]night.Night
	opted  *map[string]bool
	own    *[]night.OwnText
}

// term gives a part of the terms as it stands in the transaction: as somebody has
// read it since the last change, or else as read does now.
func term[V any](ctx context.Context, t *Tx, part func(*terms) **V, read func() (V, error)) (V, error) {
	s := t.store
	if t.terms == nil {
		c, err := t.counted(ctx)
		if err != nil {
			return *new(V), err
		}
		if t.terms = (&terms{count: night.Count{Life: t.life, Changes: c.Terms}}); !t.changesTerms {
			t.terms = s.termsOf(t.kitchen, t.terms)
		}
	}
	s.mu.Lock()
	v := *part(t.terms)
	s.mu.Unlock()
	if v != nil {
		return *v, nil
	}
	now, err := read()
	if err == nil {
		s.mu.Lock()
		*part(t.terms) = &now
		s.mu.Unlock()
	}
	return now, err
}

// termsOf gives what is in memory of a kitchen's terms, if it is of the same count as
// these, and else keeps these.
func (s *Store) termsOf(kitchen int64, these *terms) *terms {
	s.mu.Lock()
	defer s.mu.Unlock()
	if have := s.terms[kitchen]; have != nil && have.count == these.count {
		return have
	}
	s.terms[kitchen] = these
	return these
}

// Nights gives the kitchen's nights, the oldest first.
func (t *Tx) Nights(ctx context.Context) ([]night.Night, error) {
	all, err := term(ctx, t, func(k *terms) **[]night.Night { return &k.nights }, func() ([]night.Night, error) {
		var rows []nightRow
		if err := t.list(ctx, &rows, "nights", `SELECT * FROM nights WHERE kitchen_id = ? ORDER BY date`, t.kitchen); err != nil {
			return nil, err
		}
		return each(rows, nightRow.night)
	})
	return slices.Clone(all), err
}

// OptedOut gives the addresses that want no texts. The map must not be changed.
func (t *Tx) OptedOut(ctx context.Context) (map[string]bool, error) {
	return term(ctx, t, func(k *terms) **map[string]bool { return &k.opted }, func() (map[string]bool, error) {
		var rows []string
		if err := t.list(ctx, &rows, "opt-outs", `SELECT address FROM optouts WHERE kitchen_id = ?`, t.kitchen); err != nil {
			return nil, err
		}
		out := make(map[string]bool, len(rows))
		for _, a := range rows {
			out[a] = true
		}
		return out, nil
	})
}

// OwnTexts gives the kitchen's saved texts by name. The list must not be changed.
func (t *Tx) OwnTexts(ctx context.Context) ([]night.OwnText, error) {
	return term(ctx, t, func(k *terms) **[]night.OwnText { return &k.own }, func() ([]night.OwnText, error) {
		var rows []textRow
		err := t.list(ctx, &rows, "texts",
			`SELECT name, words, saved_at, saved_by FROM texts WHERE kitchen_id = ? ORDER BY name`, t.kitchen)
		if err != nil {
			return nil, err
		}
		return each(rows, textRow.text)
	})
}
