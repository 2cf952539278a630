package plates

import "passbell/internal/reading/vehicles/words"

// area is the state or province named beside the window.
func (f *finder) area(w *window) string {
	for i := w.from - 1; i >= 0 && i >= w.from-5; i-- {
		if f.words[i+1].Before == words.Stop {
			break
		}
		if f.is(i, isPlace) {
			for i > 0 && f.marks[i].placeWords == 0 {
				i--
			}
			return f.marks[i].place.area
		}
		if !f.is(i, cue|weakCue|filler) {
			break
		}
	}
	for i := w.to; i < len(f.words) && i < w.to+3; i++ {
		if f.words[i].Before == words.Stop {
			break
		}
		if f.marks[i].placeWords > 0 {
			return f.marks[i].place.area
		}
		if !f.is(i, cue|weakCue|filler) {
			break
		}
	}
	return ""
}

// context is what the surroundings add to a window that fits a format, or take.
func (f *finder) context(w *window, strong float64) float64 {
	s := float64(len(w.plate)-6) / 30 // of two readings the longer is likelier
	tight, loose := f.cueBefore(w)
	cued := true
	switch {
	case tight:
		s += 0.45
	case f.cueAfter(w):
		s += 0.4
	case loose:
		s += 0.2
	default:
		cued = false
	}
	if w.area != "" {
		s += 0.2
	}
	if f.whole(w) {
		s += 0.25
	}
	if f.afterCar(w) {
		s += 0.2
	}
	switch {
	case w.joins == 0 && len(w.plate) >= 6:
		s += 0.05
	case w.joins > 0 && f.words[w.from+1].Before == words.Join && w.smalls == 0:
		s += 0.1 // "HH-XY 99"
	}
	if w.joins > 1 {
		s -= 0.05
	}
	if w.joins > 0 && w.to < len(f.words) && f.words[w.to].Before == words.Join && len(f.words[w.to].Low) <= 3 {
		s -= 0.4 // "AB-123" of "AB-123-CD"
	}
	if w.everyday > 0 || w.shouted > 0 && !w.mixed && !tight && !f.meantAsPlate(w) {
		s -= 1.2
		if w.mixed && strong >= 0.8 && (cued || f.whole(w) || f.afterCar(w)) {
			s += 1 // "reg ab12 egg"
		}
	}
	switch {
	case w.measured == 0:
	case w.measured > w.joins && !cued: // "5pm-6pm"
		s -= 1
	case w.measured > 1 && !cued && !f.whole(w) && !f.afterCar(w):
		s -= 0.5
	}
	if w.smalls == 0 && w.joins > 0 && !f.caps {
		s += 0.05
	}
	if !cued && f.postcode(w) && !(strong >= 0.8 && f.afterCar(w)) { // "grey Focus, CY65 0AB"
		s -= 1
	}
	if !cued && w.clock && w.smalls > 0 && !f.whole(w) && !f.afterCar(w) {
		s -= 0.2
		if w.titled {
			s -= 0.15 // "Ron 1830"
		}
	}
	if f.is(w.from, isPlace) && w.joins > 0 && w.nums == len(w.plate)-len(f.words[w.from].Low) && !tight && w.area == "" {
		s -= 0.6 // a state and its ZIP code
	}
	if f.vetoed(w) {
		s -= 0.7
		if strong >= 0.72 && !f.hardVeto(w) {
			s += 0.45 // "in the end space LX19 KTO"
		}
	}
	if f.shortAlone(w) {
		s -= 0.3
	}
	return s
}

// shortAlone tells whether single small letters make up the letters of the
// window, as in "at 10 a 1": they are words.
func (f *finder) shortAlone(w *window) bool {
	if w.joins == 0 {
		return false
	}
	for i := w.from; i < w.to; i++ {
		x := &f.words[i]
		if x.Class == words.Letters && len(x.Low) == 1 && (x.Low == "a" || x.Low == "i") && f.region != "IE" {
			return true
		}
	}
	return false
}

// cueBefore looks back for a cue: tight where only small words stand between,
// loose where it is in the same sentence.
func (f *finder) cueBefore(w *window) (tight, loose bool) {
	tight = true
	for i := w.from - 1; i >= 0 && i >= w.from-7; i-- {
		if f.words[i+1].Before == words.Stop && i != w.from-1 {
			return false, false
		}
		if f.is(i, cue) {
			return tight && f.low(i+1) != "of" && f.low(i+1) != "for", true
		}
		if !f.is(i, filler|isPlace|car|weakCue) {
			tight = false
			if f.words[i].Class != words.Letters || !words.Common(f.words[i].Low) {
				return false, false
			}
		}
	}
	return false, false
}

// cueAfter tells whether the window is called a plate after it: "… is the reg", "…
// is on it".
func (f *finder) cueAfter(w *window) bool {
	if f.low(w.to) == "is" && f.low(w.to+1) == "on" && (f.low(w.to+2) == "it" || f.low(w.to+2) == "the" && (f.low(w.to+3) == "back" || f.low(w.to+3) == "front")) {
		return true
	}
	for i := w.to; i < len(f.words) && i <= w.to+3; i++ {
		if f.words[i].Before == words.Stop {
			return false
		}
		if f.is(i, cue) {
			return true
		}
		if !f.is(i, filler|weakCue) {
			return false
		}
	}
	return false
}

// whole tells whether the message is little more than the window.
func (f *finder) whole(w *window) bool {
	for i := range f.words {
		if i >= w.from && i < w.to || f.is(i, car|cue|isPlace) {
			continue
		}
		switch f.low(i) {
		case "here", "outside", "hi", "hello", "hey", "now", "im", "pls", "please", "thanks", "x", "xx", "ok", "its", "it", "is", "there", "just", "afuera", "aqui":
			continue
		}
		return false
	}
	return true
}

// afterCar tells whether the window follows a car's description.
func (f *finder) afterCar(w *window) bool {
	i := w.from - 1
	if i < 0 || f.words[w.from].Before == words.Stop {
		return false
	}
	for i > 0 && f.is(i, isPlace|filler) && !f.is(i, car) {
		i--
	}
	return f.is(i, car)
}

// vetoed tells whether what stands before the window says that it is something
// else.
func (f *finder) vetoed(w *window) bool {
	for i := w.from - 1; i >= 0 && i >= w.from-3; i-- {
		if f.words[i+1].Before >= words.Comma && !f.textColon(f.words[i+1].Start) {
			return false
		}
		if f.is(i, cue) {
			return false
		}
		if f.is(i, veto) {
			return true
		}
		if !f.is(i, filler) {
			break
		}
	}
	if w.to < len(f.words) && f.words[w.to].Before <= words.Join {
		switch f.low(w.to) {
		case "street", "road", "rd", "avenue", "ave", "lane", "drive", "close":
			return true
		}
	}
	return f.words[w.from].Hash && !f.is(w.from-1, cue)
}
