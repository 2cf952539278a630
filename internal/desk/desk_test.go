package desk_test

import (
	"context"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
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

// bench is a desk on a real database, with a clock that the test turns.
type bench struct {
	*desk.Desk
	clock *clockwork.FakeClock
	rows  *store.Kitchen
	night night.Night
	t     *testing.T
}

// Tuesday 1 December 2026, the moment at which the instructions are due.
var closing = time.Date(2026, 12, 1, 18, 0, 0, 0, time.UTC)

func newBench(t *testing.T, orders ...night.Order) *bench {
	t.Helper()
	s := storetest.Fresh(t)
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	k := night.Kitchen{Name: "Larkfield Dumpling Kitchen", Region: "GB", Zone: zone, Number: "+447700900000", Quiet: night.Quiet{From: 21 * 60, To: 8 * 60}}
	k.ID, err = s.PutKitchen(t.Context(), k)
	require.NoError(t, err)
	texts, err := wording.Load(templates.Texts, nil, "en")
	require.NoError(t, err)
	b := &bench{clock: clockwork.NewFakeClockAt(closing), rows: s.Kitchen(k.ID), t: t}
	b.Desk, err = desk.New(desk.Config{Store: deskStore{b.rows}, Kitchen: k, Texts: texts, Now: b.clock.Now})
	require.NoError(t, err)
	b.night, err = b.AddNight(t.Context(), night.Night{
		Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30, Every: 10,
		Place: "5 Mill Lane, Larkfield", Parking: "the yard", ClosesAt: closing, InstructAt: closing,
		RemindBefore: 5 * time.Hour, RemindFrom: 9 * 60,
	}, "cook")
	require.NoError(t, err)
	if len(orders) > 0 {
		_, err = b.Load(t.Context(), b.night.ID, orders, "cook")
		require.NoError(t, err)
	}
	return b
}

func order(ref, phone string, slot night.Clock) night.Order {
	return night.Order{Ref: ref, Name: "Name of " + ref, Phone: phone, PhoneTyped: phone, Slot: slot, Items: []night.Item{{Qty: 1, Name: "Pork bao", Kind: night.Hot}}}
}

func (b *bench) act(ref string) desk.Act {
	return desk.Act{Night: b.night.ID, Ref: ref, Who: "cook"}
}

func (b *bench) close() {
	b.t.Helper()
	_, err := b.Close(b.t.Context(), b.night.ID, "cook")
	require.NoError(b.t, err)
}

// messages gives the texts about an order, by kind.
func (b *bench) messages(ref string) map[night.MessageKind][]night.Message {
	b.t.Helper()
	c, err := b.Card(b.t.Context(), b.night.ID, ref)
	require.NoError(b.t, err)
	out := map[night.MessageKind][]night.Message{}
	for _, m := range c.Messages {
		out[m.Kind] = append(out[m.Kind], m)
	}
	return out
}

// deliver sends every text that is due as if a provider had taken it.
func (b *bench) deliver() int {
	b.t.Helper()
	now := b.clock.Now()
	due, err := b.rows.Claim(b.t.Context(), "texts", now, now.Add(time.Minute), 1000)
	require.NoError(b.t, err)
	for _, m := range due {
		err := b.rows.Write(b.t.Context(), func(tx *store.Tx) error {
			if _, err := tx.Settle(b.t.Context(), []night.Settlement{{MessageID: m.ID, Attempt: m.Attempt, Adapter: "texts", State: night.Sent, At: now}}); err != nil {
				return err
			}
			return desk.Told(b.t.Context(), tx, []*night.Message{&m}, nil, now, "texts")
		})
		require.NoError(b.t, err)
	}
	return len(due)
}

func (b *bench) state(ref string) night.State {
	b.t.Helper()
	c, err := b.Card(b.t.Context(), b.night.ID, ref)
	require.NoError(b.t, err)
	return c.Order.State
}

func TestCloseSchedulesOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 18*60), order("K403", "", 18*60))
	p, err := b.Preview(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Len(t, p.Messages, 4)
	assert.Contains(t, p.Messages[0].Text, "5 Mill Lane, Larkfield")
	assert.NotEmpty(t, p.LeftOut, "K403 has no number")
	for range 3 {
		b.close()
	}
	for _, ref := range []string{"K401", "K402"} {
		m := b.messages(ref)
		assert.Len(t, m[night.Instructions], 1)
		assert.Len(t, m[night.Reminder], 1)
	}
	assert.Empty(t, b.messages("K403"))
}

