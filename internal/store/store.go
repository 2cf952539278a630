// Package store keeps everything that must outlive the process. It is the only
// package that speaks SQL.
//
// A Store is one database; a Kitchen is the part of it that belongs to one
// kitchen, and every query there names that kitchen. What belongs together is
// done inside one Write.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"passbell/internal/night"
	"passbell/migrations"
)

// Store is one database.
type Store struct {
	// One writer at a time is what the embedded database can do; giving the
	// writers one connection makes them queue here instead of failing there.
	writer *sqlx.DB
	reader *sqlx.DB
}

// Open opens the embedded database in the file at path, makes it where it does
// not exist, and brings it up to date.
func Open(ctx context.Context, path string) (*Store, error) {
	if err := checkPlace(path); err != nil {
		return nil, err
	}
	writer, err := connect(ctx, path, 1)
	if err != nil {
		return nil, err
	}
	if err := migrate(ctx, writer.DB); err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	reader, err := connect(ctx, path, 8)
	if err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	return &Store{writer: writer, reader: reader}, nil
}

// Close closes the database. It may be called twice.
func (s *Store) Close() error {
	return errors.Join(s.writer.Close(), s.reader.Close())
}

// dsn sets what must hold on every connection in the name of the database: set
// by a statement it would hold on one pooled connection only.
func dsn(path string) string {
	q := url.Values{"_txlock": {"immediate"}}
	for _, p := range []string{
		"busy_timeout(5000)",
		"journal_mode(WAL)",
		"synchronous(FULL)", // a text that was recorded as sent must survive a power cut
		"foreign_keys(1)",
	} {
		q.Add("_pragma", p)
	}
	return (&url.URL{Scheme: "file", OmitHost: true, Path: path, RawQuery: q.Encode()}).String()
}

func connect(ctx context.Context, path string, connections int) (*sqlx.DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("database %s: %w", path, err)
	}
	db, err := sqlx.ConnectContext(ctx, "sqlite", dsn(filepath.ToSlash(abs)))
	if err != nil {
		return nil, fmt.Errorf("open database %s: %w", path, err)
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	var mode string
	if err := db.GetContext(ctx, &mode, "PRAGMA journal_mode"); err != nil {
		return nil, errors.Join(fmt.Errorf("open database %s: %w", path, err), db.Close())
	}
	if mode != "wal" {
		return nil, errors.Join(fmt.Errorf("the database %s is in a place where its write-ahead log can't work (a network share, often): put it on a disk of this machine", path), db.Close())
	}
	return db, nil
}

// checkPlace refuses what would otherwise fail with a riddle.
func checkPlace(path string) error {
	info, err := os.Stat(filepath.Dir(path))
	switch {
	case err != nil:
		return fmt.Errorf("the folder for the database %s can't be used: %w", path, err)
	case !info.IsDir():
		return fmt.Errorf("%s is no folder, so the database %s can't be there", filepath.Dir(path), path)
	}
	return nil
}

func migrate(ctx context.Context, db *sql.DB) error {
	files, err := goose.NewProvider(goose.DialectSQLite3, db, migrations.Dir(), goose.WithLogger(goose.NopLogger()))
	if err != nil {
		return &night.StoreError{Doing: "read migrations", Err: err}
	}
	if _, err := files.Up(ctx); err != nil {
		return fmt.Errorf("bring the database up to date: %w", err)
	}
	return nil
}

// isUnique tells whether err is a broken uniqueness rule, by its code.
func isUnique(err error) bool {
	var se *sqlite.Error
	return errors.As(err, &se) && (se.Code() == sqlite3.SQLITE_CONSTRAINT_UNIQUE || se.Code() == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY)
}

// PutKitchen stores what the configuration says of a kitchen, found by its
// name, and gives its id.
func (s *Store) PutKitchen(ctx context.Context, k night.Kitchen) (int64, error) {
	var id int64
	err := s.writer.GetContext(ctx, &id, `
		INSERT INTO kitchens (name, region, zone, number, quiet_from, quiet_to) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (name) DO UPDATE SET region = excluded.region, zone = excluded.zone, number = excluded.number,
			quiet_from = excluded.quiet_from, quiet_to = excluded.quiet_to
		RETURNING id`,
		k.Name, k.Region, k.Zone.String(), k.Number, k.Quiet.From, k.Quiet.To)
	if err != nil {
		return 0, &night.StoreError{Doing: "store kitchen", Err: err}
	}
	return id, nil
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
	kitchen int64
}

// Write runs fn in a transaction that is kept if fn returns nil, and undone
// otherwise.
func (k *Kitchen) Write(ctx context.Context, fn func(*Tx) error) error {
	return k.run(ctx, k.store.writer, nil, fn)
}

// Read runs fn on one unchanging view of the database.
func (k *Kitchen) Read(ctx context.Context, fn func(*Tx) error) error {
	return k.run(ctx, k.store.reader, &sql.TxOptions{ReadOnly: true}, fn)
}

func (k *Kitchen) run(ctx context.Context, db *sqlx.DB, opts *sql.TxOptions, fn func(*Tx) error) (err error) {
	tx, err := db.BeginTxx(ctx, opts)
	if err != nil {
		return &night.StoreError{Doing: "begin", Err: err}
	}
	defer func() {
		if err != nil {
			// The first error is the one to tell; a rollback after it can add
			// nothing, and after a commit there is none.
			_ = tx.Rollback()
		}
	}()
	if err := fn(&Tx{tx: tx, kitchen: k.id}); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return &night.StoreError{Doing: "commit", Err: err}
	}
	return nil
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

// get reads one row into dest and turns an empty answer into night.ErrNotFound.
func (t *Tx) get(ctx context.Context, dest any, what, query string, args ...any) error {
	err := t.tx.GetContext(ctx, dest, query, args...)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", what, night.ErrNotFound)
	}
	if err != nil {
		return &night.StoreError{Doing: "read " + what, Err: err}
	}
	return nil
}

// list reads all rows into dest. A query with IN (?) takes a slice for it.
func (t *Tx) list(ctx context.Context, dest any, what, query string, args ...any) error {
	query, args, err := sqlx.In(query, args...)
	if err == nil {
		err = t.tx.SelectContext(ctx, dest, query, args...)
	}
	if err != nil {
		return &night.StoreError{Doing: "read " + what, Err: err}
	}
	return nil
}

// change runs a statement and gives the number of rows that it touched.
func (t *Tx) change(ctx context.Context, what, query string, args ...any) (int64, error) {
	query, args, err := sqlx.In(query, args...)
	if err != nil {
		return 0, &night.StoreError{Doing: "change " + what, Err: err}
	}
	res, err := t.tx.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, &night.StoreError{Doing: "change " + what, Err: err}
	}
	n, err := res.RowsAffected()
	if err != nil {
		return 0, &night.StoreError{Doing: "change " + what, Err: err}
	}
	return n, nil
}
