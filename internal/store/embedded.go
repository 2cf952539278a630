package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"sync/atomic"

	"github.com/jmoiron/sqlx"
	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"

	"passbell/internal/night"
	"passbell/migrations"
)

// embedded is the dialect of the database in a file. Its transactions need no
// turns: it has one writer at a time.
var embedded = dialect{
	bind:     sqlx.QUESTION,
	readOnly: &sql.TxOptions{ReadOnly: true},
	opening:  func([]int64, mode) string { return "" },
	enter:    func(context.Context, *sqlx.Tx, int64) error { return nil },
	across:   acrossFile,
	rows:     asValues{},
	part:     inSome,
	reserve:  reserveEmbedded,
	bytewise: "CAST(%s AS TEXT)",
	clock:    `CAST(unixepoch('subsec') * 1000 AS INTEGER)`,
	count:    func(context.Context, *sqlx.Tx, string, []string, [][]any) error { return nil },
}

// reserveEmbedded counts on from the highest ids that were ever given (SQLite,
// "The AUTOINCREMENT Keyword"). Nobody else writes meanwhile.
func reserveEmbedded(ctx context.Context, tx *sqlx.Tx, n int, tables ...string) ([][]int64, error) {
	ids := make([][]int64, len(tables))
	for i, table := range tables {
		var last int64
		if err := tx.GetContext(ctx, &last, `SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = ?`, table); err != nil {
			return nil, err
		}
		ids[i] = make([]int64, n)
		for k := range ids[i] {
			ids[i][k] = last + int64(k) + 1
		}
	}
	return ids, nil
}

// openEmbedded opens the embedded database in the file at path.
func openEmbedded(ctx context.Context, path string) (*Store, error) {
	if err := checkPlace(path, networkShare); err != nil {
		return nil, err
	}
	// One writer at a time is what the embedded database can do; giving the
	// writers one connection makes them queue here instead of failing there.
	writer, err := connect(ctx, path, 1)
	if err != nil {
		return nil, err
	}
	if err := migrate(ctx, goose.DialectSQLite3, writer.DB, "sqlite"); err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	reader, err := connect(ctx, path, 8)
	if err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	return &Store{writer: writer, reader: reader, dialect: embedded, opened: new(atomic.Int64), terms: map[int64]*terms{}}, nil
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
		"secure_delete(1)", // what was wiped is not to be read out of the file
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
	connector, err := sqlite.NewConnector(dsn(filepath.ToSlash(abs)))
	if err != nil {
		return nil, fmt.Errorf("open database %s: %w", path, err)
	}
	db := sqlx.NewDb(sql.OpenDB(prepared{Connector: connector, closes: true, opened: new(atomic.Int64)}), "sqlite")
	if err := db.PingContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open database %s: %w", path, worded(err)), db.Close())
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

// migrate brings a database up to date with the files of a folder.
func migrate(ctx context.Context, d goose.Dialect, db *sql.DB, folder string, opts ...goose.ProviderOption) error {
	files, err := goose.NewProvider(d, db, migrations.Dir(folder), append(opts, goose.WithLogger(goose.NopLogger()))...)
	if err != nil {
		return &night.StoreError{Doing: "read migrations", Err: err}
	}
	// Asking first spares every later start the lock that brings them in line.
	if pending, err := files.HasPending(ctx); err == nil && !pending {
		return nil
	}
	if _, err := files.Up(ctx); err != nil {
		return fmt.Errorf("bring the database up to date: %w", worded(err))
	}
	return nil
}
