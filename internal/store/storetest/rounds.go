package storetest

import (
	"context"
	"errors"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// What is done to several rows in one statement is done as if one after the other.

func inboundsAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	text := func(id, words string) night.Inbound {
		return night.Inbound{Adapter: "texts", ProviderID: id, From: "+447700900123", To: "+447700900000", Text: words, At: now}
	}
	shared := text("in-4", "here")
	shared.Adapter, shared.Shared, shared.Silent = "other", 2, true
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ids, err := tx.AddInbounds(ctx, nil)
		require.NoError(t, err)
		assert.Empty(t, ids)
		ids, err = tx.AddInbounds(ctx, []night.Inbound{text("in-1", "here"), text("in-\x00", "black golf"), text("in-1", "a repeat")})
		require.NoError(t, err)
		assert.Less(t, ids[0], ids[1])
		assert.NotZero(t, ids[0])
		assert.Zero(t, ids[2])
		ids, err = tx.AddInbounds(ctx, []night.Inbound{text("in-\x00", "a repeat"), text("in-4", "thanks"), shared})
		require.NoError(t, err)
		assert.Zero(t, ids[0])
		assert.Less(t, ids[1], ids[2])
		waits, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		assert.Len(t, waits, 4, "before the transaction is kept too")
	})
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		fresh, err := tx.InboundsIn(ctx, night.Fresh)
		require.NoError(t, err)
		var words []string
		for _, in := range fresh {
			words = append(words, in.Text)
		}
		assert.Equal(t, []string{"here", "black golf", "thanks", "here"}, words)
		last := fresh[3]
		shared.ID, shared.KitchenID, shared.State, shared.Reading, shared.Corrected = last.ID, last.KitchenID, night.Fresh, []byte("{}"), []byte{}
		assert.Equal(t, shared, last)
	})
}

func inboundsSaved(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		ids, err := tx.AddInbounds(ctx, []night.Inbound{
			{Adapter: "texts", ProviderID: "1", At: now}, {Adapter: "texts", ProviderID: "2", At: now}, {Adapter: "texts", ProviderID: "3", At: now},
		})
		require.NoError(t, err)
		about := func(id int64, state night.InboundState, orders ...int64) night.Inbound {
			return night.Inbound{ID: id, NightID: set.night, State: state, Orders: orders, Why: "why", Reading: []byte(`{"intent":"here"}`)}
		}
		n, err := tx.SaveInbounds(ctx, []night.Inbound{about(ids[0], night.Open, set.orders[1], set.orders[0])}, night.Fresh)
		require.NoError(t, err)
		assert.Equal(t, 1, n)
		n, err = tx.SaveInbounds(ctx, []night.Inbound{
			about(ids[0], night.Applied), about(ids[1], night.Applied, set.orders[0]), about(ids[2], night.Open),
		}, night.Fresh)
		require.NoError(t, err)
		assert.Equal(t, 2, n, "one was read already")
		all, err := tx.Inbounds(ctx, set.night)
		require.NoError(t, err)
		require.Len(t, all, 3)
		assert.Equal(t, []int64{set.orders[1], set.orders[0]}, all[0].Orders)
		assert.Equal(t, night.Open, all[0].State)
		assert.Equal(t, []int64{set.orders[0]}, all[1].Orders)
		assert.Equal(t, `{"intent":"here"}`, string(all[1].Reading))
		assert.Empty(t, all[2].Orders)
	})
}

func ordersAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		require.NoError(t, tx.SaveOrders(ctx, nil))
		orders, err := tx.Orders(ctx, set.night)
		require.NoError(t, err)
		orders[0].State, orders[1].Note = night.Arrived, "red van"
		require.NoError(t, tx.SaveOrders(ctx, orders[:2]))
		after, err := tx.Orders(ctx, set.night)
		require.NoError(t, err)
		orders[0].Revision++
		orders[1].Revision++
		assert.Equal(t, orders, after)
	})
	err := set.k.Write(t.Context(), func(tx *store.Tx) error {
		orders, err := tx.Orders(t.Context(), set.night)
		require.NoError(t, err)
		orders[0].Revision-- // as somebody read it who was too slow
		return tx.SaveOrders(t.Context(), orders)
	})
	require.ErrorIs(t, err, night.ErrChanged)
}

