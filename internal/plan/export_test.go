package plan

import (
	"time"

	"passbell/internal/night"
)

// Count gives how many messages of a kind are wanted.
func (p Plan) Count(kind night.MessageKind) int {
	n := 0
	for _, w := range p.Wanted {
		if w.Kind == kind {
			n++
		}
	}
	return n
}

// LastDue is when the last wanted message goes out; zero where none does.
func (p Plan) LastDue() time.Time {
	if len(p.Wanted) == 0 {
		return time.Time{}
	}
	return p.Wanted[len(p.Wanted)-1].DueAt
}
