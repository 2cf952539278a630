package inbox

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/match"
	"passbell/internal/night"
	"passbell/internal/reading"
)

// Situation is all that a text is read against.
type Situation struct {
	Inbound  night.Inbound
	Kitchen  night.Kitchen
	Night    night.Night // zero where the kitchen has no night at all
	Orders   []night.Order
	Index    *match.Index // of the orders; nil to have it made
	OptedOut bool
	Placed   string // the reference of the order that a person says it is about
}

// Understood is what is kept of a reading, as JSON beside the text.
type Understood struct {
	Intent  reading.Intent `json:"intent"`
	Vehicle night.Vehicle  `json:"vehicle"`
	Due     *night.Clock   `json:"due,omitempty"`
	To      *night.Clock   `json:"to,omitempty"`
	Allergy bool           `json:"allergy,omitempty"`
	Ground  match.Ground   `json:"ground"`
}

// Decide reads a text, matches it to orders and says what to do. It is a pure
// function.
func Decide(s Situation) desk.Decision {
	index := s.Index
	if index == nil {
		index = match.New(Candidates(s.Orders))
	}
	own := s.own(index)
	got := reading.Read(s.Inbound.Text, s.context(index, own))
	res := index.Match(s.Inbound.From, &got)

	d := desk.Decision{
		Intent: got.Intent, Sure: res.Sure, Person: person(&got, res), Allergy: got.Allergy,
		Vehicle: got.Vehicle, Due: got.Due, To: got.To, Why: strings.TrimSuffix(got.Why, ".") + "; " + res.Why,
	}
	if s.Inbound.Shared > 0 && s.Placed == "" {
		share(&d, s.Inbound)
	}
	for _, i := range res.Orders {
		d.Orders = append(d.Orders, index.Order(i).ID)
	}
	b, err := json.Marshal(Understood{got.Intent, got.Vehicle, got.Due, got.To, got.Allergy, res.Ground})
	if err != nil {
		panic(err) // plain values always marshal
	}
	d.Reading = b
	return d
}

// share limits what is done about a text of which nobody knows for which of
// several kitchens it is: nothing is done to an order before a person says so,
// and only what any of them may say is answered, by one of them.
func share(d *desk.Decision, in night.Inbound) {
	d.Sure = false
	switch d.Intent {
	case reading.Stop, reading.Start, reading.Help:
		d.Silent = in.Silent
	case reading.Thanks:
		d.Silent = true
	default:
		d.Silent, d.Person = true, true
	}
	also := fmt.Sprintf("also sent to %d other kitchens at this number", in.Shared)
	if in.Shared == 1 {
		also = "also sent to another kitchen at this number"
	}
	d.Why += "; " + also
}

// Candidates are the orders as the matcher sees them. What an order's note
// declares about a car was read when the order was loaded.
func Candidates(orders []night.Order) []match.Order {
	out := make([]match.Order, len(orders))
	for i, o := range orders {
		out[i] = candidate(o)
	}
	return out
}

func candidate(o night.Order) match.Order {
	out := match.Order{ID: o.ID, Ref: o.Ref, Name: o.Name, Phone: o.Phone, Slot: o.Slot, State: o.State, Expected: !o.ExpectedAt.IsZero(), Note: o.Note}
	for _, item := range o.Items {
		out.Dishes = append(out.Dishes, item.Name)
	}
	if !o.Vehicle.IsZero() {
		out.Vehicles = []night.Vehicle{o.Vehicle}
	}
	return out
}

// own gives the sender's orders: those under the number, or the one that a
// person named.
func (s Situation) own(x *match.Index) []int {
	if s.Placed == "" {
		return x.Of(s.Inbound.From)
	}
	i := slices.IndexFunc(s.Orders, func(o night.Order) bool { return strings.EqualFold(o.Ref, s.Placed) })
	if i < 0 {
		return nil
	}
	return []int{i}
}

func (s Situation) context(x *match.Index, own []int) reading.Context {
	c := reading.Context{
		Region: s.Kitchen.Region, Zone: s.Kitchen.Zone, Date: s.Night.Date, First: s.Night.First, Last: s.Night.Last,
		At: s.Inbound.At, Known: len(own) > 0, Book: x, Facts: reading.Facts{OptedOut: s.OptedOut, Served: len(own) > 0, Cancelled: len(own) > 0},
	}
	for _, i := range own {
		o := s.Orders[i]
		c.Facts.Vehicle = c.Facts.Vehicle.Merge(o.Vehicle)
		if at := o.Arrival.At; at.After(c.Facts.ArrivedAt) {
			c.Facts.Arrived, c.Facts.ArrivedAt = true, at
		}
		c.Facts.Served = c.Facts.Served && o.State == night.HandedOut
		c.Facts.Cancelled = c.Facts.Cancelled && o.State == night.Cancelled
		if o.State.Open() {
			c.Slots = append(c.Slots, o.Slot)
		}
	}
	for _, i := range own {
		if len(c.Slots) == 0 {
			c.Slots = []night.Clock{s.Orders[i].Slot}
		}
	}
	slices.Sort(c.Slots)
	return c
}

// person tells whether a person has to read the text.
func person(got *reading.Reading, res match.Result) bool {
	if got.Asks || got.Allergy {
		return true
	}
	return !res.Sure && got.Intent.Acts()
}
