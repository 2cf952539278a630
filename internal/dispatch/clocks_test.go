package dispatch_test

import (
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store"
)

// ahead is the dispatcher of another instance, whose clock is ahead.
func (r *rig) ahead(by time.Duration) *dispatch.Dispatcher {
	r.t.Helper()
	c := r.config
	c.Now = func() time.Time { return r.clock.Now().Add(by) }
	c.Log = slog.New(slog.DiscardHandler)
	d, err := dispatch.New(c)
	require.NoError(r.t, err)
	return d
}

// An instance whose clock is ahead puts off a text: whoever reads the right clock
// waits for as long as was meant, and not until that clock gets there.
func TestNobodyWaitsForAClockThatIsAhead(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		err   error
		pause time.Duration
	}{
		"refused for now": {&adapters.SendError{Outcome: adapters.Temporary}, 5 * time.Second},
		"throttled":       {&adapters.SendError{Outcome: adapters.Throttled, Wait: 40 * time.Second}, 40 * time.Second},
		"out of credit":   {&adapters.SendError{Outcome: adapters.Permanent, Account: true}, time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 1)
			r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) { return adapters.Accepted{}, tt.err }
			require.NoError(t, r.ahead(10*time.Minute).Drain(t.Context()))
			require.Equal(t, 1, r.carrier.count())
			r.carrier.answer = nil
			r.drain() // sees that the wait was dated by another clock
			r.clock.Advance(tt.pause - time.Millisecond)
			r.drain()
			assert.Equal(t, 1, r.carrier.count())
			r.clock.Advance(time.Millisecond)
			r.drain()
			assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states())
		})
	}
}

// What goes at once is sent by the first that can, whatever the clock showed of
// whoever asked for it.
func TestWhatGoesAtOnceWaitsForNoClock(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		m := r.messages()[0]
		m.DueAt, m.AtOnce = r.clock.Now().Add(10*time.Minute), true
		_, err := tx.Reword(t.Context(), m)
		return err
	}))
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states())
}
