// Package match finds the orders that a text is about, or says that a person
// has to.
//
// The rule, in order. A text is sure
//
//  1. when it comes from a number of the order book: it is about that number's
//     order, or about all of them unless the text names one (by reference, by
//     name, by slot as a time of day, by "the other one") or means one of them
//     without naming it ("ours only", "back again"); an order already handed out is left out of an
//     arrival. Where what it says points to different orders, or to another number's
//     order beyond doubt, it is not sure; nor where it denies what it names, sets one
//     order against another, names one for another time or none after an earlier text
//     spoke of one alone, or only the name of who writes picks one of several; nor,
//     from a number with several orders, where any word may tell them apart that
//     did not pick what it is about;
//  2. when it comes from another number and names exactly one thing that one
//     order alone can be: an order reference, a whole plate that was declared
//     for it, or a full name that no other order carries. References and a
//     plate may point to several orders of one customer.
//
// Everything else goes to a person, with the likely orders ranked: a part of a
// plate, a surname, a first name; a vehicle like a declared one ranks its order
// first among equals. Two likely orders are never sure, and neither is a first
// name or a surname, however rare it is in the book: a stranger may bear it.
package match

import (
	"slices"
	"strings"

	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/reading/plates"
)

// Order is what the matcher needs of an order.
type Order struct {
	ID       int64
	Ref      string
	Name     string
	Phone    string // E.164; "" where there is none
	Slot     night.Clock
	State    night.State
	Expected bool            // somebody said when they come for it
	Note     string          // may say for whom it is
	Dishes   []string        // what was ordered
	Vehicles []night.Vehicle // declared on the order or by earlier texts
}

// Ground says what a match rests on.
type Ground string

// The grounds. The first four are sure.
const (
	ByNumber    Ground = "number"
	ByRef       Ground = "reference"
	ByPlate     Ground = "plate"
	ByName      Ground = "full name"
	ByNothing   Ground = "nothing to do"
	ByLikely    Ground = "likely"
	ByAmbiguous Ground = "ambiguous"
	ByNobody    Ground = "nobody"
)

// Result is what a text is about.
type Result struct {
	Orders []int // positions in the orders handed to New; likeliest first
	Sure   bool  // acting on Orders without a person is safe
	Ground Ground
	Why    string // a part of a sentence
}

// Match finds the orders that a text is about. From is the sender's number in
// E.164, r what was read.
func (x *Index) Match(from string, r *reading.Reading) Result {
	if own := x.byPhone[from]; len(own) > 0 {
		return x.own(own, r)
	}
	switch r.Intent {
	case reading.Stop, reading.Start, reading.Help, reading.Thanks, reading.Other:
		return Result{Sure: true, Ground: ByNothing, Why: "the number is in no order and nothing is done to one"}
	case reading.Here, reading.Cancel, reading.Move, reading.Coming, reading.Car, reading.Problem, reading.Ask:
	}
	return x.stranger(r)
}

// own settles a text from a number of the book.
func (x *Index) own(own []int, r *reading.Reading) Result {
	if others := x.elsewhere(own, r); len(others) > 0 {
		return Result{Orders: append(slices.Clone(own), others...), Ground: ByAmbiguous, Why: "the number has an order and the text names another's, so a person has to say which"}
	}
	if len(own) == 1 {
		return Result{Orders: own, Sure: true, Ground: ByNumber, Why: "the number is that of order " + x.orders[own[0]].Ref}
	}
	return x.several(own, r)
}

// elsewhere gives the orders of other numbers that a text about a collection names beyond
// doubt, by reference or full name: somebody may fetch a neighbour's food. A name that
// one of their own orders bears as well is theirs.
func (x *Index) elsewhere(own []int, r *reading.Reading) []int {
	switch r.Intent {
	case reading.Here, reading.Coming, reading.Car, reading.Cancel, reading.Move:
	case reading.Stop, reading.Start, reading.Help, reading.Problem, reading.Ask, reading.Thanks, reading.Other:
		return nil
	}
	bears := func(o, i int) bool {
		return !slices.ContainsFunc(x.names[i], func(part string) bool { return !slices.Contains(x.names[o], part) })
	}
	out := keep(x.refsIn(r.Tokens), func(i int) bool { return !slices.Contains(own, i) })
	for _, i := range x.fullNames(r.Tokens) {
		if !slices.ContainsFunc(own, func(o int) bool { return bears(o, i) }) {
			out = appendNew(out, i)
		}
	}
	return out
}

// stranger settles a text from a number that is in no order.
func (x *Index) stranger(r *reading.Reading) Result {
	refs := x.refsIn(r.Tokens)
	full := x.fullNames(r.Tokens)
	var plated []int
	if r.Vehicle.Plate != "" {
		plated = x.byPlate[plates.Fold(r.Vehicle.Plate)]
	}
	named := slices.Clone(refs)
	for _, i := range append(slices.Clone(full), plated...) {
		named = appendNew(named, i)
	}
	switch {
	case x.denied(named, r.Tokens):
		return Result{Orders: named, Ground: ByAmbiguous, Why: "the text says of what it names that it is not meant, so a person has to say which order it is"}
	case len(refs) == 1 && agrees(full, refs) || len(refs) > 1 && len(full) == 0:
		return Result{Orders: x.wanted(refs, r), Sure: true, Ground: ByRef, Why: "the text gives the order reference"}
	case len(refs) == 0 && len(plated) > 0 && agrees(full, plated) && x.oneCustomer(plated):
		return Result{Orders: x.wanted(plated, r), Sure: true, Ground: ByPlate, Why: "the plate was declared for the order"}
	case len(refs) == 0 && len(full) == 1:
		return Result{Orders: full, Sure: true, Ground: ByName, Why: "the text gives a full name that one order carries"}
	case len(named) > 0:
		return Result{Orders: named, Ground: ByAmbiguous, Why: "what the text names fits more than one order, so a person has to say which"}
	}
	if likely := x.likely(r); len(likely) > 0 {
		return Result{Orders: x.wanted(likely, r), Ground: ByLikely, Why: "the number is unknown and the text only makes this likely, so a person has to say"}
	}
	return Result{Ground: ByNobody, Why: "the number is in no order and the text names none"}
}

