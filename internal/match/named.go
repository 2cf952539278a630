package match

import (
	"slices"
	"strings"

	"passbell/internal/reading"
)

// stretch is a run of names in a text, and what it says of the orders of a number.
type stretch struct {
	from, to int   // in the tokens
	orders   []int // whose names it gives best
	first    int   // where the names that it is joined to begin: "Kofi and Ama's"
	meant    bool  // something is said to be for them, or theirs
	owner    bool  // of a vehicle: "in Ama's car"
}

// stretches finds the names of orders in a text.
func (x *Index) stretches(own []int, toks []reading.Token) []stretch {
	var out []stretch
	for k := 0; k < len(toks); k++ {
		if !toks[k].IsName() {
			continue
		}
		s := stretch{from: k, first: k}
		for k < len(toks) && toks[k].IsName() {
			k++
		}
		s.to = k
		best := 0
		for _, i := range own {
			switch n := x.namedParts(i, toks[s.from:s.to]); {
			case n > best:
				best, s.orders = n, []int{i}
			case n > 0 && n == best:
				s.orders = append(s.orders, i)
			}
		}
		if best == 0 {
			continue
		}
		s.owner = toks[s.to-1].Possessive && vehicle[textAt(toks, s.to)]
		s.meant = meant(toks, s.from, s.to)
		if n := len(out) - 1; n >= 0 && out[n].to == s.from-1 && joins(toks[s.from-1].Text) {
			s.first = out[n].first
			s.meant = s.meant || out[n].meant
			for j := n; j >= 0 && out[j].first == s.first; j-- {
				out[j].meant = s.meant
			}
		}
		out = append(out, s)
	}
	return out
}

// joins tells whether a word puts names beside each other.
func joins(w string) bool { return w == "and" || w == "y" || w == "e" || w == "et" || w == "plus" }

// meant tells whether the names from and to are those of an order rather than of
// somebody who writes or is spoken of: "for Ama", "Ama's", "the Mensah order".
func meant(toks []reading.Token, from, to int) bool {
	after := textAt(toks, to)
	switch after {
	case "order", "orders", "bag", "bags", "one", "food", "box", "collection", "pickup", "only":
		return true
	}
	if toks[to-1].Possessive && thing(toks, to) {
		return false
	}
	if toks[to-1].Possessive && !contracts(after) {
		return true
	}
	if after == "to" || waited[textAt(toks, from-2)] && !toks[to-1].Possessive {
		return false // "for Ama to park", "waiting on Kofi": somebody, no order
	}
	for from > 0 && titles[toks[from-1].Text] {
		from--
	}
	switch textAt(toks, from-1) {
	case "for", "under", "of", "named", "called", "get", "getting", "collect", "collecting", "cancel", "para", "pour", "de", "on":
		return true
	}
	return false
}

// thing tells whether behind a name in 's stands what is theirs and no order: "Ama's
// brother", "Ama's Corsa", "Ama's car".
func thing(toks []reading.Token, k int) bool {
	if k >= len(toks) || toks[k].Kind != reading.Word {
		return false
	}
	t := &toks[k]
	return vehicle[t.Text] || kin[t.Text] != "" || t.IsCar() || !t.Everyday() && !t.IsName()
}

// waited are words for waiting: what follows them with "for" or "on" may be a person.
var waited = map[string]bool{"waiting": true, "wait": true, "waited": true, "hold": true, "holding": true}

// contracts tells whether before a word "Ama's" is "Ama is" or "Ama has": "Ama's outside",
// "Mum's cleared her plate", not "Ama's collected".
func contracts(w string) bool {
	switch w {
	case "not", "here", "there", "outside", "out", "away", "been", "coming", "going", "running", "got", "just", "still", "late", "already", "now", "at", "in", "on", "with":
		return true
	case "collected", "received", "picked", "delivered", "handed", "sorted", "packed", "needed", "wanted", "booked", "ordered":
		return false
	}
	return len(w) > 4 && (strings.HasSuffix(w, "ed") || strings.HasSuffix(w, "ing") && w != "dumpling" && w != "pudding")
}

// vehicle are things by whose owner no order is named: "in Ama's car".
var vehicle = map[string]bool{"car": true, "van": true, "truck": true, "bike": true, "plate": true, "reg": true, "number": true, "phone": true, "name": true}

