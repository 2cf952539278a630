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

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// The embedded database has no statistics, and takes an index by the kitchen for as
// good as the key of the rows that are asked for: that would be a walk through all
// that the kitchen ever had.
func TestRowsAreLookedUpByWhatTheyAreNamedBy(t *testing.T) {
	t.Parallel()
	s := open(t)
	ctx := t.Context()
	ids := []int64{1, 2}
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
		tried(tx.withCovers(ctx, []messageRow{{ID: 1}}))
		tried(tx.best(ctx, ids))
		tried(tx.PartsOf(ctx, 1))
		tried(tx.EventsOf(ctx, 1))
		tried(tx.Settle(ctx, []night.Settlement{{MessageID: 1, Attempt: 1}, {MessageID: 2, Attempt: 1}}))
		try(tx.settleTries(ctx, []night.Settlement{{MessageID: 1, Attempt: 1, State: night.Sent}}))
		tried(tx.WithdrawAll(ctx, []night.Withdrawal{{MessageID: 1, To: night.Dropped}}, time.Time{}))
		tried(tx.SendAgain(ctx, 1, time.Time{}))
		tried(tx.Reroute(ctx, 1, night.Fall{}))
		tried(tx.ReceiptState(ctx, 1, night.Sent, ""))
		tried(tx.TakeReceipts(ctx, "texts", []string{"a"}))
		try(tx.Uncover(ctx, ids...))
		try(tx.MoveOrders(ctx, []night.Stage{{OrderID: 1}}))
		try(tx.SetBags(ctx, []night.Order{{ID: 1}}))
		try(tx.SaveOrders(ctx, []night.Order{{ID: 1}}))
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
	walk := regexp.MustCompile(`\(kitchen_id=\?\)$|^SCAN (m|a|c|messages|orders|parts|attempts|message_orders|events)\b`)
	looked := 0
	for _, q := range queries {
		rows, err := c.QueryxContext(ctx, "EXPLAIN QUERY PLAN "+q, make([]any, strings.Count(q, "?"))...)
		require.NoError(t, err, q)
		for rows.Next() {
			step, err := rows.SliceScan()
			require.NoError(t, err)
			looked++
			assert.NotRegexp(t, walk, step[3], q)
		}
		require.NoError(t, rows.Close())
	}
	assert.Greater(t, looked, 20)
}

func (k *keeper) all() map[string]*list.Element { return k.kept }
