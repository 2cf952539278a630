package plan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/plan"
)

func TestQuietHours(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		now   string
		quiet night.Quiet
		want  string
	}{
		{"before they begin", "2026-12-02T20:59:59Z", night.Quiet{From: 1260, To: 480}, "2026-12-02T20:59:59Z"},
		{"as they begin", "2026-12-02T21:00:00Z", night.Quiet{From: 1260, To: 480}, "2026-12-03T08:00:00Z"},
		{"before midnight", "2026-12-02T23:30:00Z", night.Quiet{From: 1260, To: 480}, "2026-12-03T08:00:00Z"},
		{"after midnight", "2026-12-03T00:30:00Z", night.Quiet{From: 1260, To: 480}, "2026-12-03T08:00:00Z"},
		{"as they end", "2026-12-03T08:00:00Z", night.Quiet{From: 1260, To: 480}, "2026-12-03T08:00:00Z"},
		{"within a day", "2026-12-03T13:15:30Z", night.Quiet{From: 720, To: 840}, "2026-12-03T14:00:00Z"},
		{"none", "2026-12-03T03:15:00Z", night.Quiet{}, "2026-12-03T03:15:00Z"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.in.Kitchen.Quiet = tt.quiet
			h.in.Now = at(t, tt.now)
			h.order(1, "K401", bethan, "17:10")
			require.Equal(t, at(t, tt.want), h.plan().Wanted[0].DueAt)
		})
	}
}

func TestInstructionsInQuietHoursWaitForTheirEnd(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.in.Night.InstructAt = at(t, "2026-12-01T22:00:00Z")
	h.order(1, "K401", bethan, "17:10")
	require.Equal(t, at(t, "2026-12-02T08:00:00Z"), h.plan().Wanted[0].DueAt)
}

func TestReminderNeverBeforeItsHour(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.in.Night.First, h.in.Night.Last = 11*60, 13*60
	h.order(1, "K401", bethan, "12:00") // five hours before is 07:00
	require.Equal(t, at(t, "2026-12-04T09:00:00Z"), h.plan().Wanted[1].DueAt)
}

func TestReminderThatWouldComeAfterItsSlotIsLeftOut(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "08:50")
	h.order(2, "K402", bethan, "12:00")
	p := h.plan()
	require.Equal(t, []line{
		{night.Instructions, 0, []int64{1, 2}, "2026-12-01T18:00:00Z"},
		{night.Reminder, 0, []int64{2}, "2026-12-04T09:00:00Z"}, // the other order keeps its reminder
	}, lines(p))
	require.Equal(t, plan.TooLate, why(p, 1, night.Reminder))
	for _, l := range p.LeftOut {
		require.False(t, l.Ring(), "the instructions tell them all they need")
	}
}

func TestQuietHoursUpToTheSlotLeaveThePersonToBeRung(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "08:00")
	h.in.Now = at(t, "2026-12-03T21:30:00Z")
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, plan.TooLate, why(p, 1, night.Instructions))
	require.True(t, p.LeftOut[0].Ring())
}

func TestNightWithoutReminders(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.in.Night.RemindBefore = 0
	p := h.plan()
	require.Equal(t, 0, p.Count(night.Reminder))
	require.Equal(t, plan.NoReminder, why(p, 1, night.Reminder))
	require.Equal(t, []plan.Drop{{MessageID: 2, State: night.Dropped, Why: plan.NoReminder}}, p.Drop)
}

// Row 23: the sender was down for five minutes. What is overdue goes on its
// return; planning in between moves nothing.
func TestOverdueMessageKeepsItsTime(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.in.Now = at(t, "2026-12-01T18:05:00Z")
	before := h.in.Messages
	h.plan()
	require.Equal(t, before, h.in.Messages)

	h.in.Now = at(t, "2026-12-01T23:05:00Z")
	require.Equal(t, at(t, "2026-12-02T08:00:00Z"), h.plan().Wanted[0].DueAt, "but not into the quiet hours")
}

// What goes at once has no time on anybody's clock; what has a time of its own
// goes then.
func TestWhatIsDueWhenItIsPlannedGoesAtOnce(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.in.Now = at(t, "2026-12-01T17:59:59Z")
	for _, w := range h.plan().Wanted {
		require.False(t, w.AtOnce, w.Kind)
	}
	h.order(2, "K402", callum, "17:10") // after the instructions should have gone
	h.in.Now = at(t, "2026-12-01T18:10:00Z")
	p := h.plan()
	require.Len(t, p.Wanted, 4)
	for _, w := range p.Wanted {
		require.Equal(t, w.Kind == night.Instructions && w.Covers[0].OrderID == 2, w.AtOnce, w.Kind)
	}

	h.in.Now = at(t, "2026-12-01T18:05:00Z") // by another clock
	p = h.plan()
	require.Equal(t, h.in.Now, p.Wanted[1].DueAt)
	require.True(t, p.Wanted[1].AtOnce)
}

