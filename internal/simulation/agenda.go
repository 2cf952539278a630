package simulation

import (
	"cmp"
	"context"
	"slices"
	"time"
)

// agenda is what people will do, by time and then in the order of planning.
type agenda struct {
	waiting []deed
	seq     int
}

// deed is one thing that somebody does by way of an instance.
type deed struct {
	at    time.Time
	seq   int
	lane  []string
	name  string
	do    func(ctx context.Context, in *instance) error
	again bool // people see that it must be done and try until it is
}

func (a *agenda) plan(d deed) {
	a.seq++
	d.seq = a.seq
	if d.lane == nil {
		d.lane = []string{people}
	}
	i, _ := slices.BinarySearchFunc(a.waiting, d, func(x, y deed) int { return cmp.Or(x.at.Compare(y.at), cmp.Compare(x.seq, y.seq)) })
	a.waiting = slices.Insert(a.waiting, i, d)
}

func (a *agenda) next() (time.Time, bool) {
	if len(a.waiting) == 0 {
		return time.Time{}, false
	}
	return a.waiting[0].at, true
}

func (a *agenda) take(d deed) {
	a.waiting = slices.DeleteFunc(a.waiting, func(x deed) bool { return x.seq == d.seq })
}
