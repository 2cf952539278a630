package night

import (
	"fmt"
	"slices"
	"strings"
)

// State says how far an order has come.
type State string

// The way of an order, and the two ways aside.
const (
	Booked       State = "booked"
	Told         State = "told"     // a provider accepted the instructions
	Reminded     State = "reminded" // a provider accepted the reminder
	Arrived      State = "arrived"
	HandedOut    State = "handed out"
	Cancelled    State = "cancelled"
	NotCollected State = "not collected"
)

// Step is something that moves an order along the table.
type Step string

// The steps. Undo is not one of them: it takes a step back and is decided by
// what happened, see Undone.
const (
	Tell    Step = "tell"
	Remind  Step = "remind"
	Arrive  Step = "arrive"
	HandOut Step = "hand out"
	Cancel  Step = "cancel"
	GiveUp  Step = "give up"
)

// table is the only place that knows which step is legal in which state.
// Anyone may arrive who has not yet been served: people come who never saw a
// text, and people come who were given up.
var table = map[State]map[Step]State{
	Booked:       {Tell: Told, Remind: Reminded, Arrive: Arrived, Cancel: Cancelled, GiveUp: NotCollected},
	Told:         {Remind: Reminded, Arrive: Arrived, Cancel: Cancelled, GiveUp: NotCollected},
	Reminded:     {Arrive: Arrived, Cancel: Cancelled, GiveUp: NotCollected},
	Arrived:      {HandOut: HandedOut, GiveUp: NotCollected},
	HandedOut:    {},
	Cancelled:    {},
	NotCollected: {Arrive: Arrived},
}

// StepError says that a step is not legal in the state an order is in.
type StepError struct {
	State   State
	Step    Step
	Allowed []Step
}

func (e *StepError) Error() string {
	words := make([]string, len(e.Allowed))
	for i, s := range e.Allowed {
		words[i] = string(s)
	}
	can := "only undo"
	if len(words) > 0 {
		can = strings.Join(words, ", ")
	}
	return fmt.Sprintf("the order is %s, so it can't %s; possible now: %s", e.State, e.Step, can)
}

// After gives the state that follows when step is taken in s, or a *StepError.
func (s State) After(step Step) (State, error) {
	if next, ok := table[s][step]; ok {
		return next, nil
	}
	return s, &StepError{State: s, Step: step, Allowed: s.Steps()}
}

// Steps lists the steps that are legal in s, in alphabetical order.
func (s State) Steps() []Step {
	out := make([]Step, 0, len(table[s]))
	for step := range table[s] {
		out = append(out, step)
	}
	slices.Sort(out)
	return out
}

// Unfinished gives the states from which an order can still move on, in
// alphabetical order: somebody who was given up may come after all.
func Unfinished() []State {
	var out []State
	for s, steps := range table {
		if len(steps) > 0 {
			out = append(out, s)
		}
	}
	slices.Sort(out)
	return out
}

// Open tells whether the order still waits to be served: nothing is sent about
// an order that is not open.
func (s State) Open() bool {
	switch s {
	case Booked, Told, Reminded, Arrived:
		return true
	case HandedOut, Cancelled, NotCollected:
	}
	return false
}

// Undoable tells whether a person can take back the step that led to s. What a
// provider accepted can't be taken back.
func (s State) Undoable() bool {
	switch s {
	case Arrived, HandedOut, Cancelled, NotCollected:
		return true
	case Booked, Told, Reminded:
	}
	return false
}

// Undone gives the state that an order goes back to when the step that led to
// its present state is taken back. The events are those of the order, oldest
// first; ok is false where no step is on record that a person may take back.
func Undone(events []Event) (back State, ok bool) {
	var steps []Event
	for _, e := range events {
		switch {
		case e.To == "":
		case e.What == StepUndone:
			if len(steps) > 0 {
				steps = steps[:len(steps)-1]
			}
		default:
			steps = append(steps, e)
		}
	}
	if len(steps) == 0 {
		return "", false
	}
	last := steps[len(steps)-1]
	return last.From, last.To.Undoable()
}