// A message that waits for its next try is not hurried by a plan.
func TestRetryKeepsItsTime(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.in.Now = at(t, "2026-12-01T18:00:05Z")
	h.in.Messages[0].Attempt, h.in.Messages[0].DueAt = 1, at(t, "2026-12-01T18:02:00Z")
	h.in.Messages[0].Reason = "the provider is busy"
	p := h.plan()
	require.Equal(t, at(t, "2026-12-01T18:02:00Z"), p.Wanted[0].DueAt)
	require.Equal(t, 1, p.Wanted[0].Attempt)
	require.Equal(t, "the provider is busy", p.Wanted[0].Reason)

	// One whose next try would come after the slot is missed, and shown.
	h.in.Now = at(t, "2026-12-04T17:08:00Z")
	h.in.Messages[0].DueAt = at(t, "2026-12-04T17:11:00Z")
	p = h.plan()
	require.Equal(t, plan.TooLate, why(p, 1, night.Instructions))
	require.Contains(t, p.Drop, plan.Drop{MessageID: 1, State: night.Missed, Why: plan.TooLate})
}

func TestInstructionsHeldUpToTheReminderServeForIt(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.in.Now = at(t, "2026-12-04T12:15:00Z") // the machine slept for three days
	h.in.Messages[0].State, h.in.Messages[0].SettledAt = night.Sent, h.in.Now
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, []plan.Drop{{MessageID: 2, State: night.Dropped, Why: plan.InstructionsServe}}, p.Drop)
}

// A plan made by a clock that is ahead takes no reminder back for an update that waits:
// it may go by another clock, too early to serve for it.
func TestAWaitingUpdateCountsByItsTime(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Now = at(t, "2026-12-04T10:00:00Z")
	h.move(1, "17:20")
	h.plan()
	want := []line{{night.Update, 1, []int64{1}, "2026-12-04T10:00:00Z"}, {night.Reminder, 0, []int64{1}, "2026-12-04T12:20:00Z"}}
	for _, now := range []string{"2026-12-04T11:40:00Z", "2026-12-04T10:00:00Z"} {
		h.in.Now = at(t, now)
		p := h.plan()
		require.Equal(t, want, lines(p))
		require.Empty(t, p.Drop)
	}
	h.settle(night.Sent)
	require.Equal(t, want[1:], lines(h.plan()))
}

// Of a person's orders one is added when the reminder of the other is about to go.
func TestAnOrderAddedAtTheOthersReminder(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Now = at(t, "2026-12-04T12:10:00Z")
	h.order(2, "K402", bethan, "18:00")
	p := h.plan()
	require.Equal(t, []line{
		{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"},
		{night.Instructions, 0, []int64{2}, "2026-12-04T12:10:00Z"},
		{night.Reminder, 0, []int64{2}, "2026-12-04T13:00:00Z"},
	}, lines(p))
	h.settle(night.Sent)
	require.Equal(t, []line{{night.Reminder, 0, []int64{2}, "2026-12-04T13:00:00Z"}}, lines(h.plan()))
}

// The reminder of two orders failed; meanwhile one of them was told its instructions by
// hand, after the reminder's time but before that of its own. Sent again it is of both.
func TestASharedReminderSentAgainStaysShared(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Now = at(t, "2026-12-04T12:00:00Z")
	h.order(2, "K402", bethan, "18:00")
	h.plan()
	h.settle(night.Failed)
	h.wait("2026-12-04T12:10:00Z", night.Failed)
	h.in.Now = at(t, "2026-12-04T12:20:00Z")
	for i := range h.in.Messages {
		switch m := &h.in.Messages[i]; {
		case m.Kind == night.Reminder:
			m.State = night.Due
		case m.State == night.Failed:
			m.State, m.SettledAt = night.ByHand, h.in.Now
		}
	}
	require.Equal(t, []line{{night.Reminder, 0, []int64{1, 2}, "2026-12-04T12:10:00Z"}}, lines(h.plan()))
}

// Rows 21 and 22: nights on the days that the clocks change, with the server in
// UTC. The offsets are those of standards.md §10 (IANA 2025b).
func TestClockChangeNights(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, zone   string
		date         night.Date
		slot         string
		reminder     string // five hours before, as the clock on the wall shows
		instructions string // the evening before, after the quiet hours' end
	}{
		{"London, forward", "Europe/London", night.Date{Year: 2026, Month: time.March, Day: 29}, "16:30", "2026-03-29T11:30:00+01:00", "2026-03-29T08:00:00+01:00"},
		{"London, back", "Europe/London", night.Date{Year: 2026, Month: time.October, Day: 25}, "16:30", "2026-10-25T11:30:00Z", "2026-10-25T08:00:00Z"},
		{"New York, forward", "America/New_York", night.Date{Year: 2026, Month: time.March, Day: 8}, "16:30", "2026-03-08T11:30:00-04:00", "2026-03-08T08:00:00-04:00"},
		{"New York, back", "America/New_York", night.Date{Year: 2026, Month: time.November, Day: 1}, "16:30", "2026-11-01T11:30:00-05:00", "2026-11-01T08:00:00-05:00"},
		{"Sydney, forward", "Australia/Sydney", night.Date{Year: 2026, Month: time.October, Day: 4}, "16:30", "2026-10-04T11:30:00+11:00", "2026-10-04T08:00:00+11:00"},
		{"Sydney, back", "Australia/Sydney", night.Date{Year: 2026, Month: time.April, Day: 5}, "16:30", "2026-04-05T11:30:00+10:00", "2026-04-05T08:00:00+10:00"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.in.Kitchen.Zone = zone(t, tt.zone)
			h.in.Night.Date = tt.date
			h.in.Night.InstructAt, _ = night.Instant(tt.date.AddDays(-1), 22*60, h.in.Kitchen.Zone)
			h.in.Now = h.in.Night.InstructAt.Add(-48 * time.Hour)
			h.order(1, "K401", bethan, tt.slot)
			p := h.plan()
			require.Len(t, p.Wanted, 2)
			require.Equal(t, at(t, tt.instructions), p.Wanted[0].DueAt)
			require.Equal(t, at(t, tt.reminder), p.Wanted[1].DueAt)

			// Each goes once, however often the plan is made on the day.
			first := h.in.Night.InstructAt.Add(-time.Hour)
			for m := range 24 * 6 {
				h.in.Now = first.Add(time.Duration(m) * 10 * time.Minute)
				h.plan()
				h.settle(night.Sent)
			}
			require.Len(t, h.in.Messages, 2)
		})
	}
}

