package plan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/plan"
)

// told is a night on which Bethan has her instructions for 17:10.
func told(t *testing.T) *house {
	t.Helper()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.Sent)
	return h
}

func TestMovedBeforeAnythingWentOut(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.move(1, "18:30")
	p := h.plan()
	require.Equal(t, []line{
		{night.Instructions, 0, []int64{1}, "2026-12-01T18:00:00Z"},
		{night.Reminder, 0, []int64{1}, "2026-12-04T13:30:00Z"},
	}, lines(p))
	require.Equal(t, night.Clock(18*60+30), p.Wanted[0].Covers[0].Slot)
	require.Equal(t, at(t, "2026-12-04T18:30:00Z"), p.Wanted[0].ExpiresAt)
}

func TestMovedAfterTheInstructions(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.move(1, "18:30")
	p := h.plan()
	require.Equal(t, []line{
		{night.Update, 1, []int64{1}, "2026-12-02T10:00:00Z"},
		{night.Reminder, 0, []int64{1}, "2026-12-04T13:30:00Z"},
	}, lines(p))
	require.Equal(t, at(t, "2026-12-04T18:30:00Z"), p.Wanted[0].ExpiresAt)
	require.Equal(t, "14 Mill Lane", p.Wanted[0].Place)
}

// Row 28: there and back leaves one reminder and no update.
func TestMovedThereAndBack(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.move(1, "18:30")
	h.plan()
	h.move(1, "17:10")
	p := h.plan()
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"}}, lines(p))
	require.Equal(t, []plan.Drop{{MessageID: 3, State: night.Dropped, Why: plan.AsTold}}, p.Drop)
	require.Len(t, h.in.Messages, 3)
}

func TestTwoMovesBeforeTheUpdateLeaveOne(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Now = at(t, "2026-12-02T22:00:00Z")
	h.move(1, "18:30")
	h.plan()
	h.move(1, "19:00")
	p := h.plan()
	require.Equal(t, line{night.Update, 1, []int64{1}, "2026-12-03T08:00:00Z"}, lines(p)[0])
	require.Equal(t, night.Clock(19*60), p.Wanted[0].Covers[0].Slot)
	require.Equal(t, 1, p.Count(night.Update))
	require.Empty(t, p.Drop)
}

func TestMovedAgainAfterAnUpdate(t *testing.T) {
	t.Parallel()
	for _, s := range []night.MessageState{night.Sending, night.Sent, night.Delivered, night.InDoubt, night.ByHand} {
		t.Run(string(s), func(t *testing.T) {
			t.Parallel()
			h := told(t)
			h.move(1, "18:30")
			h.plan()
			h.settle(s)
			require.Equal(t, 0, h.plan().Count(night.Update))
			h.move(1, "17:10")
			require.Equal(t, line{night.Update, 2, []int64{1}, "2026-12-02T10:00:00Z"}, lines(h.plan())[0])
		})
	}
}

// A failed update stands on the list of failed texts. The same one again would
// fail the same way; another one may not.
// Told by hand long after it was due, an old text does not make the old slot the
// newest news.
func TestAnOldTextToldByHand(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.InDoubt)
	h.move(1, "18:30")
	h.plan()
	h.wait("2026-12-02T10:01:00Z", night.Sent)
	for i := range h.in.Messages {
		if h.in.Messages[i].State == night.InDoubt {
			h.in.Messages[i].State, h.in.Messages[i].SettledAt = night.ByHand, at(t, "2026-12-02T11:00:00Z")
		}
	}
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T13:30:00Z"}}, lines(h.plan()))
}

// The clock was put back, or another instance's is behind, between a reminder and
// the text that the night has moved: that text is the newest news.
func TestAnUpdateDatedBeforeTheReminder(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-04T12:10:00Z", night.Sent)
	h.in.Night.Place = "The Old Dairy"
	h.in.Now = at(t, "2026-12-04T13:20:00Z")
	h.plan()
	h.wait("2026-12-04T13:20:00Z", night.Sent)
	for i := range h.in.Messages {
		m := &h.in.Messages[i]
		if m.Turn = int64(i + 1); m.Kind == night.Update {
			m.SettledAt = at(t, "2026-12-04T12:05:00Z")
		}
	}
	require.Empty(t, h.plan().Wanted, "they know the place")
}

