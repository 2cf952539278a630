// Package store keeps everything that must outlive the process. It is the only
// package that speaks SQL.
//
// A Store is one database, the embedded one in a file or a PostgreSQL server; a
// Kitchen is the part of it that belongs to one kitchen, and every query there
// names that kitchen. What belongs together is done inside one Write.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jmoiron/sqlx"

	"passbell/internal/night"
)

// Store is one database. It is safe for concurrent use.
type Store struct {
	writer  *sqlx.DB
	reader  *sqlx.DB // the same as writer where the database has many writers
	dialect dialect
	dsn     string        // of the server; "" for the embedded database
	silence time.Duration // after which the server counts as lost

	// opened counts the connections that were opened to a server. One that takes
	// another one's place, and may be behind it, is met over new ones.
	opened *atomic.Int64

	phrases phrases // that statements with rows were put into

	mu    sync.Mutex
	terms map[int64]*terms // by kitchen, as they were last read
}

// dialect is what differs between the two databases.
type dialect struct {
	bind       int    // how sqlx writes a placeholder
	skipLocked string // ends a query that leaves alone the messages m which somebody else holds
	readOnly   *sql.TxOptions
	// opening gives the words that begin a transaction in kitchens, of which it
	// enters the first; "" where there is nothing to say. The last of them is answered
	// by what was counted of the first kitchen's changes.
	opening func(kitchens []int64, as mode) string
	// enter goes on in another of the transaction's kitchens.
	enter func(ctx context.Context, tx *sqlx.Tx, kitchen int64) error
	// across asks several kitchens at once.
	across across
	// rows is how rows are written into a statement.
	rows asTable
	// part gives how many of the rows that are left go along with the next statement.
	part func(left int) int
	// combines says that changes of several tables can be one statement.
	combines bool
	// reserve gives so many ids for new rows of each of the tables, ascending.
	reserve func(ctx context.Context, tx *sqlx.Tx, n int, tables ...string) ([][]int64, error)
	// bytewise is a column as a text that sorts by its bytes.
	bytewise string
	// clock is the database's own clock, in the milliseconds of a column.
	clock string
	// count lets ids count on after rows were stored with ids of their own.
	count func(ctx context.Context, tx *sqlx.Tx, table string, columns []string, rows [][]any) error
}

// mode is what a transaction is for.
type mode int

const (
	reading mode = iota
	// writing has the kitchen to itself: what it read still holds when it
	// writes, and events get their ids in the order in which they are kept.
	writing
)

// Open opens the database at place and brings it up to date: a postgres:// URL
// names a server, everything else a file of the embedded database, which is
// made where it does not exist.
func Open(ctx context.Context, place string) (*Store, error) {
	if IsURL(place) {
		return openPostgres(ctx, place)
	}
	return openEmbedded(ctx, place)
}

// IsURL tells a PostgreSQL server from a file of the embedded database.
func IsURL(place string) bool {
	return strings.HasPrefix(place, "postgres://") || strings.HasPrefix(place, "postgresql://")
}

// Close closes the database. It may be called twice.
func (s *Store) Close() error {
	return errors.Join(s.writer.Close(), s.reader.Close())
}

// PutKitchens stores what the configuration says of kitchens, found by their
// names, and gives their ids.
func (s *Store) PutKitchens(ctx context.Context, kitchens ...night.Kitchen) ([]int64, error) {
	ids := make([]int64, len(kitchens))
	err := s.Kitchen(nobody).Write(ctx, func(t *Tx) error { // another instance that starts waits for its turn
		for i, k := range kitchens {
			err := t.get(ctx, &ids[i], "kitchen", `
				INSERT INTO kitchens (name, region, zone, number, quiet_from, quiet_to) VALUES (?, ?, ?, ?, ?, ?)
				ON CONFLICT (name) DO UPDATE SET region = excluded.region, zone = excluded.zone, number = excluded.number,
					quiet_from = excluded.quiet_from, quiet_to = excluded.quiet_to
				RETURNING id`,
				k.Name, k.Region, k.Zone.String(), k.Number, k.Quiet.From, k.Quiet.To)
			if err != nil {
				return err
			}
		}
		return nil
	})
	return ids, err
}

