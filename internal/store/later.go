package store

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/jmoiron/sqlx"

	"passbell/internal/night"
)

// later is a change that waits for others, so that they are written together. It
// asks for nothing: what it touches is known before.
type later struct {
	table string
	query string // names its rows as %s, and gives back nothing
	rows  given
	// What goes along before the rows and behind them: values, no lists, so that the
	// words depend on the rows alone.
	args, after []any
	// all says that every row must be touched. Where one is not, somebody else was
	// faster.
	all bool
}

// putOff puts a change off until the transaction asks for something, or ends. Changes
// of different tables then are one statement on a server, which sees none of what
// another one of them does.
func (t *Tx) putOff(ctx context.Context, c later) error {
	if len(c.rows.rows) == 0 {
		return nil
	}
	for _, before := range t.later {
		if before.table == c.table {
			if err := t.catchUp(ctx); err != nil {
				return err
			}
			break
		}
	}
	t.later = append(t.later, c)
	return nil
}

// catchUp writes what was put off, and what was logged up to now with it.
func (t *Tx) catchUp(ctx context.Context) error {
	if len(t.later) == 0 {
		return nil
	}
	if err := t.writeEvents(ctx); err != nil {
		return err
	}
	all := t.later
	t.later = nil
	if len(all) > 1 && t.dialect.combines && few(all) {
		return t.combine(ctx, all)
	}
	for _, c := range all {
		n, err := t.writeNow(ctx, c)
		if err != nil {
			return err
		}
		if c.all && n != int64(len(c.rows.rows)) {
			return night.ErrChanged
		}
	}
	return nil
}

// writeNow makes a change that is not put off, and gives how many rows it touched.
func (t *Tx) writeNow(ctx context.Context, c later) (int64, error) {
	return t.changeGiven(ctx, c.table, c.query, c.rows, c.args, c.after)
}

// few tells whether each of the changes can go along whole.
func few(all []later) bool {
	for _, c := range all {
		if len(c.rows.rows) > together {
			return false
		}
	}
	return true
}

// combine writes changes of different tables in one statement (PostgreSQL,
// "Data-Modifying Statements in WITH"). What refers to a row of another table is
// checked when all of them are done.
func (t *Tx) combine(ctx context.Context, all []later) error {
	var key strings.Builder
	var args []any
	expected := int64(0)
	for _, c := range all {
		values, shape := t.dialect.rows.values(c.rows)
		args = append(append(append(args, c.args...), values...), c.after...)
		for _, of := range []string{c.query, shape, strconv.FormatBool(c.all)} {
			key.WriteString(of)
			key.WriteByte(0)
		}
		if c.all {
			expected += int64(len(c.rows.rows))
		}
	}
	keepAll(args)
	words := t.store.phrases.find(key.String(), func() string { return sqlx.Rebind(t.dialect.bind, t.combined(all)) })
	var touched []int64
	if err := t.scan(ctx, &touched, words, args); err != nil {
		return &night.StoreError{Doing: "change " + tablesOf(all), Err: err}
	}
	if touched[0] != expected {
		return night.ErrChanged
	}
	return nil
}

// combined gives the statement that makes all of the changes, and counts the rows that
// those touched which are to touch all.
func (t *Tx) combined(all []later) string {
	with, counted := make([]string, len(all)), []string{"0"}
	for i, c := range all {
		query := fmt.Sprintf(c.query, t.dialect.rows.words("given", c.rows))
		if c.all {
			query += " RETURNING 1"
			counted = append(counted, fmt.Sprintf("(SELECT count(*) FROM change%d)", i))
		}
		with[i] = fmt.Sprintf("change%d AS (%s)", i, query)
	}
	return "WITH " + strings.Join(with, ", ") + " SELECT " + strings.Join(counted, " + ")
}

func tablesOf(all []later) string {
	tables := make([]string, len(all))
	for i, c := range all {
		tables[i] = c.table
	}
	return strings.Join(tables, ", ")
}