// A cancellation that went out while nobody knew of the instructions is the
// newest news, though they are given up as in doubt later.
func TestInstructionsInDoubtLongAfterACancellation(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.InDoubt)
	h.in.Night.CalledOff = h.in.Now
	h.plan()
	h.wait("2026-12-02T10:01:00Z", night.Sent)
	for i := range h.in.Messages {
		if h.in.Messages[i].State == night.InDoubt {
			h.in.Messages[i].SettledAt = at(t, "2026-12-02T10:02:00Z")
		}
	}
	h.in.Now = at(t, "2026-12-02T11:00:00Z")
	require.Empty(t, h.plan().Wanted, "they know that it is off")
	h.in.Night.CalledOff = time.Time{}
	require.Equal(t, night.Update, h.plan().Wanted[0].Kind, "and are told that it is on again")
}

// A clock that is put back between two updates does not make the first the
// newest.
func TestUpdatesAcrossAClockThatWentBack(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Now = at(t, "2026-12-02T10:05:00Z")
	h.move(1, "18:30")
	h.plan()
	h.settle(night.Sent)
	h.in.Now = at(t, "2026-12-02T10:01:00Z")
	h.move(1, "19:00")
	h.plan()
	h.wait("2026-12-02T10:02:00Z", night.Sent)
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T14:00:00Z"}}, lines(h.plan()))
}

func TestFailedUpdate(t *testing.T) {
	t.Parallel()
	for _, s := range []night.MessageState{night.Failed, night.Missed} {
		t.Run(string(s), func(t *testing.T) {
			t.Parallel()
			h := told(t)
			h.move(1, "18:30")
			h.plan()
			h.settle(s)
			p := h.plan()
			require.Equal(t, 0, p.Count(night.Update))
			require.Equal(t, plan.UpdateFailed, why(p, 1, night.Update))
			require.Contains(t, p.LeftOut, plan.LeftOut{OrderID: 1, Kind: night.Update, Why: plan.UpdateFailed})
			require.True(t, plan.LeftOut{OrderID: 1, Kind: night.Update, Why: plan.UpdateFailed}.Ring())
			h.move(1, "19:00")
			require.Equal(t, line{night.Update, 2, []int64{1}, "2026-12-02T10:00:00Z"}, lines(h.plan())[0])
			h.move(1, "17:10")
			p = h.plan()
			require.Equal(t, 0, p.Count(night.Update), "they still hold the text with 17:10")
			require.Empty(t, why(p, 1, night.Update))
		})
	}
}

func TestPlaceChangesAreTold(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.order(2, "K461", bethan, "19:00")
	h.order(3, "K402", priya, "18:50")
	h.plan()
	h.settle(night.Sent)
	h.in.Night.Place = "the village hall"
	p := h.plan()
	require.Equal(t, line{night.Update, 1, []int64{1, 2}, "2026-12-02T10:00:00Z"}, lines(p)[0])
	require.Equal(t, line{night.Update, 1, []int64{3}, "2026-12-02T10:00:00Z"}, lines(p)[1])
	require.Equal(t, "the village hall", p.Wanted[0].Place)
	h.in.Night.Place = "14 Mill Lane"
	require.Equal(t, 0, h.plan().Count(night.Update))
}

func TestATextWithoutAPlaceSaysNothingOfIt(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.wait("2026-12-04T12:10:00Z", night.Sent)
	h.in.Messages[1].Place = "" // a kitchen's own reminder that names none
	require.Equal(t, 0, h.plan().Count(night.Update))
	h.in.Night.Place = "the village hall"
	require.Equal(t, 1, h.plan().Count(night.Update))
}

func TestUpdatesOfOnePersonShareARevisionThatIsNewForAll(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.order(2, "K402", bethan, "17:30")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.Sent)
	h.move(1, "17:20")
	require.Equal(t, line{night.Update, 1, []int64{1}, "2026-12-02T10:00:00Z"}, lines(h.plan())[0])
	h.settle(night.Sent)
	h.move(1, "18:00")
	h.move(2, "18:00")
	require.Equal(t, line{night.Update, 2, []int64{1, 2}, "2026-12-02T10:00:00Z"}, lines(h.plan())[0])
}

func TestUpdateTooLateForATextLeavesThePersonToBeRung(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Now = at(t, "2026-12-04T16:45:00Z")
	h.settle(night.Sent)
	h.move(1, "16:40")
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, plan.SlotOver, why(p, 1, night.Update))

	h = told(t)
	h.in.Kitchen.Quiet = night.Quiet{From: 16 * 60, To: 19 * 60}
	h.in.Now = at(t, "2026-12-04T16:45:00Z")
	h.settle(night.Sent)
	h.move(1, "18:40")
	p = h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, plan.TooLate, why(p, 1, night.Update))
}