// PutKitchen is PutKitchens for one.
func (s *Store) PutKitchen(ctx context.Context, k night.Kitchen) (int64, error) {
	ids, err := s.PutKitchens(ctx, k)
	return ids[0], err
}

// Kitchen is the part of the database that belongs to one kitchen.
type Kitchen struct {
	store *Store
	id    int64
}

// Kitchen gives the part of the database that belongs to the kitchen id.
func (s *Store) Kitchen(id int64) *Kitchen { return &Kitchen{store: s, id: id} }

// Tx is one transaction in one kitchen.
type Tx struct {
	tx      *sqlx.Tx
	store   *Store
	dialect *dialect
	kitchen int64
	life    int64 // connections opened before it began

	// What was read once in the transaction, and nobody else can change
	// meanwhile; nil before.
	changes *changes
	terms   *terms
	waiting *[]night.Inbound // that nobody has acted on

	changesTerms bool // the terms are changed in it

	said  []night.Event      // logged and not written yet
	came  []night.Inbound    // came in and not written yet
	fresh []int64            // ids of those that came in
	later []later            // other changes that are not written yet
	spare map[string][]int64 // ids for new rows, by table
}

// Write runs fn in a transaction that is kept if fn returns nil, and undone
// otherwise. Writes of one kitchen happen one after the other.
func (k *Kitchen) Write(ctx context.Context, fn func(*Tx) error) error {
	return k.run(ctx, writing, fn)
}

// Read runs fn on one unchanging view of the database.
func (k *Kitchen) Read(ctx context.Context, fn func(*Tx) error) error {
	return k.run(ctx, reading, fn)
}

func (k *Kitchen) run(ctx context.Context, as mode, fn func(*Tx) error) error {
	return k.store.run(ctx, as, []int64{k.id}, fn)
}

// run runs fn in each of the kitchens, one transaction in all.
func (s *Store) run(ctx context.Context, as mode, kitchens []int64, fn func(*Tx) error) (err error) {
	defer func() { err = worded(err) }()
	db, opts := s.writer, (*sql.TxOptions)(nil)
	if as == reading {
		db, opts = s.reader, s.dialect.readOnly
	}
	life := s.opened.Load()
	first := &opening{words: s.dialect.opening(kitchens, as)}
	tx, err := db.BeginTxx(first.in(ctx), opts)
	if err != nil {
		return &night.StoreError{Doing: "begin", Err: fmt.Errorf("%w: %w", night.ErrAway, err)}
	}
	// After a commit it does nothing. After an error that one is to tell, a
	// rollback can add nothing; and a panic must not keep the kitchen's turn.
	defer func() { _ = tx.Rollback() }()
	for i, id := range kitchens {
		if i > 0 {
			if err := s.dialect.enter(ctx, tx, id); err != nil {
				return &night.StoreError{Doing: "begin", Err: fmt.Errorf("%w: %w", night.ErrAway, err)}
			}
		}
		t := &Tx{tx: tx, store: s, dialect: &s.dialect, kitchen: id, life: life}
		if i == 0 {
			t.changes = countedAt(first.answer)
		}
		if err := fn(t); err != nil {
			return err
		}
		if err := t.write(ctx); err != nil {
			return err
		}
	}
	if err := tx.Commit(); err != nil {
		return &night.StoreError{Doing: "commit", Err: err}
	}
	return nil
}

// write writes all that the transaction has put off.
func (t *Tx) write(ctx context.Context) error {
	if err := t.writeInbounds(ctx); err != nil {
		return err
	}
	if err := t.writeEvents(ctx); err != nil {
		return err
	}
	return t.catchUp(ctx)
}

