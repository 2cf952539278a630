package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"passbell/internal/night"
)

// moved names the tables that belong to a kitchen, each after those that it
// refers to, and by what its rows are told apart.
var moved = []table{
	{"nights", []string{"id"}},
	{"orders", []string{"id"}},
	{"inbounds", []string{"id"}},
	{"messages", []string{"id"}},
	{"outbox", []string{"message_id"}},
	{"message_orders", []string{"message_id", "order_id"}},
	{"attempts", []string{"message_id", "attempt"}},
	{"parts", []string{"adapter", "provider_id"}},
	{"early_receipts", []string{"adapter", "provider_id", "status"}},
	{"inbound_orders", []string{"inbound_id", "order_id"}},
	{"optouts", []string{"address"}},
	{"events", []string{"id"}},
	{"sessions", []string{"token"}},
	{"book_shapes", []string{"shape"}},
	{"seen_problems", []string{"night_id", "problem"}},
	{"helpers", []string{"id"}},
	{"secrets", []string{"name"}},
	{"texts", []string{"name"}},
	{"leases", []string{"kitchen_id"}},
}

type table struct {
	name string
	key  []string
}

// Moved is what became of one table of one kitchen.
type Moved struct {
	Kitchen, Table string
	Rows           int
	Digest         string // SHA-256 of all rows, the same on both sides
}

// Move copies every kitchen of one database to another one, each in one
// transaction: after an interruption a kitchen is there whole or not at all, and
// the same call goes on where it stopped. Every table is read back and compared
// by count and digest before its kitchen is kept. It changes nothing in from,
// and refuses a kitchen that to has with other records.
func Move(ctx context.Context, from, to *Store, tell func(Moved)) error {
	var kitchens []struct {
		ID   int64  `db:"id"`
		Name string `db:"name"`
	}
	if err := from.reader.SelectContext(ctx, &kitchens, `SELECT id, name FROM kitchens ORDER BY id`); err != nil {
		return &night.StoreError{Doing: "read kitchens", Err: err}
	}
	for _, k := range kitchens {
		if err := moveKitchen(ctx, from, to, k.ID, k.Name, tell); err != nil {
			return fmt.Errorf("kitchen %s: %w", k.Name, err)
		}
	}
	return nil
}

func moveKitchen(ctx context.Context, from, to *Store, id int64, name string, tell func(Moved)) error {
	return from.Kitchen(id).Read(ctx, func(src *Tx) error {
		var done []Moved
		err := to.Kitchen(id).Write(ctx, func(dst *Tx) error {
			there, err := moveRow(ctx, src, dst, name)
			if err != nil {
				return err
			}
			into := dst
			if there {
				into = nil // it is only compared
			}
			for _, table := range moved {
				m := Moved{Kitchen: name, Table: table.name}
				if m.Rows, m.Digest, err = digest(ctx, src, table, into); err != nil {
					return err
				}
				rows, sum, err := digest(ctx, dst, table, nil)
				switch {
				case err != nil:
					return err
				case there && (rows != m.Rows || sum != m.Digest):
					return fmt.Errorf("the other database has this kitchen already, with other records (%s): nothing was changed; move to an empty database, or delete that one first", table.name)
				case rows != m.Rows || sum != m.Digest:
					return fmt.Errorf("%s: %d rows were copied and %d others read back: nothing was kept", table.name, m.Rows, rows)
				}
				done = append(done, m)
			}
			return nil
		})
		if err != nil {
			return err
		}
		for _, m := range done {
			tell(m)
		}
		return nil
	})
}

// moveRow copies the kitchen's own row and tells whether it was there already.
func moveRow(ctx context.Context, src, dst *Tx, name string) (there bool, err error) {
	var found []int64
	if err := dst.list(ctx, &found, "kitchens", `SELECT id FROM kitchens WHERE id = ? OR name = ?`, dst.kitchen, name); err != nil {
		return false, err
	}
	if len(found) > 0 {
		same := 0
		err := dst.get(ctx, &same, "kitchens", `SELECT count(*) FROM kitchens WHERE id = ? AND name = ?`, dst.kitchen, name)
		if err == nil && (same != 1 || len(found) != 1) {
			err = errors.New("the other database has another kitchen in its place: nothing was changed; move to an empty database")
		}
		return true, err
	}
	rows, err := src.tx.QueryxContext(ctx, src.tx.Rebind(`SELECT * FROM kitchens WHERE id = ?`), src.kitchen)
	if err != nil {
		return false, &night.StoreError{Doing: "read kitchen", Err: err}
	}
	return false, eachBatch(rows, func(columns []string, values [][]any) error {
		return dst.insert(ctx, "kitchens", columns, values)
	})
}

