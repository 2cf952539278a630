package rehearsal

import (
	"container/heap"
	"context"
	"time"
)

// agenda is what people will do, by time and then in the order of planning.
type agenda struct {
	waiting []deed
	seq     int
}

// deed is one thing that somebody does at a moment.
type deed struct {
	at  time.Time
	seq int
	do  func(ctx context.Context) error
}

func (a *agenda) Len() int { return len(a.waiting) }
func (a *agenda) Less(i, j int) bool {
	x, y := a.waiting[i], a.waiting[j]
	if !x.at.Equal(y.at) {
		return x.at.Before(y.at)
	}
	return x.seq < y.seq
}
func (a *agenda) Swap(i, j int) { a.waiting[i], a.waiting[j] = a.waiting[j], a.waiting[i] }

// Push is for container/heap.
func (a *agenda) Push(x any) { a.waiting = append(a.waiting, x.(deed)) }

// Pop is for container/heap.
func (a *agenda) Pop() any {
	last := len(a.waiting) - 1
	out := a.waiting[last]
	a.waiting = a.waiting[:last]
	return out
}

// plan adds a deed.
func (a *agenda) plan(at time.Time, do func(ctx context.Context) error) {
	a.seq++
	heap.Push(a, deed{at: at, seq: a.seq, do: do})
}

// next gives the moment of the next deed; ok is false where none is left.
func (a *agenda) next() (at time.Time, ok bool) {
	if len(a.waiting) == 0 {
		return time.Time{}, false
	}
	return a.waiting[0].at, true
}

// due takes the next deed whose time has come.
func (a *agenda) due(now time.Time) (deed, bool) {
	if at, ok := a.next(); !ok || at.After(now) {
		return deed{}, false
	}
	return heap.Pop(a).(deed), true
}
