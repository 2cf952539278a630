package vehicles

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// settleColours decides which colours are a vehicle's: an adjective before it
// ("white work van"), said of it ("Jazz which is blue"), or a fragment that can
// be nothing else ("Green.").
func (r *reader) settleColours() {
	for i := range r.items {
		it := &r.items[i]
		if it.kind != other || it.roles&roleColour == 0 || r.surname(i) || r.ofLight(i) {
			continue
		}
		if r.target(i) < 0 && r.givenName(i) {
			continue
		}
		if r.target(i) >= 0 || r.saidOf(i) || r.fragment(i) || r.loose(i) || r.foretold(i) || r.besidePlate(i) || r.partNext(i) || r.oneOfThose(i) || r.articled(i) || r.ridden(i) && r.last(i) {
			it.kind = isColour
		}
	}
}

// ofLight tells whether colour i is that of a lamp or of what shines: "yellow light on
// the roof", "yellow hi-viz", not "blue light grey".
func (r *reader) ofLight(i int) bool {
	if !r.near(i + 1) {
		return false
	}
	switch r.first(i + 1).Low {
	case "light", "lights", "lamp", "lamps", "hiviz", "hivis":
	case "hi", "high":
		if !r.near(i+2) || r.first(i+2).Low != "viz" && r.first(i+2).Low != "vis" {
			return false
		}
	default:
		return false
	}
	return !(r.near(i+2) && r.has(i+2, roleColour))
}

// besidePlate tells whether colour i stands right before or behind a registration:
// "grey dr73xop", "LX60 RBP, red".
func (r *reader) besidePlate(i int) bool {
	k := i + 1
	for k < len(r.items) && r.near(k) && (r.has(k, roleColour|roleShade|roleIsh) || r.and(k) || r.has(k, roleGlue) && r.first(k).Low == "reg") {
		k++
	}
	if k < len(r.items) && r.sep(k) <= words.Comma && r.plateLike(k) {
		return true
	}
	j := i - 1
	for j > 0 && r.near(j+1) && r.has(j, roleShade|roleColour) {
		j--
	}
	if j < 0 || r.sep(j+1) > words.Comma || !r.last(i) {
		return false
	}
	return r.plateLike(j) || j > 0 && r.near(j) && r.plateLike(j-1)
}

// articled tells whether a Spanish article makes colour i stand for the vehicle of
// somebody who is there: "estamos aqui, la blanca".
func (r *reader) articled(i int) bool {
	if i < 2 || !r.near(i) || r.near(i-1) || !r.last(i) || !r.arrived() {
		return false
	}
	low := r.first(i - 1).Low
	return low == "la" || low == "el"
}

// oneOfThose tells whether a vehicle is said to be one of such a colour: "my Maverick,
// one of those orange ones".
func (r *reader) oneOfThose(i int) bool {
	return r.near(i+1) && r.first(i+1).Low == "ones" && i > 1 && r.first(i-2).Low == "of" && r.anyVehicle(i)
}

// foretold tells whether colour i is said before its vehicle: "it's blue, my
// Yaris", "silver its a Golf".
func (r *reader) foretold(i int) bool {
	for j := i + 1; j < len(r.items) && j <= i+4; j++ {
		if r.sep(j) == words.Stop {
			return false
		}
		if r.vehicle(j) {
			return j > i+1 && (i == 0 || r.sep(i) >= words.Comma || r.has(i-1, roleGlue|roleShade|roleColour))
		}
		if !r.has(j, roleGlue|roleDet|roleAdj) || r.has(j, roleLandmark|roleNot) || r.first(j).Low == "and" {
			return false
		}
	}
	return false
}

// loose lets a colour that ends its clause, with no other thing beside it, be that
// of the one vehicle before it: "the Ranger as usual, bright yellow".
func (r *reader) loose(i int) bool {
	k := i + 1
	for k < len(r.items) && r.near(k) && (r.has(k, roleColour|roleShade|roleIsh) || r.and(k)) {
		k++
	}
	j := i - 1
	for j >= 0 && r.near(j+1) && r.has(j, roleColour|roleShade|roleAdj|roleIsh) {
		j--
	}
	opens := j < 0 || !r.near(j+1)
	ends := k == len(r.items) || !r.near(k) || r.has(k, roleGlue|roleIn|roleLandmark|roleBy|roleAdj|roleTrim|roleCar)
	if !r.anyVehicle(len(r.items) - 1) {
		return false
	}
	if !ends {
		w := r.first(k)
		return opens && !r.has(k, roleNoun) && (w.Class != words.Letters || words.Common(w.Low))
	}
	if opens || r.has(j, roleGlue) && !r.has(j, roleDet) || r.ridden(i) {
		return true
	}
	// "our door is by the green" says it of something else; "Juke LD21 OXK white",
	// "Jazz outside red", "a Volvo, rusty red" do not.
	w := r.first(j)
	return !r.has(j, roleDet|roleNoun|roleIn|roleLandmark|rolePerson|roleNot) &&
		(w.Class != words.Letters || words.Common(w.Low) || r.plateEnd(j) || adjective(w) || r.has(i-1, roleColour))
}

