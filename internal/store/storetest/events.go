package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

func events(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		for i := range 5 {
			require.NoError(t, tx.Log(ctx, night.Event{NightID: set.night, OrderID: set.orders[0], At: now, Who: "cook", What: night.StepTaken, Why: fmt.Sprint(i)}))
		}
		all, err := tx.Events(ctx, set.night, 0, 100)
		require.NoError(t, err)
		require.Len(t, all, 5)
		rest, err := tx.Events(ctx, set.night, all[1].ID, 2)
		require.NoError(t, err)
		assert.Equal(t, all[2:4], rest)
		last, err := tx.LastEvent(ctx)
		require.NoError(t, err)
		assert.Equal(t, all[4].ID, last)
		require.NoError(t, tx.Log(ctx, night.Event{NightID: set.night, OrderID: set.orders[0], At: now, Who: "cook", What: night.StepTaken, Why: "5"}))
		of, err := tx.EventsOf(ctx, set.orders[0])
		require.NoError(t, err)
		require.Len(t, of, 6, "also what was logged after the last look")
		assert.Equal(t, all, of[:5])
		require.NoError(t, tx.Log(ctx, night.Event{NightID: set.night, At: now, Who: "cook", What: night.StepTaken, Why: "6"}))
		p, err := tx.Personal(ctx, set.night, now.Add(time.Hour))
		require.NoError(t, err)
		assert.Equal(t, 7, p.Events, "and what is counted")
	})
	undone := errors.New("undone")
	require.ErrorIs(t, set.k.Write(t.Context(), func(tx *store.Tx) error {
		require.NoError(t, tx.Log(t.Context(), night.Event{NightID: set.night, At: now, Who: "cook", What: night.StepTaken, Why: "undone"}))
		return undone
	}), undone)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		all, err := tx.Events(ctx, set.night, 0, 100)
		require.NoError(t, err)
		require.Len(t, all, 7)
		for i, e := range all {
			assert.Equal(t, fmt.Sprint(i), e.Why)
		}
	})
}

func busy(t *testing.T, s *store.Store) {
	set := set(t, s, 68)
	for _, id := range set.orders[:60] {
		set.add(t, set.message(id))
	}
	claimed := set.claim(t, now, 60)
	require.Len(t, claimed, 60)
	var wg sync.WaitGroup
	for _, id := range set.orders[60:] { // eight people tick
		wg.Go(func() {
			for range 20 {
				err := set.k.Write(t.Context(), func(tx *store.Tx) error {
					o, err := tx.Order(t.Context(), id)
					if err != nil {
						return err
					}
					o.PackedAt = o.PackedAt.Add(time.Minute)
					return tx.SaveOrder(t.Context(), o)
				})
				assert.NoError(t, err)
			}
		})
	}
	for _, m := range claimed {
		wg.Go(func() {
			err := set.k.Write(t.Context(), func(tx *store.Tx) error {
				_, err := tx.Settle(t.Context(), []night.Settlement{{MessageID: m.ID, Attempt: 1, State: night.Sent, Adapter: "texts", At: now}})
				return err
			})
			assert.NoError(t, err)
		})
	}
	wg.Wait()
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		for _, id := range set.orders[60:] {
			o, err := tx.Order(ctx, id)
			require.NoError(t, err)
			assert.Equal(t, 20, o.Revision, "no tick is lost")
		}
	})
}
