package plates

import (
	"slices"
	"strings"

	"passbell/internal/reading/vehicles"
	"passbell/internal/reading/vehicles/words"
)

// mark is what a word is to the plate reader.
type mark struct {
	is role
	// place is set for the name of a state or province; placeWords is how many
	// words it has.
	place      place
	placeWords int
}

type role uint16

const (
	cue     role = 1 << iota // plate, reg, placa
	weakCue                  // number, tag, look for: a plate only if it looks like one
	filler                   // may stand between a cue and the plate
	veto                     // postcode, order, room: what follows is something else
	hard                     // a veto that no form outweighs
	car                      // part of a vehicle's description
	isPlace
	bad      // can be no part of a plate: a reference, a price, "10mins"
	measured // a number with a short unit, "12k", "5AM": at most one half of a plate
)

// roleOf gives the standing role of a word.
func roleOf(low string) role {
	switch low {
	case "plate", "plates", "reg", "regs", "regi", "registration", "rego", "numberplate", "licence", "license", "lic",
		"vrn", "vrm", "vanity", "placa", "placas", "matricula", "kennzeichen", "kenteken", "immatriculation",
		"plaque", "immat", "targa", "rejestracja", "rejestracyjny", "rejestracyjne", "tablica", "regn", "номер", "номера",
		"licenseplate", "licenceplate", "regno", "registered", "lisence", "liscense", "licence plate", "platenumber":
		return cue
	case "number", "tags", "tag", "no", "num", "nr", "vehicle", "car", "numero", "for", "vin":
		return weakCue | filler
	case "is", "its", "are", "it", "says", "say", "reads", "reading", "my", "the", "a", "as", "on", "of", "in", "es", "son", "del",
		"de", "with", "our", "his", "her", "their", "mine", "follows", "today", "tonight", "tomorrow", "saturday", "friday",
		"thursday", "sunday", "monday", "tuesday", "wednesday", "truck", "van", "will", "be", "still", "this", "thats", "that",
		"ist", "est", "e", "same", "and", "has", "if", "you", "need", "it'll", "itll", "again", "should", "personalised",
		"personalized", "private", "custom", "state", "called", "to", "look", "out", "handicap", "was", "please", "note":
		return filler
	case "postcode", "zip", "zipcode", "eircode", "order", "orders", "ref", "reference", "code", "voucher", "coupon", "promo",
		"pin", "otp", "flight", "account", "invoice", "booking", "wifi", "password", "pedido", "orden", "codigo", "postal":
		return veto | hard
	case "flat", "apt", "apartment", "unit", "room", "house", "suite", "ste", "box", "phone", "tel", "call",
		"mobile", "cell", "route", "hwy", "highway", "exit", "junction", "bus", "train", "text", "txt", "reply", "slot", "table", "bay", "space", "spot", "level", "platform",
		"address", "addr", "rd", "road", "street", "st", "ave":
		return veto
	}
	return 0
}

// mark gives every word its role.
func (f *finder) mark() {
	upper, letters := 0, 0
	for i := range f.words {
		w := &f.words[i]
		m := mark{is: roleOf(w.Low)}
		if w.Low == "tag" && (f.region == "US" || f.region == "CA" || f.region == "AU") {
			m.is = cue // what the South calls a plate; elsewhere it hangs on a coat
		}
		if w.Low == "number" && i > 0 && ownNumber(f.words[i-1].Low) {
			m.is = cue
		}
		if m.is == 0 && w.Poss {
			m.is = roleOf(w.Stem)
		}
		if m.is&cue != 0 || w.Class != words.Letters {
			f.worth = true
		} else if next, _ := f.partCue(i); next > 0 {
			f.worth = true
		}
		if w.Class == words.Letters && len(w.Low) > 1 {
			letters++
			if w.Upper {
				upper++
			}
		}
		if short, unit := measure(w); short {
			m.is |= measured
		} else if unit {
			m.is |= bad
		}
		if w.Money || f.reference(w) || w.Low == "x" && i > 0 && f.words[i-1].Class == words.Digits {
			m.is |= bad
		}
		if c := countryOf(w.Low); c != "" && c != f.region {
			f.foreign = c
		}
		f.marks = append(f.marks, m)
	}
	f.caps = letters > 2 && upper*10 > letters*8
	f.worth = f.worth || f.spellable() || len(f.opts.Known) > 0
	if !f.worth {
		return
	}
	f.markPlaces()
	f.markVehicle()
}

// countryOf gives the country that a plate is said to be from.
func countryOf(low string) string {
	switch low {
	case "french", "france", "francaise":
		return "FR"
	case "german", "germany", "deutsches", "kennzeichen":
		return "DE"
	case "dutch", "netherlands", "holland", "kenteken":
		return "NL"
	case "spanish", "spain":
		return "ES"
	case "italian", "italy", "targa":
		return "IT"
	case "polish", "poland", "rejestracja", "rejestracyjny", "rejestracyjne", "tablica":
		return "PL"
	case "irish", "ireland", "eire":
		return "IE"
	case "british", "uk", "english", "gb", "scottish", "welsh":
		return "GB"
	case "canadian", "canada":
		return "CA"
	case "american":
		return "US"
	}
	return ""
}

