package vehicles

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// settleNames decides which makes and models are meant, sure ones first, so that
// they can vouch for the others.
func (r *reader) settleNames() {
	for i := range r.items {
		if r.free(i) && !r.items[i].slip && !r.items[i].spelled && r.items[i].lex.names[0].trust == sure && !r.vetoed(i) {
			r.settleName(i)
		}
	}
	for i := range r.items {
		it := &r.items[i]
		if !r.free(i) || it.spelled || r.vetoed(i) {
			continue
		}
		t := ifCar
		if !it.slip {
			t = r.leastTrust(i)
		}
		if t == ifCar && !r.sold(i) && r.spoken(i) {
			continue // "the keys to the astro" where no Astro is sold
		}
		if t == afterMake && len(r.first(i).Low) == 1 && r.items[i].to == r.items[i].from+1 && !r.first(i).Upper && r.first(i).Class == words.Letters && r.followed(i) {
			continue // "un tesla y mi esposo"
		}
		if t == sure || t == ifCar && r.cause(i) || t == afterMake && r.madeBefore(i) || t == afterMake && r.colouredNumber(i) {
			r.settleName(i)
		}
	}
}

// spoken tells whether item i is merely a thing that is spoken of, "the keys to the
// astro", rather than what somebody drives or comes in.
func (r *reader) spoken(i int) bool {
	if i == 0 || !r.near(i) || !r.has(i-1, roleDet) {
		return false
	}
	if r.opens(i - 1) {
		return r.followed(i) // "la primera orden"
	}
	return !r.has(i-2, roleIn|roleColour|roleShade|roleAdj) && r.first(i-2).Low != "in"
}

// sold tells whether a name that item i may be is sold in the market.
func (r *reader) sold(i int) bool {
	for _, n := range r.items[i].lex.names {
		if n.regions&r.market != 0 {
			return true
		}
	}
	return false
}

// followed tells whether the clause goes on after item i.
func (r *reader) followed(i int) bool { return r.near(i + 1) }

// free tells whether item i can be a name and has not been settled otherwise. A
// phrase that is a colour or a body before it is a name stays one.
func (r *reader) free(i int) bool {
	return r.items[i].kind == other && r.named(i)
}

// leastTrust is what the likeliest reading of item i needs.
func (r *reader) leastTrust(i int) trust {
	least := afterMake
	for _, n := range r.items[i].lex.names {
		least = min(least, n.trust)
	}
	return least
}

// vetoed tells whether something beside item i says that it is a person, a place
// or another thing, whatever it is called.
func (r *reader) vetoed(i int) bool {
	last := i + 1
	if r.near(last) {
		next := r.first(last)
		if r.has(last, roleNoun) && !r.has(last, roleTrim|roleCar|roleBody|roleShade) && !r.named(last) {
			return true
		}
		if r.has(last, roleUnit) && r.endsInNumber(i) && next.Class != words.Mixed {
			return true
		}
	}
	if r.motorway(i) {
		return true
	}
	if r.near(i) && r.sep(i) < words.Slash {
		if r.has(i-1, rolePerson) && r.first(i-1).Low != "para" {
			return true
		}
		prev := r.first(i - 1)
		if prev.Title && !prev.Poss && r.first(i).Title && r.items[i-1].lex == nil && !words.Common(prev.Low) &&
			familyName(r.first(i).Low) && !(r.near(i+1) && r.sharesMake(i, i+1)) {
			return true // "Henry Ford"
		}
	}
	return false
}

// motorway tells whether item i is a road: "stuck on the M5".
func (r *reader) motorway(i int) bool {
	w := r.first(i)
	if w.Class != words.Mixed || w.Low[0] != 'm' && w.Low[0] != 'a' && w.Low[0] != 'n' || !r.near(i) {
		return false
	}
	j := i - 1
	if r.first(j).Low == "the" && r.near(j) {
		j--
	}
	switch r.first(j).Low {
	case "on", "off", "up", "down", "along", "via", "join", "joining", "leaving", "from", "stuck", "onto", "take", "left":
		return true
	}
	return false
}

