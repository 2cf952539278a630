package store

import (
	"context"
	"fmt"
	"iter"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/jmoiron/sqlx"

	"passbell/internal/night"
)

// together is how many rows go along with one statement at most: what is done to
// many rows at once is one round trip and one plan.
const together = 1000

// inOne gives how many of the rows that are left go along with the next statement
// to a server, where the statement is the same for any number.
func inOne(left int) int { return min(left, together) }

// inSome does so where the rows are written into the statement: in a few sizes, so
// that each is met again and need not be parsed again.
func inSome(left int) int {
	for _, n := range []int{256, 64, 16, 8, 4, 3, 2} {
		if n <= left {
			return n
		}
	}
	return 1
}

// given is rows that go along with a statement, which reads them as a table.
// Every value is a whole number or a text, and each column of one kind. What looks
// up rows that are named so writes +kitchen_id for the kitchen: a database that has
// no statistics, or old ones, then takes no index by it, and does not walk through
// all that the kitchen ever had.
type given struct {
	columns []string // none where each row is one value, see these
	rows    [][]any
}

// parts gives the rows so many at a time as go along with one statement.
func (g given) parts(next func(left int) int) iter.Seq[given] {
	return func(yield func(given) bool) {
		for rest := g.rows; len(rest) > 0; {
			n := next(len(rest))
			if !yield(given{g.columns, rest[:n]}) {
				return
			}
			rest = rest[n:]
		}
	}
}

// asTable is how rows are written into a statement as a table, or, where each is one
// value, as what a column is compared with.
type asTable interface {
	// values gives what goes along with the rows, and what the words depend on beside
	// the columns.
	values(g given) (args []any, shape string)
	words(name string, g given) string
}

// asValues writes the rows into the statement as VALUES. Of many rows, what all have in
// common goes along once beside them. The first column tells how many there are.
type asValues struct{}

// sharing gives the columns in which all rows have the same, where they go along once.
func (asValues) sharing(g given) uint64 {
	const many = 16 // fewer would make a statement for each way of being alike, and spare little
	shared := uint64(0)
	for i := 1; i < len(g.columns) && len(g.rows) >= many; i++ {
		if inCommon(g.rows, i) {
			shared |= 1 << i
		}
	}
	return shared
}

func (v asValues) values(g given) ([]any, string) {
	width, shared := len(g.rows[0]), v.sharing(g)
	args := make([]any, 0, len(g.rows)*width)
	for i := range width {
		if shared>>i&1 == 1 {
			args = append(args, g.rows[0][i])
		}
	}
	for _, row := range g.rows {
		for i := range row {
			if shared>>i&1 == 0 {
				args = append(args, row[i])
			}
		}
	}
	return args, strconv.Itoa(len(g.rows)) + "/" + strconv.FormatUint(shared, 2)
}

func (v asValues) words(name string, g given) string {
	if g.columns == nil {
		return "IN (VALUES " + strings.TrimSuffix(strings.Repeat("(?),", len(g.rows)), ",") + ")"
	}
	shared, own := v.sharing(g), 0
	columns := make([]string, len(g.columns))
	for i, c := range g.columns {
		if shared>>i&1 == 1 {
			columns[i] = "? AS " + c
			continue
		}
		own++
		columns[i] = fmt.Sprintf("column%d AS %s", own, c)
	}
	row := "(" + strings.TrimSuffix(strings.Repeat("?,", own), ",") + ")"
	values := strings.TrimSuffix(strings.Repeat(row+",", len(g.rows)), ",")
	return "(SELECT " + strings.Join(columns, ", ") + " FROM (VALUES " + values + ")) AS " + name
}

// asArrays sends each column as an array, so that the statement is the same for
// any number of rows; what all rows have in common goes along once beside it. They
// are taken apart side by side, in a list of what is selected: as a table each would
// be written out first. The first column tells how many rows there are.
type asArrays struct{}