// ms is an instant as the database keeps it.
func ms(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}

// at is the instant that the database keeps as ms.
func at(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

// batch is how many values go into one statement: SQL takes a limited number.
const batch = 500

// bound makes a query and its arguments ready: IN (?) takes a slice, and texts
// are made such as both databases can keep.
func (t *Tx) bound(query string, args []any) (string, []any, error) {
	keepAll(args)
	query, args, err := sqlx.In(query, args...)
	return sqlx.Rebind(t.dialect.bind, query), args, err
}

func keepAll(args []any) {
	for i, a := range args {
		if s, ok := a.(string); ok {
			if kept := keepable(s); kept != s {
				args[i] = kept
			}
		}
	}
}

// keepable replaces what PostgreSQL can't keep in a text, bytes that are no
// UTF-8 and the zero byte, by the sign for "not readable". A customer's text is
// kept all the same.
func keepable(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

// get reads one row into dest and turns an empty answer into night.ErrNotFound.
func (t *Tx) get(ctx context.Context, dest any, what, query string, args ...any) error {
	if err := t.catchUp(ctx); err != nil {
		return err
	}
	query, args, err := t.bound(query, args)
	if err == nil {
		err = t.tx.GetContext(ctx, dest, query, args...)
	}
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", what, night.ErrNotFound)
	}
	if err != nil {
		return &night.StoreError{Doing: "read " + what, Err: err}
	}
	return nil
}

// add runs an INSERT … ON CONFLICT DO NOTHING RETURNING id, and tells whether
// the row was new.
func (t *Tx) add(ctx context.Context, what, query string, args ...any) (id int64, added bool, err error) {
	err = t.get(ctx, &id, what, query, args...)
	if errors.Is(err, night.ErrNotFound) {
		return 0, false, nil
	}
	return id, err == nil, err
}

// list reads all rows into dest.
func (t *Tx) list(ctx context.Context, dest any, what, query string, args ...any) error {
	if err := t.catchUp(ctx); err != nil {
		return err
	}
	query, args, err := t.bound(query, args)
	if err == nil {
		err = t.scan(ctx, dest, query, args)
	}
	if err != nil {
		return &night.StoreError{Doing: "read " + what, Err: err}
	}
	return nil
}

// scan reads all rows into the slice that dest points to, each into its place
// there: sqlx makes every row first and then copies it.
func (t *Tx) scan(ctx context.Context, dest any, query string, args []any) (err error) {
	rows, err := t.tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	all := reflect.ValueOf(dest).Elem()
	var paths [][]int
	if row := all.Type().Elem(); row.Kind() == reflect.Struct {
		paths = t.tx.Mapper.TraversalsByName(row, columns)
	}
	into := make([]any, len(columns))
	for n := all.Len(); rows.Next(); n++ {
		all.Grow(1)
		all.SetLen(n + 1)
		row := all.Index(n)
		row.SetZero()
		for i := range into {
			if paths == nil {
				into[i] = row.Addr().Interface()
			} else {
				into[i] = row.FieldByIndex(paths[i]).Addr().Interface()
			}
		}
		if err := rows.Scan(into...); err != nil {
			return err
		}
	}
	return rows.Err()
}

// change runs a statement and gives the number of rows that it touched.
func (t *Tx) change(ctx context.Context, what, query string, args ...any) (int64, error) {
	if err := t.catchUp(ctx); err != nil {
		return 0, err
	}
	query, args, err := t.bound(query, args)
	if err != nil {
		return 0, &night.StoreError{Doing: "change " + what, Err: err}
	}
	n, err := t.exec(ctx, query, args)
	if err != nil {
		return 0, &night.StoreError{Doing: "change " + what, Err: err}
	}
	return n, nil
}

func (t *Tx) exec(ctx context.Context, query string, args []any) (touched int64, err error) {
	res, err := t.tx.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}