// namedFor gives the orders that something is said to be for, nil where the text names
// none or all.
func (x *Index) namedFor(own []int, r *reading.Reading) []int {
	all := x.stretches(own, r.Tokens)
	list := keepStretches(all, func(s stretch) bool { return s.meant && s.from >= r.Said[0] && s.to <= r.Said[1] })
	if len(list) == 0 {
		list = keepStretches(all, func(s stretch) bool { return s.meant })
	}
	if out := union(list); len(out) < len(own) {
		return out
	}
	// "Got Pearl's, now waiting on Calvin's": what is waited for counts.
	return union(keepStretches(list, func(s stretch) bool {
		w := textAt(r.Tokens, s.first-1)
		return w == "for" || w == "on"
	}))
}

// elsewhen tells whether a text may name these orders for another time than that of the
// arrival: "outside. Back at 7 for Ama's", "here, Ama's will be collected later".
func (x *Index) elsewhen(picked []int, r *reading.Reading) bool {
	for _, s := range x.stretches(picked, r.Tokens) {
		if s.meant && (s.from < r.Said[0] || s.to > r.Said[1]) && !waited[textAt(r.Tokens, s.first-2)] {
			return true
		}
	}
	for k := range r.Tokens {
		switch t := &r.Tokens[k]; t.Text {
		case "later", "afterwards", "after", "tomorrow", "separately", "will":
			if !t.IsName() {
				return true
			}
		}
	}
	return false
}

// mentioned gives the orders of those who are named at all, first in the sentence that
// settled the intent, last in a signature; nil where that tells none from the others.
// Writes is set where they say that it is them who writes.
func (x *Index) mentioned(own []int, r *reading.Reading) (orders []int, writes bool) {
	all := x.stretches(own, r.Tokens)
	signed := len(unsigned(r.Tokens))
	for _, in := range [][2]int{r.Said, {0, signed}, {0, len(r.Tokens)}} {
		list := keepStretches(all, func(s stretch) bool { return s.from >= in[0] && s.to <= in[1] })
		if len(list) == 0 {
			continue
		}
		out := union(list)
		if len(out) == len(own) || !slices.ContainsFunc(list, func(s stretch) bool { return !s.owner }) {
			return nil, false
		}
		return out, !slices.ContainsFunc(list, func(s stretch) bool { return s.from < signed && !writer(r.Tokens, s) })
	}
	return nil, false
}

// writer tells whether names say who writes: "Kofi here", "it's Kofi", "Kofi, 5 mins
// away", "on my way Kofi".
func writer(toks []reading.Token, s stretch) bool {
	before, after := textAt(toks, s.from-1), textAt(toks, s.to)
	switch before {
	case "is", "am", "name", "soy", "suis":
		return true
	case "from", "with", "to", "tell", "ask", "by", "about", "and":
		return false
	}
	return after == "here" || s.to == len(toks) || s.from == 0 && toks[s.to].Kind == reading.Break
}

// mayMeanAll tells whether a text that only a name gives to some orders of a number may
// have been about the rest as well: "Dee here, in the van" may have come for both.
func (x *Index) mayMeanAll(own, picked []int, r *reading.Reading) bool {
	switch r.Intent {
	case reading.Here, reading.Coming, reading.Cancel, reading.Move, reading.Car:
	case reading.Stop, reading.Start, reading.Help, reading.Problem, reading.Ask, reading.Thanks, reading.Other:
		return false
	}
	for k := range r.Tokens {
		switch r.Tokens[k].Text {
		case "mine":
			return false
		case "his", "hers":
			if textAt(r.Tokens, k-1) == "for" {
				return false
			}
		}
	}
	open := x.open(picked)
	return len(open) > 0 && len(picked) < len(x.open(own))
}

func keepStretches(list []stretch, hit func(stretch) bool) []stretch {
	var out []stretch
	for _, s := range list {
		if hit(s) {
			out = append(out, s)
		}
	}
	return out
}

// union gives the orders that any of the names give.
func union(list []stretch) []int {
	var out []int
	for _, s := range list {
		for _, i := range s.orders {
			out = appendNew(out, i)
		}
	}
	return out
}
