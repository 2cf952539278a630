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