// familyName tells whether a make or model is a common family name as well.
func familyName(low string) bool {
	switch low {
	case "ford", "lincoln", "austin", "morgan", "morris", "bentley", "holden", "dodge", "royce", "rover", "jensen", "talbot",
		"logan", "carter", "leon", "morrison", "hillman", "daimler", "ferrari", "benz", "harley", "escort", "cooper", "fox", "golf",
		"mercedes", "santana", "soto", "caprice", "king", "chase", "savage", "marquis", "garcia", "seat", "bora", "polo":
		return true
	}
	return false
}

func (r *reader) endsInNumber(i int) bool {
	return r.words[r.items[i].to-1].Class == words.Digits
}

// madeBefore tells whether the make of a name that needs it stands right before.
func (r *reader) madeBefore(i int) bool {
	j := i - 1
	if !r.near(i) || j < 0 {
		return false
	}
	return r.sharesMake(j, i) && (r.items[j].kind == isName || r.named(j))
}

// sharesMake tells whether items j and i have a make in common.
func (r *reader) sharesMake(j, i int) bool {
	if !r.named(j) || !r.named(i) {
		return false
	}
	for _, a := range r.items[j].lex.names {
		for _, b := range r.items[i].lex.names {
			if a.make == b.make && (a.model == "" || b.model == "") && a.model != b.model {
				return true
			}
		}
	}
	return false
}

// colouredNumber lets a colour stand for the make before a number of three
// digits: "black 911".
func (r *reader) colouredNumber(i int) bool {
	w := r.first(i)
	if w.Class == words.Digits && len(w.Low) >= 3 && r.near(i) && r.has(i-1, roleDet) && r.near(i+1) && r.first(i+1).Low == "in" && r.has(i+2, roleColour|roleShade) && r.colourAfter(i) {
		return true // "it's a 207 in black"
	}
	if w.Class == words.Digits && len(w.Low) >= 3 && r.near(i) && r.has(i-1, roleDet) && r.near(i-1) && r.first(i-2).Low == "in" && !r.near(i+1) {
		return true // "we're here in the 3008."
	}
	j := i - 1
	for j > 0 && r.near(j) && r.has(j, roleIsh|roleAdj) {
		j--
	}
	return w.Class == words.Digits && len(w.Low) >= 3 && r.near(i) && r.has(j, roleColour) &&
		(i+1 == len(r.items) || !r.near(i+1) || r.first(i+1).Class == words.Letters)
}

// cause looks for what makes an everyday word a car.
func (r *reader) cause(i int) bool {
	if r.madeBefore(i) || r.near(i+1) && r.sharesMake(i, i+1) {
		return true
	}
	if r.colourBefore(i) || r.colourAfter(i) {
		return true
	}
	if r.near(i + 1) {
		n := &r.items[i+1]
		if n.roles&(roleCar|roleTrim) != 0 || n.kind == isBody {
			return true
		}
	}
	if r.near(i) {
		p := r.first(i - 1)
		if p.Class == words.Digits && len(p.Low) == 4 && (p.Low[:2] == "19" || p.Low[:2] == "20") || p.Low == "plate" && i > 1 && r.first(i-2).Class == words.Digits {
			return true
		}
	}
	if r.inBefore(i) {
		return true
	}
	if (!r.faint(i) || i > 0 && r.first(i).Title && !r.items[i].slip) && r.opens(i) && r.near(i+1) && (r.first(i+1).Low == "with" || r.first(i+1).Low == "w") {
		return true // "Here, Yeti with the roof box"
	}
	if r.near(i) && r.has(i-1, roleAdj) && r.opens(i-1) && !r.followed(i) && r.sold(i) && r.arrived() && !r.items[i].slip && !placeOrThing(r.first(i).Low) {
		return true // "here. old patrol"
	}
	if r.near(i+1) && r.plateLike(i+1) {
		return !r.faint(i) || r.near(i+1) && r.first(i+1).Class == words.Mixed
	}
	return !r.faint(i) && len(r.first(i).Low) > 3 && r.onlyCar(i)
}

