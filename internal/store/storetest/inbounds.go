package storetest

import (
	"context"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

func inboundOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	var mu sync.Mutex
	stored := 0
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			err := set.k.Write(t.Context(), func(tx *store.Tx) error {
				_, added, err := tx.AddInbound(t.Context(), night.Inbound{Adapter: "texts", ProviderID: "in-1", From: "+447700900123", Text: "here", At: now})
				if added {
					mu.Lock()
					stored++
					mu.Unlock()
				}
				return err
			})
			assert.NoError(t, err)
		})
	}
	wg.Wait()
	assert.Equal(t, 1, stored)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		fresh, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		assert.Len(t, fresh, 1)
	})
}

func inboundOrders(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		id, added, err := tx.AddInbound(ctx, night.Inbound{Adapter: "texts", ProviderID: "x", From: "+447700900001", Text: "hi", At: now})
		require.NoError(t, err)
		require.True(t, added)
		in, err := tx.Inbound(ctx, id)
		require.NoError(t, err)
		in.NightID, in.State, in.Why = set.night, night.Open, "two could be meant"
		in.Orders = []int64{set.orders[2], set.orders[0]}
		ok, err := tx.SaveInbound(ctx, in, night.Fresh)
		require.NoError(t, err)
		require.True(t, ok)
		ok, err = tx.SaveInbound(ctx, in, night.Fresh)
		require.NoError(t, err)
		assert.False(t, ok, "it is no longer fresh")
		got, err := tx.Inbounds(ctx, set.night)
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.Equal(t, in.Orders, got[0].Orders)
	})
}

func optOut(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		for _, want := range []bool{true, false} {
			isNew, err := tx.OptOut(ctx, "+447700900123", now)
			require.NoError(t, err)
			assert.Equal(t, want, isNew)
		}
		opted, err := tx.OptedOut(ctx)
		require.NoError(t, err)
		assert.Equal(t, map[string]bool{"+447700900123": true}, opted)
		for _, want := range []bool{true, false} {
			had, err := tx.OptIn(ctx, "+447700900123")
			require.NoError(t, err)
			assert.Equal(t, want, had)
		}
	})
}

// anyBytes stores what some databases can't keep in a text: nothing that a
// customer sends may be refused for ever.
func anyBytes(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		in := night.Inbound{Adapter: "texts", ProviderID: strings.Repeat("long", 2000), From: "+447700900001", Text: "here\x00 in \xff red", At: now}
		for _, fresh := range []bool{true, false} {
			_, added, err := tx.AddInbound(ctx, in)
			require.NoError(t, err)
			assert.Equal(t, fresh, added)
		}
		got, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.Equal(t, "here\uFFFD in \uFFFD red", got[0].Text)
	})
}