// adjective tells whether a word looks like one: "rusty", "faded", "metalic".
func adjective(w *words.Word) bool {
	if w.Title || len(w.Low) < 4 {
		return false
	}
	for _, end := range [...]string{"y", "ed", "ish", "ic", "al", "ing"} {
		if strings.HasSuffix(w.Low, end) {
			return true
		}
	}
	return false
}

// plateEnd tells whether item j may be the last letters of a plate.
func (r *reader) plateEnd(j int) bool {
	return len(r.first(j).Low) <= 3 && r.near(j) && r.first(j-1).Class != words.Letters
}

// surname tells whether a colour is somebody's name: "Mr White", "James Brown".
func (r *reader) surname(i int) bool {
	if i == 0 || r.sep(i) >= words.Comma && !(r.has(i-1, rolePerson) && r.sep(i) == words.Stop && len(r.first(i-1).Low) <= 3) {
		return false
	}
	if r.has(i-1, rolePerson) && !(r.near(i+1) && (r.vehicle(i+1) || r.has(i+1, roleColour))) {
		return true
	}
	prev := r.first(i - 1)
	return r.first(i).Title && prev.Title && r.items[i-1].lex == nil && !words.Common(prev.Low) &&
		!(r.near(i+1) && (r.vehicle(i+1) || r.has(i+1, roleColour)))
}

// givenName tells whether a colour may be somebody's first name: "Jade here".
func (r *reader) givenName(i int) bool {
	if !r.first(i).Title {
		return false
	}
	switch r.first(i).Low {
	case "jade", "amber", "ruby", "hazel", "violet", "rose", "olive", "scarlett", "scarlet", "sienna", "coral", "pearl",
		"grey", "gray", "sandy", "rosa", "blanca", "bianca", "kali", "trang", "sky", "indigo", "cherry", "ginger", "lilac", "gri", "rusty":
		return !r.near(i) || !r.has(i-1, roleGlue|roleShade|roleColour|roleIsh) || r.first(i-1).Low == "its"
	}
	return false
}

// target is the vehicle item that colour i stands before as an adjective, or -1.
func (r *reader) target(i int) int {
	strange := 0
	for j := i + 1; j < len(r.items) && j <= i+6; j++ {
		if r.sep(j) == words.Stop {
			return -1
		}
		if r.vehicle(j) {
			return j
		}
		if r.ridden(i) && r.has(j, roleAdj|roleTrim) && !r.has(j, roleColour|roleShade|roleOne) && (j+1 == len(r.items) || !r.near(j+1)) {
			return j // "in a grey hybrid", "in the red convertible"
		}
		if r.has(j, roleColour|roleShade|roleAdj|roleIsh) || r.and(j) {
			continue
		}
		// Two unknown words may stand between: "white church van", "blue hand
		// painted van", "red 19 plate Golf".
		if r.has(j, roleNoun|roleGlue|roleDet|roleIn|roleLandmark|roleNot) || r.sep(j) > words.Comma || r.sep(j) == words.Comma && j > i+1 {
			return -1
		}
		if r.ridden(i) && r.first(j).Class == words.Letters && (j+1 == len(r.items) || !r.near(j+1) || !r.vehicle(j+1)) {
			return j // "in a yellow JCB": whatever it is, they came in it
		}
		if strange++; strange > 2 {
			return -1
		}
	}
	return r.strangeCar(i)
}

// strangeCar takes the word that ends the clause after "it's a navy blue …" for a
// car that the table does not hold; -1 where it is a word that it knows.
func (r *reader) strangeCar(i int) int {
	j, k := i-1, i+1
	for j >= 0 && r.near(j+1) && r.has(j, roleColour|roleShade|roleAdj) {
		j--
	}
	for k < len(r.items) && r.near(k) && r.has(k, roleColour|roleShade|roleAdj|roleIsh) {
		k++
	}
	if j < 1 || !r.near(j+1) || !r.near(j) || !r.has(j, roleDet) || !r.has(j-1, roleGlue|roleIn) || k >= len(r.items) || !r.near(k) {
		return -1
	}
	w := r.first(k)
	if r.items[k].lex != nil || w.Class != words.Letters || len(w.Low) < 4 || words.Common(w.Low) || k+1 < len(r.items) && r.near(k+1) {
		return -1
	}
	return k
}

