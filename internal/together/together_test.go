package together

import (
	"errors"
	"iter"
	"runtime"
	"slices"
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

// What is made ahead comes in its order and whole; whoever stops early, or a fault of
// the maker, leaves nothing at work.
func TestAhead(t *testing.T) {
	t.Parallel()
	made := 0
	upTo := func(n int) iter.Seq[int] {
		return func(yield func(int) bool) {
			for i := range n {
				made++
				if !yield(i) {
					return
				}
			}
		}
	}
	for _, n := range []int{0, 1, 2, 50} {
		var got []int
		for v := range Ahead(upTo(n)) {
			got = append(got, v)
		}
		assert.Equal(t, slices.Collect(upTo(n)), got)
	}

	made = 0
	for v := range Ahead(upTo(1000)) {
		if v == 3 {
			break
		}
	}
	assert.LessOrEqual(t, made, 6, "one ahead, and one on its way") // read without a lock: nobody is at work

	got := 0
	assert.PanicsWithValue(t, "broken", func() {
		for range Ahead(func(yield func(int) bool) {
			yield(1)
			panic("broken")
		}) {
			got++
		}
	})
	assert.Equal(t, 1, got)
}

// The next is made while whoever ranges is at work on the one before.
func TestAheadIsBeside(t *testing.T) {
	t.Parallel()
	second := make(chan struct{})
	for v := range Ahead(func(yield func(int) bool) {
		if yield(1) {
			close(second)
			yield(2)
		}
	}) {
		if v == 1 {
			<-second
		}
	}
}
