package inbox

import (
	"errors"
	"sync"
)

// shared is work that is done one piece after the other, each for all who came
// before it began: who comes while one is done waits for the next, together with
// the others. The zero value is ready for use.
type shared[T any] struct {
	one sync.Mutex // held while a piece is done

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

// join has item dealt with in the next piece of work and gives what came of that
// piece. do is called by whoever was the first to wait, with the items of all.
func (s *shared[T]) join(item T, do func(items []T) error) error {
	s.mu.Lock()
	p := s.next
	first := p == nil
	if first {
		p = &piece[T]{done: make(chan struct{}), err: errCutOff}
		s.next = p
	}
	p.items = append(p.items, item)
	s.mu.Unlock()
	if !first {
		<-p.done
		return p.err
	}
	s.one.Lock()
	defer s.one.Unlock()
	s.mu.Lock()
	s.next = nil
	s.mu.Unlock()
	defer close(p.done)
	p.err = do(p.items)
	return p.err
}
