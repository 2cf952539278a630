package storetest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// several stores so many kitchens and gives them with their ids.
func several(t *testing.T, s *store.Store, n int) (kitchens []night.Kitchen, ids []int64) {
	t.Helper()
	for i := range n {
		k := night.Kitchen{Name: fmt.Sprintf("Kitchen %d", i), Region: "GB", Zone: time.UTC}
		var err error
		k.ID, err = s.PutKitchen(t.Context(), k)
		require.NoError(t, err)
		kitchens, ids = append(kitchens, k), append(ids, k.ID)
	}
	return kitchens, ids
}

// expecting asks three kitchens for one customer, in every state of an order,
// before and after the night.
func expecting(t *testing.T, s *store.Store) {
	kitchens, _ := several(t, s, 3)
	const customer, mail = "+447700900123", "Bethan@larkfield.example"
	orders := map[int64]int64{}
	for i, k := range kitchens[:2] {
		write(t, s.Kitchen(k.ID), func(ctx context.Context, tx *store.Tx) {
			id, err := tx.AddNight(ctx, aNight())
			require.NoError(t, err)
			o := anOrder(id, "K401", customer, 17*60)
			o.State, o.Email = night.HandedOut, mail
			if i == 0 {
				o.State = night.Booked
			}
			orders[k.ID], err = tx.AddOrder(ctx, o)
			require.NoError(t, err)
			_, err = tx.AddOrder(ctx, anOrder(id, "K402", "", 17*60)) // nobody's number
			require.NoError(t, err)
		})
	}
	ask := func(address string, at time.Time, of ...night.Kitchen) []int64 {
		t.Helper()
		got, err := s.Expecting(t.Context(), of, address, at)
		require.NoError(t, err)
		return got
	}
	one, two := kitchens[0].ID, kitchens[1].ID
	assert.Equal(t, []int64{one}, ask(customer, now, kitchens...))
	assert.Equal(t, []int64{one}, ask("bethan@LARKFIELD.example", now, kitchens...), "by their address")
	assert.Empty(t, ask("+447700900999", now, kitchens...))
	assert.Empty(t, ask("", now, kitchens...), "an order without a number expects nobody")
	assert.Empty(t, ask(customer, now), "no kitchen was asked")
	assert.Empty(t, ask(customer, now, kitchens[1:]...), "only those are asked that are named")
	assert.Empty(t, ask("' OR 1=1 --\x00\xff", now, kitchens...))

	set := func(kitchen int64, to night.State) {
		write(t, s.Kitchen(kitchen), func(ctx context.Context, tx *store.Tx) {
			o, err := tx.Order(ctx, orders[kitchen])
			require.NoError(t, err)
			o.State = to
			require.NoError(t, tx.SaveOrder(ctx, o))
		})
	}
	for state, comes := range map[night.State]bool{
		night.Told: true, night.Reminded: true, night.Arrived: true, night.NotCollected: true, night.HandedOut: false, night.Cancelled: false,
	} {
		set(two, state)
		assert.Equal(t, comes, len(ask(customer, now, kitchens...)) == 2, state)
	}
	set(two, night.Booked)
	assert.Equal(t, []int64{two, one}, ask(customer, now, kitchens[1], kitchens[0], kitchens[2]), "in the order asked in")
	over := time.Date(2026, 12, 5, 3, 30, 0, 0, time.UTC) // eight hours after the last slot
	assert.Len(t, ask(customer, over, kitchens...), 2)
	assert.Empty(t, ask(customer, over.Add(time.Second), kitchens...), "the night is over")
}

// senders finds by a provider's id which kitchen sent a part.
func senders(t *testing.T, s *store.Store) {
	mine := set(t, s, 1)
	mine.add(t, mine.message(mine.orders[0]))
	m := mine.claim(t, now, 1)[0]
	require.True(t, mine.settle(t, night.Settlement{MessageID: m.ID, Attempt: 1, State: night.Sent, Adapter: "texts", IDs: []string{"p1", "p2"}}))
	_, others := several(t, s, 2)
	k, err := s.PutKitchen(t.Context(), night.Kitchen{Name: "Larkfield Dumpling Kitchen", Zone: time.UTC})
	require.NoError(t, err)
	got, err := s.Senders(t.Context(), append(others, k), "texts", []string{"p1", "unknown", "p2"})
	require.NoError(t, err)
	assert.Equal(t, map[string]int64{"p1": k, "p2": k}, got)
	got, err = s.Senders(t.Context(), append(others, k), "another", []string{"p1"})
	require.NoError(t, err)
	assert.Empty(t, got)
	got, err = s.Senders(t.Context(), others, "texts", []string{"p1"})
	require.NoError(t, err)
	assert.Empty(t, got, "only those are asked that are named")
}

var errPower = errors.New("the power failed")

func aText() night.Inbound {
	return night.Inbound{Adapter: "texts", ProviderID: "in-1", From: "+447700900123", To: "+447700900100", Text: "here", At: now}
}

