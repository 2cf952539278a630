package storetest

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

func orderRoundTrip(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	want := anOrder(set.night, "007", "+447700900123", 17*60)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		var err error
		want.ID, err = tx.AddOrder(ctx, want)
		require.NoError(t, err)
		want.Collector, want.Behind = "Ron next door", 15
		want.State, want.PackedAt, want.ExpectedAt = night.Arrived, now, now.Add(time.Minute)
		want.Vehicle = night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"}
		want.Arrival = night.Arrival{At: now, Spot: "by the gate"}
		want.Items = []night.Item{
			{Qty: 2, Name: "Pork bao", Kind: night.Hot, Ticked: true}, {Qty: 3, Name: "Chilli oil", Kind: night.Extra, Short: 1, AtGate: true},
		}
		require.NoError(t, tx.SaveOrder(ctx, want))
	})
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		got, err := tx.Order(ctx, want.ID)
		require.NoError(t, err)
		want.KitchenID, want.Revision = got.KitchenID, 1
		assert.Equal(t, want, got)
		booked, err := tx.Booked(ctx, set.night)
		require.NoError(t, err)
		assert.Equal(t, []night.Item{{Qty: 2, Name: "Pork bao", Kind: night.Hot}}, booked[want.ID].Items, "marks are none of the book's")
	})
}

func staleOrder(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		o, err := tx.Order(ctx, set.orders[0])
		require.NoError(t, err)
		require.NoError(t, tx.SaveOrder(ctx, o))
		require.ErrorIs(t, tx.SaveOrder(ctx, o), night.ErrChanged)
	})
}

func rollback(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	boom := errors.New("boom")
	err := set.k.Write(t.Context(), func(tx *store.Tx) error {
		if _, err := tx.AddOrder(t.Context(), anOrder(set.night, "K1", "", 17*60)); err != nil {
			return err
		}
		return boom
	})
	require.ErrorIs(t, err, boom)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		orders, err := tx.Orders(ctx, set.night)
		require.NoError(t, err)
		assert.Empty(t, orders)
	})
}

func refCase(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		o, err := tx.OrderByRef(ctx, set.night, "k401")
		require.NoError(t, err)
		assert.Equal(t, set.orders[0], o.ID)
	})
}

func household(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		second, err := tx.AddOrder(ctx, anOrder(set.night, "K499", "+447700900000", 18*60))
		require.NoError(t, err)
		var none []int64
		for _, ref := range []string{"N1", "N2"} {
			id, err := tx.AddOrder(ctx, anOrder(set.night, ref, "", 18*60))
			require.NoError(t, err)
			none = append(none, id)
		}
		got, err := tx.Household(ctx, set.night, []int64{second})
		require.NoError(t, err)
		require.Len(t, got, 2)
		assert.Equal(t, []int64{set.orders[0], second}, []int64{got[0].ID, got[1].ID})
		got, err = tx.Household(ctx, set.night, none[:1])
		require.NoError(t, err)
		assert.Len(t, got, 1, "having no number is nothing in common")
	})
}

func booked(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		o, err := tx.Order(ctx, set.orders[0])
		require.NoError(t, err)
		o.Slot = 18 * 60
		require.NoError(t, tx.SaveOrder(ctx, o))
		was, err := tx.Booked(ctx, set.night)
		require.NoError(t, err)
		assert.Equal(t, night.Clock(17*60), was[o.ID].Slot)
		o.Slot = 19 * 60
		require.NoError(t, tx.SetBooked(ctx, o.ID, o))
		was, err = tx.Booked(ctx, set.night)
		require.NoError(t, err)
		assert.Equal(t, night.Clock(19*60), was[o.ID].Slot)
	})
}