// ridden tells whether "in a" or "driving the" stands before colour i.
func (r *reader) ridden(i int) bool {
	j := i - 1
	for j >= 0 && r.near(j+1) && r.has(j, roleColour|roleShade|roleAdj) {
		j--
	}
	if j < 1 || !r.near(j+1) || !r.has(j, roleDet) || !r.near(j) {
		return false
	}
	low := r.first(j - 1).Low
	if r.thereIs(j) {
		return false // "there is fish in the green one"
	}
	return low == "in" || low == "en" || low == "driving" || low == "drive"
}

func (r *reader) and(i int) bool {
	switch r.first(i).Low {
	case "and", "or", "n", "y", "o":
		return r.has(i+1, roleColour|roleShade)
	}
	return false
}

// saidOf tells whether colour i is said of a vehicle before it.
func (r *reader) saidOf(i int) bool {
	if !r.colourEnds(i) {
		return false
	}
	for j := i - 1; j >= 0 && j >= i-7; j-- {
		if r.sep(j+1) == words.Stop {
			return r.itIs(j+1, i) && r.anyVehicle(j)
		}
		if r.vehicle(j) {
			return true
		}
		if !r.has(j, roleColour|roleShade|roleIsh|roleGlue|roleTrim|roleAdj) {
			return r.itIs(j+1, i) && r.anyVehicle(j)
		}
	}
	return r.itIs(0, i) && !r.first(i).Title && r.last(i)
}

// last tells whether colour i ends its clause, but for "I think" and the like.
func (r *reader) last(i int) bool {
	k := i + 1
	for k < len(r.items) && r.near(k) && r.has(k, roleColour|roleShade|roleIsh|roleGlue) {
		k++
	}
	return k == len(r.items) || !r.near(k)
}

// itIs tells whether the items between say "it is", "im in the".
func (r *reader) itIs(from, to int) bool {
	for j := max(from, to-4); j < to; j++ {
		switch r.first(j).Low {
		case "its", "it", "thats", "which", "color", "colour", "theyre", "shes", "hes", "mine", "ours":
			return true
		}
	}
	return false
}

func (r *reader) anyVehicle(to int) bool {
	for j := 0; j <= to; j++ {
		if r.vehicle(j) {
			return true
		}
	}
	return false
}

// colourEnds tells whether no other thing follows colour i that it could be the
// colour of.
func (r *reader) colourEnds(i int) bool {
	k := i + 1
	for k < len(r.items) && r.near(k) && (r.has(k, roleColour|roleShade|roleIsh) || r.and(k)) {
		k++
	}
	if k == len(r.items) || !r.near(k) || r.named(k) || r.vehicle(k) {
		return true
	}
	if r.has(k, roleNoun) {
		return false
	}
	if r.near(i) && r.vehicle(i-1) {
		return true // "Fiesta red innit"
	}
	w := r.first(k)
	return w.Class != words.Letters || w.Title || w.Upper || len(w.Low) == 1 || words.Common(w.Low) || r.items[k].lex != nil
}

// fragment tells whether colour i stands in a clause of nothing but colour, in a
// text with a vehicle in it or with nothing else.
func (r *reader) fragment(i int) bool {
	from := i
	for from > 0 && r.sep(from) < words.Comma {
		from--
	}
	to := i + 1
	for to < len(r.items) && r.sep(to) < words.Comma {
		to++
	}
	for j := from; j < to; j++ {
		if !r.has(j, roleColour|roleShade|roleIsh|roleDet|roleOne) && !r.and(j) {
			return false
		}
	}
	return r.anyVehicle(len(r.items)-1) || r.onlyColours() || to-from > 1 && r.has(from, roleShade) || to-from > 1 && r.has(to-1, roleIsh) || r.arrived()
}

// arrived tells whether the text says that somebody is there, so that a colour by
// itself is their car's.
func (r *reader) arrived() bool {
	for i := range r.items {
		switch r.first(i).Low {
		case "here", "outside", "parked", "arrived", "waiting", "front", "reg", "plate", "rego", "aqui", "afuera", "llegue", "llegamos":
			return true
		}
	}
	return false
}

func (r *reader) onlyColours() bool {
	for j := range r.items {
		if !r.has(j, roleColour|roleShade|roleIsh|roleDet|roleGlue) {
			return false
		}
	}
	return true
}

// Colour tells whether a folded word is that of a colour.
func Colour(w string) bool {
	x := lex().words[w]
	return x != nil && len(x.colours) > 0
}