// roundAtOnce is a round of texts as the desk writes it: two that came, what they
// did to an order, and their answers, beside a text that is planned.
func roundAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	var planned int64
	var came, answers []int64
	round := func(ctx context.Context, tx *store.Tx, first, second string, revision int) error {
		var err error
		came, err = tx.AddInbounds(ctx, []night.Inbound{{Adapter: "texts", ProviderID: first, At: now}, {Adapter: "texts", ProviderID: second, At: now}})
		require.NoError(t, err)
		o, err := tx.Order(ctx, set.orders[0])
		require.NoError(t, err)
		plan := set.message(set.orders[1])
		plan.Kind, plan.Revision = night.Update, revision
		ids, err := tx.AddMessages(ctx, []night.Message{plan})
		require.NoError(t, err)
		planned = ids[0]
		var read []night.Inbound
		var replies []night.Message
		for _, id := range came {
			read = append(read, night.Inbound{ID: id, NightID: set.night, State: night.Applied, Orders: set.orders[:1]})
			reply := set.message(set.orders[0])
			reply.Kind, reply.InboundID, reply.Revision, reply.AtOnce = night.Reply, id, int(id), true
			replies = append(replies, reply)
			require.NoError(t, tx.Log(ctx, night.Event{NightID: set.night, OrderID: set.orders[0], InboundID: id, At: now, Who: "customer", What: night.TextRead}))
		}
		n, err := tx.SaveInbounds(ctx, read, night.Fresh)
		require.NoError(t, err)
		require.Equal(t, 2, n)
		o.State, o.Revision = night.Arrived, revision
		if err := tx.SaveOrders(ctx, []night.Order{o}); err != nil {
			return err
		}
		if answers, err = tx.AddMessages(ctx, replies); err != nil {
			return err
		}
		_, err = tx.OrderChanges(ctx)
		return err
	}
	stands := func(inbounds, messages, events, revision int) {
		t.Helper()
		read(t, set.k, func(ctx context.Context, tx *store.Tx) {
			texts, err := tx.Inbounds(ctx, set.night)
			require.NoError(t, err)
			assert.Len(t, texts, inbounds)
			for _, in := range texts {
				assert.Equal(t, set.orders[:1], in.Orders)
				assert.Equal(t, night.Applied, in.State)
			}
			all, err := tx.Messages(ctx, set.night)
			require.NoError(t, err)
			assert.Len(t, all, messages)
			said, err := tx.EventsOf(ctx, set.orders[0])
			require.NoError(t, err)
			assert.Len(t, said, events)
			o, err := tx.Order(ctx, set.orders[0])
			require.NoError(t, err)
			assert.Equal(t, revision, o.Revision)
			stray, err := tx.Stray(ctx)
			require.NoError(t, err)
			assert.Empty(t, stray, "what is to be sent waits in the outbox")
		})
	}
	write(t, set.k, func(ctx context.Context, tx *store.Tx) { require.NoError(t, round(ctx, tx, "1", "2", 0)) })
	stands(2, 3, 2, 1)
	assert.Less(t, came[0], came[1])
	assert.Len(t, slices.Compact(slices.Sorted(slices.Values(append(answers, planned)))), 3, "no two have one id")
	for i, id := range answers {
		m := set.get(t, id)
		assert.Equal(t, came[i], m.InboundID)
		assert.Equal(t, []night.Cover{{OrderID: set.orders[0], Slot: 17 * 60}}, m.Covers)
	}

	// Somebody else changed the order meanwhile: nothing of the round is kept.
	err := set.k.Write(t.Context(), func(tx *store.Tx) error { return round(t.Context(), tx, "3", "4", 0) })
	require.ErrorIs(t, err, night.ErrChanged)
	stands(2, 3, 2, 1)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) { require.NoError(t, round(ctx, tx, "3", "4", 1)) })
	stands(4, 6, 4, 2)
}

func orderChanges(t *testing.T, s *store.Store) {
	set := set(t, s, 2)
	mine, other := set, kitchen(t, s, "Larkfield Ovens")
	before := night.Count{Changes: -1}
	changes := func(what string, change func(ctx context.Context, tx *store.Tx)) {
		t.Helper()
		write(t, mine.k, func(ctx context.Context, tx *store.Tx) {
			_, err := tx.OrderChanges(ctx)
			require.NoError(t, err)
			change(ctx, tx)
			after, err := tx.OrderChanges(ctx)
			require.NoError(t, err)
			assert.Greater(t, after.Changes, before.Changes, what)
			before = after
		})
	}
	changes("two orders", func(context.Context, *store.Tx) {})
	first := func(ctx context.Context, tx *store.Tx) night.Order {
		o, err := tx.Order(ctx, mine.orders[0])
		require.NoError(t, err)
		return o
	}
	changes("saved", func(ctx context.Context, tx *store.Tx) { require.NoError(t, tx.SaveOrder(ctx, first(ctx, tx))) })
	changes("moved", func(ctx context.Context, tx *store.Tx) {
		o := first(ctx, tx)
		require.NoError(t, tx.MoveOrders(ctx, []night.Stage{{OrderID: o.ID, State: night.Told, Revision: o.Revision}}))
	})
	changes("numbered", func(ctx context.Context, tx *store.Tx) {
		o := first(ctx, tx)
		o.Bag = 7
		require.NoError(t, tx.SetBags(ctx, []night.Order{o}))
	})
	changes("added", func(ctx context.Context, tx *store.Tx) {
		_, err := tx.AddOrder(ctx, anOrder(mine.night, "K-9", "", 17*60))
		require.NoError(t, err)
	})
	changes("wiped", func(ctx context.Context, tx *store.Tx) {
		_, err := tx.Wipe(ctx, mine.night, now.Add(time.Hour))
		require.NoError(t, err)
	})
	same := func(what string) {
		t.Helper()
		read(t, mine.k, func(ctx context.Context, tx *store.Tx) {
			after, err := tx.OrderChanges(ctx)
			require.NoError(t, err)
			assert.Equal(t, before.Changes, after.Changes, what)
		})
	}
	same("what was counted in a transaction stands after it")
	write(t, other, func(ctx context.Context, tx *store.Tx) {
		_, err := tx.AddNight(ctx, aNight())
		require.NoError(t, err)
	})
	same("another kitchen's changes are not counted")
	undone := errors.New("undone")
	require.ErrorIs(t, mine.k.Write(t.Context(), func(tx *store.Tx) error {
		require.NoError(t, tx.SaveOrder(t.Context(), first(t.Context(), tx)))
		return undone
	}), undone)
	same("a change that was undone is none")
}

