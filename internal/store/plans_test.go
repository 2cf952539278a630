package store

import (
	"container/list"
	"errors"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store/pgtest"
)

// The embedded database has no statistics, and takes an index by the kitchen for as
// good as the key of the rows that are asked for: that would be a walk through all
// that the kitchen ever had.
func TestRowsAreLookedUpByWhatTheyAreNamedBy(t *testing.T) {
	t.Parallel()
	s := open(t)
	walk := regexp.MustCompile(`\(kitchen_id=\?\)$|^SCAN (m|o|a|c|messages|outbox|orders|parts|attempts|message_orders|events)\b`)
	plans(t, s, func(c *sqlx.Conn, query string) {
		rows, err := c.QueryxContext(t.Context(), "EXPLAIN QUERY PLAN "+query, make([]any, strings.Count(query, "?"))...)
		require.NoError(t, err, query)
		defer func() { require.NoError(t, rows.Close()) }()
		for rows.Next() {
			step, err := rows.SliceScan()
			require.NoError(t, err)
			assert.NotRegexp(t, walk, step[3], query)
		}
	})
}

// A server's statistics may be those of a day with few rows and one kitchen. Neither
// a statement nor the wall between kitchens may then lead it to all that the kitchen
// ever had.
func looksUp(t *testing.T, server *pgtest.Server) {
	s := openAt(t, server.Database(t))
	walk := regexp.MustCompile(`Index Cond: \(\(?kitchen_id = [^)]*\)\)?$`)
	plans(t, s, func(c *sqlx.Conn, query string) {
		// Whether few rows are not sooner read from the first to the last is not
		// what is asked here.
		_, err := c.ExecContext(t.Context(), "SET enable_seqscan = off; SET enable_bitmapscan = off; PREPARE asked AS "+query)
		require.NoError(t, err, query)
		nothing := strings.TrimSuffix(strings.Repeat("NULL,", len(slices.Compact(slices.Sorted(slices.Values(regexp.MustCompile(`\$\d+`).FindAllString(query, -1)))))), ",")
		var steps []string
		require.NoError(t, c.SelectContext(t.Context(), &steps, "EXPLAIN EXECUTE asked ("+nothing+")"), query)
		for _, step := range steps {
			assert.NotRegexp(t, walk, step, "%s\n%s", query, strings.Join(steps, "\n"))
		}
		_, err = c.ExecContext(t.Context(), "DEALLOCATE asked")
		require.NoError(t, err)
	})
}

// plans has every statement run that names the rows which it is about, and looks at
// each with a connection that it was run on.
func plans(t *testing.T, s *Store, look func(c *sqlx.Conn, query string)) {
	t.Helper()
	ctx := t.Context()
	ids := []int64{1, 2}
	s.writer.SetMaxOpenConns(1)
	require.NoError(t, s.Kitchen(1).Write(ctx, func(tx *Tx) error {
		var errs []error
		try := func(err error) {
			if !errors.Is(err, night.ErrNotFound) && !errors.Is(err, night.ErrChanged) {
				errs = append(errs, err)
			}
		}
		tried := func(_ any, err error) { try(err) }
		tried(tx.Trials(ctx, ids))
		tried(tx.Stages(ctx, ids))
		tried(tx.Order(ctx, 1))
		tried(tx.OrdersByID(ctx, ids))
		tried(tx.Message(ctx, 1))
		tried(tx.MessagesAbout(ctx, ids))
		tried(tx.MessagesAbout(ctx, ids, night.Reply))
		tried(tx.messagesBy(ctx, ids))
		tried(tx.claimed(ctx, []underway{{MessageID: 1}}))
		tried(tx.best(ctx, ids))
		tried(tx.PartsOf(ctx, 1))
		tried(tx.EventsOf(ctx, 1))
		tried(tx.SaveInbounds(ctx, []night.Inbound{{ID: 1}}, night.Fresh))
		tried(tx.Settle(ctx, []night.Settlement{{MessageID: 1, Attempt: 1}, {MessageID: 2, Attempt: 1}}))
		try(tx.settleTries(ctx, []night.Settlement{{MessageID: 1, Attempt: 1, State: night.Sent}, {MessageID: 2, Attempt: 1, State: night.Due}}, nil))
		try(tx.number(ctx, []night.Settlement{{MessageID: 1, Attempt: 1, IDs: []string{"a"}}}, []night.MessageState{night.Sent}))
		try(tx.takeBack(ctx, []int64{1}, []night.Message{{Covers: []night.Cover{{OrderID: 1}}}}))
		tried(tx.WithdrawAll(ctx, []night.Withdrawal{{MessageID: 1, To: night.Dropped}}, time.Time{}))
		tried(tx.SendAgain(ctx, 1, time.Time{}))
		tried(tx.Reroute(ctx, 1, night.Fall{}))
		tried(tx.ReceiptState(ctx, 1, night.Sent, ""))
		tried(tx.TakeReceipts(ctx, "texts", []string{"a"}))
		try(tx.Uncover(ctx, ids...))
		for _, putOff := range []error{
			tx.MoveOrders(ctx, []night.Stage{{OrderID: 1}}), tx.SetBags(ctx, []night.Order{{ID: 1}}),
			tx.SaveOrders(ctx, []night.Order{{ID: 1}}), tx.Log(ctx, night.Event{NightID: 1}),
		} {
			try(putOff)
			try(tx.catchUp(ctx))
		}
		return errors.Join(errs...)
	}))
	c, err := s.writer.Connx(ctx)
	require.NoError(t, err)
	defer func() { require.NoError(t, c.Close()) }()
	var queries []string
	require.NoError(t, c.Raw(func(c any) error {
		queries = slices.Collect(maps.Keys(c.(interface {
			all() map[string]*list.Element
		}).all()))
		return nil
	}))
	assert.Greater(t, len(queries), 20)
	for _, q := range queries {
		look(c, q)
	}
}

func (k *keeper) all() map[string]*list.Element { return k.kept }
