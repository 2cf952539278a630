package storetest

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/leader"
	"passbell/internal/store"
)

var _ leader.Lease = (*store.Kitchen)(nil)

// lease passes a lease on: by its end, and given back. A ttl of zero is a lease
// that is over at once.
func lease(t *testing.T, s *store.Store) {
	mine, other := kitchen(t, s, "Larkfield"), kitchen(t, s, "Another Kitchen")
	grant := func(k *store.Kitchen, holder string, ttl time.Duration) int64 {
		t.Helper()
		term, ok, err := k.Grant(t.Context(), holder, ttl)
		require.NoError(t, err)
		if !ok {
			require.Zero(t, term)
		}
		return term
	}
	assert.EqualValues(t, 1, grant(mine, "a", time.Hour))
	assert.EqualValues(t, 1, grant(mine, "a", time.Hour), "renewed")
	assert.Zero(t, grant(mine, "b", time.Hour), "it is taken")
	assert.EqualValues(t, 1, grant(other, "b", time.Hour), "each kitchen has its own")

	require.NoError(t, mine.Release(t.Context(), "b"))
	assert.Zero(t, grant(mine, "b", time.Hour), "only the holder gives it back")
	require.NoError(t, other.Release(t.Context(), "a"))
	require.NoError(t, mine.Release(t.Context(), "a"))
	assert.EqualValues(t, 2, grant(mine, "b", time.Hour), "given back, it is free at once")

	require.NoError(t, mine.Release(t.Context(), "b"))
	assert.EqualValues(t, 3, grant(mine, "b", time.Hour), "its own after a gap is a new term")

	require.NoError(t, mine.Release(t.Context(), "b"))
	assert.EqualValues(t, 4, grant(mine, "b", 0))
	assert.EqualValues(t, 5, grant(mine, "a", 24*time.Hour), "it was over")
	assert.Zero(t, grant(mine, "b", time.Hour))
	assert.EqualValues(t, 6, grant(mine, "b", 0), "after a clock was set back, a lease is no longer than its ttl")
}

// leaseOnce has eight ask at once.
func leaseOnce(t *testing.T, s *store.Store) {
	k := kitchen(t, s, "Larkfield")
	var won atomic.Int64
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			term, ok, err := k.Grant(t.Context(), fmt.Sprint(i), time.Hour)
			assert.NoError(t, err)
			if ok {
				won.Add(term)
			}
		})
	}
	all.Wait()
	assert.EqualValues(t, 1, won.Load())
}
