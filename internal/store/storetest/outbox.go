package storetest

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

func messageOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	set.add(t, set.message(set.orders...))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		for _, id := range set.orders {
			_, added, err := tx.AddMessage(ctx, set.message(id))
			require.NoError(t, err)
			assert.False(t, added, "order %d has its instructions already", id)
		}
		other := set.message(set.orders[0])
		other.Kind = night.Reminder
		_, added, err := tx.AddMessage(ctx, other)
		require.NoError(t, err)
		assert.True(t, added)
	})
}

func messagesAbout(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	both := set.add(t, set.message(set.orders[:2]...))
	set.add(t, set.message(set.orders[2]))
	reply := set.message(set.orders[1])
	reply.Kind = night.Reply
	answer := set.add(t, reply)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		about := func(orders []int64, but ...night.MessageKind) (ids []int64) {
			all, err := tx.MessagesAbout(ctx, orders, but...)
			require.NoError(t, err)
			for _, m := range all {
				ids = append(ids, m.ID)
			}
			return ids
		}
		assert.Equal(t, []int64{both, answer}, about(set.orders[:2]))
		assert.Equal(t, []int64{both}, about(set.orders[:2], night.Reply, night.Confirmation))
		assert.Equal(t, []int64{both}, about(set.orders[:1], night.Confirmation))
		assert.Equal(t, []int64{both}, about(set.orders[1:2], night.Reply))
	})
}

func claimOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	got := set.claim(t, now, 10)
	require.Len(t, got, 1)
	assert.Equal(t, night.Sending, got[0].State)
	assert.Equal(t, 1, got[0].Attempt)
	assert.Equal(t, set.orders[0], got[0].Covers[0].OrderID)
	assert.Empty(t, set.claim(t, now, 10))
	assert.Equal(t, night.Sending, set.get(t, id).State)
}

func claimersShare(t *testing.T, s *store.Store) {
	set := set(t, s, 60)
	for _, id := range set.orders {
		set.add(t, set.message(id))
	}
	var mu sync.Mutex
	seen := map[int64]int{}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for {
				got, err := set.k.Claim(t.Context(), "texts", now, now.Add(time.Minute), 3)
				if !assert.NoError(t, err) || len(got) == 0 {
					return
				}
				mu.Lock()
				for _, m := range got {
					seen[m.ID]++
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	assert.Len(t, seen, 60)
	for id, n := range seen {
		assert.Equal(t, 1, n, "message %d", id)
	}
}

func oldAttempt(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Due, RetryAt: now}))
	set.claim(t, now, 1)
	assert.False(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Failed}), "attempt 2 is under way")
	assert.Equal(t, night.Sending, set.get(t, id).State)
	assert.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 2, State: night.Sent, IDs: []string{"a", "b"}}))
	assert.Equal(t, night.Sent, set.get(t, id).State)
}

func lateReport(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.InDoubt}))
	assert.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Sent}))
	assert.Equal(t, night.Sent, set.get(t, id).State)
	assert.False(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Failed}), "what was sent stays sent")
}

func lateAcceptance(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	again := func() {
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			ok, err := tx.SendAgain(ctx, id, now.Add(time.Hour))
			require.NoError(t, err)
			require.True(t, ok)
		})
	}
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.InDoubt, Outcome: string(adapters.Unknown)}))
	again()
	assert.False(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Failed}), "only an acceptance does")
	assert.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Sent, Outcome: "accepted"}))
	assert.Equal(t, night.Sent, set.get(t, id).State)
	assert.Empty(t, set.claim(t, now, 1))

	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		failed, err := tx.ReceiptState(ctx, id, night.Failed, "the phone is off")
		require.NoError(t, err)
		require.True(t, failed)
	})
	again()
	assert.False(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Sent, Outcome: "accepted"}), "that answer was known")
	assert.Len(t, set.claim(t, now, 1), 1)
}

func abandoned(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		got, err := tx.Abandoned(ctx, now)
		require.NoError(t, err)
		assert.Empty(t, got, "the lease still runs")
		got, err = tx.Abandoned(ctx, now.Add(time.Minute))
		require.NoError(t, err)
		assert.Len(t, got, 1)
		got, err = tx.Abandoned(ctx, now.Add(-time.Minute))
		require.NoError(t, err)
		assert.Empty(t, got, "clocks may differ by as much as a lease lasts")
		got, err = tx.Abandoned(ctx, now.Add(-time.Minute-time.Millisecond))
		require.NoError(t, err)
		assert.Len(t, got, 1, "dated by a clock that was ahead, and would be under way for who knows how long")
	})
}

func retryLater(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Due, RetryAt: now.Add(time.Minute)}))
	assert.Empty(t, set.claim(t, now.Add(59*time.Second), 1))
	assert.Len(t, set.claim(t, now.Add(time.Minute), 1), 1)
}

