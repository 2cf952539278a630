package plan_test

import (
	"slices"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/plan"
)

// The defaults that the cases lean on (instructions three days before at 18:00,
// reminder five hours before the slot and not before 09:00, quiet from 21:00 to
// 08:00) are common practice, no source.

const (
	bethan = "+447700900888"
	priya  = "+447700900234"
	callum = "+447700900433"
)

func at(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, s)
	require.NoError(t, err)
	return v.UTC()
}

func clock(t *testing.T, s string) night.Clock {
	t.Helper()
	c, err := night.ParseClock(s)
	require.NoError(t, err)
	return c
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

// house is a small store and a phone network for one night.
type house struct {
	t  *testing.T
	in plan.Input
	id int64
}

// friday is a night on Friday 4 December 2026 in London, with nothing sent yet.
func friday(t *testing.T) *house {
	t.Helper()
	return &house{t: t, in: plan.Input{
		Kitchen: night.Kitchen{
			ID: 3, Name: "Larkfield Dumpling Kitchen", Region: "GB", Zone: zone(t, "Europe/London"),
			Quiet: night.Quiet{From: 21 * 60, To: 8 * 60},
		},
		Night: night.Night{
			ID: 9, KitchenID: 3, Date: night.Date{Year: 2026, Month: time.December, Day: 4},
			First: clock(t, "16:30"), Last: clock(t, "19:30"), Every: 10, Place: "14 Mill Lane",
			InstructAt: at(t, "2026-12-01T18:00:00Z"), RemindBefore: 5 * time.Hour, RemindFrom: 9 * 60,
			ClosedAt: at(t, "2026-11-30T12:00:00Z"),
		},
		OptedOut: map[string]bool{},
		Now:      at(t, "2026-11-30T12:00:00Z"),
	}}
}

func (h *house) order(id int64, ref, phone, slot string) {
	h.t.Helper()
	h.in.Orders = append(h.in.Orders, night.Order{
		ID: id, KitchenID: 3, NightID: 9, Ref: ref, Name: "Bethan Cadwgan", Phone: phone,
		Slot: clock(h.t, slot), State: night.Booked,
	})
}

func (h *house) change(id int64, f func(*night.Order)) {
	h.t.Helper()
	for i := range h.in.Orders {
		if h.in.Orders[i].ID == id {
			f(&h.in.Orders[i])
			return
		}
	}
	h.t.Fatalf("no order %d", id)
}

func (h *house) move(id int64, slot string) {
	h.t.Helper()
	h.change(id, func(o *night.Order) { o.Slot = clock(h.t, slot) })
}

func (h *house) set(id int64, s night.State) {
	h.t.Helper()
	h.change(id, func(o *night.Order) { o.State = s })
}

// plan makes the plan and stores it, as the desk does.
func (h *house) plan() plan.Plan {
	h.t.Helper()
	p := plan.Make(h.in)
	h.in.Messages, h.id = stored(p, h.in.Messages, h.id)
	return p
}

// stored is what a store holds after a plan: drops first, then what changes,
// then what is new.
func stored(p plan.Plan, messages []night.Message, id int64) ([]night.Message, int64) {
	out := slices.Clone(messages)
	for _, d := range p.Drop {
		i := slices.IndexFunc(out, func(m night.Message) bool { return m.ID == d.MessageID && m.State == night.Due })
		out[i].State, out[i].Reason = d.State, string(d.Why)
		if e := out[i].Earlier; e.State != "" {
			out[i].State, out[i].SettledAt, out[i].Earlier = e.State, e.At, night.Standing{}
		}
	}
	for _, w := range p.Wanted {
		if w.ID == 0 {
			id++
			w.ID = id
			out = append(out, w)
			continue
		}
		i := slices.IndexFunc(out, func(m night.Message) bool { return m.ID == w.ID && m.State == night.Due })
		out[i] = w
	}
	return out, id
}

// wait lets time pass to a moment, and what is due until then ends in a state.
func (h *house) wait(until string, as night.MessageState) {
	h.t.Helper()
	h.in.Now = at(h.t, until)
	h.settle(as)
}

func (h *house) settle(as night.MessageState) {
	for i := range h.in.Messages {
		m := &h.in.Messages[i]
		if m.State == night.Due && !m.DueAt.After(h.in.Now) {
			m.State, m.Attempt = as, m.Attempt+1
			if as != night.Sending {
				m.SettledAt = m.DueAt
			}
		}
	}
}

// line is a wanted message in short.
type line struct {
	kind   night.MessageKind
	rev    int
	orders []int64
	due    string
}

func lines(p plan.Plan) []line {
	var out []line
	for _, w := range p.Wanted {
		l := line{kind: w.Kind, rev: w.Revision, due: w.DueAt.Format(time.RFC3339)}
		for _, c := range w.Covers {
			l.orders = append(l.orders, c.OrderID)
		}
		out = append(out, l)
	}
	return out
}

func why(p plan.Plan, order int64, kind night.MessageKind) plan.Reason {
	for _, l := range p.LeftOut {
		if l.OrderID == order && l.Kind == kind {
			return l.Why
		}
	}
	return ""
}

func TestOneOrderGetsInstructionsAndReminder(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	p := h.plan()
	require.Equal(t, []night.Message{
		{
			KitchenID: 3, NightID: 9, Kind: night.Instructions, Covers: []night.Cover{{OrderID: 1, Slot: 17*60 + 10}},
			Place: "14 Mill Lane", To: bethan, State: night.Due,
			DueAt: at(t, "2026-12-01T18:00:00Z"), ExpiresAt: at(t, "2026-12-04T17:10:00Z"),
		},
		{
			KitchenID: 3, NightID: 9, Kind: night.Reminder, Covers: []night.Cover{{OrderID: 1, Slot: 17*60 + 10}},
			Place: "14 Mill Lane", To: bethan, State: night.Due,
			DueAt: at(t, "2026-12-04T12:10:00Z"), ExpiresAt: at(t, "2026-12-04T17:10:00Z"),
		},
	}, p.Wanted)
	require.Empty(t, p.Drop)
	require.Empty(t, p.LeftOut)
	require.Equal(t, 1, p.Count(night.Reminder))
	require.Equal(t, at(t, "2026-12-04T12:10:00Z"), p.LastDue())
	require.True(t, plan.Plan{}.LastDue().IsZero())
}

func TestPlanningAgainAddsNothing(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.order(2, "K402", priya, "18:50")
	h.plan()
	first := slices.Clone(h.in.Messages)
	require.Len(t, first, 4)
	for range 3 {
		p := h.plan()
		require.Empty(t, p.Drop)
		require.Equal(t, first, h.in.Messages)
	}
}

// A book planned before its night is closed is a preview with the same content.
func TestPreviewBeforeClosing(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	closed := plan.Make(h.in)
	h.in.Night.ClosedAt = time.Time{}
	require.Equal(t, closed, plan.Make(h.in))
}

// Row 36 of the fault reports: the same number twice in one batch.
func TestTwoOrdersUnderOneNumberShareTheirTexts(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K443", bethan, "17:30")
	h.order(2, "K420", bethan, "17:10")
	h.order(3, "K402", priya, "18:50")
	require.Equal(t, []line{
		{night.Instructions, 0, []int64{2, 1}, "2026-12-01T18:00:00Z"},
		{night.Instructions, 0, []int64{3}, "2026-12-01T18:00:00Z"},
		{night.Reminder, 0, []int64{2, 1}, "2026-12-04T12:10:00Z"},
		{night.Reminder, 0, []int64{3}, "2026-12-04T13:50:00Z"},
	}, lines(h.plan()))
}

func TestEqualSlotsAreLedByReference(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K443", bethan, "17:10")
	h.order(2, "K420", bethan, "17:10")
	p := h.plan()
	require.Equal(t, []night.Cover{{OrderID: 2, Slot: 17*60 + 10}, {OrderID: 1, Slot: 17*60 + 10}}, p.Wanted[0].Covers)
}

func TestAGroupThatLosesItsLeadKeepsItsMessages(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K420", bethan, "17:10")
	h.order(2, "K443", bethan, "17:30")
	h.plan()
	h.set(1, night.Cancelled)
	p := h.plan()
	require.Empty(t, p.Drop)
	require.Len(t, h.in.Messages, 2)
	require.Equal(t, []line{
		{night.Instructions, 0, []int64{2}, "2026-12-01T18:00:00Z"},
		{night.Reminder, 0, []int64{2}, "2026-12-04T12:30:00Z"},
	}, lines(p))
	require.Equal(t, plan.Cancelled, why(p, 1, night.Instructions))
}

// Row 24: adding an order late sends nothing again to the others.
func TestOrderAddedLateResendsNothing(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.order(2, "K402", priya, "18:50")
	h.plan()
	h.wait("2026-12-04T16:20:00Z", night.Sent)
	h.order(3, "K460", callum, "18:00")
	p := h.plan()
	require.Equal(t, []line{{night.Instructions, 0, []int64{3}, "2026-12-04T16:20:00Z"}}, lines(p))
	require.Equal(t, plan.InstructionsServe, why(p, 3, night.Reminder))

	h.settle(night.Sent)
	h.in.Now = at(t, "2026-12-04T16:40:00Z")
	p = h.plan()
	require.Empty(t, p.Wanted, "the reminder must not turn up once the instructions are out")
	require.Equal(t, plan.InstructionsServe, why(p, 3, night.Reminder))
}

func TestOrderAddedUnderAKnownNumberGetsItsOwn(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.wait("2026-12-02T10:00:00Z", night.Sent)
	h.order(2, "K461", bethan, "19:00")
	require.Equal(t, []line{
		{night.Instructions, 0, []int64{2}, "2026-12-02T10:00:00Z"},
		{night.Reminder, 0, []int64{1, 2}, "2026-12-04T12:10:00Z"}, // one reminder for the person
	}, lines(h.plan()))

	h.wait("2026-12-04T12:10:00Z", night.Sent)
	h.order(3, "K462", bethan, "19:20")
	p := h.plan()
	require.Equal(t, []line{
		{night.Instructions, 0, []int64{3}, "2026-12-04T12:10:00Z"},
		{night.Reminder, 0, []int64{3}, "2026-12-04T14:20:00Z"},
	}, lines(p))
}

func TestInstructionsPastDueAreNeverPlannedAgain(t *testing.T) {
	t.Parallel()
	for _, s := range []night.MessageState{
		night.Sending, night.Sent, night.Delivered, night.InDoubt, night.ByHand, night.Failed, night.Missed,
	} {
		t.Run(string(s), func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.order(1, "K401", bethan, "17:10")
			h.plan()
			h.wait("2026-12-01T18:00:00Z", s)
			require.Equal(t, []line{{night.Reminder, 0, []int64{1}, "2026-12-04T12:10:00Z"}}, lines(h.plan()))
		})
	}
}

