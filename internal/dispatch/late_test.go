package dispatch_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store"
)

func (r *rig) again() {
	r.t.Helper()
	require.NoError(r.t, r.k.Write(r.t.Context(), func(tx *store.Tx) error {
		ok, err := tx.SendAgain(r.t.Context(), r.messages()[0].ID, r.clock.Now().Add(time.Hour))
		assert.True(r.t, ok)
		return err
	}))
}

// celery/kombu #337, timgit/pg-boss #555: a task that was held long was handed
// out again, and its first run went on beside the second.
func TestWhoHoldsATextForTwoHours(t *testing.T) {
	t.Parallel()
	for name, late := range map[string]struct {
		err     error
		settled bool // a person's "again" was carried out before the answer came
		sends   int
		state   night.MessageState
	}{
		"accepted, and nobody asked again":  {sends: 1, state: night.Sent},
		"accepted before the second try":    {settled: false, sends: 1, state: night.Sent},
		"accepted after the second try":     {settled: true, sends: 2, state: night.Sent},
		"refused after the second try":      {err: &adapters.SendError{Outcome: adapters.Permanent}, settled: true, sends: 2, state: night.Sent},
		"put off after the second try":      {err: &adapters.SendError{Outcome: adapters.Temporary}, settled: true, sends: 2, state: night.Sent},
		"in doubt still, after the second":  {err: &adapters.SendError{Outcome: adapters.Unknown}, settled: true, sends: 2, state: night.Sent},
		"in doubt still, before the second": {err: &adapters.SendError{Outcome: adapters.Unknown}, sends: 2, state: night.Sent},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 1)
			other, err := dispatch.New(r.config)
			require.NoError(t, err)
			asked := name != "accepted, and nobody asked again"
			r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
				r.carrier.answer = nil
				r.clock.Advance(2 * time.Hour)
				assert.NoError(t, other.Drain(t.Context()))
				assert.Equal(t, map[night.MessageState]int{night.InDoubt: 1}, r.states())
				if asked {
					r.again()
				}
				if late.settled {
					assert.NoError(t, other.Drain(t.Context()))
				}
				return adapters.Accepted{IDs: []string{"late"}}, late.err
			}
			r.drain()
			require.NoError(t, other.Drain(t.Context()))
			assert.Equal(t, late.sends, r.carrier.count())
			assert.Equal(t, map[night.MessageState]int{late.state: 1}, r.states())
		})
	}
}

// A try whose answer is on record is not believed a second time: the person who
// sends the text again knew that answer.
func TestAnAnswerRepeatedAfterASecondTryWasAskedFor(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.drain()
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Failed, Reason: "the phone is off"}))
	r.again()
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		became, err := tx.Settle(t.Context(), []night.Settlement{{MessageID: r.messages()[0].ID, Attempt: 1, Adapter: "texts", State: night.Sent, At: r.clock.Now()}})
		assert.Empty(t, became[0])
		return err
	}))
	r.drain()
	assert.Equal(t, 2, r.carrier.count())
}

// Of a text in two parts only one was taken over; that it arrived does not make
// the text delivered, and a person looks.
func TestHalfATextThatArrivedStaysInDoubt(t *testing.T) {
	t.Parallel()
	for name, early := range map[string]bool{"the report comes first": true, "the answer comes first": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 1)
			require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
				m := r.messages()[0]
				m.Parts = 2
				_, err := tx.Reword(t.Context(), m)
				return err
			}))
			report := func() {
				assert.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "one", Status: adapters.Delivered, At: r.clock.Now()}))
			}
			r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
				if early {
					report()
				}
				return adapters.Accepted{IDs: []string{"one"}}, &adapters.SendError{Outcome: adapters.Unknown, Reason: "only 1 of 2 parts"}
			}
			r.drain()
			report()
			assert.Equal(t, map[night.MessageState]int{night.InDoubt: 1}, r.states())
			r.carrier.answer = nil
			r.again()
			report()
			r.drain()
			assert.Equal(t, 2, r.carrier.count(), "the person's word holds")
		})
	}
}

// Row 34 of the fault reports: a "sent" that came late overwrote "delivered".
// Whatever the network says of a text, in whichever order and however often, the
// end is the same.
func TestReceiptsInAnyOrderEndTheSame(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		said []adapters.Status
		want night.MessageState
	}{
		"on the way and delivered": {[]adapters.Status{adapters.OnTheWay, adapters.Delivered}, night.Delivered},
		"on the way and failed":    {[]adapters.Status{adapters.OnTheWay, adapters.Failed}, night.Failed},
		"all three":                {[]adapters.Status{adapters.OnTheWay, adapters.Failed, adapters.Delivered}, night.Delivered},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			orders := permutations(append(tt.said, tt.said[0])) // one of them comes twice
			r := newRig(t, len(orders)*2)
			r.config.Window = 1
			r.restart()
			n := 0
			r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
				id := "id-" + m.Key
				if n++; n%2 == 0 { // the network is faster than the answer
					for _, s := range orders[n/2-1] {
						assert.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: id, Status: s, At: r.clock.Now()}))
					}
				}
				return adapters.Accepted{IDs: []string{id}}, nil
			}
			r.drain()
			for i := range r.carrier.taken {
				if i%2 == 0 {
					for _, s := range orders[i/2] {
						require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-" + r.carrier.taken[i].Key, Status: s}))
					}
				}
			}
			assert.Equal(t, map[night.MessageState]int{tt.want: len(orders) * 2}, r.states())
		})
	}
}

func permutations(all []adapters.Status) [][]adapters.Status {
	if len(all) <= 1 {
		return [][]adapters.Status{all}
	}
	var out [][]adapters.Status
	for i, first := range all {
		rest := append(append([]adapters.Status{}, all[:i]...), all[i+1:]...)
		for _, p := range permutations(rest) {
			out = append(out, append([]adapters.Status{first}, p...))
		}
	}
	return out
}

// Devlaner/devlane #332, muxinc/mux-node-sdk #83: the same event twice at once
// passed the check.
func TestTwentyCopiesOfAReceiptHaveOneEffect(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.drain()
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			assert.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Delivered, At: r.clock.Now()}))
		})
	}
	wg.Wait()
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 1}, r.states())
	said := map[string]int{}
	require.NoError(t, r.k.Read(t.Context(), func(tx *store.Tx) error {
		events, err := tx.EventsOf(t.Context(), r.orders[0])
		for _, e := range events {
			said[fmt.Sprint(e.What, e.To, ": ", e.Why)]++
		}
		return err
	}))
	for what, times := range said {
		assert.Equal(t, 1, times, what)
	}
	assert.Contains(t, said, "message settled: instructions: delivered")
}

// nodejs/node #4541: a very long timer fired at once.
func TestANightFortyDaysAheadSendsNothingToday(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	later := r.clock.Now().AddDate(0, 0, 40)
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		m := r.messages()[0]
		m.DueAt, m.ExpiresAt = later, later.Add(5*time.Hour)
		_, err := tx.Reword(t.Context(), m)
		return err
	}))
	for range 40 {
		r.drain()
		assert.Zero(t, r.carrier.count())
		r.clock.Advance(24*time.Hour - time.Millisecond)
	}
	next, waits, err := r.k.NextDue(t.Context())
	require.NoError(t, err)
	assert.True(t, waits)
	assert.Equal(t, later, next)
	r.clock.Advance(40 * time.Millisecond)
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
}
