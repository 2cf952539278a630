package plan_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/plan"
)

// doubted is a night on which Bethan's instructions for 17:10 are in doubt and
// are sent again.
func doubted(t *testing.T) *house {
	t.Helper()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.InDoubt)
	m := &h.in.Messages[0]
	m.Earlier = night.Standing{State: m.State, At: m.SettledAt}
	m.State = night.Due
	return h
}

func TestSentAgainAsItWas(t *testing.T) {
	t.Parallel()
	h := doubted(t)
	p := h.plan()
	require.Empty(t, p.Drop)
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"}}, lines(p), "the instructions stay, and are not planned anew")
}

// What may be on the phone says 17:10. Were the row brought to 18:30, and then
// called off, nobody would ever tell her.
func TestMovedBeforeItIsSentAgain(t *testing.T) {
	t.Parallel()
	h := doubted(t)
	h.move(1, "18:30")
	p := h.plan()
	require.Equal(t, []plan.Drop{{MessageID: 1, State: night.Dropped, Why: plan.Joined}}, p.Drop)
	require.Equal(t, []line{
		{night.Update, 1, []int64{1}, "2026-12-02T10:00:00Z"},
		{night.Reminder, 0, []int64{1}, "2026-12-04T13:30:00Z"},
	}, lines(p))
	require.Equal(t, night.InDoubt, h.in.Messages[0].State)
	require.Equal(t, night.Clock(17*60+10), h.in.Messages[0].Covers[0].Slot)
}

// Cancelled and taken back: she was told, as far as anybody knows.
func TestCancelledAndBackBeforeItIsSentAgain(t *testing.T) {
	t.Parallel()
	h := doubted(t)
	h.in.Orders[0].State = night.Cancelled
	require.Contains(t, h.plan().Drop, plan.Drop{MessageID: 1, State: night.Dropped, Why: plan.Cancelled})
	h.in.Orders[0].State = night.Booked
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"}}, lines(h.plan()))
}

// What goes another way after the first refused it goes to a new number all the same;
// by mail it goes to the address that it fell to.
func TestWhatGoesAnotherWayFollowsTheNumber(t *testing.T) {
	t.Parallel()
	for to, want := range map[string]string{bethan: priya, "bethan@kitchen.test": "bethan@kitchen.test"} {
		t.Run(to, func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.order(1, "K401", bethan, "17:10")
			h.in.Orders[0].Email = "bethan@kitchen.test"
			h.plan()
			m := &h.in.Messages[0]
			m.Attempt, m.Fallen, m.To = 1, true, to
			h.change(1, func(o *night.Order) { o.Phone = priya })
			require.Equal(t, want, h.plan().Wanted[0].To)
		})
	}
}
