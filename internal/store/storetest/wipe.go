package storetest

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// wipe empties a night and leaves what is counted, what came later, and another
// kitchen's.
func wipe(t *testing.T, s *store.Store) {
	mine, other := Fill(t, s, "Larkfield Dumpling Kitchen"), Fill(t, s, "Another Kitchen")
	personal := func(k *store.Kitchen, nightID int64, before time.Time) (p night.Personal) {
		t.Helper()
		read(t, k, func(ctx context.Context, tx *store.Tx) {
			var err error
			p, err = tx.Personal(ctx, nightID, before)
			require.NoError(t, err)
		})
		return p
	}
	n, after := mine.Night, now.Add(time.Hour)
	all := night.Personal{Orders: 3, Messages: 3, Texts: 1, Events: 1, Helpers: 1} // of two events one names a helper
	require.Equal(t, all, personal(mine.Kitchen, n, after))
	assert.Equal(t, night.Personal{Orders: 3, Helpers: 1}, personal(mine.Kitchen, n, now.Add(-time.Hour)), "texts and events go by their own time")
	assert.Zero(t, personal(other.Kitchen, n, after), "another kitchen's ids lead nowhere")
	var before []night.Order
	read(t, mine.Kitchen, func(ctx context.Context, tx *store.Tx) {
		var err error
		before, err = tx.Orders(ctx, n)
		require.NoError(t, err)
	})
	for range 2 {
		write(t, other.Kitchen, func(ctx context.Context, tx *store.Tx) {
			p, err := tx.Wipe(ctx, n, after)
			require.NoError(t, err)
			assert.Zero(t, p, "another kitchen wipes nothing here")
		})
	}
	for _, want := range []night.Personal{all, {}} {
		write(t, mine.Kitchen, func(ctx context.Context, tx *store.Tx) {
			p, err := tx.Wipe(ctx, n, after)
			require.NoError(t, err)
			assert.Equal(t, want, p, "twice changes nothing")
		})
	}
	assert.Zero(t, personal(mine.Kitchen, n, after))
	assert.Equal(t, all, personal(other.Kitchen, other.Night, after))

	read(t, mine.Kitchen, func(ctx context.Context, tx *store.Tx) {
		orders, err := tx.Orders(ctx, n)
		require.NoError(t, err)
		require.Len(t, orders, len(before))
		for i, o := range orders {
			assert.Equal(t, night.Order{
				ID: o.ID, KitchenID: o.KitchenID, NightID: n, Ref: before[i].Ref, Slot: before[i].Slot, State: before[i].State, Items: []night.Item{},
				Revision: before[i].Revision + 1, // whoever holds it in memory has to look again
			}, o)
		}
		booked, err := tx.Booked(ctx, n)
		require.NoError(t, err)
		for _, o := range booked {
			assert.Zero(t, o)
		}
		messages, err := tx.Messages(ctx, n)
		require.NoError(t, err)
		states := map[night.MessageState]int{}
		for _, m := range messages {
			states[m.State]++
			assert.Empty(t, m.To+m.Text)
			assert.Equal(t, 1, m.Parts)
			assert.Len(t, m.Covers, 1)
		}
		assert.Equal(t, map[night.MessageState]int{night.Sent: 1, night.Missed: 2}, states, "what still waited can go nowhere any more")
		texts, err := tx.Inbounds(ctx, n)
		require.NoError(t, err)
		require.Len(t, texts, 1)
		assert.Equal(t, night.Settled, texts[0].State)
		assert.Len(t, texts[0].Orders, 2)
		opted, err := tx.OptedOut(ctx)
		require.NoError(t, err)
		assert.Len(t, opted, 1, "who asked for no more texts is not forgotten")
		events, err := tx.Events(ctx, n, 0, 10)
		require.NoError(t, err)
		require.Len(t, events, 2)
		for _, e := range events {
			assert.Empty(t, e.Why)
			assert.Equal(t, "cook", e.Who)
		}
	})
	empty, err := mine.Kitchen.Claim(t.Context(), "texts", after, after.Add(time.Minute), 10)
	require.NoError(t, err)
	assert.Empty(t, empty)

	// The same text once more is the one that was there.
	write(t, mine.Kitchen, func(ctx context.Context, tx *store.Tx) {
		_, added, err := tx.AddInbound(ctx, night.Inbound{Adapter: "texts", ProviderID: "in-1", From: "+447700900123", Text: "here", At: now})
		require.NoError(t, err)
		assert.False(t, added)
	})
}

