package dispatch

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/adapters"
	"passbell/internal/night"
)

var (
	noon   = time.Date(2026, 12, 4, 12, 0, 0, 0, time.UTC)
	policy = Retry{First: 5 * time.Second, Cap: 5 * time.Minute, Attempts: 3}
)

func TestDecide(t *testing.T) {
	t.Parallel()
	failed := func(o adapters.Outcome, edit ...func(*adapters.SendError)) error {
		e := &adapters.SendError{Adapter: "fake", Outcome: o, Reason: "because", Err: context.DeadlineExceeded}
		for _, f := range edit {
			f(e)
		}
		return e
	}
	wait := func(d time.Duration) func(*adapters.SendError) { return func(e *adapters.SendError) { e.Wait = d } }
	account := func(e *adapters.SendError) { e.Account = true }
	tests := []struct {
		name    string
		err     error
		attempt int
		want    night.MessageState
		retry   time.Duration
		pause   time.Duration
	}{
		{name: "taken", attempt: 1, want: night.Sent},
		{name: "refused for now is tried again", err: failed(adapters.Temporary), attempt: 1, want: night.Due, retry: 5 * time.Second},
		{name: "the wait doubles", err: failed(adapters.Temporary), attempt: 2, want: night.Due, retry: 10 * time.Second},
		{name: "the provider's own wait counts", err: failed(adapters.Temporary, wait(time.Minute)), attempt: 1, want: night.Due, retry: time.Minute},
		{name: "the last try gives up", err: failed(adapters.Temporary), attempt: 3, want: night.Failed},
		{name: "too fast pauses the adapter", err: failed(adapters.Throttled, wait(time.Minute)), attempt: 1, want: night.Due, retry: time.Minute, pause: time.Minute},
		{name: "too fast is not held against the message", err: failed(adapters.Throttled), attempt: 9, want: night.Due, retry: 5 * time.Minute, pause: 5 * time.Minute},
		{name: "refused for good", err: failed(adapters.Permanent), attempt: 1, want: night.Failed},
		{name: "a broken account keeps the message", err: failed(adapters.Permanent, account), attempt: 9, want: night.Due, retry: 5 * time.Minute, pause: 5 * time.Minute},
		{name: "a lost answer is never sent again", err: failed(adapters.Unknown), attempt: 1, want: night.InDoubt},
		{name: "an error of no known kind is never sent again", err: errors.New("boom"), attempt: 1, want: night.InDoubt},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m := night.Message{Attempt: tt.attempt, ExpiresAt: noon.Add(time.Hour)}
			got := Decide(tt.err, m, policy, noon, 0.5)
			assert.Equal(t, tt.want, got.State)
			assert.Equal(t, tt.pause, got.Pause)
			if tt.retry > 0 {
				assert.Equal(t, noon.Add(tt.retry), got.RetryAt)
			} else {
				assert.Zero(t, got.RetryAt)
			}
		})
	}
	late := Decide(failed(adapters.Temporary), night.Message{Attempt: 1, ExpiresAt: noon.Add(time.Second)}, policy, noon, 0.5)
	assert.Equal(t, night.Failed, late.State, "a retry after the slot is no use")
}

