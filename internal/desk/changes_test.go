package desk_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/internal/desk"
	"passbell/internal/night"
)

func TestForeseeChangesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.deliver()
	before := b.messages("K401")
	got, err := b.Foresee(t.Context(), func(d *desk.Desk) error {
		_, err := d.Move(t.Context(), b.act("K401"), 18*60)
		return err
	})
	require.NoError(t, err)
	require.Len(t, got, 2)
	what := map[night.MessageKind]night.What{}
	for _, c := range got {
		what[c.Message.Kind] = c.What
		assert.Contains(t, c.Message.Text, "18:00")
	}
	assert.Equal(t, map[night.MessageKind]night.What{night.Update: night.MessagePlanned, night.Reminder: night.MessageChanged}, what)
	assert.Equal(t, before, b.messages("K401"))
	assert.Equal(t, night.Clock(17*60), b.orderOf("K401").Slot)

	_, err = b.Foresee(t.Context(), func(d *desk.Desk) error {
		_, err := d.Move(t.Context(), b.act("K401"), 9*60)
		return err
	})
	var slot *desk.SlotError
	require.ErrorAs(t, err, &slot)
}

func (b *bench) orderOf(ref string) night.Order {
	b.t.Helper()
	c, err := b.Card(b.t.Context(), b.night.ID, ref)
	require.NoError(b.t, err)
	return c.Order
}

func TestMoveAllIsAllOrNone(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 17*60))
	b.close()
	_, err := b.Cancel(t.Context(), b.act("K402"))
	require.NoError(t, err)
	require.Error(t, b.MoveAll(t.Context(), b.night.ID, []string{"K401", "K402"}, 18*60, "cook"))
	assert.Equal(t, night.Clock(17*60), b.orderOf("K401").Slot)
	require.NoError(t, b.MoveAll(t.Context(), b.night.ID, []string{"K401"}, 18*60, "cook"))
	assert.Equal(t, night.Clock(18*60), b.orderOf("K401").Slot)
}

func TestAnotherNumberGetsWhatTheOldOneDid(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.deliver()
	_, err := b.SetNumber(t.Context(), b.act("K401"), "07700 900 2")
	require.Error(t, err)
	_, err = b.SetNumber(t.Context(), b.act("K401"), "07700 900222")
	require.NoError(t, err)
	m := b.messages("K401")
	assert.Equal(t, "+447700900222", m[night.Reminder][0].To)
	require.Len(t, m[night.Update], 1, "nobody at the new number knows when and where")
	assert.Equal(t, "+447700900222", m[night.Update][0].To)
}

func TestSplitAndJoin(t *testing.T) {
	t.Parallel()
	two := order("K401", "+447700900101", 17*60)
	two.Items, two.Allergy = []night.Item{{Qty: 1, Name: "Pork bao", Kind: night.Hot}, {Qty: 2, Name: "Slaw", Kind: night.Cold}}, "nuts"
	b := newBench(t, two, order("K402", "+447700900102", 17*60))
	b.close()
	part, err := b.Split(t.Context(), b.act("K401"), "K401-2", []int{1})
	require.NoError(t, err)
	assert.Equal(t, []night.Item{{Qty: 2, Name: "Slaw", Kind: night.Cold}}, part.Items)
	assert.Equal(t, "nuts", part.Allergy)
	assert.Equal(t, 3, part.Bag)
	assert.Len(t, b.orderOf("K401").Items, 1)
	m := b.messages("K401-2")[night.Instructions]
	require.Len(t, m, 1)
	assert.Len(t, m[0].Covers, 2, "one text for both")
	_, err = b.Split(t.Context(), b.act("K401"), "K401-3", []int{0})
	require.Error(t, err, "an order needs an item")

	joined, err := b.Join(t.Context(), b.act("K401"), "K401-2")
	require.NoError(t, err)
	assert.Len(t, joined.Items, 2)
	assert.Equal(t, night.Cancelled, b.state("K401-2"))
	m = b.messages("K401")[night.Instructions]
	require.Len(t, m, 1)
	assert.NotContains(t, m[0].Text, "K401-2")
}

