package storetest

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// Fill gives a kitchen something in every table.
func Fill(t *testing.T, s *store.Store, name string) Filled {
	t.Helper()
	k := kitchen(t, s, name)
	out := setting{k: k}
	write(t, k, func(ctx context.Context, tx *store.Tx) {
		var err error
		out.night, err = tx.AddNight(ctx, aNight())
		require.NoError(t, err)
		for _, ref := range []string{"K401", "K402", "Ł-9"} {
			id, err := tx.AddOrder(ctx, anOrder(out.night, ref, "+447700900123", 17*60))
			require.NoError(t, err)
			out.orders = append(out.orders, id)
		}
	})
	for _, o := range out.orders {
		out.add(t, out.message(o))
	}
	m := out.claim(t, now, 1)[0]
	require.True(t, out.settle(t, night.Settlement{MessageID: m.ID, Attempt: 1, State: night.Sent, IDs: []string{name + " p1"}}))
	write(t, k, func(ctx context.Context, tx *store.Tx) {
		require.NoError(t, tx.KeepReceipt(ctx, "texts", adapters.Receipt{ID: "early", Status: adapters.Delivered, At: now}))
		id, _, err := tx.AddInbound(ctx, night.Inbound{Adapter: "texts", ProviderID: "in-1", From: "+447700900123", Text: "here 🚗 “now”", At: now})
		require.NoError(t, err)
		in, err := tx.Inbound(ctx, id)
		require.NoError(t, err)
		in.NightID, in.State, in.Orders = out.night, night.Open, out.orders[:2]
		_, err = tx.SaveInbound(ctx, in, night.Fresh)
		require.NoError(t, err)
		_, err = tx.OptOut(ctx, "+447700900124", now)
		require.NoError(t, err)
		require.NoError(t, tx.Log(ctx, night.Event{NightID: out.night, OrderID: out.orders[0], At: now, Who: "cook", What: night.OrderAdded}))
		require.NoError(t, tx.SaveOwnText(ctx, night.OwnText{Name: "reminder", Words: "See you at {{.Slot}}", At: now, By: "cook"}))
		require.NoError(t, tx.SetMapping(ctx, "a shape", map[string]string{"Customer": "name"}))
		require.NoError(t, tx.SeeProblem(ctx, out.night, "row 3: no number"))
	})
	require.NoError(t, k.Sessions(func() time.Time { return now }).CommitCtx(t.Context(), "token", []byte{0, 1, 255}, now.Add(time.Hour)))
	_, err := k.AddHelper(t.Context(), night.Helper{NightID: out.night, Name: "Sam", MadeAt: now, Expires: now.Add(time.Hour)}, "hash of "+name, "cook")
	require.NoError(t, err)
	_, _, err = k.Grant(t.Context(), "an instance", time.Hour)
	require.NoError(t, err)
	_, err = k.Secret(t.Context(), "links", []byte{0, 200, 255})
	require.NoError(t, err)
	return Filled{k, out.night}
}

// Filled is a kitchen that has something in every table.
type Filled struct {
	Kitchen *store.Kitchen
	Night   int64
}
