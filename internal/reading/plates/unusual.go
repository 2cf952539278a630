package plates

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// chosen tells whether the window is called a word of the owner's choice.
func (f *finder) chosen(w *window) bool {
	for i := w.from - 1; i >= 0 && i >= w.from-4 && f.is(i, cue|weakCue|filler); i-- {
		if f.low(i) != "private" && f.ownWord(i) {
			return true
		}
	}
	return false
}

// unusual weighs letters and digits that fit no format: a vanity plate, or one
// from elsewhere.
func (f *finder) unusual(w *window) {
	n := len(w.plate)
	vanityLand := f.vanityLand()
	tight, _ := f.cueBefore(w)
	if n > 8 || w.everyday > 0 || w.shouted > 0 && !tight || w.joins > 0 && (!f.joined(w, tight) || f.is(w.from, isPlace)) {
		return
	}
	score := 0.05
	if vanityLand && n >= 5 {
		score = 0.3
		if f.postcode(w) {
			score = 0.1
		}
	}
	switch {
	case tight, f.looks(w):
		score += 0.5
	case f.cueAfter(w):
		score += 0.45
	}
	if f.area(w) != "" {
		score += 0.2
	}
	if f.afterCar(w) || f.whole(w) {
		score += 0.2
	}
	if f.vetoed(w) {
		score -= 0.7
	}
	if score < minScore {
		return
	}
	name := f.region + " other"
	if vanityLand {
		name = f.region + " vanity"
	}
	f.add(f.hit(w, string(w.plate), name, score))
}

// vanityLand tells whether plates with a word of one's own are common here.
func (f *finder) vanityLand() bool {
	return f.region == "US" || f.region == "CA" || f.region == "AU" || f.region == "NZ"
}

// joined tells whether the words of a window are bound together: by hyphens, or
// all in capitals and digits; a digit by itself only where they are called a plate.
func (f *finder) joined(w *window, called bool) bool {
	if w.joins > 2 {
		return false
	}
	for i := w.from; i < w.to; i++ {
		x := &f.words[i]
		if i > w.from && x.Before == words.Join {
			continue
		}
		if x.Class == words.Letters && (!x.Upper || f.caps) {
			return false
		}
		if x.Class == words.Digits && len(x.Low) < 2 && !called {
			return false
		}
	}
	return true
}

// postcode tells whether the window has the shape of a British postcode ("LS16
// 0AB") or, in Canada, of a Canadian one ("M5V 2T6"). As words it must be parted
// where a postcode is.
func (f *finder) postcode(w *window) bool {
	p, n := w.plate, len(w.plate)
	if n < 5 || n > 7 || isDigit(p[0]) || !isDigit(p[n-3]) || w.joins > 1 || w.joins == 1 && w.cuts != 1<<(n-3) {
		return false
	}
	if f.region == "CA" {
		return n == 6 && isDigit(p[1]) && !isDigit(p[2]) && !isDigit(p[4]) && isDigit(p[5])
	}
	return (f.region == "GB" || f.region == "IE") && !isDigit(p[n-2]) && !isDigit(p[n-1]) && (isDigit(p[1]) || isDigit(p[2]))
}

// hardVeto tells whether a reference or code is announced before the window.
func (f *finder) hardVeto(w *window) bool {
	for i := w.from - 1; i >= 0 && i >= w.from-3; i-- {
		if f.is(i, hard) {
			return true
		}
	}
	return false
}

// looks tells whether "look for" stands before the window.
func (f *finder) looks(w *window) bool {
	return f.low(w.from-1) == "for" && (f.low(w.from-2) == "look" || f.low(w.from-2) == "looking" || f.low(w.from-2) == "watch")
}

// digitsOnly takes bare digits only where they are called a plate.
func (f *finder) digitsOnly(w *window) {
	n := len(w.plate)
	if n < 3 || n > 7 || w.joins > 1 {
		return
	}
	if w.to < len(f.words) && f.words[w.to].Before <= words.Join && f.words[w.to].Class != words.Letters {
		return
	}
	tight, _ := f.cueBefore(w)
	score := 0.05
	if tight {
		score += 0.45
	}
	if f.area(w) != "" && tight {
		score += 0.2
	}
	if f.marks[max(0, w.from-1)].is&cue != 0 && n >= 4 {
		score += 0.05
	}
	if f.vetoed(w) {
		score -= 0.7
	}
	if score >= minScore {
		f.add(f.hit(w, string(w.plate), f.region+" digits", score))
	}
}

// vanity takes letters alone only where they are called a plate, and are no
// everyday word.
func (f *finder) vanity(w *window) {
	n := len(w.plate)
	ends := w.to == len(f.words) || f.words[w.to].Before >= words.Comma
	if n < 3 || n > 8 || w.everyday > 0 || w.shouted > 0 && w.joins == 0 && !(ends && n >= 4 && f.is(w.from-1, cue)) || w.joins > 1 || f.region == "GB" || f.region == "IE" {
		return
	}
	for i := w.from; i < w.to; i++ {
		if f.is(i, cue|weakCue|filler|veto|isPlace) {
			return
		}
	}
	x := &f.words[w.from]
	tight, _ := f.cueBefore(w)
	said := tight && f.low(w.from-1) != "" && (f.low(w.from-1) == "says" || f.low(w.from-1) == "say" || f.low(w.from-1) == "reads" || f.low(w.from-1) == "dice" || f.low(w.from-2) == "vanity" || f.low(w.from-1) == "vanity")
	capital := w.smalls == 0 && !f.caps
	score := 0.0
	switch {
	case x.Before == words.Comma && tight && capital && n >= 4 && f.ownWord(w.from-1):
		score = 0.6 // "it's a vanity, MEATBAL"
	case x.Before >= words.Comma && !f.textColon(x.Start):
	case said && (capital || ends && w.joins == 0):
		score = 0.7
	case tight && capital:
		score = 0.65
	case (f.looks(w) || f.cueAfter(w)) && capital && n >= 4:
		score = 0.55
	case tight && ends && w.joins == 0 && !x.Title && n >= 4:
		score = 0.5
	}
	if w.joins > 0 {
		score += 0.02
	}
	if score >= minScore {
		f.add(f.hit(w, string(w.plate), f.region+" vanity", score))
	}
}

// ownWord tells whether word i says that the plate is a word of the owner's choice.
func (f *finder) ownWord(i int) bool {
	switch f.low(i) {
	case "vanity", "personalised", "personalized", "private":
		return true
	case "custom": // but a van of that name is a van
		return i == 0 || f.low(i-1) != "transit" && f.low(i-1) != "tourneo"
	}
	return false
}

// textColon tells whether a colon or quotation stands right before the place.
func (f *finder) textColon(at int) bool {
	head := strings.TrimRight(f.text[:at], " \"'\u201c\u2018(")
	return strings.HasSuffix(head, ":") || strings.HasSuffix(head, "=") || strings.HasSuffix(head, "-")
}
