package desk_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// before opens a bench an hour before orders close.
func before(t *testing.T, orders ...night.Order) *bench {
	t.Helper()
	b := newBench(t)
	b.night.ClosesAt, b.night.InstructAt = closing.Add(time.Hour), closing.Add(2*time.Hour)
	require.NoError(t, b.ChangeNight(t.Context(), b.night, "cook"))
	if len(orders) > 0 {
		_, err := b.Load(t.Context(), b.night.ID, orders, "cook")
		require.NoError(t, err)
	}
	return b
}

// happened gives the words of the night's events of a kind.
func (b *bench) happened(what night.What) []string {
	b.t.Helper()
	events, err := b.Events(b.t.Context(), b.night.ID, 0, 1000)
	require.NoError(b.t, err)
	var out []string
	for _, e := range events {
		if e.What == what {
			assert.Equal(b.t, "clock", e.Who)
			out = append(out, e.Why)
		}
	}
	return out
}

func (b *bench) board() desk.Board {
	b.t.Helper()
	got, err := b.Board(b.t.Context(), b.night.ID)
	require.NoError(b.t, err)
	return got
}

func (b *bench) closeDue() {
	b.t.Helper()
	require.NoError(b.t, b.CloseDue(b.t.Context()))
}

func TestClosesAtItsTime(t *testing.T) {
	t.Parallel()
	b := before(t, order("K401", "+447700900101", 17*60), order("K402", "", 17*60), order("K403", "+447700900103", 18*60))
	b.clock.Advance(time.Hour - time.Millisecond)
	b.closeDue()
	assert.False(t, b.board().Overdue)
	require.Empty(t, b.happened(night.OrdersClosed))
	want, err := b.Preview(t.Context(), b.night.ID)
	require.NoError(t, err)

	b.clock.Advance(time.Millisecond)
	assert.True(t, b.board().Overdue)
	assert.Contains(t, b.board().Sentence, "orders should have been closed Tue 1 Dec 19:00, and no text goes out until somebody closes them")
	for range 3 {
		b.closeDue()
	}
	require.Equal(t, []string{"3 orders, 4 texts planned, 1 to ring"}, b.happened(night.OrdersClosed))
	got, err := b.Messages(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Len(t, got, len(want.Messages), "what the plan showed")
	for i := range got {
		assert.Equal(t, want.Messages[i].Text, got[i].Text)
		assert.Equal(t, want.Messages[i].DueAt, got[i].DueAt)
	}
	board := b.board()
	assert.False(t, board.Overdue)
	require.Len(t, board.Untold, 1, "who can't be texted holds nobody else up, and stands on the pass")
	assert.Equal(t, "K402", board.Untold[0].Ref)
	assert.Empty(t, b.happened(night.OrdersNotClosed))
}

// Two processes that both think that they lead do it at once.
func TestTwoLeadersCloseOnce(t *testing.T) {
	t.Parallel()
	b := before(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 17*60))
	b.clock.Advance(time.Hour)
	var both sync.WaitGroup
	for range 8 {
		both.Go(func() { assert.NoError(t, b.CloseDue(t.Context())) })
	}
	both.Wait()
	require.Equal(t, []string{"2 orders, 4 texts planned"}, b.happened(night.OrdersClosed))
	got, err := b.Messages(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Len(t, got, 4)
}

func TestNoBookIsClosedByNobodyButACook(t *testing.T) {
	t.Parallel()
	b := before(t)
	b.clock.Advance(time.Hour)
	var both sync.WaitGroup
	for range 8 {
		both.Go(func() { assert.NoError(t, b.CloseDue(t.Context())) })
	}
	both.Wait()
	said := b.happened(night.OrdersNotClosed)
	require.Len(t, said, 1, "said once")
	assert.Contains(t, said[0], "no order book was loaded")
	assert.Equal(t, said[0], b.board().NotClosed)

	// The book that comes now was looked at by nobody.
	_, err := b.Load(t.Context(), b.night.ID, []night.Order{order("K401", "+447700900101", 17*60)}, "the folder")
	require.NoError(t, err)
	b.closeDue()
	b.closeDue()
	said = b.happened(night.OrdersNotClosed)
	require.Len(t, said, 2)
	assert.Contains(t, said[1], "orders came in after their time")
	assert.Equal(t, said[1], b.board().NotClosed)
	assert.Empty(t, b.happened(night.OrdersClosed))
	got, err := b.Messages(t.Context(), b.night.ID)
	require.NoError(t, err)
	assert.Empty(t, got)

	b.close()
	assert.Empty(t, b.board().NotClosed)
	assert.Len(t, b.messages("K401")[night.Instructions], 1)
}

// What came before its time closes late where passbell was off meanwhile, but
// not when everything is over.
func TestClosesLate(t *testing.T) {
	t.Parallel()
	b := before(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 19*60))
	over := before(t, order("K401", "+447700900101", 17*60))
	b.clock.Advance(3 * 24 * time.Hour) // Friday 18:00, between the two
	b.closeDue()
	require.Equal(t, []string{"2 orders, 1 texts planned"}, b.happened(night.OrdersClosed))
	assert.Len(t, b.board().Late, 1, "whose slot is over stands on the pass as late")
	over.clock.Advance(3*24*time.Hour + 90*time.Minute)
	over.closeDue()
	assert.Empty(t, over.happened(night.OrdersClosed))
	assert.False(t, over.board().Overdue, "nobody could be told any more")
}

// A night that was called off while orders were open: everybody is told.
func TestClosesANightThatIsOff(t *testing.T) {
	t.Parallel()
	b := before(t, order("K401", "+447700900101", 17*60))
	require.NoError(t, b.CallOff(t.Context(), b.night.ID, "cook", "the oven"))
	b.clock.Advance(time.Hour)
	b.closeDue()
	assert.Len(t, b.messages("K401")[night.Cancellation], 1)
	assert.Empty(t, b.messages("K401")[night.Instructions])
}

// A night whose texts are more than go into the database at once has every one of them,
// word for word as the preview has it, which writes one after the other.
func TestALongNightIsWrittenWhole(t *testing.T) {
	t.Parallel()
	orders := make([]night.Order, 600)
	for i := range orders {
		orders[i] = order(fmt.Sprintf("K%d", 401+i), fmt.Sprintf("+447700900%03d", i), night.Clock(16*60+30+10*(i%18)))
	}
	b := newBench(t, orders...)
	p, err := b.Preview(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Len(t, p.Messages, 1200)
	b.close()
	stored, err := b.Messages(t.Context(), b.night.ID)
	require.NoError(t, err)
	words := func(all []night.Message) map[string]string {
		out := make(map[string]string, len(all))
		for _, m := range all {
			out[fmt.Sprint(m.Kind, m.Covers)] = m.Text
		}
		return out
	}
	assert.Equal(t, words(p.Messages), words(stored))
}