func TestTheWayOfAnOrder(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	assert.Equal(t, night.Booked, b.state("K401"))
	assert.Equal(t, 1, b.deliver())
	assert.Equal(t, night.Told, b.state("K401"))
	b.clock.Advance(66 * time.Hour) // Friday noon: 17:00 less five hours
	assert.Equal(t, 1, b.deliver())
	assert.Equal(t, night.Reminded, b.state("K401"))
	b.clock.Advance(5 * time.Hour)
	o, err := b.Here(t.Context(), b.act("k401"))
	require.NoError(t, err)
	assert.Equal(t, b.clock.Now().UTC(), o.Arrival.At)
	_, err = b.Here(t.Context(), b.act("K401"))
	var illegal *night.StepError
	require.ErrorAs(t, err, &illegal, "a second tap changes nothing")
	_, err = b.Out(t.Context(), b.act("K401"))
	require.NoError(t, err)
	for _, want := range []night.State{night.Arrived, night.Reminded} {
		o, err = b.Undo(t.Context(), b.act("K401"))
		require.NoError(t, err)
		assert.Equal(t, want, o.State)
	}
	assert.True(t, o.Arrival.At.IsZero())
	_, err = b.Undo(t.Context(), b.act("K401"))
	require.ErrorIs(t, err, desk.ErrNothingToUndo, "what was sent can't be taken back")
}

func TestWhoWasGivenUpIsServedWhenTheyCome(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "", 17*60))
	_, err := b.Absent(t.Context(), b.act("K401"))
	require.NoError(t, err)
	o, err := b.Out(t.Context(), b.act("K401"))
	require.NoError(t, err)
	assert.Equal(t, night.HandedOut, o.State)
}

func TestSomebodyAtTheDoorIsTwoSteps(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "", 17*60))
	o, err := b.Out(t.Context(), b.act("K401"))
	require.NoError(t, err)
	assert.Equal(t, night.HandedOut, o.State)
	c, err := b.Card(t.Context(), b.night.ID, "K401")
	require.NoError(t, err)
	var way []night.State
	for _, e := range c.Events {
		if e.To != "" {
			way = append(way, e.To)
		}
	}
	assert.Equal(t, []night.State{night.Arrived, night.HandedOut}, way)
}

func TestPackedTwiceKeepsTheFirstTime(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "", 17*60))
	first := b.clock.Now().UTC()
	for range 2 {
		o, err := b.Packed(t.Context(), b.act("K401"), true)
		require.NoError(t, err)
		assert.Equal(t, first, o.PackedAt)
		b.clock.Advance(time.Minute)
	}
	o, err := b.Packed(t.Context(), b.act("K401"), false)
	require.NoError(t, err)
	assert.True(t, o.PackedAt.IsZero())
}

// timgit/pg-boss #592: a schedule taken back and made again ran twice.
func TestSlotThereAndBackLeavesOneReminder(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.deliver()
	for _, slot := range []night.Clock{18 * 60, 17 * 60} {
		_, err := b.Move(t.Context(), b.act("K401"), slot)
		require.NoError(t, err)
	}
	m := b.messages("K401")
	assert.Len(t, m[night.Reminder], 1)
	assert.Equal(t, night.Clock(17*60), m[night.Reminder][0].Covers[0].Slot)
	assert.Empty(t, m[night.Update], "the customer never heard of 18:00")
}

