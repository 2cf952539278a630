package match

import (
	"slices"

	"passbell/internal/night"
	"passbell/internal/reading"
)

// several settles a text from a number with several orders. What tells one of them from
// the others is a clue: a reference, a name that something is said to be for, the words of
// a note, "the second one", a slot. Where clues point to different orders a person has to
// say, and where a text sets one order against another ("mine" and "hers"), says that it
// means only one, or names none after an earlier text spoke of one by itself; also where it
// names none and a person reads it anyway, where it adds something to what it names or speaks of one
// by its place without saying which, and where only the name of somebody who writes or is
// spoken of gives an order. Else it is about all of them.
func (x *Index) several(own []int, r *reading.Reading) Result {
	picked, agree := x.clues(own, r)
	if !agree {
		return Result{Orders: picked, Ground: ByAmbiguous, Why: "what the text says points to more than one order of the number, so a person has to say which"}
	}
	look, all := false, both(r.Tokens) || counted(r.Tokens)
	if picked == nil && !all {
		named, writes := x.mentioned(own, r)
		switch {
		case named == nil:
		case writes && r.Intent == reading.Thanks:
			return Result{Orders: named, Ground: ByAmbiguous, Why: "only the name of who thanks gives one order of the number; nothing is to be done about it"}
		case writes:
		case r.Intent == reading.Here && forMine(r.Tokens):
			return Result{Orders: own, Ground: ByAmbiguous, Why: "the sender means their own order and names another, so a person has to say which"}
		case r.Intent == reading.Thanks && !r.Got:
			named = nil // "grandma sends her love" is about no order
		}
		picked, look = named, named != nil && x.mayMeanAll(own, named, r)
	}
	if picked == nil {
		picked = own
	}
	if len(picked) == len(own) && r.Intent == reading.Here {
		if open := x.open(own); len(open) > 0 {
			picked = open
		}
	}
	switch {
	case len(picked) < len(own) && adds(r.Tokens):
		return Result{Orders: own, Ground: ByAmbiguous, Why: "the text names one order of the number and adds to it, so a person has to say which are meant"}
	case len(picked) == len(own) && len(x.open(own)) > 1 && singles(r.Tokens):
		return Result{Orders: own, Ground: ByAmbiguous, Why: "the text speaks of one order of the number and does not say which, so a person has to"}
	}
	mine := slices.Equal(picked, x.senders(own, r.Tokens))
	if x.denied(picked, r.Tokens) && r.Intent.Acts() {
		return Result{Orders: own, Ground: ByAmbiguous, Why: "the text says which order of the number it does not mean, so a person has to say which it does"}
	}
	if others := x.others(own, picked, r); len(others) > 0 {
		return Result{Orders: others, Ground: ByAmbiguous, Why: "the sender signs, but means the other order of the number, so a person has to say"}
	}
	if !all && (len(picked) > 1 && oneOf(r) || halves(r.Tokens) && len(x.refsIn(r.Tokens)) == 0 && !mine) {
		return Result{Orders: picked, Ground: ByAmbiguous, Why: "the number has several orders and the text means one of them, so a person has to say which"}
	}
	if !all && len(picked) > 1 && (r.Intent == reading.Here || r.Due != nil) && x.apart(picked) {
		return Result{Orders: picked, Ground: ByAmbiguous, Why: "one order of the number was spoken of by itself before and this text names none, so a person has to say which"}
	}
	switch {
	case look:
		return Result{Orders: picked, Ground: ByAmbiguous, Why: "only the name of who writes gives one order of the number, so a person has to say whether it is for the rest as well"}
	case r.Intent.Acts() && r.Intent != reading.Ask && r.Asks && !all && len(picked) == len(own):
		return Result{Orders: picked, Ground: ByAmbiguous, Why: "the number has several orders, the text names none and a person reads it anyway"}
	case (r.Intent == reading.Here || r.Intent == reading.Coming) && len(x.open(picked)) == 0 && len(x.open(own)) > 0:
		return Result{Orders: own, Ground: ByAmbiguous, Why: "the text names an order that was handed out, so a person has to say which is meant"}
	case r.Intent == reading.Here && len(picked) < len(own) && len(x.refsIn(r.Tokens)) == 0 && !mine && x.elsewhen(picked, r):
		return Result{Orders: picked, Ground: ByAmbiguous, Why: "the text speaks of one order of the number apart from the arrival, so a person has to say which is meant"}
	}
	if why := x.doubtful(own, picked, all, r); why != "" {
		return Result{Orders: picked, Ground: ByAmbiguous, Why: why}
	}
	why := "the number has several orders and the text names none"
	if len(picked) < len(own) {
		why = "the number has several orders and this is the one that is meant"
	}
	return Result{Orders: picked, Sure: true, Ground: ByNumber, Why: why}
}

