package desk_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/wording"
	"passbell/templates"
)

// bags is an order of three lines.
func bags(ref, phone string) night.Order {
	o := order(ref, phone, 17*60)
	o.Items = []night.Item{
		{Qty: 2, Name: "Pork bao", Kind: night.Hot}, {Qty: 1, Name: "Iced tea", Kind: night.Cold}, {Qty: 3, Name: "Chilli oil", Kind: night.Extra},
	}
	return o
}

func (b *bench) ticks(ref string) []bool {
	b.t.Helper()
	var out []bool
	for _, it := range b.orderOf(ref).Items {
		out = append(out, it.Ticked)
	}
	return out
}

func (b *bench) tick(ref string, place int, name string, on bool) {
	b.t.Helper()
	_, err := b.Tick(b.t.Context(), b.act(ref), desk.Line{Place: place, Name: name}, on)
	require.NoError(b.t, err)
}

func TestTicksChangeNoText(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	b.close()
	b.deliver()
	before := b.messages("K401")
	b.tick("K401", 0, "Pork bao", true)
	b.tick("K401", 0, "Pork bao", true) // twice
	b.tick("K401", 2, "", true)
	require.Equal(t, []bool{true, false, true}, b.ticks("K401"))
	b.tick("K401", 2, "Chilli oil", false)
	require.Equal(t, []bool{true, false, false}, b.ticks("K401"))
	require.Equal(t, before, b.messages("K401"))
	require.True(t, b.orderOf("K401").PackedAt.IsZero(), "ticks pack nothing by themselves")
	what := map[night.What]int{}
	card, err := b.Card(t.Context(), b.night.ID, "K401")
	require.NoError(t, err)
	for _, e := range card.Events {
		what[e.What]++
	}
	require.Equal(t, 2, what[night.ItemTicked])
	require.Equal(t, 1, what[night.ItemUnticked])

	_, err = b.Tick(t.Context(), b.act("K401"), desk.Line{Place: 1, Name: "Lemonade"}, true)
	var gone *desk.LineError
	require.ErrorAs(t, err, &gone)
	_, err = b.Cancel(t.Context(), b.act("K401"))
	require.NoError(t, err)
	_, err = b.Tick(t.Context(), b.act("K401"), desk.Line{Place: 1}, true)
	require.Error(t, err)
}

func TestLoadingTheBookKeepsTicks(t *testing.T) {
	t.Parallel()
	book := []night.Order{bags("K401", "+447700900101")}
	b := newBench(t, book...)
	for i := range 3 {
		b.tick("K401", i, "", true)
	}
	l, err := b.Load(t.Context(), b.night.ID, book, "cook")
	require.NoError(t, err)
	require.Equal(t, []string{"K401"}, l.Unchanged, "a tick is no change of the book")
	require.Equal(t, []bool{true, true, true}, b.ticks("K401"))

	changed := []night.Order{bags("K401", "+447700900101")}
	changed[0].Items[1].Qty = 2
	l, err = b.Load(t.Context(), b.night.ID, changed, "cook")
	require.NoError(t, err)
	require.Equal(t, []desk.Change{{Ref: "K401", What: []string{"items changed"}}}, l.Changed)
	require.Equal(t, []bool{true, false, true}, b.ticks("K401"), "the changed line loses its own")
}

// Two people tick at one moment, and somebody else keeps changing the order.
func TestTicksOfTwoPeopleBothStand(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	var wg sync.WaitGroup
	for i := range 3 {
		wg.Go(func() {
			_, err := b.Tick(t.Context(), b.act("K401"), desk.Line{Place: i}, true)
			assert.NoError(t, err)
		})
	}
	wg.Wait()
	require.Equal(t, []bool{true, true, true}, b.ticks("K401"))
}

// busyStore refuses the first writes as a server does when two of them meet.
type busyStore struct {
	desk.Store
	left int
}

func (s *busyStore) Write(ctx context.Context, fn func(desk.Tx) error) error {
	err := s.Store.Write(ctx, func(tx desk.Tx) error {
		if err := fn(tx); err != nil {
			return err
		}
		if s.left > 0 {
			s.left--
			return errors.Join(errors.New("order K401"), night.ErrChanged)
		}
		return nil
	})
	return err
}