// wanted leaves out what was handed out, where a text comes for some of it: nobody
// fetches that again.
func (x *Index) wanted(list []int, r *reading.Reading) []int {
	if open := x.open(list); len(open) > 0 && (r.Intent == reading.Here || r.Intent == reading.Coming) {
		return open
	}
	return list
}

func agrees(full, other []int) bool {
	for _, i := range full {
		if !slices.Contains(other, i) {
			return false
		}
	}
	return true
}

// oneCustomer tells whether orders belong to one number: a plate declared by
// two customers is nobody's.
func (x *Index) oneCustomer(list []int) bool {
	for _, i := range list[1:] {
		if x.orders[i].Phone != x.orders[list[0]].Phone {
			return false
		}
	}
	return true
}

// refsIn gives the orders whose reference stands in the text.
func (x *Index) refsIn(toks []reading.Token) []int {
	var out []int
	for i := range toks {
		if !toks[i].IsRef() {
			continue
		}
		if n, ok := x.byRef[toks[i].Text]; ok {
			out = appendNew(out, n)
			continue
		}
		joined := toks[i].Text
		for j := i + 1; j < len(toks) && j <= i+2 && toks[j].IsRef(); j++ {
			joined += toks[j].Text
			if n, ok := x.byRef[joined]; ok {
				out = appendNew(out, n)
			}
		}
	}
	return out
}

// namedParts counts the parts of an order's name that the text gives.
func (x *Index) namedParts(i int, toks []reading.Token) int {
	n := 0
	for _, p := range x.names[i] {
		for k := range toks {
			if toks[k].IsName() && (toks[k].Text == p || k+1 < len(toks) && toks[k+1].IsName() && toks[k].Text+toks[k+1].Text == p) {
				n++
				break
			}
		}
	}
	return n
}

// fullNames gives the orders all of whose name stands together in the text. A
// name of one part alone is no full name.
func (x *Index) fullNames(toks []reading.Token) []int {
	var out []int
	for k := range toks {
		if !toks[k].IsName() {
			continue
		}
		for _, i := range x.byPart[toks[k].Text] {
			if len(x.names[i]) >= 2 && x.together(x.names[i], toks, k) {
				out = appendNew(out, i)
			}
		}
	}
	return out
}

// together tells whether every part stands within a few words from toks[k] on.
func (x *Index) together(parts []string, toks []reading.Token, k int) bool {
	end := min(len(toks), k+2*len(parts)+1)
	words := 0
	for _, p := range parts {
		found := false
		for j := k; j < end; j++ {
			if toks[j].IsName() && (toks[j].Text == p || j+1 < end && toks[j].Text+toks[j+1].Text == p) {
				found = true
				break
			}
		}
		if !found {
			return false
		}
	}
	// Nothing but marks, titles and the name itself may stand between.
	for j := k; j < end && words < len(parts); j++ {
		switch {
		case toks[j].IsName():
			words++
		case toks[j].Kind == reading.Word && !titles[toks[j].Text] && len(toks[j].Text) > 1:
			return false
		}
	}
	return true
}

// likely ranks the orders that the text makes likely: a plate's part and a
// surname weigh more than a first name.
func (x *Index) likely(r *reading.Reading) []int {
	scores := make(map[int]int)
	for k := range r.Tokens {
		t := &r.Tokens[k]
		if !t.IsName() {
			continue
		}
		for _, i := range x.byPart[t.Text] {
			if x.names[i][0] == t.Text {
				scores[i] = max(scores[i], 2)
			} else {
				scores[i] = max(scores[i], 3)
			}
		}
	}
	if len(scores) == 0 {
		for _, i := range x.shortNamed(r.Tokens) {
			scores[i] = 1
		}
	}
	if part := plates.Fold(r.Vehicle.PlatePart); part != "" {
		for plate, list := range x.byPlate {
			if strings.HasSuffix(plate, part) || strings.HasPrefix(plate, part) || len(part) >= 3 && strings.Contains(plate, part) {
				for _, i := range list {
					scores[i] += 4
				}
			}
		}
	}
	best := 0
	for _, s := range scores {
		best = max(best, s)
	}
	var out []int
	for i, s := range scores {
		if s == best {
			out = append(out, i)
		}
	}
	// A vehicle like a declared one makes nobody likely, it only ranks.
	slices.SortFunc(out, func(a, b int) int {
		if ra, rb := x.resembles(a, r.Vehicle), x.resembles(b, r.Vehicle); ra != rb {
			if ra {
				return -1
			}
			return 1
		}
		return a - b
	})
	return out
}

// resembles tells whether a vehicle agrees with one declared for the order in
// two things at least: make, model, colour.
func (x *Index) resembles(i int, v night.Vehicle) bool {
	for _, d := range x.orders[i].Vehicles {
		n := 0
		if v.Make != "" && v.Make == d.Make {
			n++
		}
		if v.Model != "" && v.Model == d.Model {
			n++
		}
		for _, c := range v.Colours {
			if slices.Contains(d.Colours, c) {
				n++
				break
			}
		}
		if n >= 2 {
			return true
		}
	}
	return false
}