func (asArrays) values(g given) ([]any, string) {
	width := len(g.rows[0])
	kinds := make([]byte, width)
	for i, v := range g.rows[0] {
		kinds[i] = kindOf(v)
	}
	if g.columns == nil {
		return []any{arrayOf(g.rows, 0)}, string(kinds)
	}
	args := make([]any, 2*width-1) // what is shared, but for the first column, and the arrays
	shared, arrays := args[:width-1], args[width-1:]
	arrays[0] = arrayOf(g.rows, 0)
	for i := 1; i < width; i++ {
		switch {
		case inCommon(g.rows, i):
			shared[i-1], arrays[i] = g.rows[0][i], "{}"
		case kinds[i] == aText:
			shared[i-1], arrays[i] = "", arrayOf(g.rows, i)
		default:
			shared[i-1], arrays[i] = 0, arrayOf(g.rows, i)
		}
	}
	return args, string(kinds)
}

func (asArrays) words(name string, g given) string {
	if g.columns == nil {
		return "= ANY (CAST(? AS " + sqlKind[kindOf(g.rows[0][0])] + "[]))"
	}
	apart, columns := make([]string, len(g.columns)), make([]string, len(g.columns))
	for i, c := range g.columns {
		kind := sqlKind[kindOf(g.rows[0][i])]
		apart[i] = "unnest(CAST(? AS " + kind + "[])) AS " + c
		if i == 0 {
			columns[i] = c
			continue
		}
		// An array that has run out of elements gives nulls (PostgreSQL manual, "SQL
		// Functions Returning Sets"). COALESCE would say the same, but what it gives is
		// not let into an index where a wall stands.
		columns[i] = fmt.Sprintf("CASE WHEN %[1]s IS NULL THEN CAST(? AS %[2]s) ELSE %[1]s END AS %[1]s", c, kind)
	}
	return "(SELECT " + strings.Join(columns, ", ") + " FROM (SELECT " + strings.Join(apart, ", ") + ") AS apart) AS " + name
}

// The kinds of value that a row may hold.
const (
	aNumber = 'n'
	aText   = 't'
)

var sqlKind = map[byte]string{aNumber: "BIGINT", aText: "TEXT"}

func kindOf(v any) byte {
	if reflect.ValueOf(v).Kind() == reflect.String {
		return aText
	}
	return aNumber
}

// inCommon tells whether all rows have the same in a column.
func inCommon(rows [][]any, column int) bool {
	for _, row := range rows[1:] {
		if row[column] != rows[0][column] {
			return false
		}
	}
	return true
}

// arrayOf writes a column of rows as an array (PostgreSQL, "Array Input and Output
// Syntax"): once, where the driver would for each time that it is asked.
func arrayOf(rows [][]any, column int) string {
	size := 2
	for _, row := range rows {
		if text, ok := row[column].(string); ok {
			size += len(text) + len(`"",`)
		} else {
			size += len("1796000000000,") // a moment is the longest as a rule
		}
	}
	var b strings.Builder
	b.Grow(size)
	b.WriteByte('{')
	var number [20]byte
	for i, row := range rows {
		if i > 0 {
			b.WriteByte(',')
		}
		text, ok := row[column].(string)
		if !ok { // a whole number, or a text of a kind of its own
			v := reflect.ValueOf(row[column])
			if v.Kind() != reflect.String {
				b.Write(strconv.AppendInt(number[:0], v.Int(), 10))
				continue
			}
			text = v.String()
		}
		b.WriteByte('"')
		for {
			stop := strings.IndexAny(text, `"\\`)
			if stop < 0 {
				break
			}
			b.WriteString(text[:stop])
			b.WriteByte('\\')
			b.WriteByte(text[stop])
			text = text[stop+1:]
		}
		b.WriteString(text)
		b.WriteByte('"')
	}
	b.WriteByte('}')
	return b.String()
}

