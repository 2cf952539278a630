package live_test

import (
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/live"
)

// patience is for what must come at all.
const patience = 30 * time.Second

// TestATurnMissesNothing asks from many goroutines at once: it is done by one at
// a time, and once more after whoever asked last.
func TestATurnMissesNothing(t *testing.T) {
	t.Parallel()
	const asking, times = 8, 2000
	var said, seen, within atomic.Int64
	turn := live.NewTurn(func() {
		if within.Add(1) > 1 {
			t.Error("two are in it at once")
		}
		seen.Store(said.Load())
		within.Add(-1)
	})
	var all sync.WaitGroup
	for range asking {
		all.Go(func() {
			for range times {
				said.Add(1)
				turn.Take()
			}
		})
	}
	all.Wait()
	require.Equal(t, int64(asking*times), seen.Load())
}

// TestNobodyWaitsForWhoIsSlow has far more turns held up than there are
// processors: all others come all the same, and what the slow ones were asked
// meanwhile is done once they can.
func TestNobodyWaitsForWhoIsSlow(t *testing.T) {
	t.Parallel()
	const many, slow = 500, 100
	hold := make(chan struct{})
	quick, late := make(chan int, 3*many), make(chan int, 3*many)
	turns := make([]*live.Turn, many)
	for i := range turns {
		turns[i] = live.NewTurn(func() {
			if i < slow {
				<-hold
				late <- i
				return
			}
			quick <- i
		})
	}
	wait := func(from chan int, n int) map[int]int {
		came := map[int]int{}
		for range n {
			select {
			case i := <-from:
				came[i]++
			case <-time.After(patience):
				t.Fatalf("only %d of %d came", len(came), n)
			}
		}
		return came
	}
	for range 2 { // the second time the slow ones are in it still
		live.All(turns)
		require.Len(t, wait(quick, many-slow), many-slow)
	}
	close(hold)
	came := wait(late, slow)
	for len(came) < slow {
		for i, n := range wait(late, 1) {
			came[i] += n
		}
	}
	require.Empty(t, quick)
}
