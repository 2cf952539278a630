package bench

import (
	"database/sql"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/lib/pq"
	"github.com/stretchr/testify/require"
)

// planOnServer plans a night's instructions and reminders, renders and measures
// the texts and stores them, beside a COPY of the same rows into the same tables.
func planOnServer(t *testing.T) []result {
	return planBeside(t, onServer(t, server(t)), "PostgreSQL", "COPY", *orders, copied)
}

// planEmbedded does the same on the embedded database beside inserts of 500 rows
// each.
func planEmbedded(t *testing.T) []result {
	return planBeside(t, embedded(t), "embedded", "multi-row INSERT", *orders/5, inserted)
}

func planBeside(t *testing.T, d *database, where, how string, n int, store func(t *testing.T, d *database, table string, columns []string, rows [][]any)) []result {
	h := d.kitchen(t, "Larkfield Dumpling Kitchen")
	d.fill(t, n)
	began := time.Now()
	require.NoError(t, h.desk.Replan(t.Context(), h.night))
	ours := time.Since(began)
	require.Equal(t, 2*n, d.count(t, `SELECT count(*) FROM messages WHERE state = 'due' AND text <> '' AND parts > 0`))
	require.Equal(t, 2*n, d.count(t, `SELECT count(*) FROM message_orders`))

	messages := d.rows(t, `SELECT id, kitchen_id, night_id, inbound_id, kind, revision, place, address, text, parts, due_at, expires_at, state, adapter FROM messages ORDER BY id`, 14)
	covers := d.rows(t, `SELECT kitchen_id, message_id, order_id, kind, revision, slot FROM message_orders ORDER BY message_id`, 6)
	waits := d.rows(t, `SELECT message_id, kitchen_id, next_at FROM outbox ORDER BY message_id`, 3)
	d.exec(t, `DELETE FROM outbox`)
	d.exec(t, `DELETE FROM message_orders`)
	d.exec(t, `DELETE FROM messages`)
	if where == "PostgreSQL" {
		d.exec(t, `VACUUM FULL messages`)
		d.exec(t, `VACUUM FULL message_orders`)
		d.exec(t, `VACUUM FULL outbox`)
	}
	began = time.Now()
	store(t, d, "messages", strings.Split("id kitchen_id night_id inbound_id kind revision place address text parts due_at expires_at state adapter", " "), messages)
	store(t, d, "message_orders", strings.Split("kitchen_id message_id order_id kind revision slot", " "), covers)
	store(t, d, "outbox", strings.Split("message_id kitchen_id next_at", " "), waits)
	beside := time.Since(began)
	require.Equal(t, 2*n, d.count(t, `SELECT count(*) FROM message_orders`))
	require.Equal(t, 2*n, d.count(t, `SELECT count(*) FROM outbox`))
	return []result{within(fmt.Sprintf("plan %d orders, %s", n, where), ours, beside, how, 2)}
}

// rows reads a table into memory.
func (d *database) rows(t *testing.T, query string, columns int) [][]any {
	t.Helper()
	rows, err := d.raw.QueryContext(t.Context(), query)
	require.NoError(t, err)
	defer func() { require.NoError(t, rows.Close()) }()
	var out [][]any
	for rows.Next() {
		row, into := make([]any, columns), make([]any, columns)
		for i := range row {
			into[i] = &row[i]
		}
		require.NoError(t, rows.Scan(into...))
		out = append(out, row)
	}
	require.NoError(t, rows.Err())
	return out
}

// copied stores rows by COPY. Only a superuser may use it on these tables: the
// walls between kitchens know no COPY.
func copied(t *testing.T, d *database, table string, columns []string, rows [][]any) {
	t.Helper()
	d.inOne(t, func(tx *sql.Tx) {
		in, err := tx.PrepareContext(t.Context(), pq.CopyIn(table, columns...))
		require.NoError(t, err)
		for _, row := range rows {
			_, err := in.ExecContext(t.Context(), row...)
			require.NoError(t, err)
		}
		_, err = in.ExecContext(t.Context())
		require.NoError(t, err)
		require.NoError(t, in.Close())
	})
}

// inserted stores rows by inserts of 500 each.
func inserted(t *testing.T, d *database, table string, columns []string, rows [][]any) {
	t.Helper()
	d.inOne(t, func(tx *sql.Tx) {
		for len(rows) > 0 {
			some := rows[:min(500, len(rows))]
			rows = rows[len(some):]
			var values []any
			for _, row := range some {
				values = append(values, row...)
			}
			one := "(" + strings.TrimSuffix(strings.Repeat("?,", len(columns)), ",") + ")"
			_, err := tx.ExecContext(t.Context(), `INSERT INTO `+table+` (`+strings.Join(columns, ",")+`) VALUES `+
				strings.TrimSuffix(strings.Repeat(one+",", len(some)), ","), values...)
			require.NoError(t, err)
		}
	})
}

func (d *database) inOne(t *testing.T, fn func(tx *sql.Tx)) {
	t.Helper()
	tx, err := d.raw.BeginTx(t.Context(), nil)
	require.NoError(t, err)
	fn(tx)
	require.NoError(t, tx.Commit())
}
