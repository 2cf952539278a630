package corpus

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/internal/match"
	"passbell/internal/night"
	"passbell/internal/reading"
)

// Answer is what was read of a message, in the corpus format.
type Answer struct {
	ID string `json:"id"`
	Want
	Why string `json:"why"`
}

// Run reads the messages of one night in memory, oldest first, and remembers
// what earlier ones said.
type Run struct {
	night Night
	zone  *time.Location
	index *match.Index
	facts map[string]reading.Facts // by number
}

// NewRun makes ready to read a night.
func NewRun(n Night, orders []Order) (*Run, error) {
	return NewRunOn(n, match.New(MatchOrders(n.Region, orders)))
}

// NewRunOn is NewRun on an index that exists already.
func NewRunOn(n Night, x *match.Index) (*Run, error) {
	zone, err := time.LoadLocation(n.Timezone)
	if err != nil {
		return nil, fmt.Errorf("the night's time zone: %w", err)
	}
	return &Run{night: n, zone: zone, index: x, facts: make(map[string]reading.Facts)}, nil
}

// Context gives what the next message is read against.
func (r *Run) Context(m Message) reading.Context {
	own := r.index.Of(m.From)
	return reading.Context{
		Region: r.night.Region, Zone: r.zone, Date: r.night.Date, First: r.night.FirstSlot, Last: r.night.LastSlot,
		At: m.At, Known: len(own) > 0, Slots: r.slots(own), Facts: r.facts[m.From], Book: r.index,
	}
}

// Read reads the next message.
func (r *Run) Read(m Message) Answer {
	got := reading.Read(m.Text, r.Context(m))
	res := r.index.Match(m.From, &got)
	r.remember(m, &got, res)
	return r.answer(m, &got, res)
}

// Follow takes a message as its label says, and remembers it for the next: the
// learned model is trained on what people meant, not on what was read so far.
func (r *Run) Follow(m Message) {
	got := reading.ReadByRules(m.Text, r.Context(m))
	if m.Want != nil {
		got.Intent = reading.Intent(m.Want.Intent)
	}
	r.remember(m, &got, r.index.Match(m.From, &got))
}

// slots gives the slots of the orders that are still to be handed out, earliest
// first.
func (r *Run) slots(own []int) []night.Clock {
	if len(own) == 0 {
		return nil
	}
	var open, all []night.Clock
	for _, i := range own {
		o := r.index.Order(i)
		all = append(all, o.Slot)
		if o.State != night.HandedOut && o.State != night.Cancelled {
			open = append(open, o.Slot)
		}
	}
	if len(open) == 0 {
		open = all
	}
	slices.Sort(open)
	return open
}

// remember keeps what later texts of the same sender rest on. A number in no
// order is judged on each text alone.
func (r *Run) remember(m Message, got *reading.Reading, res match.Result) {
	if !res.Sure {
		return
	}
	own := r.index.Of(m.From)
	f := r.facts[m.From]
	switch got.Intent {
	case reading.Stop:
		f.OptedOut = true
	case reading.Start:
		f.OptedOut = false
	case reading.Here:
		f.Arrived, f.ArrivedAt, f.Served = true, m.At, false
		r.mark(res, night.Arrived)
	case reading.Cancel:
		r.mark(res, night.Cancelled)
		f.Cancelled = true
	case reading.Thanks:
		if f.Arrived && len(own) > 0 {
			f.Served = got.Got || len(own) == 1
			if got.Got {
				r.mark(res, night.HandedOut)
				f.Served = r.allServed(own)
			}
		}
	case reading.Problem:
		if f.Arrived && !got.Waits {
			f.Served = true
		}
	case reading.Coming:
		if got.Due != nil {
			for _, i := range res.Orders {
				r.index.Expect(i)
			}
		}
	case reading.Help, reading.Move, reading.Car, reading.Ask, reading.Other:
	}
	if v := got.Vehicle; !v.IsZero() && (len(own) > 0 || got.Intent == reading.Car || got.Intent == reading.Here) {
		f.Vehicle = f.Vehicle.Merge(v)
		for _, i := range res.Orders {
			r.index.Declare(i, v)
		}
	}
	if len(own) > 0 || got.Intent == reading.Stop || got.Intent == reading.Start {
		r.facts[m.From] = f
	}
}

// mark moves the orders that a text is surely about on: what is not sure waits for a
// person, whom a run does not have.
func (r *Run) mark(res match.Result, s night.State) {
	if !res.Sure {
		return
	}
	for _, i := range res.Orders {
		r.index.SetState(i, s)
	}
}

func (r *Run) allServed(own []int) bool {
	for _, i := range own {
		if r.index.Order(i).State != night.HandedOut {
			return false
		}
	}
	return true
}

func (r *Run) answer(m Message, got *reading.Reading, res match.Result) Answer {
	v := got.Vehicle
	a := Answer{ID: m.ID, Want: Want{
		Intent: string(got.Intent), Colour: v.Colours, Make: v.Make, Model: v.Model, Body: v.Body,
		Plate: v.Plate, PlatePart: v.PlatePart, Auto: res.Sure, Person: Person(got, res), Allergy: got.Allergy,
		Orders: make([]string, len(res.Orders)),
	}}
	if got.Due != nil {
		a.Due = got.Due.String()
	}
	if got.To != nil {
		a.To = got.To.String()
	}
	for k, i := range res.Orders {
		a.Orders[k] = r.index.Order(i).Ref
	}
	slices.Sort(a.Orders)
	a.Why = strings.TrimSuffix(got.Why, ".") + "; " + res.Why + "."
	return a
}

// Person tells whether a person has to read the text: it asks, reports a
// problem or mentions an allergy, or nobody can tell which order to act on.
func Person(got *reading.Reading, res match.Result) bool {
	if got.Asks || got.Allergy {
		return true
	}
	if res.Sure {
		return false
	}
	switch got.Intent {
	case reading.Here, reading.Coming, reading.Move, reading.Cancel, reading.Problem:
		return true
	case reading.Stop, reading.Start, reading.Help, reading.Car, reading.Ask, reading.Thanks, reading.Other:
	}
	return false
}