// What is kept in memory of opt-outs, nights and own texts is never what somebody has
// changed meanwhile, and never what was undone.
func termsInMemory(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	opted := func(ctx context.Context, tx *store.Tx) []string {
		all, err := tx.OptedOut(ctx)
		require.NoError(t, err)
		return slices.Sorted(maps.Keys(all))
	}
	optOut := func(ctx context.Context, tx *store.Tx, address string) {
		_, err := tx.OptOut(ctx, address, now)
		require.NoError(t, err)
	}
	const one, two = "+447700900101", "+447700900102"
	read(t, set.k, func(ctx context.Context, tx *store.Tx) { assert.Empty(t, opted(ctx, tx)) })
	undone := errors.New("undone")
	require.ErrorIs(t, set.k.Write(t.Context(), func(tx *store.Tx) error {
		assert.Empty(t, opted(t.Context(), tx))
		optOut(t.Context(), tx, one)
		assert.Equal(t, []string{one}, opted(t.Context(), tx))
		return undone
	}), undone)
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		assert.Empty(t, opted(ctx, tx))
		optOut(ctx, tx, two) // counted as the one that was undone
	})
	read(t, set.k, func(ctx context.Context, tx *store.Tx) { assert.Equal(t, []string{two}, opted(ctx, tx)) })
	write(t, set.k, func(ctx context.Context, tx *store.Tx) {
		n, err := tx.Night(ctx, set.night)
		require.NoError(t, err)
		n.Place = "the village hall"
		require.NoError(t, tx.SaveNight(ctx, n))
		n, err = tx.Night(ctx, set.night)
		require.NoError(t, err)
		assert.Equal(t, "the village hall", n.Place)
		require.NoError(t, tx.SaveOwnText(ctx, night.OwnText{Name: "help", Words: "Ring the bell."}))
		own, err := tx.OwnTexts(ctx)
		require.NoError(t, err)
		assert.Len(t, own, 1)
		_, err = tx.DropOwnText(ctx, "help")
		require.NoError(t, err)
		own, err = tx.OwnTexts(ctx)
		require.NoError(t, err)
		assert.Empty(t, own)
		_, err = tx.OptIn(ctx, two)
		require.NoError(t, err)
	})
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		assert.Empty(t, opted(ctx, tx))
		nights, err := tx.Nights(ctx)
		require.NoError(t, err)
		assert.Equal(t, "the village hall", nights[0].Place)
		nights[0].Place = "elsewhere" // whoever asked may do with it what they like
		nights, err = tx.Nights(ctx)
		require.NoError(t, err)
		assert.Equal(t, "the village hall", nights[0].Place)
	})
}

func withdrawnAtOnce(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	tried := set.add(t, set.message(set.orders[0]))
	set.claim(t, now, 1)
	require.True(t, set.settle(t, night.Settlement{MessageID: tried, Attempt: 1, State: night.Due, RetryAt: now.Add(time.Minute)}))
	due, missed := set.add(t, set.message(set.orders[1])), set.add(t, set.message(set.orders[2]))
	all := []night.Withdrawal{
		{MessageID: tried, To: night.Dropped, Why: "cancelled"}, {MessageID: due, To: night.Dropped, Why: "cancelled"},
		{MessageID: missed, To: night.Missed, Why: "the slot is over"},
	}
	for _, want := range [][]bool{{true, true, true}, {false, false, false}} {
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			gone, err := tx.WithdrawAll(ctx, all, now)
			require.NoError(t, err)
			assert.Equal(t, want, gone)
		})
	}
	assert.Equal(t, night.Dropped, set.get(t, tried).State)
	assert.Equal(t, night.Missed, set.get(t, missed).State)
	read(t, set.k, func(ctx context.Context, tx *store.Tx) {
		_, err := tx.Message(ctx, due)
		require.ErrorIs(t, err, night.ErrNotFound)
	})
}
