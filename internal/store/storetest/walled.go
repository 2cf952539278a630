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

// walled tries what one kitchen has with the ids of another.
func walled(t *testing.T, s *store.Store) {
	mine := set(t, s, 1)
	message := mine.add(t, mine.message(mine.orders[0]))
	var inbound int64
	write(t, mine.k, func(ctx context.Context, tx *store.Tx) {
		var err error
		inbound, _, err = tx.AddInbound(ctx, night.Inbound{Adapter: "texts", ProviderID: "x", From: "+447700900001", Text: "hi", At: now})
		require.NoError(t, err)
		_, err = tx.OptOut(ctx, "+447700900001", now)
		require.NoError(t, err)
		require.NoError(t, tx.Log(ctx, night.Event{NightID: mine.night, OrderID: mine.orders[0], At: now, Who: "cook", What: night.OrderAdded}))
		require.NoError(t, tx.KeepReceipt(ctx, "texts", adapters.Receipt{ID: "p1", Status: adapters.Delivered}))
	})
	other := kitchen(t, s, "Another Kitchen")

	got, err := other.Claim(t.Context(), "texts", now, now.Add(time.Minute), 10)
	require.NoError(t, err)
	assert.Empty(t, got, "claim")
	write(t, other, func(ctx context.Context, tx *store.Tx) {
		none := func(what string, n int, err error) {
			t.Helper()
			require.NoError(t, err, what)
			assert.Zero(t, n, what)
		}
		never := func(what string, done bool, err error) {
			t.Helper()
			require.NoError(t, err, what)
			assert.False(t, done, what)
		}
		_, err := tx.Night(ctx, mine.night)
		require.ErrorIs(t, err, night.ErrNotFound)
		_, err = tx.Order(ctx, mine.orders[0])
		require.ErrorIs(t, err, night.ErrNotFound)
		_, err = tx.OrderByRef(ctx, mine.night, "K401")
		require.ErrorIs(t, err, night.ErrNotFound)
		_, err = tx.Message(ctx, message)
		require.ErrorIs(t, err, night.ErrNotFound)
		_, err = tx.Inbound(ctx, inbound)
		require.ErrorIs(t, err, night.ErrNotFound)
		require.ErrorIs(t, tx.SaveOrder(ctx, night.Order{ID: mine.orders[0], Ref: "K401"}), night.ErrChanged)

		nights, err := tx.Nights(ctx)
		none("nights", len(nights), err)
		orders, err := tx.Orders(ctx, mine.night)
		none("orders", len(orders), err)
		orders, err = tx.Household(ctx, mine.night, mine.orders)
		none("household", len(orders), err)
		stand, err := tx.Stages(ctx, mine.orders)
		none("stages", len(stand), err)
		was, err := tx.Booked(ctx, mine.night)
		none("booked", len(was), err)
		messages, err := tx.Messages(ctx, mine.night)
		none("messages", len(messages), err)
		messages, err = tx.MessagesAbout(ctx, mine.orders)
		none("messages about", len(messages), err)
		messages, err = tx.Abandoned(ctx, now.Add(time.Hour))
		none("abandoned", len(messages), err)
		waiting, err := tx.Misdated(ctx, time.Time{})
		none("misdated", len(waiting), err)
		messages, err = tx.Unconfirmed(ctx, "texts", now.Add(time.Hour))
		none("unconfirmed", len(messages), err)
		texts, err := tx.Inbounds(ctx, 0)
		none("texts", len(texts), err)
		texts, err = tx.InboundsIn(ctx, night.Fresh)
		none("fresh texts", len(texts), err)
		opted, err := tx.OptedOut(ctx)
		none("opt-outs", len(opted), err)
		happened, err := tx.Events(ctx, mine.night, 0, 10)
		none("events", len(happened), err)
		happened, err = tx.EventsOf(ctx, mine.orders[0])
		none("events of an order", len(happened), err)
		receipts, err := tx.TakeReceipts(ctx, "texts", []string{"p1"})
		none("receipts", len(receipts), err)
		last, err := tx.LastEvent(ctx)
		none("last event", int(last), err)

		done, err := tx.Reword(ctx, night.Message{ID: message})
		never("reword", done, err)
		done, err = tx.Withdraw(ctx, message, night.Dropped, "", now)
		never("withdraw", done, err)
		done, err = tx.SendAgain(ctx, message, now)
		never("send again", done, err)
		done, err = tx.SetMessageState(ctx, message, []night.MessageState{night.Due}, night.Failed, "", now)
		never("set state", done, err)
		settled, err := tx.Settle(ctx, []night.Settlement{{MessageID: message, Attempt: 0, State: night.Failed, At: now}})
		never("settle", settled[0] != "", err)
		trials, err := tx.Trials(ctx, []int64{message})
		none("trials", len(trials), err)
		stands, err := tx.Standing(ctx, message)
		never("standing", stands != "", err)
		done, err = tx.SaveInbound(ctx, night.Inbound{ID: inbound, State: night.Settled}, night.Fresh)
		never("save inbound", done, err)
		done, err = tx.OptIn(ctx, "+447700900001")
		never("opt in", done, err)
		done, err = tx.Reroute(ctx, message, night.Fall{Adapter: "other", To: "x"})
		never("reroute", done, err)
		require.NoError(t, tx.Redate(ctx, []int64{message}, time.Time{}))
		require.NoError(t, tx.Uncover(ctx, message))
		require.NoError(t, tx.SaveNight(ctx, night.Night{ID: mine.night}))
		require.NoError(t, tx.SetBooked(ctx, mine.orders[0], night.Order{}))
	})
	for what, change := range map[string]func(tx *store.Tx) error{
		"move": func(tx *store.Tx) error {
			return tx.MoveOrders(t.Context(), []night.Stage{{OrderID: mine.orders[0], State: night.Told}})
		},
		"number bags": func(tx *store.Tx) error {
			return tx.SetBags(t.Context(), []night.Order{{ID: mine.orders[0], Bag: 7}})
		},
		"save": func(tx *store.Tx) error {
			return tx.SaveOrders(t.Context(), []night.Order{{ID: mine.orders[0], Ref: "K401"}})
		},
	} {
		require.ErrorIs(t, other.Write(t.Context(), change), night.ErrChanged, what)
	}
	m := mine.get(t, message)
	assert.Equal(t, night.Due, m.State)
	assert.Len(t, m.Covers, 1, "uncover")
	read(t, mine.k, func(ctx context.Context, tx *store.Tx) {
		n, err := tx.Night(ctx, mine.night)
		require.NoError(t, err)
		assert.Equal(t, "5 Mill Lane", n.Place)
		was, err := tx.Booked(ctx, mine.night)
		require.NoError(t, err)
		assert.Equal(t, "K401", was[mine.orders[0]].Ref)
	})
}