func TestAMoveTellsWhoKnowsTheOldSlot(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	_, err := b.Move(t.Context(), b.act("K401"), 17*60+5)
	var slot *desk.SlotError
	require.ErrorAs(t, err, &slot)
	_, err = b.Move(t.Context(), b.act("K401"), 18*60)
	require.NoError(t, err)
	m := b.messages("K401")
	assert.Empty(t, m[night.Update], "nobody was told 17:00 yet")
	assert.Contains(t, m[night.Instructions][0].Text, "18:00")
	b.deliver()
	_, err = b.Move(t.Context(), b.act("K401"), 19*60)
	require.NoError(t, err)
	m = b.messages("K401")
	require.Len(t, m[night.Update], 1)
	assert.Contains(t, m[night.Update][0].Text, "19:00")
	assert.NotContains(t, m[night.Update][0].Text, "18:00", "an update quotes the new fact only")
}

// rq/rq #1669: a cancelled job was executed.
func TestNothingGoesOutAboutACancelledOrder(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.deliver()
	_, err := b.Cancel(t.Context(), b.act("K401"))
	require.NoError(t, err)
	b.clock.Advance(72 * time.Hour)
	assert.Zero(t, b.deliver())
	_, err = b.Resend(t.Context(), b.act("K401"), "")
	require.ErrorContains(t, err, "cancelled")
}

// agronholm/apscheduler #5: adding a job ran all others again.
func TestAnOrderAddedLateMovesNobodyElse(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 18*60))
	b.close()
	b.deliver()
	b.clock.Advance(70*time.Hour + 20*time.Minute) // Friday 16:20
	b.deliver()
	before := b.messages("K401")
	l, err := b.Load(t.Context(), b.night.ID, []night.Order{order("K401", "+447700900101", 18*60), order("K499", "+447700900199", 19*60)}, "cook")
	require.NoError(t, err)
	assert.Equal(t, []string{"K499"}, l.New)
	assert.Equal(t, before, b.messages("K401"))
	assert.Equal(t, 1, b.deliver(), "K499 gets the instructions; on the day they are the reminder")
	o, err := b.Card(t.Context(), b.night.ID, "K499")
	require.NoError(t, err)
	assert.Equal(t, 2, o.Order.Bag)
}

func TestTwoOrdersOneNumberOneText(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K420", "+447700900564", 17*60), order("K443", "+447700900564", 17*60+30))
	b.close()
	assert.Equal(t, 1, b.deliver())
	for _, ref := range []string{"K420", "K443"} {
		assert.Equal(t, night.Told, b.state(ref))
		m := b.messages(ref)[night.Instructions]
		require.Len(t, m, 1)
		assert.Contains(t, m[0].Text, "K420")
		assert.Contains(t, m[0].Text, "K443")
	}
	_, err := b.Cancel(t.Context(), b.act("K420"))
	require.NoError(t, err)
	m := b.messages("K443")[night.Reminder]
	require.Len(t, m, 1)
	assert.NotContains(t, m[0].Text, "K420")
}

func TestResendIsARecordOfItsOwn(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.deliver()
	for i := range 2 {
		m, err := b.Resend(t.Context(), b.act("K401"), "+447700900777")
		require.NoError(t, err)
		assert.Equal(t, "+447700900777", m.To)
		assert.Equal(t, i, m.Revision)
	}
	assert.Equal(t, 2, b.deliver())
}

func TestALateNightsAndADaysOfTheClocks(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.AddNight(t.Context(), night.Night{
		Date: night.Date{Year: 2026, Month: 3, Day: 29}, First: 60, Last: 120, Every: 10,
	}, "cook")
	require.ErrorContains(t, err, "does not exist", "the clocks go forward over 01:00 to 01:59 in London that night")
	_, err = b.AddNight(t.Context(), b.night, "cook")
	var taken *night.TakenError
	require.ErrorAs(t, err, &taken)
}

func TestWhoCannotBeTextedStandsOnThePassUntilTold(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "", 17*60))
	board := func() desk.Board {
		got, err := b.Board(t.Context(), b.night.ID)
		require.NoError(t, err)
		return got
	}
	assert.Empty(t, board().Untold, "orders are still taken")
	b.close()
	require.Len(t, board().Untold, 1)
	assert.Equal(t, "K402", board().Untold[0].Ref)
	assert.Contains(t, board().Sentence, "1 needs a call")
	o, err := b.Told(t.Context(), b.act("K402"))
	require.NoError(t, err)
	assert.Equal(t, night.Told, o.State)
	assert.Empty(t, board().Untold)
}