// clues narrows several orders of one number to those that the text tells from the
// others, nil where it tells none. It gives false, and all that are pointed to, where
// two clues disagree.
func (x *Index) clues(own []int, r *reading.Reading) (picked []int, agree bool) {
	refs := x.refsIn(r.Tokens)
	if out := keep(own, func(i int) bool { return slices.Contains(refs, i) }); len(out) > 0 {
		return out, true
	}
	if sideBySide(r.Tokens) {
		return nil, true // "Loretta's and mine"
	}
	clues := [][]int{x.namedFor(own, r), x.ordinal(own, r), nil, nil}
	if everyOne(r.Tokens) {
		if r.SlotNamed && r.Intent == reading.Move {
			clues[2] = x.bySlot(own, r)
		}
	} else if !counted(r.Tokens) {
		clues[2], clues[3] = x.noted(own, r.Tokens), x.bySlot(own, r)
	}
	var all []int
	for _, clue := range clues {
		if len(clue) == 0 || len(clue) == len(own) {
			continue
		}
		for _, i := range clue {
			all = appendNew(all, i)
		}
		if picked == nil {
			picked = clue
			continue
		}
		picked = keep(picked, func(i int) bool { return slices.Contains(clue, i) })
		if len(picked) == 0 {
			return all, false
		}
	}
	if picked != nil && everyOne(r.Tokens) {
		return own, false // "both, and Ama's"
	}
	return picked, true
}

func keep(list []int, hit func(i int) bool) []int {
	var out []int
	for _, i := range list {
		if hit(i) {
			out = append(out, i)
		}
	}
	return out
}

// bySlot narrows orders to the one whose slot the text names.
func (x *Index) bySlot(own []int, r *reading.Reading) []int {
	if r.Slot == nil || !x.slotMeant(r) && (r.Due == nil || *r.Slot != *r.Due) {
		return nil
	}
	// A time of day that is a slot's names it; "in 10 minutes" that happens to end
	// on one doesn't, nor "be with you 5ish" where one way brings two orders.
	if !x.slotMeant(r) && x.oneWay(own) {
		return nil
	}
	return keep(own, func(i int) bool { return x.orders[i].Slot == *r.Slot })
}

// oneWay tells whether slots of a number lie so near each other that whoever comes
// may well fetch both orders.
func (x *Index) oneWay(own []int) bool {
	for k, i := range own {
		for _, j := range own[k+1:] {
			if a, b := x.orders[i].Slot, x.orders[j].Slot; max(a-b, b-a) <= 30 {
				return true
			}
		}
	}
	return false
}

// others gives the orders that a cancellation may mean where it keeps the one of the
// sender, who is named in the signature alone: "scrap hers, I'll get mine. Kev".
func (x *Index) others(own, picked []int, r *reading.Reading) []int {
	if r.Intent != reading.Cancel || len(picked) != 1 || !halves(r.Tokens) || x.namedParts(picked[0], unsigned(r.Tokens)) > 0 || x.namedParts(picked[0], r.Tokens) == 0 {
		return nil
	}
	var out []int
	for _, i := range own {
		if i != picked[0] {
			out = append(out, i)
		}
	}
	return out
}

// halves tells whether a text sets one order of a number against another
// without naming either: "she got hers, I'm here for mine".
func halves(toks []reading.Token) bool {
	mine, other := false, false
	for i := range toks {
		switch toks[i].Text {
		case "mine", "ours", "mia", "mio":
			mine = true
		case "his", "hers", "theirs":
			other = true
		default:
			if _, ok := kin[toks[i].Text]; ok {
				other = true
			}
		}
	}
	return mine && other
}

