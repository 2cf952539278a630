package inbox

import (
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Who comes while a piece is done is in the next one, never in that one: what
// they stored before they came may be too new for it.
func TestWhoComesLateSharesTheNext(t *testing.T) {
	t.Parallel()
	var s shared[int]
	goOn, begun := make(chan struct{}), make(chan []int)
	wrong := errors.New("wrong")
	do := func(items []int) error {
		begun <- items
		<-goOn
		if len(items) > 1 {
			return wrong
		}
		return nil
	}
	waiting := func() int {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.next == nil {
			return 0
		}
		return len(s.next.items)
	}
	var wg sync.WaitGroup
	wg.Go(func() { assert.NoError(t, s.join(1, do)) })
	assert.Equal(t, []int{1}, <-begun)
	for i := range 3 {
		wg.Go(func() { assert.ErrorIs(t, s.join(2+i, do), wrong) })
		for waiting() <= i {
			runtime.Gosched()
		}
	}
	goOn <- struct{}{}
	assert.Equal(t, []int{2, 3, 4}, <-begun)
	goOn <- struct{}{}
	wg.Wait()
}

// Every item is dealt with once, however many come at once.
func TestEveryItemOnce(t *testing.T) {
	t.Parallel()
	var s shared[int]
	var seen [400]atomic.Int32
	var wg sync.WaitGroup
	for i := range seen {
		wg.Go(func() {
			assert.NoError(t, s.join(i, func(items []int) error {
				for _, item := range items {
					seen[item].Add(1)
				}
				return nil
			}))
			assert.EqualValues(t, 1, seen[i].Load(), "it is done when join returns")
		})
	}
	wg.Wait()
}