func TestCheck(t *testing.T) {
	t.Parallel()
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	kitchen := night.Kitchen{Zone: london, Quiet: night.Quiet{From: 21 * 60, To: 8 * 60}}
	told := night.Order{ID: 1, Ref: "K401", State: night.Told, Slot: 17 * 60}
	with := func(edit func(*night.Order)) night.Order {
		o := told
		edit(&o)
		return o
	}
	lacking := func(s night.State) func(*night.Order) {
		return func(o *night.Order) { o.State, o.Items = s, []night.Item{{Qty: 2, Name: "Pork bao", Short: 1}} }
	}
	tests := []struct {
		name  string
		kind  night.MessageKind
		order night.Order
		opted bool
		at    time.Time
		want  night.MessageState
		until time.Time
		edit  func(*Truth)
	}{
		{name: "still true", order: told, at: noon, want: night.Sending},
		{name: "given up while the machine slept", order: told, at: noon, want: night.Due, edit: func(t *Truth) { t.Underway = night.Trial{} }},
		{name: "somebody else tries it by now", order: told, at: noon, want: night.Due, edit: func(t *Truth) { t.Underway.Attempt = 2 }},
		{name: "called off meanwhile", order: told, at: noon, want: night.Dropped, edit: func(t *Truth) { t.Night.CalledOff = noon }},
		{name: "at another place by now", order: told, at: noon, want: night.Dropped, edit: func(t *Truth) { t.Night.Place = "The Old Dairy" }},
		{name: "a cancellation taken back", kind: night.Cancellation, order: told, at: noon, want: night.Dropped},
		{name: "a cancellation of an order", kind: night.Cancellation, order: with(func(o *night.Order) { o.State = night.Cancelled }), at: noon, want: night.Sending},
		{name: "a cancellation of a night", kind: night.Cancellation, order: told, at: noon, want: night.Sending, edit: func(t *Truth) { t.Night.CalledOff = noon }},
		{name: "cancelled meanwhile", order: with(func(o *night.Order) { o.State = night.Cancelled }), at: noon, want: night.Dropped},
		{name: "handed out meanwhile", order: with(func(o *night.Order) { o.State = night.HandedOut }), at: noon, want: night.Dropped},
		{name: "here already", order: with(func(o *night.Order) { o.State = night.Arrived }), at: noon, want: night.Dropped},
		{name: "here already and a person wants it sent", kind: night.Resend, order: with(func(o *night.Order) { o.State = night.Arrived }), at: noon, want: night.Sending},
		{name: "something is missing and they are here", kind: night.Short, order: with(lacking(night.Arrived)), at: noon, want: night.Sending},
		{name: "something is missing and they come later", kind: night.Short, order: with(func(o *night.Order) { lacking(night.Told)(o); o.Slot = 18 * 60 }), at: noon, want: night.Sending},
		{name: "something else is missing now", kind: night.Short, order: with(lacking(night.Told)), at: noon, want: night.Dropped, edit: func(t *Truth) { t.Outdated = true }},
		{name: "nothing is missing any more", kind: night.Short, order: told, at: noon, want: night.Dropped},
		{name: "something is missing of what is cancelled", kind: night.Short, order: with(lacking(night.Cancelled)), at: noon, want: night.Dropped},
		{name: "something is missing of a night that is off", kind: night.Short, order: with(lacking(night.Told)), at: noon, want: night.Dropped, edit: func(t *Truth) { t.Night.CalledOff = noon }},
		{name: "moved meanwhile", order: with(func(o *night.Order) { o.Slot = 18 * 60 }), at: noon, want: night.Dropped},
		{name: "opted out", order: told, opted: true, at: noon, want: night.Dropped},
		{name: "the one confirmation", kind: night.Confirmation, order: told, opted: true, at: noon, want: night.Sending},
		{name: "its time is past", order: told, at: noon.Add(5 * time.Hour), want: night.Missed},
		{name: "20:59 is not quiet", order: told, at: time.Date(2026, 12, 3, 20, 59, 59, 0, time.UTC), want: night.Sending},
		{name: "21:00 is quiet until 8", order: told, at: time.Date(2026, 12, 3, 21, 0, 0, 0, time.UTC), want: night.Due, until: time.Date(2026, 12, 4, 8, 0, 0, 0, time.UTC)},
		{name: "03:00 is quiet until 8", order: told, at: time.Date(2026, 12, 4, 3, 0, 0, 0, time.UTC), want: night.Due, until: time.Date(2026, 12, 4, 8, 0, 0, 0, time.UTC)},
		{name: "08:00 is not", order: told, at: time.Date(2026, 12, 4, 8, 0, 0, 0, time.UTC), want: night.Sending},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m := night.Message{Kind: tt.kind, Covers: []night.Cover{{OrderID: 1, Slot: 17 * 60}}, ExpiresAt: noon.Add(5 * time.Hour), Attempt: 1, State: night.Sending, Place: "5 Mill Lane"}
			if m.Kind == "" {
				m.Kind = night.Reminder
			}
			o := tt.order
			truth := Truth{
				Underway: night.Trial{MessageID: m.ID, Attempt: m.Attempt}, Night: night.Night{Place: m.Place}, OptedOut: tt.opted, Kitchen: kitchen,
				Orders: []night.Stage{{OrderID: o.ID, Ref: o.Ref, Slot: o.Slot, State: o.State}}, Complete: len(night.Missing(o.Items)) == 0,
			}
			if tt.edit != nil {
				tt.edit(&truth)
			}
			got := Check(m, truth, tt.at)
			assert.Equal(t, tt.want, got.State, got.Reason)
			assert.Equal(t, tt.until, got.Until.UTC())
		})
	}
}

// A late "sent" never overwrites "delivered" or "failed": whatever the order in
// which the same reports come, the end is the same.
func TestEveryOrderOfReportsEndsTheSame(t *testing.T) {
	t.Parallel()
	fates := []night.Fate{night.OnTheWay, night.PartDelivered, night.PartFailed}
	rapid.Check(t, func(t *rapid.T) {
		type report struct {
			part int
			fate night.Fate
		}
		parts := rapid.IntRange(1, 4).Draw(t, "parts")
		reports := rapid.SliceOf(rapid.Custom(func(t *rapid.T) report {
			return report{rapid.IntRange(0, parts-1).Draw(t, "part"), rapid.SampledFrom(fates).Draw(t, "fate")}
		})).Draw(t, "reports")
		end := func(reports []report) (night.MessageState, bool) {
			got := make([]night.Fate, parts)
			for i := range got {
				got[i] = night.OnTheWay
			}
			for _, r := range reports {
				got[r.part] = Later(got[r.part], r.fate)
			}
			return night.PartsState(got)
		}
		state, ok := end(reports)
		again, okAgain := end(rapid.Permutation(reports).Draw(t, "another order"))
		if state != again || ok != okAgain {
			t.Fatalf("%s, %v in one order; %s, %v in another", state, ok, again, okAgain)
		}
	})
}

func TestALongTextIsDeliveredWhenAllPartsAre(t *testing.T) {
	t.Parallel()
	_, ok := night.PartsState([]night.Fate{night.PartDelivered, night.OnTheWay})
	assert.False(t, ok)
	state, ok := night.PartsState([]night.Fate{night.PartDelivered, night.PartDelivered})
	assert.True(t, ok)
	assert.Equal(t, night.Delivered, state)
	state, ok = night.PartsState([]night.Fate{night.PartDelivered, night.PartFailed})
	assert.True(t, ok)
	assert.Equal(t, night.Failed, state)
}