// opens tells whether item i begins its clause.
func (r *reader) opens(i int) bool { return i == 0 || !r.near(i) }

// faint tells whether item i is so common a word that "in the …" is not enough.
func (r *reader) faint(i int) bool {
	it := &r.items[i]
	if it.slip {
		return true
	}
	return it.to-it.from == 1 && words.Common(r.first(i).Stem) && !r.proper(i)
}

// proper tells whether an everyday word is written as a name: a capital first in
// the middle of a sentence that is not all like that.
func (r *reader) proper(i int) bool {
	return r.first(i).Title && r.near(i) && !r.first(i-1).Title && !r.first(i-1).Upper
}

// colourBefore tells whether a colour stands before item i as its adjective.
func (r *reader) colourBefore(i int) bool {
	for j := i - 1; j >= 0 && j >= i-4; j-- {
		if !r.near(j+1) && r.sep(j+1) != words.Comma {
			return false
		}
		if r.has(j, roleColour) {
			return true
		}
		if !r.has(j, roleAdj|roleShade|roleIsh) && !(r.items[j].kind == isName) && !r.and(j) {
			return false
		}
	}
	return false
}

// colourAfter tells whether a colour that describes item i follows it.
func (r *reader) colourAfter(i int) bool {
	for j := i + 1; j < len(r.items) && j <= i+4; j++ {
		if r.sep(j) == words.Stop {
			return false
		}
		if r.has(j, roleColour) {
			return r.colourEnds(j) && !(r.near(j+1) && r.named(j+1)) // "my note: silver astra"
		}
		if !r.has(j, roleShade|roleIsh|roleGlue|roleTrim) || r.has(j, roleDet) {
			return false
		}
	}
	return false
}

// inBefore tells whether "the", "my" or a possessive stands before item i;
// before an everyday word it takes "driving the".
func (r *reader) inBefore(i int) bool {
	j := i - 1
	det := false
	for j >= 0 && r.near(j+1) && r.has(j, roleDet|roleAdj|roleShade) && !r.has(j, roleIn) {
		det = det || r.has(j, roleDet) || r.proper(i) // "same auld Defender"
		j--
	}
	if !det {
		return false
	}
	if !r.faint(i) {
		return true
	}
	if j >= 0 && r.near(j+1) && strings.HasPrefix(r.first(j).Low, "driv") {
		return true
	}
	// "in his old Mercury", "in my Panda": somebody's; "out front in the patrol" ends
	// the clause of somebody who is there.
	return j >= 0 && r.near(j+1) && r.first(j).Low == "in" && !r.items[i].slip && !placeOrThing(r.first(i).Low) &&
		(r.owned(j+1, i) || !r.followed(i) && r.sold(i) && r.arrived())
}

// placeOrThing tells whether one can be "in my" something of that name without a
// car.
func placeOrThing(low string) bool {
	switch low {
	case "note", "city", "seat", "accent", "journey", "partner", "master", "spirit", "vision", "mirage", "element", "one", "up",
		"spring", "air", "sky", "legacy", "dispatch", "expert", "express", "thing", "passport", "picnic", "stream", "tank", "convoy",
		"terrain", "territory", "galaxy", "orbit", "park", "mark", "prime", "pride", "soul", "bolt", "spot", "shadow", "dream":
		return true
	}
	return false
}

// owned tells whether one of the items says whose it is.
func (r *reader) owned(from, to int) bool {
	for j := from; j < to; j++ {
		switch r.first(j).Low {
		case "my", "his", "her", "our", "their", "mi", "su":
			return true
		}
		if r.items[j].poss {
			return true
		}
	}
	return false
}