// ownNumber tells whether a word before "number" makes it a plate's.
func ownNumber(low string) bool {
	return low == "private" || low == "cherished" || low == "registration" || low == "personalised"
}

// reference tells whether a word is one of the night's order references.
func (f *finder) reference(w *words.Word) bool {
	if len(f.opts.Refs) == 0 || w.Class == words.Letters || len(w.Low) > 24 {
		return false
	}
	var buf [24]byte
	_, ok := f.opts.Refs[string(appendUpper(buf[:0], w.Low))]
	return ok
}

func appendUpper(dst []byte, low string) []byte {
	for i := range len(low) {
		c := low[i]
		if c >= 'a' && c <= 'z' {
			c -= 0x20
		}
		dst = append(dst, c)
	}
	return dst
}

// measure tells whether a word is a number with its unit, 10mins, 6pm, 2x, 5ish,
// x2, and whether the unit is short enough to be half a plate.
func measure(w *words.Word) (short, unit bool) {
	if w.Class != words.Mixed {
		return false, false
	}
	i := 0
	for i < len(w.Low) && isDigit(w.Low[i]) {
		i++
	}
	if i == 0 {
		x := w.Low[0] == 'x' && len(w.Low) <= 3 && isDigit(w.Low[1])
		return x, x
	}
	for _, c := range w.Low[i:] {
		if c < 'a' || c > 'z' {
			return false, false
		}
	}
	switch w.Low[i:] {
	case "x", "h", "m", "s", "k", "p", "g", "l", "pm", "am", "st", "nd", "rd", "th", "pc", "pk", "ml", "kg", "lb", "oz", "km",
		"mi", "ft", "cm", "mm", "hr", "gb", "mb", "yo", "yr":
		return true, true
	case "min", "mins", "minute", "minutes", "ish", "pcs", "pack", "lbs", "hrs", "sec", "secs", "dozen", "doz",
		"ppl", "bags", "people", "oclock", "mph", "kph", "yrs", "mts", "pmish", "amish",
		"hours", "hour", "miles", "mile", "yards", "metres", "meters", "ltr", "quid", "pound", "pounds", "odd", "til", "till",
		"now", "for", "or", "and", "to", "tmrw", "tonight", "minuten", "uhr":
		return false, true
	}
	return false, false
}

// markPlaces finds states and provinces, of one to three words.
func (f *finder) markPlaces() {
	all := places()
	var key [40]byte
	for i := range f.words {
		n := 0
		for j := i; j < len(f.words) && j < i+3; j++ {
			w := &f.words[j]
			if w.Class != words.Letters || n+len(w.Low) > len(key) || j > i && w.Before > words.Join {
				break
			}
			n += copy(key[n:], w.Low)
			p, ok := all[string(key[:n])]
			if !ok || p.code && !w.Upper && words.Common(w.Low) || p.code && j > i {
				continue
			}
			if p.country != f.region && !(p.country == "US" && f.region == "CA" || p.country == "CA" && f.region == "US" && !p.code) {
				continue
			}
			f.marks[i].place, f.marks[i].placeWords = p, j-i+1
			for k := i; k <= j; k++ {
				f.marks[k].is |= isPlace
			}
		}
	}
}

// markVehicle marks the words of a car's description, whose numbers are models.
func (f *finder) markVehicle() {
	v := f.opts.Vehicle
	if v == nil {
		found := vehicles.FindIn(f.words, f.region)
		v = &found
	}
	for _, span := range v.Spans {
		for i := range f.words {
			if w := &f.words[i]; w.Start >= span[0] && w.End <= span[1] && !f.spellsPlate(i, v.Spans) {
				f.marks[i].is |= car
			}
		}
	}
}

// spellsPlate tells whether word i is one half of a British plate, though it
// spells a word for a car: "aa02 cab", "reg CX60 AAA".
func (f *finder) spellsPlate(i int, spans [][2]int) bool {
	if f.region != "GB" {
		return false
	}
	if f.halves(i - 1) {
		return true
	}
	if !f.halves(i) {
		return false
	}
	if i > 0 && f.is(i-1, cue) || f.words[i+1].Upper && !f.caps {
		return true
	}
	// "cx60 red" is a car and its colour, "cx60 aaa" can only be a plate.
	return !words.Common(f.words[i+1].Low) && !slices.ContainsFunc(spans, func(s [2]int) bool {
		return f.words[i+1].Start >= s[0] && f.words[i+1].End <= s[1]
	})
}

// halves tells whether the words i and i+1 are the two halves of a current
// British plate, a space or a dash apart.
func (f *finder) halves(i int) bool {
	if i < 0 || i+1 >= len(f.words) || len(f.words[i+1].Low) != 3 || f.words[i+1].Start-f.words[i].End != 1 {
		return false
	}
	half := strings.ToUpper(f.words[i].Low)
	return len(half) == 4 && !isDigit(half[0]) && !isDigit(half[1]) && digitLike(half[2]) && digitLike(half[3]) &&
		(isDigit(half[2]) || isDigit(half[3])) // "sold car" is no plate
}

func (f *finder) is(i int, r role) bool {
	return i >= 0 && i < len(f.marks) && f.marks[i].is&r != 0
}

// low is the folded word i, "" outside the text.
func (f *finder) low(i int) string {
	if i < 0 || i >= len(f.words) {
		return ""
	}
	return f.words[i].Low
}
