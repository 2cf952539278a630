// Package storetest is the one suite that the store must pass on every kind of
// database.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// now is the moment at which the suite's nights are worked on.
var now = time.Date(2026, 12, 4, 16, 0, 0, 0, time.UTC)

// Run checks every rule on databases that open gives, a fresh one each time.
func Run(t *testing.T, open func(t *testing.T) *store.Store) {
	t.Helper()
	tests := map[string]func(t *testing.T, s *store.Store){
		"a night comes back as it was stored":                        nightRoundTrip,
		"a second night on a date is refused":                        secondNight,
		"an order comes back as it was stored":                       orderRoundTrip,
		"an order that somebody else changed is not overwritten":     staleOrder,
		"a failed transaction leaves nothing":                        rollback,
		"a message exists once for each order that it covers":        messageOnce,
		"a claim puts the attempt on record and is taken once":       claimOnce,
		"eight claimers share the due messages without a double":     claimersShare,
		"a settle of an old attempt counts for nothing":              oldAttempt,
		"an attempt given up in doubt may still report":              lateReport,
		"a late acceptance stops a second try that did not begin":    lateAcceptance,
		"an attempt whose lease ran out is found":                    abandoned,
		"many settle at once as each would alone":                    settledMany,
		"many messages are added at once, each once":                 addedMany,
		"many orders move on at once":                                movedMany,
		"a message that is tried later is not due before":            retryLater,
		"what goes at once waits for nobody's clock":                 atOnce,
		"a wait that was dated by a clock ahead begins now":          misdated,
		"a dropped message makes room for a new one":                 droppedMakesRoom,
		"a withdrawn message that was never tried is forgotten":      withdrawn,
		"what left the house is not forgotten with the next try":     earlier,
		"a receipt moves a message forward only":                     receiptForward,
		"receipts that came early are given once":                    earlyReceipts,
		"the same inbound twenty times at once is one":               inboundOnce,
		"an inbound keeps its orders in the order of likelihood":     inboundOrders,
		"opting out and in":                                          optOut,
		"events are in order and can't be changed":                   events,
		"ticks and settles at once are never refused as busy":        busy,
		"another kitchen's ids lead nowhere":                         walled,
		"a session is found until it expires":                        sessions,
		"a number in another case finds the order":                   refCase,
		"people under one number are one household, others are not":  household,
		"a kitchen that changed its number stays the same kitchen":   sameKitchen,
		"what an order book last said is kept beside what is now":    booked,
		"a message of a person's choice is sent again, others never": sendAgain,
		"a helper's link is found by its hash until it ends":         helpers,
		"a key of the kitchen is made once":                          secret,
		"a kitchen's own words are saved, replaced and taken back":   ownTexts,
		"one holds the lease, and a new term begins with another":    lease,
		"a wiped night names nobody and still counts":                wipe,
		"a wipe leaves alone what is on its way":                     wipeInFlight,
		"what ended is forgotten after its time":                     cleanUp,
		"eight ask for a lease at once and one gets it":              leaseOnce,
		"texts that come at once are stored once each, in order":     inboundsAtOnce,
		"texts that were read at once are saved if they are fresh":   inboundsSaved,
		"orders are saved at once, all or none":                      ordersAtOnce,
		"changes of orders are counted":                              orderChanges,
		"what a round goes by is kept in memory until it changes":    termsInMemory,
		"messages are taken back at once, those that are due":        withdrawnAtOnce,
		"a text of any bytes is kept":                                anyBytes,
		"kitchens that expect a customer are found":                  expecting,
		"the kitchen that sent a part is found":                      senders,
		"kitchens in which something waits are found":                astir,
		"a text for several kitchens is in all of them or in none":   eachOrNone,
		"eight texts for several kitchens at once are one each":      eachAtOnce,
		"a receipt that is nobody's yet is no kitchen's to see":      earlyForNobody,
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, open(t))
		})
	}
}

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

func sessions(t *testing.T, s *store.Store) {
	clock := now
	mine, other := kitchen(t, s, "Larkfield"), kitchen(t, s, "Another Kitchen")
	sess := mine.Sessions(func() time.Time { return clock })
	require.NoError(t, sess.CommitCtx(t.Context(), "token", []byte("who"), now.Add(time.Hour)))
	data, found, err := sess.FindCtx(t.Context(), "token")
	require.NoError(t, err)
	assert.True(t, found)
	assert.Equal(t, []byte("who"), data)
	_, found, err = other.Sessions(func() time.Time { return clock }).FindCtx(t.Context(), "token")
	require.NoError(t, err)
	assert.False(t, found, "a sign-in of one kitchen is none of another")
	clock = now.Add(time.Hour)
	_, found, err = sess.FindCtx(t.Context(), "token")
	require.NoError(t, err)
	assert.False(t, found)
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

func sameKitchen(t *testing.T, s *store.Store) {
	k := night.Kitchen{Name: "Larkfield", Region: "GB", Zone: time.UTC}
	first, err := s.PutKitchen(t.Context(), k)
	require.NoError(t, err)
	k.Number = "+447700900100"
	again, err := s.PutKitchen(t.Context(), k)
	require.NoError(t, err)
	assert.Equal(t, first, again)
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

func sendAgain(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	again := func() bool {
		var ok bool
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			var err error
			ok, err = tx.SendAgain(ctx, id, now.Add(time.Hour))
			require.NoError(t, err)
		})
		return ok
	}
	assert.False(t, again(), "it is due anyway")
	set.claim(t, now, 1)
	assert.False(t, again(), "it is under way")
	set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.InDoubt})
	assert.True(t, again())
	assert.Equal(t, 2, set.claim(t, now, 1)[0].Attempt)
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
