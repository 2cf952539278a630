package desk

import (
	"context"
	"io"
	"time"

	"passbell/internal/book"
)

// ReadBook reads an order book as the kitchen's files of its shape were read
// before: columns that a person named once are remembered. Oddities that a
// person has looked at already are left out of its problems.
func (d *Desk) ReadBook(ctx context.Context, r io.ReadSeeker, name string, opt book.Options) (book.Book, error) {
	b, err := book.Read(r, name, opt)
	if err != nil {
		return b, err
	}
	var mapping map[string]string
	var seen map[string]bool
	err = d.store.Read(ctx, func(tx Tx) (err error) {
		if mapping, err = tx.Mapping(ctx, b.Shape); err != nil {
			return err
		}
		seen, err = tx.SeenProblems(ctx, opt.Night.ID)
		return err
	})
	if err != nil {
		return b, err
	}
	if len(opt.Mapping) == 0 && len(mapping) > 0 {
		if _, err := r.Seek(0, io.SeekStart); err != nil {
			return b, err
		}
		opt.Mapping = mapping
		if b, err = book.Read(r, name, opt); err != nil {
			return b, err
		}
	}
	open := b.Problems[:0:0]
	for _, p := range b.Problems {
		if p.Level == book.Stop || !seen[problemKey(p)] {
			open = append(open, p)
		}
	}
	b.Problems = open
	return b, nil
}

// RememberColumns keeps where the fields stand in files of a shape.
func (d *Desk) RememberColumns(ctx context.Context, shape string, mapping map[string]string) error {
	return d.write(ctx, func(tx Tx, _ time.Time) error { return tx.SetMapping(ctx, shape, mapping) })
}

// SeeProblems keeps that a person has looked at the oddities of a book: they are
// not shown again for this night.
func (d *Desk) SeeProblems(ctx context.Context, nightID int64, problems []book.Problem) error {
	return d.write(ctx, func(tx Tx, _ time.Time) error {
		for _, p := range problems {
			if p.Level != book.Look {
				continue
			}
			if err := tx.SeeProblem(ctx, nightID, problemKey(p)); err != nil {
				return err
			}
		}
		return nil
	})
}

// problemKey names an oddity by what it says; the row may move in a newer file.
func problemKey(p book.Problem) string { return p.Order + "\x1f" + p.Field + "\x1f" + p.What }
