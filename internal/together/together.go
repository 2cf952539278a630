// Package together lets those who want the same work done at once share it.
package together

import (
	"errors"
	"sync"
	"time"
)

// Work is done one piece after the other, each for all who came
// before it began: who comes while one is done waits for the next, together with
// the others. The zero value is ready for use.
type Work[T any] struct {
	// Breath is how long after the end of a piece the next one begins at the
	// soonest, by the machine's own time. Those who were just served and come again
	// then share it with those who waited.
	Breath time.Duration

	one   sync.Mutex // held while a piece is done
	ended time.Time  // the last piece

	mu   sync.Mutex
	next *piece[T] // that has not begun, if somebody waits for it
}

type piece[T any] struct {
	items []T
	done  chan struct{}
	err   error
}

// errCutOff is what the others hear where whoever does the work is gone.
var errCutOff = errors.New("cut off")

// Do has item dealt with in the next piece of work and gives what came of that
// piece. do is called by whoever was the first to wait, with the items of all.
func (w *Work[T]) Do(item T, do func(items []T) error) error {
	w.mu.Lock()
	p := w.next
	first := p == nil
	if first {
		p = &piece[T]{done: make(chan struct{}), err: errCutOff}
		w.next = p
	}
	p.items = append(p.items, item)
	w.mu.Unlock()
	if !first {
		<-p.done
		return p.err
	}
	w.one.Lock()
	defer w.one.Unlock()
	time.Sleep(w.Breath - time.Since(w.ended))
	w.mu.Lock()
	w.next = nil
	w.mu.Unlock()
	defer close(p.done)
	p.err = do(p.items)
	w.ended = time.Now()
	return p.err
}