func TestReminderNearAnUpdateIsLeftOut(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, now string
		want      plan.Reason
	}{
		{"an hour before it", "2026-12-04T12:30:00Z", ""},
		{"less than an hour before it", "2026-12-04T12:30:01Z", plan.UpdateServes},
		{"after its time", "2026-12-04T13:40:00Z", plan.UpdateServes},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.order(1, "K401", bethan, "19:00") // its reminder would go at 14:00
			h.plan()
			h.wait("2026-12-02T10:00:00Z", night.Sent)
			h.in.Now = at(t, tt.now)
			h.move(1, "18:30") // and now at 13:30
			p := h.plan()
			require.Equal(t, 1, p.Count(night.Update))
			require.Equal(t, tt.want, why(p, 1, night.Reminder))

			h.settle(night.Sent)
			h.in.Now = h.in.Now.Add(10 * time.Minute)
			require.Equal(t, tt.want, why(h.plan(), 1, night.Reminder), "the same once the update is out")
		})
	}
}

// Of a person's three orders one was moved shortly before the reminder of all: it is
// named in that, and gets no second text just after it.
func TestAMovedOrderIsNamedInTheOthersReminder(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:30")
	h.order(2, "K402", bethan, "17:10")
	h.order(3, "K403", bethan, "18:00")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.Sent)
	h.in.Now = at(t, "2026-12-04T11:30:00Z")
	h.move(1, "18:20") // alone its reminder would go at 13:20
	require.Contains(t, lines(h.plan()), line{night.Reminder, 0, []int64{2, 3, 1}, "2026-12-04T12:10:00Z"})
	h.wait("2026-12-04T12:10:00Z", night.Sent)
	require.Empty(t, h.plan().Wanted)
}

// An order is added under the number of one whose instructions were lost and go out
// again by another way: they stay two texts.
func TestALostTextGoesOnAlone(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K402", bethan, "17:30")
	h.plan()
	h.wait("2026-12-02T21:30:00Z", night.Due)
	m := &h.in.Messages[0]
	require.Equal(t, night.Instructions, m.Kind)
	m.State, m.Attempt, m.Fallen = night.Due, 1, true
	m.Earlier = night.Standing{State: night.Failed, At: h.in.Now, Turn: 1}
	h.order(2, "K401", bethan, "17:30") // leads by its reference
	p := h.plan()
	require.Empty(t, p.Drop)
	var told [][]int64
	for _, l := range lines(p) {
		if l.kind == night.Instructions {
			told = append(told, l.orders)
		}
	}
	require.ElementsMatch(t, [][]int64{{1}, {2}}, told)
}

func TestANewNumberIsTold(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.change(1, func(o *night.Order) { o.Phone = priya })
	p := h.plan()
	require.Equal(t, line{night.Update, 1, []int64{1}, "2026-12-02T10:00:00Z"}, lines(p)[0])
	require.Equal(t, priya, p.Wanted[0].To)
	require.Equal(t, priya, p.Wanted[1].To)
	h.settle(night.Sent)
	require.Equal(t, 0, h.plan().Count(night.Update))
}

func TestAResendToAnotherNumberChangesNothing(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.id++
	h.in.Messages = append(h.in.Messages, night.Message{
		ID: h.id, Kind: night.Resend, Covers: []night.Cover{{OrderID: 1, Slot: 17*60 + 10}}, Place: "14 Mill Lane",
		To: callum, State: night.Sent, SettledAt: h.in.Now,
	})
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"}}, lines(h.plan()))
}

func TestOptedOutAfterAChangeIsToBeRung(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.OptedOut[bethan] = true
	h.move(1, "18:30")
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, plan.OptedOut, why(p, 1, night.Update))
	require.True(t, plan.LeftOut{OrderID: 1, Kind: night.Update, Why: plan.OptedOut}.Ring())
}