func TestDroppedInstructionsComeBackWithTheOrder(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", bethan, "17:10")
	h.plan()
	h.set(1, night.Cancelled)
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Equal(t, []plan.Drop{
		{MessageID: 1, State: night.Dropped, Why: plan.Cancelled},
		{MessageID: 2, State: night.Dropped, Why: plan.Cancelled},
	}, p.Drop)
	h.set(1, night.Booked)
	require.Len(t, h.plan().Wanted, 2)
}

func TestClosedOrdersAndUnreachablePeople(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		do   func(h *house)
		want plan.Reason
		ring bool
	}{
		{"cancelled", func(h *house) { h.set(1, night.Cancelled) }, plan.Cancelled, false},
		{"handed out", func(h *house) { h.set(1, night.HandedOut) }, plan.HandedOut, false},
		{"not collected", func(h *house) { h.set(1, night.NotCollected) }, plan.NotCollected, false},
		{"arrived", func(h *house) { h.set(1, night.Arrived) }, plan.Arrived, false},
		{"no number", func(h *house) { h.change(1, func(o *night.Order) { o.Phone = "" }) }, plan.NoNumber, true},
		{"opted out", func(h *house) { h.in.OptedOut[bethan] = true }, plan.OptedOut, true},
		{"slot over", func(h *house) { h.in.Now = at(h.t, "2026-12-04T17:10:00Z") }, plan.SlotOver, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := friday(t)
			h.order(1, "K401", bethan, "17:10")
			h.order(2, "K402", priya, "18:50")
			h.plan()
			tt.do(h)
			p := h.plan()
			for _, w := range p.Wanted {
				require.Equal(t, priya, w.To)
			}
			require.Equal(t, tt.want, why(p, 1, night.Instructions))
			require.Equal(t, tt.want, why(p, 1, night.Reminder))
			for _, l := range p.LeftOut {
				if l.OrderID == 1 && l.Kind == night.Instructions {
					require.Equal(t, tt.ring, l.Ring())
				}
			}
			state := night.Dropped
			if tt.want == plan.SlotOver {
				state = night.Missed // shown to the cook, not quietly dropped
			}
			require.Contains(t, p.Drop, plan.Drop{MessageID: 1, State: state, Why: tt.want})
			require.Contains(t, p.Drop, plan.Drop{MessageID: 3, State: state, Why: tt.want})
		})
	}
}

func TestTwoOrdersWithoutANumberAreTwoPeople(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.order(1, "K401", "", "17:10")
	h.order(2, "K402", "", "18:50")
	p := h.plan()
	require.Empty(t, p.Wanted)
	require.Len(t, p.LeftOut, 4)
}

// Row 25: a night far ahead sends nothing today.
func TestNightFortyDaysAheadIsDueThen(t *testing.T) {
	t.Parallel()
	h := friday(t)
	h.in.Now = h.in.Night.SlotAt(17*60, h.in.Kitchen.Zone).AddDate(0, 0, -40)
	h.order(1, "K401", bethan, "17:10")
	for _, w := range h.plan().Wanted {
		require.True(t, w.DueAt.After(h.in.Now.AddDate(0, 0, 36)), "%s due %s", w.Kind, w.DueAt)
	}
}