// atOnce stores by a clock that is ten minutes ahead what goes at once: nobody who
// reads another clock waits for it.
func atOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	ahead := now.Add(10 * time.Minute)
	m := set.message(set.orders[0])
	m.DueAt, m.AtOnce = ahead, true
	id := set.add(t, m)
	later := set.message(set.orders[1])
	later.DueAt = ahead
	other := set.add(t, later)
	require.Len(t, set.claim(t, now, 10), 1, "the other has a time of its own")
	got := set.get(t, id)
	assert.True(t, got.AtOnce)
	assert.Equal(t, ahead, got.DueAt)

	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Due, At: ahead}), "called off before it went")
	assert.Len(t, set.claim(t, now, 10), 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 2, State: night.Failed, At: ahead}))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ok, err := tx.SendAgain(ctx, id, ahead)
		require.NoError(t, err)
		require.True(t, ok)
	})
	assert.Len(t, set.claim(t, now, 10), 1, "sent again by hand")
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 3, State: night.Failed, At: ahead}))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ok, err := tx.Reroute(ctx, id, night.Fall{Adapter: "texts", To: "+447700900001"})
		require.NoError(t, err)
		require.True(t, ok)
	})
	assert.Len(t, set.claim(t, now, 10), 1, "it takes another way")

	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		due := set.get(t, other)
		due.Text, due.AtOnce, due.DueAt = "sooner", true, ahead.Add(time.Minute)
		_, err := tx.Reword(ctx, due)
		require.NoError(t, err)
	})
	assert.Len(t, set.claim(t, now, 10), 1, "its time came")
}

// misdated settles by a clock that is ten minutes ahead a try that is to be made
// again after one minute.
func misdated(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	ahead := now.Add(10 * time.Minute)
	id := set.add(t, set.message(set.orders[0]))
	planned := set.message(set.orders[1])
	planned.DueAt = now.Add(time.Hour) // whatever a clock says, that is its time
	set.add(t, planned)
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Due, RetryAt: ahead.Add(time.Minute), At: ahead}))
	found := func(by time.Time) (ids []int64) {
		read(t, set.k, func(ctx context.Context, tx *store.Tx) {
			var err error
			ids, err = tx.Misdated(ctx, by)
			require.NoError(t, err)
		})
		return ids
	}
	assert.Empty(t, found(ahead), "whoever reads that clock waits a minute")
	require.Equal(t, []int64{id}, found(now))
	for range 2 { // the second time there is nothing to do
		write(t, set.k, func(ctx context.Context, tx *store.Tx) { require.NoError(t, tx.Redate(ctx, []int64{id}, now)) })
		assert.Empty(t, found(now))
	}
	assert.Empty(t, set.claim(t, now.Add(time.Minute-time.Millisecond), 10))
	assert.Len(t, set.claim(t, now.Add(time.Minute), 10), 1)
}

func droppedMakesRoom(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Dropped, Reason: "order K401 is now at 18:00"}))
	again := set.add(t, set.message(set.orders[0]))
	assert.NotEqual(t, id, again)
	assert.Equal(t, night.Dropped, set.get(t, id).State, "what was tried stays on record")
}

func withdrawn(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		gone, err := tx.Withdraw(ctx, id, night.Dropped, "cancelled", now)
		require.NoError(t, err)
		assert.True(t, gone)
		_, err = tx.Message(ctx, id)
		require.ErrorIs(t, err, night.ErrNotFound)
		gone, err = tx.Withdraw(ctx, id, night.Dropped, "cancelled", now)
		require.NoError(t, err)
		assert.False(t, gone)
	})
}

func receiptForward(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Sent, IDs: []string{"p1"}}))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		part, err := tx.PartByProviderID(ctx, "texts", "p1")
		require.NoError(t, err)
		assert.Equal(t, id, part.MessageID)
		_, err = tx.PartByProviderID(ctx, "other", "p1")
		require.ErrorIs(t, err, night.ErrNotFound)
		changed, err := tx.ReceiptState(ctx, id, night.Failed, "no such number")
		require.NoError(t, err)
		assert.True(t, changed)
		changed, err = tx.ReceiptState(ctx, id, night.Delivered, "")
		require.NoError(t, err)
		assert.True(t, changed)
		changed, err = tx.ReceiptState(ctx, id, night.Failed, "late")
		require.NoError(t, err)
		assert.False(t, changed, "delivered is the last word")
	})
}

func earlyReceipts(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	r := adapters.Receipt{ID: "p1", Status: adapters.Delivered, At: now}
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		require.NoError(t, tx.KeepReceipt(ctx, "texts", r))
		require.NoError(t, tx.KeepReceipt(ctx, "texts", r), "repeated")
		got, err := tx.TakeReceipts(ctx, "texts", []string{"p0", "p1"})
		require.NoError(t, err)
		assert.Equal(t, []adapters.Receipt{r}, got)
		got, err = tx.TakeReceipts(ctx, "texts", []string{"p1"})
		require.NoError(t, err)
		assert.Empty(t, got)
	})
}