// Quiet hours that end in the hour that the clocks skip or repeat.
func TestQuietHoursThatEndInAClockChange(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, zone, now, want string
		quiet                 night.Quiet
	}{
		{"London, end skipped", "Europe/London", "2026-03-29T00:10:00Z", "2026-03-29T01:30:00Z", night.Quiet{From: 1260, To: 90}},
		{"London, end comes twice: the first", "Europe/London", "2026-10-24T23:10:00Z", "2026-10-25T00:30:00Z", night.Quiet{From: 1260, To: 90}},
		{"London, quiet again until the second", "Europe/London", "2026-10-25T01:10:00Z", "2026-10-25T01:30:00Z", night.Quiet{From: 1260, To: 90}},
		{"New York, end skipped", "America/New_York", "2026-03-08T06:10:00Z", "2026-03-08T07:30:00Z", night.Quiet{From: 1260, To: 150}},
		{"New York, end comes twice: the first", "America/New_York", "2026-11-01T04:10:00Z", "2026-11-01T05:30:00Z", night.Quiet{From: 1260, To: 90}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.in.Kitchen.Zone = zone(t, tt.zone)
			h.in.Kitchen.Quiet = tt.quiet
			h.in.Now = at(t, tt.now)
			h.in.Night.Date = night.DateOf(h.in.Now.In(h.in.Kitchen.Zone)).AddDays(1)
			h.in.Night.InstructAt = h.in.Now
			h.order(1, "K401", bethan, "17:10")
			require.Equal(t, at(t, tt.want), h.plan().Wanted[0].DueAt)
		})
	}
}

// Two orders share a reminder; one goes over to another number and its reminder, and
// for the other alone the quiet hours leave no time. What they shared is given up
// altogether: missed, it would still stand for the first.
func TestASharedReminderThatIsTooLateForTheOneLeft(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.in.Night.RemindBefore = time.Hour
	h.in.Kitchen.Quiet.From = 18 * 60
	h.order(1, "K401", bethan, "18:50")
	h.order(2, "K402", bethan, "19:30")
	h.order(3, "K403", callum, "16:20")
	require.Contains(t, lines(h.plan()), line{night.Reminder, 0, []int64{1, 2}, "2026-12-04T17:50:00Z"})
	h.change(1, func(o *night.Order) { o.Phone = callum })
	p := h.plan()
	require.Contains(t, lines(p), line{night.Reminder, 0, []int64{3, 1}, "2026-12-04T15:20:00Z"})
	require.Equal(t, plan.TooLate, why(p, 2, night.Reminder))
	require.Len(t, p.Drop, 1)
	require.Equal(t, night.Dropped, p.Drop[0].State)
}
