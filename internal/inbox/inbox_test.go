package inbox_test

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/inbox"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/storetest"
	"passbell/internal/wording"
	"passbell/templates"
)

type deskStore struct{ *store.Kitchen }

func (s deskStore) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s deskStore) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

type inboxStore struct{ *store.Kitchen }

func (s inboxStore) Write(ctx context.Context, fn func(inbox.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s inboxStore) Read(ctx context.Context, fn func(inbox.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

type bench struct {
	*inbox.Inbox
	t     *testing.T
	desk  *desk.Desk
	rows  *store.Kitchen
	clock *clockwork.FakeClock
	night night.Night
	said  int
}

// Friday 4 December 2026, 17:02 in Larkfield.
var evening = time.Date(2026, 12, 4, 17, 2, 0, 0, time.UTC)

func newBench(t *testing.T) *bench {
	t.Helper()
	return newBenchWith(t, func(d *desk.Desk) inbox.Desk { return d })
}

// newBenchWith is newBench with something between the inbox and its desk.
func newBenchWith(t *testing.T, between func(*desk.Desk) inbox.Desk) *bench {
	t.Helper()
	s := storetest.Fresh(t)
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	k := night.Kitchen{Name: "Larkfield Dumpling Kitchen", Region: "GB", Zone: zone, Number: "+447700900000", Quiet: night.Quiet{From: 22 * 60, To: 8 * 60}}
	k.ID, err = s.PutKitchen(t.Context(), k)
	require.NoError(t, err)
	texts, err := wording.Load(templates.Texts, nil, "en")
	require.NoError(t, err)
	b := &bench{t: t, rows: s.Kitchen(k.ID), clock: clockwork.NewFakeClockAt(evening)}
	b.desk, err = desk.New(desk.Config{Store: deskStore{b.rows}, Kitchen: k, Texts: texts, Now: b.clock.Now})
	require.NoError(t, err)
	b.Inbox, err = inbox.New(inbox.Config{Store: inboxStore{b.rows}, Kitchen: k, Desk: between(b.desk), Now: b.clock.Now, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	b.night, err = b.desk.AddNight(t.Context(), night.Night{
		Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30, Every: 10, Place: "5 Mill Lane",
		InstructAt: evening.Add(-72 * time.Hour), RemindBefore: 5 * time.Hour, RemindFrom: 9 * 60,
	}, "cook")
	require.NoError(t, err)
	_, err = b.desk.Load(t.Context(), b.night.ID, []night.Order{
		{Ref: "K401", Name: "Bethan Cadwgan", Phone: "+447700900101", Slot: 17 * 60},
		{Ref: "K402", Name: "Sarah Bell", Phone: "+447700900102", Slot: 17*60 + 10, Note: "will be in a red Fiesta AB12 CDE"},
		{Ref: "K403", Name: "Sarah Price", Phone: "+447700900103", Slot: 17*60 + 10},
		{Ref: "K404", Name: "Omar Aziz", Phone: "+447700900104", Slot: 17*60 + 10},
		{Ref: "K405", Name: "Omar Aziz's Mum", Phone: "+447700900104", Slot: 17*60 + 20},
	}, "cook")
	require.NoError(t, err)
	return b
}

// say has a text come in.
func (b *bench) say(from, text string) {
	b.t.Helper()
	b.said++
	require.NoError(b.t, b.Take(b.t.Context(), "texts", adapters.Inbound{ID: fmt.Sprintf("in-%d", b.said), From: from, Text: text, At: b.clock.Now()}))
}

func (b *bench) order(ref string) night.Order {
	b.t.Helper()
	c, err := b.desk.Card(b.t.Context(), b.night.ID, ref)
	require.NoError(b.t, err)
	return c.Order
}

func (b *bench) open() []night.Inbound {
	b.t.Helper()
	board, err := b.desk.Board(b.t.Context(), b.night.ID)
	require.NoError(b.t, err)
	return board.Texts
}

// replies gives the texts that answer a number, oldest first.
func (b *bench) replies(to string) []night.Message {
	b.t.Helper()
	var out []night.Message
	require.NoError(b.t, b.rows.Read(b.t.Context(), func(tx *store.Tx) error {
		all, err := tx.Messages(b.t.Context(), b.night.ID)
		for _, m := range all {
			if m.To == to && (m.Kind == night.Reply || m.Kind == night.Confirmation) {
				out = append(out, m)
			}
		}
		return err
	}))
	return out
}

func TestArrivalWithCarAndPlate(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900101", "here in the grey golf lx19 kto")
	o := b.order("K401")
	assert.Equal(t, night.Arrived, o.State)
	assert.Equal(t, night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"}, o.Vehicle)
	assert.Equal(t, evening, o.Arrival.At)
	assert.Empty(t, b.open())
	assert.Len(t, b.replies("+447700900101"), 1)
}

func TestASecondTextCompletesTheFirst(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900101", "here")
	assert.Equal(t, night.Arrived, b.order("K401").State)
	require.Len(t, b.replies("+447700900101"), 1)
	b.clock.Advance(time.Minute)
	b.say("+447700900101", "black audi")
	o := b.order("K401")
	assert.Equal(t, "Audi", o.Vehicle.Make)
	assert.Equal(t, evening, o.Arrival.At, "the wait counts from the first text")
}

func TestACarAnnouncedIsNoArrival(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.clock.Advance(-48 * time.Hour)
	b.say("+447700900101", "I'll be in a red Fiesta on Friday")
	o := b.order("K401")
	assert.Equal(t, night.Booked, o.State)
	assert.Equal(t, "Fiesta", o.Vehicle.Model)
}

func TestSomebodyElseWithThePlateThatWasDeclared(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Equal(t, "AB12CDE", b.order("K402").Vehicle.Plate, "from the note of the order book")
	b.say("+447700900777", "outside, ab12 cde")
	assert.Equal(t, night.Arrived, b.order("K402").State)
}

func TestAStrangerMarksNobody(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900777", "Sarah here, in the yard")
	for _, ref := range []string{"K401", "K402", "K403"} {
		assert.Equal(t, night.Booked, b.order(ref).State)
	}
	open := b.open()
	require.Len(t, open, 1)
	assert.Len(t, open[0].Orders, 2, "both Sarahs are offered")
	assert.Len(t, b.replies("+447700900777"), 1, "the stranger is asked for the order, once")
	b.say("+447700900777", "hello? Sarah is outside")
	assert.Len(t, b.replies("+447700900777"), 1)

	require.NoError(t, b.Place(t.Context(), open[0].ID, "K403", "cook"))
	assert.Equal(t, night.Arrived, b.order("K403").State)
	assert.Len(t, b.open(), 1)
}

func TestTwoOrdersUnderOneNumberBothArrive(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900104", "I'm here")
	assert.Equal(t, night.Arrived, b.order("K404").State)
	assert.Equal(t, night.Arrived, b.order("K405").State)
}

func TestRunningLateMovesTheExpectation(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900102", "running 15 late sorry")
	o := b.order("K402")
	assert.Equal(t, night.Booked, o.State)
	assert.Equal(t, time.Date(2026, 12, 4, 17, 25, 0, 0, time.UTC), o.ExpectedAt)
}

func TestStopIsConfirmedOnceAndKept(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.desk.Close(t.Context(), b.night.ID, "cook")
	require.NoError(t, err)
	for range 2 {
		b.say("+447700900103", "STOP")
	}
	r := b.replies("+447700900103")
	require.NotEmpty(t, r)
	confirmations := 0
	for _, m := range r {
		if m.Kind == night.Confirmation {
			confirmations++
		}
	}
	assert.Equal(t, 1, confirmations)
	c, err := b.desk.Card(t.Context(), b.night.ID, "K403")
	require.NoError(t, err)
	for _, m := range c.Messages {
		assert.Equal(t, night.Confirmation, m.Kind, "what was planned is withdrawn")
	}
	b.say("+447700900103", "im here")
	assert.Equal(t, night.Arrived, b.order("K403").State, "they may still come")
	assert.Len(t, b.replies("+447700900103"), 1)
	b.say("+447700900103", "START")
	assert.Len(t, b.replies("+447700900103"), 2)
}

func TestCancelIsForAPerson(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900101", "please cancel my order, we are ill")
	assert.Equal(t, night.Booked, b.order("K401").State)
	assert.Len(t, b.open(), 1)
}

func TestAnAllergyStaysWithTheOrder(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900101", "I'm here. my son has a nut allergy btw")
	o := b.order("K401")
	assert.Equal(t, night.Arrived, o.State)
	assert.Contains(t, o.Allergy, "nut allergy")
	assert.Len(t, b.open(), 1)
	require.NoError(t, b.desk.Settle(t.Context(), b.open()[0].ID, "cook"))
	assert.Empty(t, b.open())
}

// Devlaner/devlane #332: the same event twice at once passed the check.
func TestTwentyCopiesAtOnceHaveOneEffect(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			err := b.Take(t.Context(), "texts", adapters.Inbound{ID: "same", From: "+447700900101", Text: "here, blue van", At: b.clock.Now()})
			assert.NoError(t, err)
		})
	}
	wg.Wait()
	c, err := b.desk.Card(t.Context(), b.night.ID, "K401")
	require.NoError(t, err)
	arrivals := 0
	for _, e := range c.Events {
		if e.To == night.Arrived {
			arrivals++
		}
	}
	assert.Equal(t, 1, arrivals)
	assert.Len(t, b.replies("+447700900101"), 1)
}

func TestWhatIsStoredAndNotReadIsReadLater(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	// A process that died between storing and reading.
	require.NoError(t, b.rows.Write(t.Context(), func(tx *store.Tx) error {
		_, _, err := tx.AddInbound(t.Context(), night.Inbound{Adapter: "texts", ProviderID: "x", From: "+447700900101", Text: "here", At: evening})
		return err
	}))
	for range 2 {
		require.NoError(t, b.CatchUp(t.Context()))
	}
	assert.Equal(t, night.Arrived, b.order("K401").State)
}

func TestAKitchenWithoutANightKeepsTheText(t *testing.T) {
	t.Parallel()
	d := inbox.Decide(inbox.Situation{Inbound: night.Inbound{From: "+447700900777", Text: "here", At: evening}, Kitchen: night.Kitchen{Region: "GB", Zone: time.UTC}})
	assert.Empty(t, d.Orders)
	assert.False(t, d.Sure)
	assert.True(t, d.Person)
}

// TestTheNoteTellsOneOfTwoOrders picks the order of a number whose note the text names.
func TestTheNoteTellsOneOfTwoOrders(t *testing.T) {
	t.Parallel()
	orders := []night.Order{
		{ID: 1, Ref: "K406", Name: "Iris Vane", Phone: "+447700900106", Slot: 17 * 60},
		{ID: 2, Ref: "K407", Name: "Iris Vane", Phone: "+447700900106", Slot: 17 * 60, Note: "for the bowls club"},
	}
	d := inbox.Decide(inbox.Situation{
		Inbound: night.Inbound{From: "+447700900106", Text: "here for the bowls club", At: evening},
		Kitchen: night.Kitchen{Region: "GB", Zone: time.UTC}, Orders: orders,
		Night: night.Night{Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16 * 60, Last: 19 * 60},
	})
	assert.Equal(t, []int64{2}, d.Orders)
	assert.True(t, d.Sure)
}
