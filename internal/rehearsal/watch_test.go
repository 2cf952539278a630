package rehearsal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters/practice"
	"passbell/internal/night"
)

// A watch that never objects would make every rehearsal pass: each rule is
// broken here once. The rules are those of the design, "What always holds".
func TestWatchObjects(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	kitchen := night.Kitchen{Zone: zone, Quiet: night.Quiet{From: 21 * 60, To: 8 * 60}}
	n := night.Night{ID: 1, Date: theNight(), First: firstSlot, Last: lastSlot, Every: slotEvery}
	at := func(c night.Clock) time.Time {
		when, _ := night.Instant(theNight(), c, zone)
		return when
	}
	const to = "+447700900111"
	message := func(id int64, kind night.MessageKind) night.Message {
		return night.Message{ID: id, Kind: kind, To: to, Covers: []night.Cover{{OrderID: 5, Slot: 17 * 60}}}
	}
	order := func(s night.State, slot night.Clock) []night.Order {
		return []night.Order{{ID: 5, Ref: "L1", Name: "A", State: s, Slot: slot}}
	}
	type sending struct {
		when night.Clock
		m    night.Message
		o    []night.Order
	}
	good := sending{12 * 60, message(1, night.Reminder), order(night.Told, 17*60)}
	tests := []struct {
		name  string
		opted bool
		sent  []sending
		want  string // "" for nothing to object to
	}{
		{"a reminder at noon", false, []sending{good}, ""},
		{"the same text twice", false, []sending{good, good}, "went out twice"},
		{"two texts of one kind and revision", false, []sending{good, {13 * 60, message(2, night.Reminder), good.o}}, "of the same kind and revision"},
		{"in the quiet hours", false, []sending{{7*60 + 59, good.m, good.o}}, "quiet hours"},
		{"at the end of the quiet hours", false, []sending{{8 * 60, good.m, good.o}}, ""},
		{"to somebody who wants none", true, []sending{good}, "wants no texts"},
		{"the confirmation of a STOP", true, []sending{{12 * 60, message(1, night.Confirmation), good.o}}, ""},
		{"about a cancelled order", false, []sending{{12 * 60, good.m, order(night.Cancelled, 17*60)}}, "is cancelled"},
		{"the cancellation itself", false, []sending{{12 * 60, message(1, night.Cancellation), order(night.Cancelled, 17*60)}}, ""},
		{"to somebody who is here", false, []sending{{16*60 + 55, good.m, order(night.Arrived, 17*60)}}, "is here already"},
		{"with an old slot", false, []sending{{12 * 60, good.m, order(night.Told, 18*60)}}, "whose slot is 18:00"},
		{"a reminder at the slot", false, []sending{{17 * 60, good.m, good.o}}, "came after the slot"},
		{"not on record", false, []sending{{12 * 60, night.Message{}, nil}}, "not on record"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			w := newWatch()
			w.know(order(night.Told, 17*60))
			w.opted[to] = tt.opted
			for _, s := range tt.sent {
				w.sent(practice.Text{To: to, At: at(s.when)}, s.m, s.o, kitchen, n)
			}
			if tt.want == "" {
				require.Empty(t, w.broken)
				return
			}
			require.Len(t, w.broken, 1)
			require.Contains(t, w.broken[0], tt.want)
		})
	}
}

func TestWatchFollowsTheTable(t *testing.T) {
	t.Parallel()
	step := func(what night.What, from, to night.State) night.Event {
		return night.Event{OrderID: 5, What: what, From: from, To: to}
	}
	tests := []struct {
		name   string
		events []night.Event
		broken int
	}{
		{"the usual way", []night.Event{
			step(night.StepTaken, night.Booked, night.Told), step(night.StepTaken, night.Told, night.Reminded),
			step(night.StepTaken, night.Reminded, night.Arrived), step(night.StepTaken, night.Arrived, night.HandedOut),
		}, 0},
		{"an undo", []night.Event{
			step(night.StepTaken, night.Booked, night.Cancelled), step(night.StepUndone, night.Cancelled, night.Booked),
		}, 0},
		{"handed out to nobody", []night.Event{step(night.StepTaken, night.Booked, night.HandedOut)}, 1},
		{"a step from a state that it was not in", []night.Event{step(night.StepTaken, night.Told, night.Arrived)}, 1},
		{"told back to booked", []night.Event{
			step(night.StepTaken, night.Booked, night.Told), step(night.StepUndone, night.Told, night.Booked),
		}, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			w := newWatch()
			w.know([]night.Order{{ID: 5, Ref: "L1", Name: "A", State: night.Booked}})
			for _, e := range tt.events {
				w.step(e)
			}
			require.Len(t, w.broken, tt.broken)
		})
	}
}

// An order that ended otherwise than scripted must be named.
func TestResultNamesTheMismatch(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	r, err := Open(ctx, Options{Seed: 5, Orders: 2, Dir: t.TempDir()})
	require.NoError(t, err)
	defer func() { require.NoError(t, r.Close(ctx)) }()
	require.NoError(t, r.Run(ctx, Pace{}))
	r.cast.rows[1].want = "eaten"
	out, err := r.Result(ctx)
	require.NoError(t, err)
	require.False(t, out.OK())
	require.Len(t, out.Mismatches, 1)
	require.Equal(t, r.cast.rows[1].ref, out.Mismatches[0].Ref)
	require.Contains(t, out.Mismatches[0].Want, "eaten")
}