// wipeInFlight leaves alone what is being sent and what is not read yet.
func wipeInFlight(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	require.Len(t, set.claim(t, now, 1), 1)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		_, _, err := tx.AddInbound(ctx, night.Inbound{Adapter: "texts", ProviderID: "in-1", From: "+447700900000", Text: "here", At: now})
		require.NoError(t, err)
	})
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		for _, n := range []int64{0, set.night} {
			p, err := tx.Wipe(ctx, n, now.Add(time.Hour))
			require.NoError(t, err)
			assert.Zero(t, p.Messages+p.Texts)
		}
	})
	assert.Equal(t, night.Sending, set.get(t, id).State)
	assert.True(t, set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.Sent, IDs: []string{"p1"}}))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		p, err := tx.Wipe(ctx, set.night, now.Add(time.Hour))
		require.NoError(t, err)
		assert.Equal(t, 1, p.Messages)
		_, err = tx.PartByProviderID(ctx, "texts", "p1")
		require.ErrorIs(t, err, night.ErrNotFound)
	})
}

// cleanUp forgets what ended, each after its time.
func cleanUp(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	ctx := t.Context()
	day := 24 * time.Hour
	clock := now
	sessions := set.k.Sessions(func() time.Time { return clock.Add(-day) }) // what has expired is still found where it is kept
	require.NoError(t, sessions.CommitCtx(ctx, "long", []byte("x"), now.Add(30*day)))
	require.NoError(t, sessions.CommitCtx(ctx, "short", []byte("x"), now))
	var ids []int64
	for _, name := range []string{"Sam", "Ida"} {
		id, err := set.k.AddHelper(ctx, night.Helper{NightID: set.night, Name: name, MadeAt: now, Expires: now.Add(time.Hour)}, "hash of "+name, "cook")
		require.NoError(t, err)
		ids = append(ids, id)
	}
	require.NoError(t, set.k.EndHelper(ctx, ids[0], "cook", now.Add(-day)))
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		require.NoError(t, tx.KeepReceipt(ctx, "texts", adapters.Receipt{ID: "old", Status: adapters.Delivered, At: now.Add(-8 * day)}))
		require.NoError(t, tx.KeepReceipt(ctx, "texts", adapters.Receipt{ID: "new", Status: adapters.Delivered, At: now.Add(-6 * day)}))
		require.NoError(t, tx.KeepReceipt(ctx, "texts", adapters.Receipt{ID: "none", Status: adapters.Delivered}))
	})
	helpers := func() (names []string) {
		t.Helper()
		list, err := set.k.Helpers(ctx, set.night)
		require.NoError(t, err)
		for _, h := range list {
			names = append(names, h.Name)
		}
		return names
	}
	_, ok, err := sessions.FindCtx(ctx, "short")
	require.NoError(t, err)
	require.True(t, ok)
	require.NoError(t, set.k.CleanUp(ctx, now))
	assert.Equal(t, []string{"Ida"}, helpers())
	_, ok, err = sessions.FindCtx(ctx, "short")
	require.NoError(t, err)
	assert.False(t, ok)
	_, ok, err = sessions.FindCtx(ctx, "long")
	require.NoError(t, err)
	assert.True(t, ok)

	require.NoError(t, set.k.CleanUp(ctx, now.Add(day)))
	assert.Equal(t, []string{"Ida"}, helpers())
	require.NoError(t, set.k.CleanUp(ctx, now.Add(day+time.Hour)))
	assert.Empty(t, helpers())
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		got, err := tx.TakeReceipts(ctx, "texts", []string{"old", "new", "none"})
		require.NoError(t, err)
		require.Len(t, got, 1, "one without a time counts from the first look on")
		assert.Equal(t, "none", got[0].ID)
	})
}