// apart tells whether orders of one number have come differently far: an earlier text
// meant only some of them, so one that names none may mean those or the rest.
func (x *Index) apart(list []int) bool {
	first := &x.orders[list[0]]
	for _, i := range list[1:] {
		if o := &x.orders[i]; o.Expected != first.Expected || (o.State == night.Arrived) != (first.State == night.Arrived) {
			return true
		}
	}
	return false
}

// open leaves out what was handed out or cancelled.
func (x *Index) open(own []int) []int {
	var out []int
	for _, i := range own {
		if s := x.orders[i].State; s != night.HandedOut && s != night.Cancelled {
			out = append(out, i)
		}
	}
	return out
}

// unsigned leaves a signature out: names alone behind the last full stop.
func unsigned(toks []reading.Token) []reading.Token {
	k := len(toks)
	for k > 0 && (toks[k-1].IsName() || toks[k-1].Kind == reading.Emoji || toks[k-1].Kind == reading.Break && k == len(toks)) {
		k--
	}
	if k > 0 && k < len(toks) && toks[k-1].Kind == reading.Break {
		return toks[:k]
	}
	return toks
}

// slotMeant tells whether a time names the order rather than a time to come:
// a slot word stands in the text, or nothing is promised or asked with it.
func (x *Index) slotMeant(r *reading.Reading) bool {
	return r.Due == nil && r.To == nil || r.SlotNamed
}

// ordinal reads "the second one", "the other one" and "the first order".
func (x *Index) ordinal(own []int, r *reading.Reading) []int {
	toks := r.Tokens
	sorted := slices.Clone(own)
	slices.SortStableFunc(sorted, func(a, b int) int { return int(x.orders[a].Slot - x.orders[b].Slot) })
	for i := 0; i+1 < len(toks); i++ {
		if w := toks[i].Text; (w == "number" || w == "no") && textAt(toks, i-1) != "order" && toks[i+1].Num >= 1 && toks[i+1].Num <= len(sorted) && toks[i+1].Min < 0 {
			switch textAt(toks, i-1) {
			case "for", "of", "got", "get", "getting", "collecting":
				return sorted[toks[i+1].Num-1 : toks[i+1].Num] // "on the way for number two"
			}
		}
		if toks[i+1].Text == "of" && textAt(toks, i+2) == "the" && i+3 < len(toks) && toks[i+3].Num == len(sorted) {
			switch toks[i].Text {
			case "first", "1st":
				return sorted[:1] // "the first of the two"
			case "second", "2nd", "last":
				return sorted[len(sorted)-1:]
			}
		}
		switch w := toks[i+1].Text; {
		case orderWord[w]:
		default:
			// "ici pour la 2e", "vengo por la segunda"
			if w := toks[i].Text; w != "la" && w != "le" && w != "el" || i+2 < len(toks) && toks[i+2].Kind == reading.Word {
				continue
			}
			switch toks[i+1].Text {
			case "1ere", "premiere", "premier", "primera", "primero":
				return sorted[:1]
			case "2e", "2eme", "deuxieme", "seconde", "segunda", "segundo":
				return sorted[1:2]
			}
			continue
		}
		switch toks[i].Text {
		case "first", "1st", "earlier", "primer", "primera", "premiere":
			return sorted[:1]
		case "nd":
			if i > 0 && toks[i-1].Num == 2 {
				return sorted[1:2]
			}
		case "second", "2nd", "later", "segundo", "segunda", "deuxieme", "2e":
			return sorted[1:2]
		case "last", "third", "3rd":
			return sorted[len(sorted)-1:]
		case "next":
			open := x.open(sorted)
			switch {
			case r.Got && len(open) > 1:
				return open[:1] // "got it, see you at the next one"
			case len(open) == 1:
				return open
			}
		case "other", "otro", "otra":
			if open := x.open(own); len(open) > 0 && len(open) < len(own) {
				return open
			}
		}
	}
	return nil
}