func TestATickIsTriedAgainWhereSomebodyWasFaster(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	busy := &busyStore{Store: deskStore{b.rows}, left: 3}
	texts, err := wording.Load(templates.Texts, nil, "en")
	require.NoError(t, err)
	d, err := desk.New(desk.Config{Store: busy, Kitchen: b.Kitchen(), Texts: texts, Now: b.clock.Now})
	require.NoError(t, err)
	_, err = d.Tick(t.Context(), b.act("K401"), desk.Line{Place: 1}, true)
	require.NoError(t, err)
	require.Equal(t, []bool{false, true, false}, b.ticks("K401"))
	busy.left = 100
	_, err = d.Tick(t.Context(), b.act("K401"), desk.Line{Place: 2}, true)
	require.ErrorIs(t, err, night.ErrChanged)
}

func (b *bench) short(ref string, tell bool, lacks ...desk.Lack) night.Order {
	b.t.Helper()
	o, err := b.Short(b.t.Context(), b.act(ref), lacks, tell)
	require.NoError(b.t, err)
	return o
}

func lack(place, pieces int) desk.Lack {
	return desk.Lack{Line: desk.Line{Place: place}, Pieces: pieces}
}

func TestShortTellsOnceWhatIsMissing(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	b.close()
	b.deliver()
	b.clock.Advance(71 * time.Hour) // Friday 17:00
	b.deliver()
	o := b.short("K401", true, lack(0, desk.AllOfIt))
	require.Equal(t, 2, o.Items[0].Short)
	b.short("K401", true, lack(0, 2)) // again
	m := b.messages("K401")[night.Short]
	require.Len(t, m, 1)
	require.Equal(t, "Larkfield Dumpling Kitchen: we are sorry. In order K401 on Fri 4 Dec this is missing: 2 x Pork bao. The rest comes as booked. We will settle it with you.", m[0].Text)
	require.Equal(t, 1, m[0].Parts)

	// Something else is found before it went out: one text says both.
	b.short("K401", true, lack(2, 1))
	m = b.messages("K401")[night.Short]
	require.Len(t, m, 1)
	require.Contains(t, m[0].Text, "2 x Pork bao and 1 x Chilli oil")
	require.Equal(t, 1, b.deliver())
	b.short("K401", true, lack(2, 1))
	require.Zero(t, b.deliver(), "they know")
	require.Equal(t, night.Reminded, b.state("K401"), "it moves nothing")
	stillSays := func() (same bool) {
		require.NoError(t, b.rows.Read(t.Context(), func(tx *store.Tx) (err error) {
			same, err = b.StillSays(t.Context(), tx, m[0])
			return err
		}))
		return same
	}
	require.True(t, stillSays())

	// And something more after that: a text of its own.
	b.short("K401", true, lack(1, 1))
	m = b.messages("K401")[night.Short]
	require.Len(t, m, 2)
	require.Equal(t, []int{0, 1}, []int{m[0].Revision, m[1].Revision})
	require.False(t, stillSays(), "it must not go another way now")

	// It is there after all: the text that waits is not sent.
	b.short("K401", false, lack(0, 0), lack(1, 0), lack(2, 0))
	require.Zero(t, b.deliver())
	require.Empty(t, night.Missing(b.orderOf("K401").Items))
}