// changeGiven runs a statement with the given rows, some at a time, and gives
// the number of rows that it touched. The statement names the rows as %s; args
// are its arguments before them, after its arguments behind.
func (t *Tx) changeGiven(ctx context.Context, what, query string, g given, args, after []any) (int64, error) {
	touched := int64(0)
	for some := range g.parts(t.dialect.part) {
		if err := t.catchUp(ctx); err != nil {
			return 0, err
		}
		words, values, err := t.written(query, some, args, after)
		n := int64(0)
		if err == nil {
			n, err = t.exec(ctx, words, values)
		}
		if err != nil {
			return 0, &night.StoreError{Doing: "change " + what, Err: err}
		}
		touched += n
	}
	return touched, nil
}

// listGiven reads the rows that a query with the given rows finds, some at a time.
func listGiven[R any](ctx context.Context, t *Tx, what, query string, g given, args, after []any) ([]R, error) {
	all := slices.Grow([]R(nil), len(g.rows)) // as a rule each finds one
	for some := range g.parts(t.dialect.part) {
		if err := t.catchUp(ctx); err != nil {
			return nil, err
		}
		words, values, err := t.written(query, some, args, after)
		if err == nil {
			err = t.scan(ctx, &all, words, values)
		}
		if err != nil {
			return nil, &night.StoreError{Doing: "read " + what, Err: err}
		}
	}
	return all, nil
}

// written gives a statement with its rows as the database is told it.
func (t *Tx) written(query string, g given, args, after []any) (string, []any, error) {
	values, shape := t.dialect.rows.values(g)
	all := slices.Concat(args, values, after)
	words := func() string { return fmt.Sprintf(query, t.dialect.rows.words("given", g)) }
	if slices.ContainsFunc(args, isList) || slices.ContainsFunc(after, isList) {
		return t.bound(words(), all)
	}
	keepAll(all)
	return t.store.phrases.find(query+"\x00"+shape, func() string { return sqlx.Rebind(t.dialect.bind, words()) }), all, nil
}

// isList tells whether an argument stands for several, as in IN (?).
func isList(a any) bool { return reflect.ValueOf(a).Kind() == reflect.Slice }

// phrases keeps the words of statements by what they depend on: putting them together
// anew costs more than many a statement. It is safe for concurrent use.
type phrases struct {
	mu   sync.RWMutex
	kept map[string]string
}

// find gives the words under a key, and makes those that it does not have. It keeps as
// many as a connection keeps statements, and then begins anew.
func (p *phrases) find(key string, words func() string) string {
	p.mu.RLock()
	found, ok := p.kept[key]
	p.mu.RUnlock()
	if ok {
		return found
	}
	found = words()
	if len(found) > longest {
		return found
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.kept == nil || len(p.kept) >= keep {
		p.kept = make(map[string]string)
	}
	p.kept[key] = found
	return found
}

// these gives values to compare with: a statement that is given them names a column
// and then %s, and asks for the rows in which it is one of them.
func these[V int64 | string](all []V) given {
	g := given{rows: make([][]any, len(all))}
	for i, v := range all {
		g.rows[i] = []any{v}
	}
	return g
}

// reserve gives so many ids for new rows of a table, ascending.
func (t *Tx) reserve(ctx context.Context, table string, n int) ([]int64, error) {
	if n == 0 {
		return nil, nil
	}
	if len(t.spare[table]) < n {
		if err := t.provide(ctx, n, table); err != nil {
			return nil, err
		}
	}
	ids := t.spare[table][:n]
	t.spare[table] = t.spare[table][n:]
	return ids, nil
}

// provide has so many ids at hand for new rows of each of the tables. The embedded
// database counts them by the rows that are there, so none may be on its way.
func (t *Tx) provide(ctx context.Context, n int, tables ...string) error {
	if n == 0 {
		return nil
	}
	if err := t.catchUp(ctx); err != nil {
		return err
	}
	ids, err := t.dialect.reserve(ctx, t.tx, n, tables...)
	if err != nil {
		return &night.StoreError{Doing: "number " + strings.Join(tables, ", "), Err: err}
	}
	if t.spare == nil {
		t.spare = map[string][]int64{}
	}
	for i, table := range tables {
		t.spare[table] = ids[i]
	}
	return nil
}
