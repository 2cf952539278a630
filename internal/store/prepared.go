package store

import (
	"container/list"
	"context"
	"database/sql/driver"
	"errors"
	"io"
	"sync/atomic"
)

// prepared opens connections that keep the statements which they have run, so
// that one that comes again is not parsed again, and on a server not planned
// again either.
type prepared struct {
	driver.Connector
	// closes says that statements must be closed before their connection. A server
	// forgets them with it.
	closes bool
	opened *atomic.Int64 // counts them
}

// Connect opens one connection.
func (p prepared) Connect(ctx context.Context) (driver.Conn, error) {
	p.opened.Add(1)
	c, err := p.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	all, ok := c.(connection)
	if !ok {
		return nil, errors.Join(errors.New("store: the driver lacks something that a connection needs"), c.Close())
	}
	keeping := &keeper{connection: all, closes: p.closes, kept: make(map[string]*list.Element)}
	if named, ok := c.(driver.NamedValueChecker); ok {
		return struct {
			*keeper
			driver.NamedValueChecker
		}{keeping, named}, nil
	}
	return keeping, nil
}

// connection is what both drivers' connections can do.
type connection interface {
	driver.Conn
	driver.ConnBeginTx
	driver.ConnPrepareContext
	driver.ExecerContext
	driver.QueryerContext
	driver.Pinger
	driver.SessionResetter
	driver.Validator
}

// statement is what both drivers' statements can do.
type statement interface {
	driver.Stmt
	driver.StmtExecContext
	driver.StmtQueryContext
}

const (
	// keep is how many statements a connection keeps: more than the store has.
	keep = 300
	// longest is how long a statement may be to be kept, in bytes: what carries
	// thousands of rows in its words is seldom met again.
	longest = 16 << 10
)

// keeper is a connection that keeps its statements. Like every connection it
// does one thing at a time; rows are read to their end before a statement is run
// again.
type keeper struct {
	connection
	closes bool

	kept map[string]*list.Element // of keptStatement
	used list.List                // the one used last in front
}

type keptStatement struct {
	query string
	statement
}

var (
	_ driver.ConnBeginTx    = (*keeper)(nil)
	_ driver.ExecerContext  = (*keeper)(nil)
	_ driver.QueryerContext = (*keeper)(nil)
)

// opening is how a transaction begins with words of ours, and what the last of them
// was answered. The driver is handed nothing but a context.
type opening struct {
	words  string
	answer []driver.Value // nil where there was none
}

func (o *opening) in(ctx context.Context) context.Context {
	return context.WithValue(ctx, openingKey{}, o)
}

type openingKey struct{}

// BeginTx begins a transaction, on a server always with words: its driver keeps
// something of each transaction that it began itself, and would take it for a part
// of the next one.
func (k *keeper) BeginTx(ctx context.Context, opts driver.TxOptions) (driver.Tx, error) {
	tx, server := k.connection.(driver.Tx)
	if !server {
		return k.connection.BeginTx(ctx, opts)
	}
	if opts != (driver.TxOptions{}) {
		return nil, errors.New("store: how a transaction on a server is to be must stand in the words that begin it")
	}
	o, ok := ctx.Value(openingKey{}).(*opening)
	if !ok {
		o = &opening{words: "BEGIN"}
	}
	var err error
	if o.answer, err = lastRow(k.connection.QueryContext(ctx, o.words, nil)); err != nil {
		_ = tx.Rollback() // a part of it may have begun; the error that counts is the first
		return nil, err
	}
	return tx, nil
}

// lastRow gives the last row of the last of several statements' answers.
func lastRow(rows driver.Rows, err error) (last []driver.Value, _ error) {
	if err != nil {
		return nil, err
	}
	for {
		row := make([]driver.Value, len(rows.Columns()))
		switch err := rows.Next(row); {
		case err == nil:
			last = row
			continue
		case !errors.Is(err, io.EOF):
			return nil, errors.Join(err, rows.Close())
		}
		more, ok := rows.(driver.RowsNextResultSet)
		if !ok || !more.HasNextResultSet() {
			return last, rows.Close()
		}
		if err := more.NextResultSet(); err != nil {
			return nil, errors.Join(err, rows.Close())
		}
	}
}

// ExecContext runs a statement.
func (k *keeper) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	s, err := k.statement(ctx, query, args)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return k.connection.ExecContext(ctx, query, args)
	}
	res, err := s.ExecContext(ctx, args)
	return res, k.judge(query, err)
}

// QueryContext runs a query.
func (k *keeper) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	s, err := k.statement(ctx, query, args)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return k.connection.QueryContext(ctx, query, args)
	}
	rows, err := s.QueryContext(ctx, args)
	return rows, k.judge(query, err)
}

// statement gives the prepared statement of a query, and nil where it is not to
// be prepared: what takes no arguments may be several statements.
func (k *keeper) statement(ctx context.Context, query string, args []driver.NamedValue) (statement, error) {
	if len(args) == 0 || len(query) > longest {
		return nil, nil
	}
	if e, ok := k.kept[query]; ok {
		k.used.MoveToFront(e)
		return e.Value.(keptStatement), nil
	}
	made, err := k.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	s, ok := made.(statement)
	if !ok {
		return nil, made.Close()
	}
	k.kept[query] = k.used.PushFront(keptStatement{query, s})
	if k.used.Len() > keep {
		err = k.drop(k.used.Back())
	}
	return s, err
}

// judge drops a statement that failed: a table may have changed under it since it
// was prepared, and the next try prepares it anew.
func (k *keeper) judge(query string, err error) error {
	if e, ok := k.kept[query]; ok && err != nil {
		_ = k.drop(e) // the error that counts is the first
	}
	return err
}

func (k *keeper) drop(e *list.Element) error {
	s := k.used.Remove(e).(keptStatement)
	delete(k.kept, s.query)
	return s.Close()
}

// Close closes the connection and what it keeps.
func (k *keeper) Close() error {
	var err error
	for k.closes && k.used.Len() > 0 {
		err = errors.Join(err, k.drop(k.used.Front()))
	}
	return errors.Join(err, k.connection.Close())
}