func TestCalledOff(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.order(2, "K402", bethan, "17:30")
	h.order(3, "K403", priya, "18:50")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.Sent)
	h.in.Night.CalledOff = at(t, "2026-12-02T10:00:00Z")
	p := h.plan()
	require.Equal(t, []line{
		{night.Cancellation, 0, []int64{1, 2}, "2026-12-02T10:00:00Z"},
		{night.Cancellation, 0, []int64{3}, "2026-12-02T10:00:00Z"},
	}, lines(p))
	require.Empty(t, p.Wanted[0].Place)
	require.Len(t, p.Drop, 2)
	for _, d := range p.Drop {
		require.Equal(t, plan.NightOff, d.Why)
	}
	h.settle(night.Sent)
	require.Empty(t, h.plan().Wanted, "once")
	h.order(4, "K460", callum, "18:00")
	require.Equal(t, []line{{night.Cancellation, 0, []int64{4}, "2026-12-02T10:00:00Z"}}, lines(h.plan()))
}

func TestCalledOffOwesTheCancelledOnlyIfTheyWereTold(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.Sent)
	h.order(2, "K402", priya, "18:50")
	h.order(3, "K403", callum, "18:50")
	h.set(1, night.Cancelled) // told of 17:10
	h.set(2, night.Cancelled) // never told
	h.set(3, night.HandedOut)
	h.in.Night.CalledOff = h.in.Now
	require.Equal(t, []line{{night.Cancellation, 0, []int64{1}, "2026-12-02T10:00:00Z"}}, lines(h.plan()))
}

func TestCalledOffTooLateOrUnreachable(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", "", "17:10")
	h.order(2, "K402", priya, "18:50")
	h.order(3, "K403", callum, "16:30")
	h.in.OptedOut[priya] = true
	h.in.Now = at(t, "2026-12-04T16:30:00Z")
	h.in.Night.CalledOff = h.in.Now
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, []plan.LeftOut{
		{OrderID: 1, Kind: night.Cancellation, Why: plan.NoNumber},
		{OrderID: 2, Kind: night.Cancellation, Why: plan.OptedOut},
		{OrderID: 3, Kind: night.Cancellation, Why: plan.SlotOver},
	}, p.LeftOut)
}

func TestANightThatIsOnAgain(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Night.CalledOff = h.in.Now
	h.plan()
	h.in.Night.CalledOff = time.Time{}
	p := h.plan()
	require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"}}, lines(p), "nobody was told, nobody need be told")

	h.in.Night.CalledOff = h.in.Now
	h.plan()
	h.settle(night.Sent)
	h.in.Now = h.in.Now.Add(time.Hour)
	h.in.Night.CalledOff = time.Time{}
	require.Equal(t, line{night.Update, 1, []int64{1}, "2026-12-02T11:00:00Z"}, lines(h.plan())[0])
	h.settle(night.Sent)
	h.in.Now = h.in.Now.Add(time.Hour)
	h.in.Night.CalledOff = h.in.Now
	require.Equal(t, []line{{night.Cancellation, 1, []int64{1}, "2026-12-02T12:00:00Z"}}, lines(h.plan()))
}

// A person may ask for the cancellation of one order to be sent.
func TestStandingCancellationOfOneOrder(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.set(1, night.Cancelled)
	h.id++
	row := night.Message{
		ID: h.id, KitchenID: 3, NightID: 9, Kind: night.Cancellation, Covers: []night.Cover{{OrderID: 1, Slot: 17*60 + 10}},
		To: bethan, State: night.Due, DueAt: h.in.Now, ExpiresAt: at(t, "2026-12-04T17:10:00Z"),
	}
	h.in.Messages = append(h.in.Messages, row)
	p := h.plan()
	require.Equal(t, []night.Message{row}, p.Wanted)

	late := h.in
	late.Now = row.ExpiresAt
	p = plan.Make(late)
	require.Empty(t, p.Wanted)
	require.Contains(t, p.Drop, plan.Drop{MessageID: row.ID, State: night.Missed, Why: plan.TooLate}, "it waited until the slot")

	h.set(1, night.Told)
	p = h.plan()
	require.Contains(t, p.Drop, plan.Drop{MessageID: row.ID, State: night.Dropped, Why: plan.AsTold})
}

