package vehicles

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// settleBodies decides which body and car words are meant as such.
func (r *reader) settleBodies() {
	for i := range r.items {
		it := &r.items[i]
		switch {
		case it.roles&rolePickup != 0:
			if r.pickupMeant(i) {
				it.kind, it.body = isBody, "pickup"
			}
		case it.roles&roleTruck != 0:
			if r.has(i+1, roleNoun) && r.near(i+1) {
				continue
			}
			it.kind = isCar
			if r.market == regionUS {
				it.kind, it.body = isBody, "pickup"
			}
		case it.roles&roleBody != 0 && !it.slip:
			if r.bodyMeant(i) {
				it.kind, it.body = isBody, it.lex.body
			}
		case it.roles&roleCar != 0 && r.named(i) && r.madeBefore(i):
			// "Jaguar XE", "Fiat Coupe": a model, though a word for a car too
		case it.roles&roleCar != 0:
			if r.near(i+1) && r.items[i+1].lex != nil && isCarPark(r.first(i+1).Low) {
				continue
			}
			it.kind = isCar
		case it.roles&roleOne != 0:
			if r.oneMeant(i) {
				it.kind = isCar
			}
		}
	}
}

// isCarPark tells whether "car" before the word is no vehicle: car park, car seat.
func isCarPark(low string) bool {
	switch low {
	case "park", "parks", "parking", "wash", "boot", "seat", "door", "window", "windows", "keys", "key":
		return true
	}
	return false
}

// bodyMeant keeps names ("Van Nguyen", "Le Van") and other things ("bike shop",
// "taxi rank") from being a body.
func (r *reader) bodyMeant(i int) bool {
	w := r.first(i)
	if r.near(i+1) && r.has(i+1, roleNoun) && !(r.items[i].lex.body == "taxi" && r.first(i+1).Low == "driver") {
		return false
	}
	if w.Low == "cab" && r.near(i) {
		switch r.first(i - 1).Low {
		case "single", "double", "crew", "dual", "twin", "extended", "ext", "king", "quad", "mega", "super", "club", "regular", "access":
			return false // a pickup's
		}
	}
	if w.Low == "van" && r.goes(i) {
		return false
	}
	if w.Low == "van" && w.Title {
		if r.near(i+1) && r.first(i+1).Title && r.items[i+1].lex == nil {
			return false
		}
		if r.near(i) && r.first(i-1).Title && !r.has(i-1, roleDet|roleColour|roleShade|roleAdj|roleGlue) && !r.named(i-1) {
			return false
		}
	}
	if w.Low == "cycle" || w.Low == "auto" {
		return r.has(i-1, roleDet|roleBy|roleIn)
	}
	return !r.has(i-1, rolePerson) || r.sep(i) > words.Slash
}

// goes tells whether "van" at item i is the Spanish verb: "van a estar".
func (r *reader) goes(i int) bool {
	if i+2 >= len(r.items) || !r.near(i+1) || !r.near(i+2) || r.has(i-1, roleColour|roleDet|roleAdj) && r.near(i) {
		return false
	}
	if low := r.first(i + 1).Low; low != "a" && low != "al" {
		return false
	}
	verb := r.first(i + 2).Low
	return len(verb) > 3 && (strings.HasSuffix(verb, "ar") || strings.HasSuffix(verb, "er") || strings.HasSuffix(verb, "ir"))
}

// pickupMeant tells the vehicle from the verb: "white pickup", "in the pickup",
// "ford pick up" against "here to pick up", "ready for pickup".
func (r *reader) pickupMeant(i int) bool {
	if !r.near(i) {
		return r.near(i+1) && r.has(i+1, roleColour) // "estamos aqui, pickup rojo"
	}
	if r.named(i-1) && r.near(i-1) && r.has(i-2, roleColour|roleDet) && !(r.near(i+1) && r.has(i+1, roleNoun|roleUnit|rolePerson)) {
		return true // "orange dodge pickup"
	}
	described := r.has(i-1, roleColour) || r.named(i-1) && r.items[i-1].lex.names[0].trust == sure
	if r.near(i+1) && r.has(i+1, roleNoun|roleUnit|rolePerson) && !(described && r.first(i+1).Low == "for") {
		return false // "charcoal F150 pickup for me" is a vehicle all the same
	}
	if r.has(i-1, roleColour) || r.has(i+1, roleColour) && r.near(i+1) || r.named(i-1) && r.items[i-1].lex.names[0].trust == sure {
		return true
	}
	if r.has(i-1, roleDet|roleAdj) {
		j := i - 1
		for j > 0 && r.near(j) && r.has(j, roleAdj|roleDet|roleColour|roleShade) {
			j--
		}
		return r.has(j, roleIn) || r.first(j).Low == "in" || r.first(j).Low == "driving" || r.hasColour(j, i)
	}
	return false
}

func (r *reader) hasColour(from, to int) bool {
	for j := max(from, 0); j < to; j++ {
		if r.has(j, roleColour) {
			return true
		}
	}
	return false
}

// oneMeant tells whether "one" stands for a car: "in the silver one", "we are
// the blue one".
func (r *reader) oneMeant(i int) bool {
	if !r.near(i) || !r.has(i-1, roleColour) {
		return false
	}
	for k := range r.items {
		if r.named(k) && r.items[k].lex.names[0].trust == sure || r.items[k].kind == isCar {
			return true
		}
	}
	j := i - 1
	for j >= 0 && r.has(j, roleColour|roleShade|roleAdj) {
		j--
	}
	if j < 0 || !r.near(j+1) {
		// "dark grey one with the snorkel", "it'll be the corsa, yella one"
		return i+1 == len(r.items) || !r.near(i+1) || r.first(i+1).Low == "with" || r.first(i+1).Low == "w"
	}
	if !r.has(j, roleDet) {
		return false
	}
	if r.first(0).Low == "which" || r.thereIs(j) {
		return false // "there is fish in the green one"
	}
	if j == 0 || r.sep(j) >= words.Comma {
		return true
	}
	switch r.first(j - 1).Low {
	case "in", "im", "are", "were", "am", "driving", "its", "is", "be", "look", "for", "thats", "drive":
		return true
	}
	return r.has(j-1, roleIn)
}

// thereIs tells whether "there is" stands before item j in its clause, so that
// what follows is said of a thing.
func (r *reader) thereIs(j int) bool {
	for k := j - 1; k >= 0 && r.near(k+1); k-- {
		if low := r.first(k).Low; low == "theres" || low == "there" && (verbOfBeing(r.first(k+1).Low) || k > 0 && verbOfBeing(r.first(k-1).Low)) {
			return true
		}
	}
	return false
}

func verbOfBeing(low string) bool {
	return low == "is" || low == "are" || low == "was" || low == "were"
}
