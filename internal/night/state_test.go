package night_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// The way of an order as the design states it, written out here again: booked,
// told, reminded, arrived, handed out; aside cancelled and not collected. Any
// state before arrived may go to arrived, and not collected may still arrive.
func TestStateTable(t *testing.T) {
	t.Parallel()
	steps := []night.Step{night.Tell, night.Remind, night.Arrive, night.HandOut, night.Cancel, night.GiveUp}
	table := []struct {
		from night.State
		to   [6]night.State // by steps; "" where the step is not legal
		open bool
		undo bool
	}{
		{night.Booked, [6]night.State{night.Told, night.Reminded, night.Arrived, "", night.Cancelled, night.NotCollected}, true, false},
		{night.Told, [6]night.State{"", night.Reminded, night.Arrived, "", night.Cancelled, night.NotCollected}, true, false},
		{night.Reminded, [6]night.State{"", "", night.Arrived, "", night.Cancelled, night.NotCollected}, true, false},
		{night.Arrived, [6]night.State{"", "", "", night.HandedOut, "", night.NotCollected}, true, true},
		{night.HandedOut, [6]night.State{}, false, true},
		{night.Cancelled, [6]night.State{}, false, true},
		{night.NotCollected, [6]night.State{"", "", night.Arrived, "", "", ""}, false, true},
	}
	for _, row := range table {
		t.Run(string(row.from), func(t *testing.T) {
			t.Parallel()
			require.Equal(t, row.open, row.from.Open())
			require.Equal(t, row.undo, row.from.Undoable())
			var allowed []night.Step
			for i, step := range steps {
				got, err := row.from.After(step)
				if row.to[i] != "" {
					require.NoError(t, err)
					require.Equal(t, row.to[i], got)
					allowed = append(allowed, step)
					continue
				}
				var se *night.StepError
				require.ErrorAs(t, err, &se)
				require.Equal(t, row.from, got, "an illegal step moves nothing")
				require.Equal(t, row.from, se.State)
				require.Equal(t, step, se.Step)
				require.ElementsMatch(t, row.from.Steps(), se.Allowed)
			}
			require.ElementsMatch(t, allowed, row.from.Steps())
			require.IsIncreasing(t, append([]night.Step{""}, row.from.Steps()...))
		})
	}
}

func TestStepErrorNamesStateAndSteps(t *testing.T) {
	t.Parallel()
	_, err := night.Arrived.After(night.Tell)
	require.EqualError(t, err, "the order is arrived, so it can't tell; possible now: give up, hand out")
	_, err = night.HandedOut.After(night.Arrive)
	require.EqualError(t, err, "the order is handed out, so it can't arrive; possible now: only undo")
	_, err = night.State("lost").After(night.Arrive)
	require.Error(t, err)
	require.False(t, night.State("lost").Open())
	require.False(t, night.State("lost").Undoable())
}

func TestWentOut(t *testing.T) {
	t.Parallel()
	for s, want := range map[night.MessageState]bool{
		night.Due: false, night.Sending: true, night.Sent: true, night.Delivered: true, night.InDoubt: true,
		night.ByHand: true, night.Failed: false, night.Missed: false, night.Dropped: false,
	} {
		require.Equal(t, want, s.WentOut(), s)
	}
}

func TestUndone(t *testing.T) {
	t.Parallel()
	step := func(from, to night.State) night.Event {
		return night.Event{What: night.StepTaken, From: from, To: to}
	}
	undo := func(from, to night.State) night.Event {
		return night.Event{What: night.StepUndone, From: from, To: to}
	}
	tell, arrive := step(night.Booked, night.Told), step(night.Told, night.Arrived)
	out := step(night.Arrived, night.HandedOut)
	tests := []struct {
		name   string
		events []night.Event
		back   night.State
		ok     bool
	}{
		{"nothing happened", nil, "", false},
		{"nothing that moved it", []night.Event{{What: night.OrderAdded}, {What: night.BagsPacked}}, "", false},
		{"only a text went out", []night.Event{tell}, night.Booked, false},
		{"arrived", []night.Event{tell, {What: night.VehicleNoted}, arrive}, night.Told, true},
		{"handed out", []night.Event{tell, arrive, out}, night.Arrived, true},
		{"handed out, undone", []night.Event{tell, arrive, out, undo(night.HandedOut, night.Arrived)}, night.Told, true},
		{
			"all undone", []night.Event{tell, arrive, undo(night.Arrived, night.Told)}, night.Booked, false,
		},
		{
			"done again", []night.Event{tell, arrive, undo(night.Arrived, night.Told), arrive}, night.Told, true,
		},
		{"undone once too often", []night.Event{arrive, undo(night.Arrived, night.Told), undo(night.Told, night.Told)}, "", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			back, ok := night.Undone(tt.events)
			require.Equal(t, tt.ok, ok)
			require.Equal(t, tt.back, back)
		})
	}
}