func TestAPlaceThatChangesIsToldToThoseWhoKnowTheOldOne(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.deliver()
	n := b.night
	n.Place = "the church hall"
	require.NoError(t, b.ChangeNight(t.Context(), n, "cook"))
	m := b.messages("K401")[night.Update]
	require.Len(t, m, 1)
	assert.Contains(t, m[0].Text, "the church hall")
	n.First = 17*60 + 30
	require.ErrorContains(t, b.ChangeNight(t.Context(), n, "cook"), "K401")
}

func TestANightCalledOffTellsEveryoneOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 17*60))
	b.close()
	b.deliver()
	for range 2 {
		require.NoError(t, b.CallOff(t.Context(), b.night.ID, "cook", "snow"))
	}
	assert.Equal(t, 2, b.deliver())
	_, err := b.Load(t.Context(), b.night.ID, []night.Order{order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 17*60), order("K499", "+447700900199", 17*60)}, "cook")
	require.NoError(t, err)
	assert.Len(t, b.messages("K499")[night.Cancellation], 1, "also those added meanwhile")
	b.deliver()
	b.clock.Advance(70 * time.Hour)
	assert.Zero(t, b.deliver(), "no reminder of what is off")
	require.NoError(t, b.Resume(t.Context(), b.night.ID, "cook", ""))
	assert.Equal(t, 3, b.deliver(), "whoever heard that it is off hears that it is on")
}

func TestNearestRoom(t *testing.T) {
	t.Parallel()
	n := night.Night{First: 17 * 60, Last: 18 * 60, Every: 10, Capacity: 2}
	at := func(slot night.Clock, s night.State) night.Order { return night.Order{Slot: slot, State: s} }
	orders := []night.Order{
		at(17*60+30, night.Told), at(17*60+30, night.Told), // full
		at(17*60+40, night.Told), at(17*60+40, night.Cancelled),
	}
	got := desk.NearestRoom(n, orders, at(17*60, night.Told), 17*60+30, 3)
	assert.Equal(t, []desk.Room{{Slot: 17*60 + 20, Free: 2}, {Slot: 17*60 + 40, Free: 1}, {Slot: 17*60 + 10, Free: 2}}, got)
	n.Capacity = 0
	assert.Equal(t, desk.Room{Slot: 17*60 + 30, Free: -1}, desk.NearestRoom(n, orders, at(17*60, night.Told), 17*60+30, 1)[0])
}

// Whatever is done to orders, and in whatever order: what a customer read last
// is true, and nobody reads twice what did not change.
func TestTextsReadInOrderEndInTheTruth(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900101", 17*60+30), order("K403", "+447700900103", 18*60))
		b.close()
		ctx := context.Background()
		refs := rapid.SampledFrom([]string{"K401", "K402", "K403"})
		n := b.night
		steps := map[string]func(){
			"move": func() {
				_, _ = b.Move(ctx, b.act(refs.Draw(rt, "order")), night.Clock(16*60+30+10*rapid.IntRange(0, 18).Draw(rt, "slot")))
			},
			"cancel": func() { _, _ = b.Cancel(ctx, b.act(refs.Draw(rt, "order"))) },
			"undo":   func() { _, _ = b.Undo(ctx, b.act(refs.Draw(rt, "order"))) },
			"number": func() {
				_, _ = b.SetNumber(ctx, b.act(refs.Draw(rt, "order")), fmt.Sprintf("0770090010%d", rapid.IntRange(1, 4).Draw(rt, "number")))
			},
			"place": func() {
				n.Place = fmt.Sprintf("%d Mill Lane", rapid.IntRange(1, 3).Draw(rt, "house"))
				_ = b.ChangeNight(ctx, n, "cook")
			},
			"deliver": func() { b.deliver() },
			"wait":    func() { b.clock.Advance(time.Hour) },
		}
		names := slices.Sorted(maps.Keys(steps))
		for _, name := range rapid.SliceOfN(rapid.SampledFrom(names), 1, 12).Draw(rt, "steps") {
			steps[name]()
		}
		b.clock.Advance(3 * time.Minute)
		b.deliver()
		if b.clock.Now().Hour() >= 21 || b.clock.Now().Hour() < 8 {
			b.clock.Advance(12 * time.Hour) // past the quiet hours
			b.deliver()
		}
		checkLastWord(rt, b, n)
	})
}

