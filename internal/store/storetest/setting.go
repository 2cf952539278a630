package storetest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// kitchen stores a kitchen and gives its part of the database.
func kitchen(t *testing.T, s *store.Store, name string) *store.Kitchen {
	t.Helper()
	id, err := s.PutKitchen(t.Context(), night.Kitchen{Name: name, Region: "GB", Zone: time.UTC, Quiet: night.Quiet{From: 21 * 60, To: 8 * 60}})
	require.NoError(t, err)
	return s.Kitchen(id)
}

func aNight() night.Night {
	return night.Night{
		Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30, Every: 10, Capacity: 6,
		Place: "5 Mill Lane", Parking: "in the yard", ClosesAt: now.Add(-72 * time.Hour), InstructAt: now.Add(-72 * time.Hour),
		RemindBefore: 5 * time.Hour, RemindFrom: 9 * 60,
	}
}

func anOrder(nightID int64, ref, phone string, slot night.Clock) night.Order {
	return night.Order{
		NightID: nightID, Ref: ref, Name: "Bethan Cadwgan", Phone: phone, PhoneTyped: phone, Slot: slot, State: night.Booked,
		Items: []night.Item{{Qty: 2, Name: "Pork bao", Kind: night.Hot}}, Note: "by the gate", Allergy: "nuts",
	}
}

// setting is a kitchen with a night and orders.
type setting struct {
	k      *store.Kitchen
	night  int64
	orders []int64
}

func set(t *testing.T, s *store.Store, orders int) setting {
	t.Helper()
	out := setting{k: kitchen(t, s, "Larkfield Dumpling Kitchen")}
	write(t, out.k, func(ctx context.Context, tx *store.Tx) {
		var err error
		out.night, err = tx.AddNight(ctx, aNight())
		require.NoError(t, err)
		for i := range orders {
			id, err := tx.AddOrder(ctx, anOrder(out.night, fmt.Sprintf("K%d", 401+i), fmt.Sprintf("+447700900%03d", i), 17*60))
			require.NoError(t, err)
			out.orders = append(out.orders, id)
		}
	})
	return out
}

func (s setting) message(covers ...int64) night.Message {
	m := night.Message{
		NightID: s.night, Kind: night.Instructions, To: "+447700900000", Text: "come", Parts: 1,
		DueAt: now.Add(-time.Minute), ExpiresAt: now.Add(time.Hour), Place: "5 Mill Lane",
	}
	for _, id := range covers {
		m.Covers = append(m.Covers, night.Cover{OrderID: id, Slot: 17 * 60})
	}
	return m
}

func write(t *testing.T, k *store.Kitchen, fn func(ctx context.Context, tx *store.Tx)) {
	t.Helper()
	require.NoError(t, k.Write(t.Context(), func(tx *store.Tx) error {
		fn(t.Context(), tx)
		stray, err := tx.Stray(t.Context())
		assert.Empty(t, stray, "the outbox holds what is due")
		return err
	}))
}

func read(t *testing.T, k *store.Kitchen, fn func(ctx context.Context, tx *store.Tx)) {
	t.Helper()
	require.NoError(t, k.Read(t.Context(), func(tx *store.Tx) error { fn(t.Context(), tx); return nil }))
}

func (s setting) add(t *testing.T, m night.Message) int64 {
	t.Helper()
	var id int64
	write(t, s.k, func(ctx context.Context, tx *store.Tx) {
		var added bool
		var err error
		id, added, err = tx.AddMessage(ctx, m)
		require.NoError(t, err)
		require.True(t, added)
	})
	return id
}

func (s setting) get(t *testing.T, id int64) night.Message {
	t.Helper()
	var m night.Message
	read(t, s.k, func(ctx context.Context, tx *store.Tx) {
		var err error
		m, err = tx.Message(ctx, id)
		require.NoError(t, err)
	})
	return m
}

func (s setting) claim(t *testing.T, at time.Time, limit int) []night.Message {
	t.Helper()
	out, err := s.k.Claim(t.Context(), "texts", at, at.Add(time.Minute), limit)
	require.NoError(t, err)
	return out
}

func (s setting) settle(t *testing.T, st night.Settlement) bool {
	t.Helper()
	return s.became(t, st) != ""
}

// became settles and gives the state that the message is in then.
func (s setting) became(t *testing.T, st night.Settlement) (state night.MessageState) {
	t.Helper()
	write(t, s.k, func(ctx context.Context, tx *store.Tx) {
		if st.Adapter = "texts"; st.At.IsZero() {
			st.At = now
		}
		all, err := tx.Settle(ctx, []night.Settlement{st})
		require.NoError(t, err)
		state = all[0]
	})
	return state
}
