package dispatch_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store"
)

// counts counts the claims that were made.
type counts struct {
	rows
	n *int
}

func (c counts) Claim(ctx context.Context, adapter string, now, lease time.Time, limit int) ([]night.Message, error) {
	*c.n++
	return c.rows.Claim(ctx, adapter, now, lease, limit)
}

var _ dispatch.Store = counts{}

// A claim takes the kitchen's turn from whoever writes there: it is made while
// there may be something to take, and not once more.
func TestNobodyLooksForMoreThanIsDue(t *testing.T) {
	t.Parallel()
	r := newRig(t, 3)
	n := 0
	r.config.Store = counts{rows{r.k}, &n}
	r.restart()
	require.NoError(t, r.Drain(t.Context()))
	assert.Equal(t, 3, r.carrier.count())
	assert.Equal(t, 1, n, "one claim took all that there was")
	require.NoError(t, r.Drain(t.Context()))
	assert.Equal(t, 2, n, "who is woken looks")
}

// What becomes due while a text is under way is found: who makes it due wakes the
// dispatcher.
func TestWhoIsWokenMeanwhileLooksAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t, 2)
	_, err := r.k.Claim(t.Context(), "texts", r.clock.Now(), r.clock.Now().Add(time.Millisecond), 1) // whoever made it is gone
	require.NoError(t, err)
	first := true
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		if first {
			first = false
			r.clock.Advance(time.Minute)
			assert.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
				_, err := tx.Settle(t.Context(), []night.Settlement{{MessageID: 1, Attempt: 1, State: night.Due}})
				return err
			}))
			r.Wake()
		}
		return adapters.Accepted{IDs: []string{m.Key}}, nil
	}
	require.NoError(t, r.Drain(t.Context()))
	assert.Equal(t, 2, r.carrier.count())
}

// An order that somebody changes while its text is under way is told all the same:
// what was known of it from the last look counts only while it is so.
func TestAnOrderThatChangesMeanwhileIsTold(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]struct {
		edit func(o *night.Order)
		want night.State
		took int // steps because of the texts
	}{
		"nothing":                   {nil, night.Told, 2},
		"something about it":        {func(o *night.Order) { o.Bag = 7 }, night.Told, 2},
		"it is further along":       {func(o *night.Order) { o.State = night.Arrived }, night.Arrived, 1},
		"it was told in other ways": {func(o *night.Order) { o.State = night.Told }, night.Told, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 2)
			r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
				if m.To == "+447700900000" && change.edit != nil { // that of the first order
					assert.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
						o, err := tx.Order(t.Context(), r.orders[0])
						if err != nil {
							return err
						}
						change.edit(&o)
						return tx.SaveOrder(t.Context(), o)
					}))
				}
				return adapters.Accepted{IDs: []string{m.Key}}, nil
			}
			require.NoError(t, r.Drain(t.Context()))
			assert.Equal(t, change.want, r.order(0).State)
			assert.Equal(t, night.Told, r.order(1).State)
			require.NoError(t, r.k.Read(t.Context(), func(tx *store.Tx) error {
				events, err := tx.Events(t.Context(), r.night, 0, 100)
				took := 0
				for _, e := range events {
					if e.What == night.StepTaken {
						took++
					}
				}
				assert.Equal(t, change.took, took)
				return err
			}))
		})
	}
}