func checkLastWord(t *rapid.T, b *bench, n night.Night) {
	orders, err := b.Orders(context.Background(), n.ID)
	if err != nil {
		t.Fatal(err)
	}
	all, err := b.Desk.Messages(context.Background(), n.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range orders {
		if !o.State.Open() {
			continue
		}
		var last night.Message
		for _, m := range all {
			if m.To == o.Phone && m.State == night.Sent && slices.ContainsFunc(m.Covers, func(c night.Cover) bool { return c.OrderID == o.ID }) && !m.SettledAt.Before(last.SettledAt) {
				last = m
			}
		}
		switch {
		case last.ID == 0:
			t.Fatalf("order %s: nothing was ever sent to %s", o.Ref, o.Phone)
		case !strings.Contains(last.Text, o.Slot.String()):
			t.Fatalf("order %s is at %s, and the last text says: %s", o.Ref, o.Slot, last.Text)
		case !strings.Contains(last.Text, n.Place):
			t.Fatalf("the place is %s, and the last text says: %s", n.Place, last.Text)
		}
	}
}

func TestRunningBehindTellsWhoIsNotServedOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t,
		order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 17*60+10),
		order("K403", "+447700900103", 17*60+20), order("K404", "+447700900103", 17*60+30),
		order("K405", "", 18*60), order("K406", "+447700900106", 18*60), order("K407", "+447700900107", 18*60))
	b.close()
	b.deliver()
	b.clock.Advance(71 * time.Hour) // Friday 17:00
	b.deliver()
	_, err := b.Out(t.Context(), b.act("K406"))
	require.NoError(t, err)
	_, err = b.Here(t.Context(), b.act("K407"))
	require.NoError(t, err)

	all := func(d *desk.Desk) error {
		_, err := d.RunBehind(t.Context(), b.night.ID, 17*60+10, 19*60+30, 15, "cook")
		return err
	}
	foreseen, err := b.Foresee(t.Context(), all)
	require.NoError(t, err)
	require.Len(t, foreseen, 2)
	assert.Zero(t, b.deliver(), "foreseen is not done")

	got, err := b.RunBehind(t.Context(), b.night.ID, 17*60+10, 19*60+30, 15, "cook")
	require.NoError(t, err)
	require.Len(t, got.Messages, 2, "one text for K403 and K404; none to those served, here, or before 17:10")
	assert.Contains(t, got.Messages[0].Text, "17:25")
	assert.Contains(t, got.Messages[1].Text, "17:35")
	assert.Contains(t, got.Messages[1].Text, "17:45")
	require.Len(t, got.Ring, 1)
	assert.Equal(t, "K405", got.Ring[0].Ref)
	assert.Equal(t, 2, b.deliver())
	board, err := b.Board(t.Context(), b.night.ID)
	require.NoError(t, err)
	assert.Equal(t, "17:25", desk.Expected(b.orderOf("K402"), board.Night, b.Kitchen().Zone).Format("15:04"))

	_, err = b.RunBehind(t.Context(), b.night.ID, 17*60+10, 17*60+10, 10, "cook")
	require.NoError(t, err)
	assert.Contains(t, b.messages("K402")[night.Delay][1].Text, "17:35", "late once more counts from the slot")
}
