package dispatch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
)

// The report that a text has arrived comes while it is tried again, because it was
// thought lost: however that try ends, the phone has it, the order moves on, and
// nobody tries a third time or is asked to.
func TestAReportThatComesDuringTheSecondTry(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		err   error
		slept bool // so long between the claim and the last look that the report came before that
		gone  bool // nobody settles the try: the instance was stopped
		sends int
	}{
		"accepted":                 {sends: 2},
		"refused":                  {err: &adapters.SendError{Outcome: adapters.Permanent}, sends: 2},
		"put off":                  {err: &adapters.SendError{Outcome: adapters.Temporary}, sends: 2},
		"broken off":               {err: &adapters.SendError{Outcome: adapters.Unknown}, sends: 2},
		"begun and given up":       {gone: true, sends: 2},
		"claimed and not yet made": {slept: true, sends: 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 1)
			r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
				return adapters.Accepted{IDs: []string{"id-" + m.Key}}, &adapters.SendError{Outcome: adapters.Unknown}
			}
			r.drain()
			require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Failed}))
			r.again()
			report := func() {
				assert.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Delivered}))
			}
			other := r.Dispatcher
			r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
				report()
				if tt.gone {
					r.clock.Advance(2 * time.Minute)
					assert.NoError(t, other.Drain(t.Context()))
				}
				return adapters.Accepted{IDs: []string{"id-" + m.Key}}, tt.err
			}
			if tt.slept {
				r.config.Store = sleeps{rows{r.k}, report}
			}
			r.restart()
			r.drain()
			r.clock.Advance(10 * time.Minute)
			r.drain()
			assert.Equal(t, tt.sends, r.carrier.count())
			assert.Equal(t, map[night.MessageState]int{night.Delivered: 1}, r.states())
			assert.Equal(t, night.Told, r.order(0).State)
		})
	}
}

// A customer whose text was thought lost has it after all: what has changed since
// is planned for them. Of one who was known to have it nothing follows.
func TestATextThatWasThoughtLostIsPlannedFor(t *testing.T) {
	t.Parallel()
	r := newRig(t, 2)
	r.drain()
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Failed}))
	for _, id := range []string{"id-m1-1", "id-m2-1"} {
		require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: id, Status: adapters.Delivered}))
	}
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 2}, r.states())
	assert.Equal(t, r.orders[:1], r.replans.orders)
}
