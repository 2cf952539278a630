package together

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
	var w Work[int]
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
		w.mu.Lock()
		defer w.mu.Unlock()
		if w.next == nil {
			return 0
		}
		return len(w.next.items)
	}
	var wg sync.WaitGroup
	wg.Go(func() { assert.NoError(t, w.Do(1, do)) })
	assert.Equal(t, []int{1}, <-begun)
	for i := range 3 {
		wg.Go(func() { assert.ErrorIs(t, w.Do(2+i, do), wrong) })
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
	var w Work[int]
	var seen [400]atomic.Int32
	var wg sync.WaitGroup
	for i := range seen {
		wg.Go(func() {
			assert.NoError(t, w.Do(i, func(items []int) error {
				for _, item := range items {
					seen[item].Add(1)
				}
				return nil
			}))
			assert.EqualValues(t, 1, seen[i].Load(), "it is done when Do returns")
		})
	}
	wg.Wait()
}
