package storetest

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// What is done to several rows in one statement is done as if one after the other.

func inboundsAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	text := func(id, words string) night.Inbound {
		return night.Inbound{Adapter: "texts", ProviderID: id, From: "+447700900123", To: "+447700900000", Text: words, At: now}
	}
	shared := text("in-4", "here")
	shared.Adapter, shared.Shared, shared.Silent = "other", 2, true
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ids, err := tx.AddInbounds(ctx, nil)
		require.NoError(t, err)
		assert.Empty(t, ids)
		ids, err = tx.AddInbounds(ctx, []night.Inbound{text("in-1", "here"), text("in-\x00", "black golf"), text("in-1", "a repeat")})
		require.NoError(t, err)
		assert.Less(t, ids[0], ids[1])
		assert.NotZero(t, ids[0])
		assert.Zero(t, ids[2])
		ids, err = tx.AddInbounds(ctx, []night.Inbound{text("in-\x00", "a repeat"), text("in-4", "thanks"), shared})
		require.NoError(t, err)
		assert.Zero(t, ids[0])
		assert.Less(t, ids[1], ids[2])
		waits, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		assert.Len(t, waits, 4, "before the transaction is kept too")
	})
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		fresh, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		var words []string
		for _, in := range fresh {
			words = append(words, in.Text)
		}
		assert.Equal(t, []string{"here", "black golf", "thanks", "here"}, words)
		last := fresh[3]
		shared.ID, shared.KitchenID, shared.State, shared.Reading, shared.Corrected = last.ID, last.KitchenID, night.Fresh, []byte("{}"), []byte{}
		assert.Equal(t, shared, last)
	})
}

func inboundsSaved(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ids, err := tx.AddInbounds(ctx, []night.Inbound{
			{Adapter: "texts", ProviderID: "1", At: now}, {Adapter: "texts", ProviderID: "2", At: now}, {Adapter: "texts", ProviderID: "3", At: now},
		})
		require.NoError(t, err)
		about := func(id int64, state night.InboundState, orders ...int64) night.Inbound {
			return night.Inbound{ID: id, NightID: set.night, State: state, Orders: orders, Why: "why", Reading: []byte(`{"intent":"here"}`)}
		}
		n, err := tx.SaveInbounds(ctx, []night.Inbound{about(ids[0], night.Open, set.orders[1], set.orders[0])}, night.Fresh)
		require.NoError(t, err)
		assert.Equal(t, 1, n)
		n, err = tx.SaveInbounds(ctx, []night.Inbound{
			about(ids[0], night.Applied), about(ids[1], night.Applied, set.orders[0]), about(ids[2], night.Open),
		}, night.Fresh)
		require.NoError(t, err)
		assert.Equal(t, 2, n, "one was read already")
		all, err := tx.Inbounds(ctx, set.night)
		require.NoError(t, err)
		require.Len(t, all, 3)
		assert.Equal(t, []int64{set.orders[1], set.orders[0]}, all[0].Orders)
		assert.Equal(t, night.Open, all[0].State)
		assert.Equal(t, []int64{set.orders[0]}, all[1].Orders)
		assert.Equal(t, `{"intent":"here"}`, string(all[1].Reading))
		assert.Empty(t, all[2].Orders)
	})
}

func ordersAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		require.NoError(t, tx.SaveOrders(ctx, nil))
		orders, err := tx.Orders(ctx, set.night)
		require.NoError(t, err)
		orders[0].State, orders[1].Note = night.Arrived, "red van"
		require.NoError(t, tx.SaveOrders(ctx, orders[:2]))
		after, err := tx.Orders(ctx, set.night)
		require.NoError(t, err)
		orders[0].Revision++
		orders[1].Revision++
		assert.Equal(t, orders, after)
	})
	err := set.k.Write(t.Context(), func(tx *store.Tx) error {
		orders, err := tx.Orders(t.Context(), set.night)
		require.NoError(t, err)
		orders[0].Revision-- // as somebody read it who was too slow
		return tx.SaveOrders(t.Context(), orders)
	})
	require.ErrorIs(t, err, night.ErrChanged)
}

func tally(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	mine, other := set, kitchen(t, s, "Larkfield Ovens")
	var before night.Tally
	changes := func(what string, change func(ctx context.Context, tx *store.Tx)) {
		t.Helper()
		write(t, mine.k, func(ctx context.Context, tx *store.Tx) {
			change(ctx, tx)
			after, err := tx.Tally(ctx, mine.night)
			require.NoError(t, err)
			assert.NotEqual(t, before, after, what)
			before = after
		})
	}
	changes("two orders", func(context.Context, *store.Tx) {})
	assert.Equal(t, night.Tally{Orders: 2}, before)
	first := func(ctx context.Context, tx *store.Tx) night.Order {
		o, err := tx.Order(ctx, mine.orders[0])
		require.NoError(t, err)
		return o
	}
	changes("saved", func(ctx context.Context, tx *store.Tx) { require.NoError(t, tx.SaveOrder(ctx, first(ctx, tx))) })
	changes("moved", func(ctx context.Context, tx *store.Tx) {
		o := first(ctx, tx)
		require.NoError(t, tx.MoveOrders(ctx, []night.Stage{{OrderID: o.ID, State: night.Told, Revision: o.Revision}}))
	})
	changes("numbered", func(ctx context.Context, tx *store.Tx) {
		o := first(ctx, tx)
		o.Bag = 7
		require.NoError(t, tx.SetBags(ctx, []night.Order{o}))
	})
	changes("added", func(ctx context.Context, tx *store.Tx) {
		_, err := tx.AddOrder(ctx, anOrder(mine.night, "K-9", "", 17*60))
		require.NoError(t, err)
	})
	changes("wiped", func(ctx context.Context, tx *store.Tx) {
		_, err := tx.Wipe(ctx, mine.night, now.Add(time.Hour))
		require.NoError(t, err)
	})
	read(t, other, func(ctx context.Context, tx *store.Tx) {
		got, err := tx.Tally(ctx, mine.night)
		require.NoError(t, err)
		assert.Zero(t, got, "another kitchen's orders")
	})
}

func withdrawnAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	tried := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: tried, Attempt: 1, State: night.Due, RetryAt: now.Add(time.Minute)}))
	due, missed := set.add(t, set.message(set.orders[1])), set.add(t, set.message(set.orders[2]))
	all := []night.Withdrawal{
		{MessageID: tried, To: night.Dropped, Why: "cancelled"}, {MessageID: due, To: night.Dropped, Why: "cancelled"},
		{MessageID: missed, To: night.Missed, Why: "the slot is over"},
	}
	for _, want := range [][]bool{{true, true, true}, {false, false, false}} {
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			gone, err := tx.WithdrawAll(ctx, all, now)
			require.NoError(t, err)
			assert.Equal(t, want, gone)
		})
	}
	assert.Equal(t, night.Dropped, set.get(t, tried).State)
	assert.Equal(t, night.Missed, set.get(t, missed).State)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		_, err := tx.Message(ctx, due)
		require.ErrorIs(t, err, night.ErrNotFound)
	})
}
