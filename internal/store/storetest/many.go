package storetest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// settledMany settles at once what stands in every way in which it may, each of
// them as it would be alone.
func settledMany(t *testing.T, s *store.Store) {
	set := set(t, s, 7)
	ids := make([]int64, 7)
	for i := range ids {
		ids[i] = set.add(t, set.message(set.orders[i]))
	}
	require.Len(t, set.claim(t, now, 10), 7)
	again := func(i int) {
		require.True(t, set.settle(t, night.Settlement{MessageID: ids[i], Attempt: 1, Adapter: "texts", State: night.InDoubt, Outcome: string(adapters.Unknown), IDs: []string{fmt.Sprint("p", i)}}))
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			ok, err := tx.SendAgain(ctx, ids[i], now.Add(time.Hour))
			require.NoError(t, err)
			require.True(t, ok)
		})
	}
	require.True(t, set.settle(t, night.Settlement{MessageID: ids[3], Attempt: 1, State: night.Due, RetryAt: now}))
	require.Len(t, set.claim(t, now, 10), 1, "attempt 2 of the fourth")
	again(4)
	again(5)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		accepted := func(i, attempt int, parts ...string) night.Settlement {
			return night.Settlement{MessageID: ids[i], Attempt: attempt, Adapter: "texts", At: now, State: night.Sent, Outcome: night.Accepted, IDs: parts}
		}
		became, err := tx.Settle(ctx, []night.Settlement{
			accepted(0, 1, "p0", "p1", "p0"),
			{MessageID: ids[1], Attempt: 1, Adapter: "texts", At: now, State: night.Failed, Outcome: "permanent", Reason: "no such number", IDs: []string{"p2"}},
			{MessageID: ids[2], Attempt: 1, Adapter: "texts", At: now, State: night.Due, RetryAt: now.Add(time.Minute), Reason: "busy"},
			{MessageID: ids[3], Attempt: 1, Adapter: "texts", At: now, State: night.Failed, Reason: "late"},
			accepted(3, 2, "p3"),
			accepted(4, 1, "p4", "p1"), // numbers that are on record: its own, and another's
			{MessageID: ids[5], Attempt: 1, Adapter: "texts", At: now, State: night.Failed, Reason: "late"},
			{MessageID: ids[5], Adapter: "texts", At: now, State: night.Failed, Reason: "no try"},
			{MessageID: ids[6], Attempt: 1, Adapter: "texts", At: now, State: night.Dropped, Outcome: night.NotSent, Reason: "cancelled"},
			{MessageID: 1 << 40, Attempt: 1, Adapter: "texts", At: now, State: night.Sent},
		})
		require.NoError(t, err)
		assert.Equal(t, []night.MessageState{
			night.Sent, night.Failed, night.Due, "", night.Sent, night.Sent, "", "", night.Dropped, "",
		}, became)
		for i, want := range []int{2, 0, 0, 1, 1, 1, 0} {
			parts, err := tx.PartsOf(ctx, ids[i])
			require.NoError(t, err)
			assert.Len(t, parts, want, "parts of message %d", i)
		}
	})
	for i, want := range []night.Message{
		{State: night.Sent, Attempt: 1, SettledAt: now},
		{State: night.Failed, Attempt: 1, SettledAt: now, Reason: "no such number"},
		{State: night.Due, Attempt: 1, Reason: "busy"},
		{State: night.Sent, Attempt: 2, SettledAt: now},
		{State: night.Sent, Attempt: 1, SettledAt: now},
		{State: night.Due, Attempt: 1},
		{State: night.Dropped, Attempt: 1, SettledAt: now, Reason: "cancelled"},
	} {
		m := set.get(t, ids[i])
		got := night.Message{State: m.State, Attempt: m.Attempt, SettledAt: m.SettledAt, Reason: m.Reason}
		assert.Equal(t, want, got, "message %d", i)
		assert.Equal(t, i != 6, len(m.Covers) == 1, "message %d: what was dropped is about no order", i)
	}
	assert.Len(t, set.claim(t, now.Add(59*time.Second), 10), 1, "only the one that a person asked for")
	assert.Len(t, set.claim(t, now.Add(time.Minute), 10), 1, "and the retry at its time")
}

// addedMany stores more messages at once than go along with one statement, and
// leaves out what is there already, before or in the same list.
func addedMany(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	old := set.add(t, set.message(set.orders[0]))
	all := []night.Message{set.message(set.orders...), set.message(set.orders[1]), set.message(set.orders[1])}
	for i := range 2100 {
		m := set.message(set.orders[0])
		m.Kind, m.Revision, m.Text = night.Resend, i, fmt.Sprint("text ", i)
		all = append(all, m)
	}
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ids, err := tx.AddMessages(ctx, all)
		require.NoError(t, err)
		require.Len(t, ids, len(all))
		assert.Zero(t, ids[0], "its first order has such a message")
		assert.NotZero(t, ids[1])
		assert.Zero(t, ids[2], "the one before it says the same")
		for i, id := range ids[3:] {
			require.NotZero(t, id, i)
			require.Greater(t, id, old)
		}
		stored, err := tx.Messages(ctx, set.night)
		require.NoError(t, err)
		require.Len(t, stored, 2102)
		byID := map[int64]night.Message{}
		for _, m := range stored {
			byID[m.ID] = m
		}
		for i, id := range ids[3:] {
			m := byID[id]
			require.Equal(t, fmt.Sprint("text ", i), m.Text)
			require.Equal(t, []night.Cover{{OrderID: set.orders[0], Slot: 17 * 60}}, m.Covers)
		}
		require.Equal(t, []night.Cover{{OrderID: set.orders[1], Slot: 17 * 60}}, byID[ids[1]].Covers)
	})
	assert.Len(t, set.claim(t, now, 3000), 2102, "what was not stored does not wait to be sent")
}

// movedMany moves orders on at once, all or none.
func movedMany(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	var stand []night.Stage
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		var err error
		stand, err = tx.Stages(ctx, set.orders[:2])
		require.NoError(t, err)
		require.Len(t, stand, 2)
		for i := range stand {
			assert.Equal(t, night.Booked, stand[i].State)
			stand[i].State = night.Told
		}
		require.NoError(t, tx.MoveOrders(ctx, stand))
		orders, err := tx.Orders(ctx, set.night)
		require.NoError(t, err)
		for _, o := range orders {
			if o.ID == set.orders[2] {
				assert.Equal(t, night.Booked, o.State)
				assert.Equal(t, 0, o.Revision)
				continue
			}
			assert.Equal(t, night.Told, o.State)
			assert.Equal(t, 1, o.Revision)
		}
	})
	err := set.k.Write(t.Context(), func(tx *store.Tx) error { return tx.MoveOrders(t.Context(), stand) })
	require.ErrorIs(t, err, night.ErrChanged, "the revisions are old")
}