// digest reads the kitchen's rows of a table in the order of their key, copies
// them to another database where one is given, and gives their count and sum.
func digest(ctx context.Context, src *Tx, of table, to *Tx) (int, string, error) {
	order := make([]string, len(of.key))
	for i, column := range of.key {
		order[i] = fmt.Sprintf(src.dialect.bytewise, column)
	}
	rows, err := src.tx.QueryxContext(ctx, src.tx.Rebind(`SELECT * FROM `+of.name+` WHERE kitchen_id = ? ORDER BY `+strings.Join(order, ", ")), src.kitchen)
	if err != nil {
		return 0, "", &night.StoreError{Doing: "read " + of.name, Err: err}
	}
	sum, n := sha256.New(), 0
	err = eachBatch(rows, func(columns []string, values [][]any) error {
		n += len(values)
		for _, row := range values {
			for i, v := range row {
				text := fmt.Sprint(v)
				if b, ok := v.([]byte); ok {
					text = string(b)
				}
				var size [8]byte
				binary.BigEndian.PutUint64(size[:], uint64(len(text)))
				sum.Write([]byte(columns[i]))
				sum.Write(size[:])
				sum.Write([]byte(text))
			}
		}
		if to == nil {
			return nil
		}
		return to.insert(ctx, of.name, columns, values)
	})
	return n, hex.EncodeToString(sum.Sum(nil)), err
}

// eachBatch hands on rows some at a time, the columns in the order of their
// names: the two databases need not agree on another.
func eachBatch(rows *sqlx.Rows, do func(columns []string, values [][]any) error) (err error) {
	defer func() { _ = rows.Close() }() // rows.Err tells what went wrong
	columns, err := rows.Columns()
	if err != nil {
		return &night.StoreError{Doing: "read columns", Err: err}
	}
	order := make([]int, len(columns))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return strings.Compare(columns[a], columns[b]) })
	names := make([]string, len(columns))
	for to, from := range order {
		names[to] = columns[from]
	}
	var some [][]any
	for rows.Next() {
		raw, err := rows.SliceScan()
		if err != nil {
			return &night.StoreError{Doing: "read rows", Err: err}
		}
		row := make([]any, len(raw))
		for to, from := range order {
			row[to] = raw[from]
			if s, ok := raw[from].(string); ok {
				row[to] = keepable(s)
			}
		}
		if some = append(some, row); len(some) == batch/10 {
			if err := do(names, some); err != nil {
				return err
			}
			some = nil
		}
	}
	if err := rows.Err(); err != nil {
		return &night.StoreError{Doing: "read rows", Err: err}
	}
	if len(some) == 0 {
		return nil
	}
	return do(names, some)
}

// insert stores rows as they are, their ids included.
func (t *Tx) insert(ctx context.Context, table string, columns []string, rows [][]any) error {
	row := "(" + strings.TrimSuffix(strings.Repeat("?, ", len(columns)), ", ") + ")"
	var args []any
	for _, r := range rows {
		args = append(args, r...)
	}
	query := `INSERT INTO ` + table + ` (` + strings.Join(columns, ", ") + `) VALUES ` + strings.TrimSuffix(strings.Repeat(row+", ", len(rows)), ", ")
	if _, err := t.tx.ExecContext(ctx, t.tx.Rebind(query), args...); err != nil {
		return &night.StoreError{Doing: "store " + table, Err: err}
	}
	return t.dialect.count(ctx, t.tx, table, columns, rows)
}

// countOn lets the server count on from the highest id that was copied.
func countOn(ctx context.Context, tx *sqlx.Tx, table string, columns []string, rows [][]any) error {
	highest := int64(0)
	for i, c := range columns {
		for _, r := range rows {
			if id, ok := r[i].(int64); ok && c == "id" {
				highest = max(highest, id)
			}
		}
	}
	if highest == 0 {
		return nil
	}
	var next sql.NullInt64
	err := tx.GetContext(ctx, &next, `
		SELECT setval(s.name, greatest($2, (SELECT last_value FROM pg_sequences WHERE (schemaname || '.' || sequencename) = s.name)))
		FROM (SELECT pg_get_serial_sequence($1, 'id') AS name) s`, table, highest)
	if err != nil {
		return &night.StoreError{Doing: "count on " + table, Err: err}
	}
	return nil
}