// plateLike tells whether item i looks like a registration: letters and digits
// together, five at least.
func (r *reader) plateLike(i int) bool {
	w := r.first(i)
	if w.Class == words.Digits && len(w.Low) <= 3 && i+2 < len(r.items) && r.near(i+1) && r.near(i+2) {
		a, b := r.first(i+1), r.first(i+2) // an Irish one: 98-DL-3321
		return len(w.Low) >= 2 && a.Class == words.Letters && len(a.Low) <= 2 && !words.Common(a.Low) && b.Class != words.Letters
	}
	if w.Class == words.Mixed {
		if timed(w.Low) {
			return false
		}
		return len(w.Low) >= 5 || len(w.Low) == 4 && r.near(i+1) && len(r.first(i+1).Low) == 3
	}
	return w.Class == words.Letters && len(w.Low) == 3 && !words.Common(w.Low) && r.near(i+1) &&
		r.first(i+1).Class == words.Digits && len(r.first(i+1).Low) >= 3
}

// timed tells whether a word is a number with a unit of time: "10mins", "630pm".
func timed(low string) bool {
	k := 0
	for k < len(low) && low[k] >= '0' && low[k] <= '9' {
		k++
	}
	switch low[k:] {
	case "min", "mins", "minutes", "minute", "pm", "am", "ish", "hrs", "hours", "hour", "oclock", "pmish":
		return true
	}
	return false
}

// onlyCar tells whether the whole text is a description with item i in it.
func (r *reader) onlyCar(i int) bool {
	if r.near(i+1) && (r.first(i+1).Low == "is" || r.first(i).Poss) {
		return false // "Sienna is outside"
	}
	for j := range r.items {
		if j == i || r.vehicle(j) || r.has(j, roleColour|roleShade|roleAdj|roleGlue|roleDet|roleIn|roleIsh) || r.plateLike(j) {
			continue
		}
		switch r.first(j).Low {
		case "here", "outside", "hi", "hello", "hey", "now", "im", "pls", "please", "thanks", "x":
			continue
		}
		return false
	}
	return true
}

// settleName picks the reading of item i: by the make said beside it, else by
// what is sold in the market.
func (r *reader) settleName(i int) {
	it := &r.items[i]
	names := it.lex.names
	pick := func(ok func(name) bool) (name, bool) {
		var got name
		n := 0
		for _, c := range names {
			if !ok(c) {
				continue
			}
			switch {
			case n == 0:
				got, n = c, 1
			case got.make == c.make && got.model == c.model:
			case got.make == c.make && c.model == "":
				got = c
			case got.make == c.make && got.model == "":
			case c.model == "" && got.model != "":
				got = c // "Genesis": the make before Hyundai's model
			case got.model == "" && c.model != "" && got.make != "":
			default:
				n++
				if got.model != c.model {
					got.model = ""
				}
				got.make = ""
			}
		}
		return got, n > 0
	}
	it.kind = isName
	if j := r.makeBeside(i); j >= 0 {
		its := func(c name) bool { return c.model != "" && r.hasMake(j, c.make) }
		// A model may be spelled otherwise elsewhere: the market's way comes first.
		for _, ok := range []func(name) bool{func(c name) bool { return its(c) && c.regions&r.market != 0 }, its} {
			if n, ok := pick(ok); ok {
				it.name = n
				return
			}
		}
	}
	least := r.leastTrust(i)
	if least == sure {
		least = ifCar
	}
	if n, ok := pick(func(c name) bool { return c.regions&r.market != 0 && c.trust <= least }); ok {
		it.name = n
		return
	}
	it.name, _ = pick(func(c name) bool { return c.trust <= least })
}

// makeBeside finds a make close to item i that one of its readings belongs to.
func (r *reader) makeBeside(i int) int {
	for d := 1; d <= 4; d++ {
		for _, j := range [2]int{i - d, i + d} {
			if j >= 0 && j < len(r.items) && r.named(j) && r.sharesMake(j, i) {
				return j
			}
		}
	}
	return -1
}

func (r *reader) hasMake(i int, mk string) bool {
	for _, n := range r.items[i].lex.names {
		if n.model == "" && n.make == mk {
			return true
		}
	}
	return false
}