func TestTextsThatLostTheirPoint(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		kind  night.MessageKind
		state night.State
		want  plan.Reason
	}{
		{"nudge to somebody who has come", night.Nudge, night.Arrived, plan.Arrived},
		{"nudge to somebody who is awaited", night.Nudge, night.Reminded, ""},
		{"delay to somebody who has their food", night.Delay, night.HandedOut, plan.HandedOut},
		{"delay to somebody given up", night.Delay, night.NotCollected, plan.NotCollected},
		{"instructions again to somebody who is here", night.Resend, night.Arrived, ""},
		{"what is missing, to somebody who is here", night.Short, night.Arrived, ""},
		{"what is missing, of bags that are out", night.Short, night.HandedOut, plan.HandedOut},
		{"instructions again for a cancelled order", night.Resend, night.Cancelled, plan.Cancelled},
		{"answer about a cancelled order", night.Reply, night.Cancelled, ""},
		{"answer to an opt-out", night.Confirmation, night.Cancelled, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := told(t)
			h.set(1, tt.state)
			h.in.Messages = append(h.in.Messages, night.Message{
				ID: 77, Kind: tt.kind, Covers: []night.Cover{{OrderID: 1}}, To: bethan, State: night.Due, DueAt: h.in.Now,
			})
			var got plan.Reason
			for _, d := range h.plan().Drop {
				if d.MessageID == 77 {
					got = d.Why
				}
			}
			require.Equal(t, tt.want, got)
		})
	}
}

func TestNothingToSomebodyWhoOptedOutButTheAnswer(t *testing.T) {
	t.Parallel()
	h := told(t)
	for i, k := range []night.MessageKind{night.Nudge, night.Delay, night.Resend, night.Reply, night.Confirmation} {
		h.in.Messages = append(h.in.Messages, night.Message{
			ID: 70 + int64(i), Kind: k, Covers: []night.Cover{{OrderID: 1}}, To: bethan, State: night.Due, DueAt: h.in.Now,
		})
	}
	h.in.OptedOut[bethan] = true
	var dropped []int64
	for _, d := range h.plan().Drop {
		require.Equal(t, plan.OptedOut, d.Why)
		dropped = append(dropped, d.MessageID)
	}
	require.Equal(t, []int64{2, 70, 71, 72}, dropped)
}

func TestAnOrderThatIsGone(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.in.Orders = nil
	require.Equal(t, []plan.Drop{{MessageID: 2, State: night.Dropped, Why: plan.Gone}}, h.plan().Drop)
}

func TestSplitAndJoinedNumbers(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.order(2, "K402", bethan, "17:30")
	h.plan()
	require.Len(t, h.in.Messages, 2)
	h.change(2, func(o *night.Order) { o.Phone = priya })
	p := h.plan()
	require.Empty(t, p.Drop)
	require.Equal(t, 2, p.Count(night.Instructions))
	h.change(2, func(o *night.Order) { o.Phone = bethan })
	p = h.plan()
	require.Equal(t, 1, p.Count(night.Instructions))
	require.Equal(t, []plan.Drop{
		{MessageID: 3, State: night.Dropped, Why: plan.Joined},
		{MessageID: 4, State: night.Dropped, Why: plan.Joined},
	}, p.Drop)
}

func TestFailedUpdateToAnOldNumberIsTriedAtTheNew(t *testing.T) {
	t.Parallel()
	h := told(t)
	h.move(1, "18:30")
	h.plan()
	h.settle(night.Failed)
	h.in.Messages[2].Place = "" // also where the text names no place
	require.Equal(t, plan.UpdateFailed, why(h.plan(), 1, night.Update))
	h.change(1, func(o *night.Order) { o.Phone = priya })
	p := h.plan()
	require.Equal(t, line{night.Update, 2, []int64{1}, "2026-12-02T10:00:00Z"}, lines(p)[0])
	require.Equal(t, priya, p.Wanted[0].To)
}

func TestInstructionsAtTheMomentOfTheReminderServeForIt(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.in.Now = at(t, "2026-12-04T12:10:00Z")
	p := h.plan()
	require.Equal(t, 0, p.Count(night.Reminder))
	require.Equal(t, plan.InstructionsServe, why(p, 1, night.Reminder))
}

// The row of a group that is split stays with the order that it was filed under.
func TestTheRowStaysWithItsLead(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(2, "K443", callum, "17:30")
	h.order(1, "K420", bethan, "17:10")
	h.plan()
	require.Equal(t, bethan, h.in.Messages[0].To)
	h.change(2, func(o *night.Order) { o.Phone = bethan })
	p := h.plan()
	require.Equal(t, int64(1), p.Wanted[0].ID)
	require.Equal(t, bethan, p.Wanted[0].To)
	require.Len(t, p.Wanted[0].Covers, 2)
	require.Len(t, p.Drop, 2)
}
