// Package together lets work go on at once: those who want the same done share it, and
// what is needed next is made beside it.
package together

import (
	"errors"
	"iter"
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

// Ahead gives all, each made while whoever ranges over them is at work on the one before.
// A panic of what makes them is one of whoever ranges; once the range is over nothing is
// being made any more.
func Ahead[T any](all iter.Seq[T]) iter.Seq[T] {
	return func(yield func(T) bool) {
		made, stop := make(chan T), make(chan struct{})
		var broken any
		go func() {
			defer close(made)
			defer func() { broken = recover() }()
			for v := range all {
				select {
				case made <- v:
				case <-stop:
					return
				}
			}
		}()
		defer func() {
			close(stop)
			for range made { // one may be on its way
			}
			if broken != nil {
				panic(broken)
			}
		}()
		for v := range made {
			if !yield(v) {
				return
			}
		}
	}
}
