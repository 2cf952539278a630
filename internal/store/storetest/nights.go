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

func nightRoundTrip(t *testing.T, s *store.Store) {
	k := kitchen(t, s, "Larkfield")
	want := aNight()
	write(t, k, func(ctx context.Context, tx *store.Tx) {
		var err error
		want.ID, err = tx.AddNight(ctx, want)
		require.NoError(t, err)
		want.ClosedAt, want.CalledOff = now, now.Add(time.Hour)
		require.NoError(t, tx.SaveNight(ctx, want))
	})
	read(t, k, func(ctx context.Context, tx *store.Tx) {
		got, err := tx.Night(ctx, want.ID)
		require.NoError(t, err)
		want.KitchenID = got.KitchenID
		assert.Equal(t, want, got)
	})
}

func secondNight(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	err := set.k.Write(t.Context(), func(tx *store.Tx) error {
		_, err := tx.AddNight(t.Context(), aNight())
		return err
	})
	var taken *night.TakenError
	require.ErrorAs(t, err, &taken)
	assert.Contains(t, err.Error(), "2026-12-04")
}

func sameKitchen(t *testing.T, s *store.Store) {
	k := night.Kitchen{Name: "Larkfield", Region: "GB", Zone: time.UTC}
	first, err := s.PutKitchen(t.Context(), k)
	require.NoError(t, err)
	k.Number = "+447700900100"
	again, err := s.PutKitchen(t.Context(), k)
	require.NoError(t, err)
	assert.Equal(t, first, again)
}
