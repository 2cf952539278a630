package store

import (
	"context"
	"time"

	"passbell/internal/night"
)

// Look is what to look for in a kitchen, and what is known of it already.
type Look struct {
	Kitchen night.Kitchen
	Seen    int64 // the latest event that is known
	Closes  bool  // orders are closed at their time, without a person
	// Silent is the moment before which a text of a night that is not over was
	// sent that takes another way if nothing was heard of it; zero for none.
	Silent time.Time
}

// Stir is what stands in a kitchen and waits for somebody to act on it.
type Stir struct {
	Kitchen int64 `db:"kitchen"`
	Event   int64 `db:"event"`  // the latest one
	Sends   bool  `db:"sends"`  // a text is due, or under way, or unconfirmed for too long
	Reads   bool  `db:"reads"`  // a customer's text is stored and not yet read
	Closes  bool  `db:"closes"` // orders should have been closed by now
}

// Astir gives what waits in those of the kitchens in which anything does, or
// where something happened since. It is one statement, however many there are.
// It may give too much and never too little: who acts looks again.
func (s *Store) Astir(ctx context.Context, looks []Look, now time.Time) ([]Stir, error) {
	if len(looks) == 0 {
		return nil, nil
	}
	type look struct {
		since
		Seen   int64 `json:"seen"`
		Silent int64 `json:"silent"` // 0 for nothing
		Closes bool  `json:"closes"`
	}
	asked := make([]look, len(looks))
	for i, l := range looks {
		asked[i] = look{unfinished(l.Kitchen, now), l.Seen, ms(l.Silent), l.Closes}
	}
	var out []Stir
	err := ask(ctx, s.reader, &out, s.dialect.across.astir, asked, ms(now))
	return out, err
}