func TestShortToSomebodyWhoIsHere(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"), bags("K402", ""))
	b.close()
	b.deliver()
	b.clock.Advance(71 * time.Hour)
	b.deliver()
	_, err := b.Here(t.Context(), b.act("K401"))
	require.NoError(t, err)
	b.short("K401", true, lack(1, 1))
	require.NoError(t, b.Replan(t.Context(), b.night.ID))
	require.Equal(t, 1, b.deliver(), "they wait in the car and can read it")

	_, err = b.Short(t.Context(), b.act("K402"), []desk.Lack{lack(1, 1)}, true)
	require.ErrorContains(t, err, "no number")
	require.Empty(t, night.Missing(b.orderOf("K402").Items), "nothing is half done")
	b.short("K402", false, lack(1, 1))
	board, err := b.Board(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Equal(t, map[int64]bool{b.orderOf("K402").ID: true}, board.Unsaid)

	r, err := b.Report(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Contains(t, r.FollowUps, desk.FollowUp{Ref: "K401", Name: "Name of K401", What: "to refund or make good: 1 x Iced tea"})
	require.Contains(t, r.FollowUps, desk.FollowUp{Ref: "K402", Name: "Name of K402", What: "to refund or make good: 1 x Iced tea"})
}

func TestShortRefusesWhatCannotBe(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	for name, l := range map[string]desk.Lack{"more than there is": lack(0, 3), "less than nothing": lack(0, -2), "no such line": lack(5, 1)} {
		_, err := b.Short(t.Context(), b.act("K401"), []desk.Lack{l}, false)
		require.Error(t, err, name)
	}
	_, err := b.Out(t.Context(), b.act("K401"))
	require.NoError(t, err)
	_, err = b.Short(t.Context(), b.act("K401"), []desk.Lack{lack(0, 1)}, true)
	require.ErrorContains(t, err, "handed out", "no text about what is over")
	b.short("K401", false, lack(0, 1)) // they rang from home
	require.Equal(t, "1 x Pork bao", night.MissingLine(b.orderOf("K401").Items))
}

func TestForeseeShort(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	b.close()
	got, err := b.Foresee(t.Context(), func(d *desk.Desk) error {
		_, err := d.Short(t.Context(), b.act("K401"), []desk.Lack{lack(0, 1)}, true)
		return err
	})
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.Contains(t, got[0].Message.Text, "1 x Pork bao")
	require.Empty(t, b.messages("K401")[night.Short])
	require.Empty(t, night.Missing(b.orderOf("K401").Items))
}

func TestWhereTheyStand(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"))
	_, err := b.Stand(t.Context(), b.act("K401"), "by the post box")
	require.Error(t, err, "they are not here")
	_, err = b.Here(t.Context(), b.act("K401"))
	require.NoError(t, err)
	_, err = b.Stand(t.Context(), b.act("K401"), "by the post box")
	require.NoError(t, err)
	require.Equal(t, "by the post box", b.orderOf("K401").Arrival.Spot)
}

// An order that was joined into one of another number leaves no text behind.
func TestJoiningTheOrderOfAnotherNumber(t *testing.T) {
	t.Parallel()
	b := newBench(t, bags("K401", "+447700900101"), bags("K402", "+447700900102"))
	b.close()
	b.tick("K401", 1, "", true)
	require.Len(t, b.messages("K402")[night.Instructions], 1)
	_, err := b.Join(t.Context(), b.act("K401"), "K402")
	require.NoError(t, err)
	require.Empty(t, b.messages("K402"))
	require.Equal(t, []bool{false, true, false, false, false, false}, b.ticks("K401"))
	require.Equal(t, night.Cancelled, b.state("K402"))
}

func TestSummary(t *testing.T) {
	t.Parallel()
	many := func(kinds map[night.MessageKind]int, parts int) desk.Preview {
		p := desk.Preview{Parts: parts}
		for k, n := range kinds {
			for range n {
				p.Messages = append(p.Messages, night.Message{Kind: k})
			}
		}
		return p
	}
	tests := []struct {
		name string
		p    desk.Preview
		want string
	}{
		{"none", desk.Preview{}, "nothing to send"},
		{"one of each", many(map[night.MessageKind]int{night.Instructions: 1, night.Reminder: 1, night.Update: 1, night.Cancellation: 1}, 5),
			"1 instructions, 1 reminder, 1 update, 1 cancellation: 4 texts in 5 parts"},
		{"many", many(map[night.MessageKind]int{night.Instructions: 40, night.Reminder: 39, night.Update: 2, night.Cancellation: 3}, 120),
			"40 instructions, 39 reminders, 2 updates, 3 cancellations: 84 texts in 120 parts"},
		{"a single text", many(map[night.MessageKind]int{night.Reminder: 1}, 1), "1 reminder: 1 text in 1 part"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, tt.p.Summary())
		})
	}
}
