package match

import (
	"slices"
	"strings"

	"passbell/internal/reading"
)

// doubtful says why a text from a number with several orders may be about others of them
// than those picked; "" where nothing in it speaks for that. It is asked last: whoever has
// several orders under one number writes of the one, the other or both in more ways than
// clues can hold, so any word that may tell them apart and was not what picked them sends
// the text to a person.
func (x *Index) doubtful(own, picked []int, all bool, r *reading.Reading) string {
	switch r.Intent {
	case reading.Stop, reading.Start, reading.Help, reading.Other:
		return "" // about no order
	case reading.Here, reading.Cancel, reading.Move, reading.Coming, reading.Car, reading.Problem, reading.Ask, reading.Thanks:
	}
	if all && len(picked) == len(own) {
		return ""
	}
	if keep(x.refsIn(r.Tokens), func(i int) bool { return slices.Contains(picked, i) }) != nil {
		return ""
	}
	whole, noted := len(picked) == len(own), slices.Equal(picked, x.senders(own, r.Tokens))
	if noted && (r.Intent == reading.Here || r.Intent == reading.Coming || r.Intent == reading.Car) {
		return "" // "here for mine, mum's is later"
	}
	pointed := keep(own, func(i int) bool { return x.pointsAt(i, own, r) })
	if whole && len(pointed) > 0 && len(pointed) < len(own) || !whole && slices.ContainsFunc(pointed, func(i int) bool { return !slices.Contains(picked, i) && !x.denied([]int{i}, r.Tokens) }) {
		return "the text speaks of one order of the number among others, so a person has to say which it is about"
	}
	if r.Got && (whole && r.Intent != reading.Thanks || !whole && returns(r.Tokens)) {
		return "the sender has food of the number already, so a person has to say which order this is about"
	}
	if !whole && x.apartFrom(own, picked, r) {
		return "the text speaks of one order of the number apart from the arrival, so a person has to say which is meant"
	}
	mine := noted || x.signedBy(picked, r)
	for k := range r.Tokens {
		if whole && partial(r.Tokens, k) || contrasts(r.Tokens, k) || !mine && sendersOwn(r.Tokens, k) {
			return "the text tells one order of the number from another, so a person has to say which it is about"
		}
	}
	return ""
}

// apartFrom tells whether what was picked may be what is left for another time: "here for
// the 4:40, back at 6 for the other", "just the rolls this trip, the group's is at 7".
func (x *Index) apartFrom(own, picked []int, r *reading.Reading) bool {
	if r.Intent != reading.Here && r.Intent != reading.Coming {
		return false
	}
	if slices.Equal(picked, x.ordinal(own, r)) {
		return false
	}
	for k := range r.Tokens {
		before, after := textAt(r.Tokens, k-1), textAt(r.Tokens, k+1)
		switch r.Tokens[k].Text {
		case "other", "otra", "otro":
			return true
		case "just", "only", "solo":
			if (after == "the" || after == "my" || after == "la" || after == "el") && k+2 < len(r.Tokens) && r.Tokens[k+2].Num < 0 {
				return true
			}
		case "back":
			if r.Intent == reading.Here && k > 0 && (before == "" || before == "be" || before == "coming") && (after == "at" || after == "for" || after == "later" || after == "in") {
				return true
			}
		}
	}
	return false
}

// returns tells whether somebody says that they come again: "got the first, back at 8 for
// the crew".
func returns(toks []reading.Token) bool {
	return slices.ContainsFunc(toks, func(t reading.Token) bool {
		switch t.Text {
		case "back", "return", "returning", "later", "again", "vuelvo", "regreso", "reviens", "repasse":
			return true
		}
		return false
	})
}

// pointsAt tells whether a text holds what only the order at i among these has: a name, a
// word of its note or of its dishes.
func (x *Index) pointsAt(i int, own []int, r *reading.Reading) bool {
	others := keep(own, func(j int) bool { return j != i })
	only := func(has func(j int) bool) bool { return has(i) && !slices.ContainsFunc(others, has) }
	for k := range r.Tokens {
		t := &r.Tokens[k]
		switch {
		case t.Kind != reading.Word || t.IsCar() || t.Possessive && vehicle[textAt(r.Tokens, k+1)]:
		case (t.IsName() || t.Upper) && only(func(j int) bool { return slices.Contains(x.names[j], t.Text) }):
			return true
		case only(func(j int) bool { return slices.Contains(x.tags[j], tag(t.Text)) }):
			return true
		case only(func(j int) bool { return x.dishes[j][tag(t.Text)] }):
			return true
		}
	}
	return false
}

// signedBy tells whether the sender says by their name that an order is their own: "here
// for mine, Tammy Voss".
func (x *Index) signedBy(picked []int, r *reading.Reading) bool {
	return len(picked) == 1 && slices.ContainsFunc(x.stretches(picked, r.Tokens), func(s stretch) bool { return writer(r.Tokens, s) })
}

// sendersOwn tells whether the word at k is the sender's own order: "mine", "my own".
func sendersOwn(toks []reading.Token, k int) bool {
	before := textAt(toks, k-1)
	switch toks[k].Text {
	case "mine", "mia", "mio":
		return true
	case "own", "one":
		return before == "my"
	}
	return false
}

// contrasts tells whether the word at k sets something against what is named.
func contrasts(toks []reading.Token, k int) bool {
	before, after := textAt(toks, k-1), textAt(toks, k+1)
	switch toks[k].Text {
	case "rest", "others", "remaining":
		return true
	case "the": // "the 5 one", "for the 8"
		if k+1 == len(toks) || toks[k+1].Kind != reading.Number || toks[k+1].Min >= 0 || toks[k+1].Num > 12 {
			return false
		}
		unit := textAt(toks, k+2)
		return unit != "oclock" && unit != "pm" && unit != "am" && unit != "nd"
	case "own":
		return before == "his" || before == "her" || before == "their"
	case "himself", "herself", "themselves":
		return true
	case "still":
		return after == "to" || after == "needs" || after == "missing"
	}
	return false
}

// partial tells whether the word at k may speak of one of several orders.
func partial(toks []reading.Token, k int) bool {
	before, after := textAt(toks, k-1), textAt(toks, k+1)
	t := &toks[k]
	if base := strings.TrimSuffix(t.Text, "s"); (t.Possessive || base != t.Text) && kin[base] != "" || t.IsPerson() && !t.Vocative() {
		return true // "dad's", also "dads outside" without its apostrophe
	}
	switch toks[k].Text {
	case "mine", "ours", "hers", "theirs", "mia", "mio", "suya":
		return true
	case "his", "her":
		return after == "" || after == "is" || after == "own" || after == "to" || after == "please"
	case "ones":
		return true
	case "one":
		return before != "no" && before != "any" && before != "some" && before != "every" && (k > 0 && toks[k-1].Kind != reading.Break)
	case "early", "earlier", "later", "first", "second", "third", "1st", "2nd", "last", "next", "other", "otra", "otro", "rest":
		return before == "the" || before == "my" || before == "la" || before == "el"
	case "only", "solo", "nomas":
		return k+1 == len(toks) || toks[k+1].Num < 0
	case "mas":
		return before == "nada"
	case "again":
		return before == "back" || before == "here" || before == "me" || before == "us"
	case "back":
		return k == 0 || before == "im" || before == "am" || before == "are"
	}
	return false
}