// eachOrNone stores a text for three kitchens, with the power failing after the
// second, and then again twice.
func eachOrNone(t *testing.T, s *store.Store) {
	_, ids := several(t, s, 3)
	count := func() (n int) {
		for _, id := range ids {
			read(t, s.Kitchen(id), func(ctx context.Context, tx *store.Tx) {
				in, err := tx.InboundsIn(ctx, night.Fresh)
				require.NoError(t, err)
				n += len(in)
			})
		}
		return n
	}
	err := s.WriteEach(t.Context(), ids, func(k int64, tx *store.Tx) error {
		if k == ids[2] {
			return errPower
		}
		_, _, err := tx.AddInbound(t.Context(), aText())
		return err
	})
	require.ErrorIs(t, err, errPower)
	assert.Zero(t, count())
	var seen []int64
	for range 2 {
		require.NoError(t, s.WriteEach(t.Context(), []int64{ids[2], ids[0], ids[1]}, func(k int64, tx *store.Tx) error {
			held, err := tx.Held(t.Context(), ids, "texts", "in-1")
			require.NoError(t, err)
			assert.Equal(t, len(seen) > 0, held, "in the middle of it too")
			seen = append(seen, k)
			in := aText()
			in.Shared, in.Silent = 2, k != ids[2]
			_, _, err = tx.AddInbound(t.Context(), in)
			return err
		}))
	}
	assert.Equal(t, []int64{ids[2], ids[0], ids[1]}, seen[:3], "in the order given")
	assert.Equal(t, 3, count())
	for _, id := range ids {
		read(t, s.Kitchen(id), func(ctx context.Context, tx *store.Tx) {
			in, err := tx.InboundsIn(ctx, night.Fresh)
			require.NoError(t, err)
			require.Len(t, in, 1)
			assert.Equal(t, id, in[0].KitchenID)
			assert.Equal(t, 2, in[0].Shared)
			assert.Equal(t, id != ids[2], in[0].Silent)
			held, err := tx.Held(ctx, ids, "texts", "in-2")
			require.NoError(t, err)
			assert.False(t, held)
			held, err = tx.Held(ctx, ids, "another", "in-1")
			require.NoError(t, err)
			assert.False(t, held)
			again, err := tx.InboundsIn(ctx, night.Fresh)
			require.NoError(t, err)
			assert.Len(t, again, 1, "asking the others leaves the transaction in its kitchen")
		})
	}
}

// eachAtOnce delivers one text eight times at once, each delivery to kitchens in
// another order: no two wait for each other, and each kitchen has it once.
func eachAtOnce(t *testing.T, s *store.Store) {
	_, ids := several(t, s, 4)
	var done sync.WaitGroup
	errs := make([]error, 8)
	for i := range errs {
		order := append(slices.Clone(ids[i%4:]), ids[:i%4]...)
		done.Go(func() {
			held := false
			errs[i] = s.WriteEach(t.Context(), order, func(k int64, tx *store.Tx) (err error) {
				if k == order[0] {
					if held, err = tx.Held(t.Context(), ids, "texts", "in-1"); err != nil {
						return err
					}
				}
				if held {
					return nil
				}
				_, added, err := tx.AddInbound(t.Context(), aText())
				if err == nil && !added {
					err = errors.New("it was there already, and nobody saw it")
				}
				return err
			})
		})
	}
	done.Wait()
	for i, err := range errs {
		require.NoError(t, err, i)
	}
}

// earlyForNobody keeps receipts of which nobody knows yet whose they are.
func earlyForNobody(t *testing.T, s *store.Store) {
	_, ids := several(t, s, 2)
	r := adapters.Receipt{ID: "p1", Status: adapters.Delivered, Reason: "ok"}
	long, short := now.Add(-time.Hour), now.Add(-time.Minute)
	require.NoError(t, s.KeepEarly(t.Context(), "texts", adapters.Receipt{ID: "p0", Status: adapters.Failed}, long, long))
	for range 2 {
		require.NoError(t, s.KeepEarly(t.Context(), "texts", r, now, long))
	}
	got, err := s.Early(t.Context(), "texts")
	require.NoError(t, err)
	r.At = now
	assert.Equal(t, []adapters.Receipt{{ID: "p0", Status: adapters.Failed, At: long}, r}, got, "the time is when it was kept")
	for _, id := range ids {
		write(t, s.Kitchen(id), func(ctx context.Context, tx *store.Tx) {
			taken, err := tx.TakeReceipts(ctx, "texts", []string{"p0", "p1"})
			require.NoError(t, err)
			assert.Empty(t, taken)
		})
	}
	got, err = s.Early(t.Context(), "another")
	require.NoError(t, err)
	assert.Empty(t, got)
	require.NoError(t, s.KeepEarly(t.Context(), "texts", r, now, short))
	require.NoError(t, s.ForgetEarly(t.Context(), "texts", []string{"p2"}))
	got, err = s.Early(t.Context(), "texts")
	require.NoError(t, err)
	assert.Equal(t, []adapters.Receipt{r}, got, "what is too old was forgotten")
	require.NoError(t, s.ForgetEarly(t.Context(), "texts", []string{"p1"}))
	got, err = s.Early(t.Context(), "texts")
	require.NoError(t, err)
	assert.Empty(t, got)
}
