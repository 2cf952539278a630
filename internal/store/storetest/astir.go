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

// astir looks at a kitchen between two others while one thing after the other
// happens in it.
func astir(t *testing.T, s *store.Store) {
	before, _ := several(t, s, 1)
	mine := set(t, s, 3)
	id, err := s.PutKitchen(t.Context(), night.Kitchen{Name: "Larkfield Dumpling Kitchen", Zone: time.UTC})
	require.NoError(t, err)
	other := night.Kitchen{ID: id, Zone: time.UTC}
	other.ID, err = s.PutKitchen(t.Context(), night.Kitchen{Name: "Another Kitchen", Zone: time.UTC})
	require.NoError(t, err)
	look := store.Look{Kitchen: night.Kitchen{ID: id, Zone: time.UTC}}
	stir := func(at time.Time) store.Stir {
		t.Helper()
		got, err := s.Astir(t.Context(), []store.Look{{Kitchen: before[0], Closes: true, Silent: now}, look, {Kitchen: other, Closes: true}}, at)
		require.NoError(t, err)
		if len(got) == 0 {
			return store.Stir{}
		}
		require.Len(t, got, 1)
		require.Equal(t, id, got[0].Kitchen)
		return got[0]
	}
	none, err := s.Astir(t.Context(), nil, now)
	require.NoError(t, err)
	assert.Empty(t, none)
	assert.Empty(t, stir(now))

	// Something happened.
	write(t, mine.k, func(ctx context.Context, tx *store.Tx) {
		require.NoError(t, tx.Log(ctx, night.Event{NightID: mine.night, At: now, Who: "cook", What: night.NightAdded}))
	})
	got := stir(now)
	assert.Equal(t, store.Stir{Kitchen: id, Event: got.Event}, got)
	read(t, mine.k, func(ctx context.Context, tx *store.Tx) {
		last, err := tx.LastEvent(ctx)
		require.NoError(t, err)
		assert.Equal(t, last, got.Event)
	})
	look.Seen = got.Event
	assert.Empty(t, stir(now))

	// A text is due, then under way, and then sent and not confirmed.
	m := mine.message(mine.orders[0])
	m.DueAt = now.Add(time.Minute)
	mine.add(t, m)
	assert.False(t, stir(now).Sends)
	assert.True(t, stir(now.Add(time.Minute)).Sends)
	claimed := mine.claim(t, now.Add(time.Minute), 1)
	require.Len(t, claimed, 1)
	assert.True(t, stir(now).Sends, "whoever sends it may be gone")
	ahead := now.Add(10 * time.Minute)
	require.True(t, mine.settle(t, night.Settlement{MessageID: claimed[0].ID, Attempt: 1, State: night.Due, RetryAt: ahead.Add(2 * time.Minute), Adapter: "texts", At: ahead}))
	assert.Empty(t, stir(ahead))
	assert.True(t, stir(now).Sends, "it waits by a clock that is ahead")
	claimed = mine.claim(t, ahead.Add(2*time.Minute), 1)
	require.Len(t, claimed, 1)
	require.True(t, mine.settle(t, night.Settlement{MessageID: claimed[0].ID, Attempt: 2, State: night.Sent, Adapter: "texts", At: now}))
	assert.Empty(t, stir(now))
	look.Silent = now.Add(-1)
	assert.Empty(t, stir(now))
	look.Silent = now
	assert.True(t, stir(now).Sends)
	over := time.Date(2026, 12, 5, 3, 30, 0, 0, time.UTC) // eight hours after the last slot
	assert.True(t, stir(over).Sends)
	assert.Empty(t, stir(over.Add(time.Second)), "the night is over")
	look.Silent = time.Time{}

	// A customer's text waits to be read.
	var in night.Inbound
	write(t, mine.k, func(ctx context.Context, tx *store.Tx) {
		text := aText()
		_, added, err := tx.AddInbound(ctx, text)
		require.NoError(t, err)
		require.True(t, added)
		fresh, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		in = fresh[0]
	})
	assert.Equal(t, store.Stir{Kitchen: id, Event: look.Seen, Reads: true}, stir(now))
	write(t, mine.k, func(ctx context.Context, tx *store.Tx) {
		in.State = night.Open
		_, err := tx.SaveInbound(ctx, in, night.Fresh)
		require.NoError(t, err)
	})
	assert.Empty(t, stir(now))

	// Orders should have been closed.
	look.Closes = true
	assert.Equal(t, store.Stir{Kitchen: id, Event: look.Seen, Closes: true}, stir(now))
	assert.True(t, stir(over).Closes)
	assert.Empty(t, stir(over.Add(time.Second)), "the night is over")
	n := aNight()
	n.ID = mine.night
	for closes, due := range map[time.Time]bool{now.Add(1e6): false, now: true, {}: false} {
		n.ClosesAt = closes
		write(t, mine.k, func(ctx context.Context, tx *store.Tx) { require.NoError(t, tx.SaveNight(ctx, n)) })
		assert.Equal(t, due, stir(now).Closes, closes)
	}
	n.ClosesAt, n.ClosedAt = now, now
	write(t, mine.k, func(ctx context.Context, tx *store.Tx) { require.NoError(t, tx.SaveNight(ctx, n)) })
	assert.Empty(t, stir(now))
}
