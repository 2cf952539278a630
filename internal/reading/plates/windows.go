package plates

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// window is a run of words that may be one plate.
type window struct {
	from, to      int // words
	plate         []byte
	letters, nums int
	mixed         bool // one of the words has letters and digits
	joins         int  // words less one
	smalls        int  // words of letters not typed in capitals
	everyday      int  // words of letters that are everyday words
	shouted       int  // the same, typed in capitals in a text that is not
	titled        bool // a word of letters has but its first letter a capital
	clock         bool // a word of digits could be a time
	cuts          uint32
	measured      int    // words that may be a number with its unit: "12k", "5AM"
	area          string // the state or province named beside it, set by match
}

// windows tries every run of up to four words (more where each is one sign).
func (f *finder) windows() {
	for i := range f.words {
		if f.is(i, bad) {
			continue
		}
		w := window{from: i, plate: f.scratch.plate[:0]}
		for j := i; j < len(f.words); j++ {
			if j > i && f.words[j].Before > words.Join || !f.extend(&w, j) {
				break
			}
			f.try(&w)
		}
	}
}

// extend adds word j to the window, false where no plate has it.
func (f *finder) extend(w *window, j int) bool {
	x := &f.words[j]
	if j > w.from && (x.Low == "x" || x.Low == "xx") && !x.Upper && j+1 == len(f.words) && x.Before == words.Space && len(w.plate) >= 5 {
		return false // a kiss
	}
	if f.is(j, bad) || f.is(j, car) && !f.lastLetters(w, j) || len(w.plate)+len(x.Low) > maxPlate || w.joins >= 3 && len(x.Low) > 2 {
		return false
	}
	if x.Class == words.Letters && j > w.from && f.is(j, cue) && !f.lastLetters(w, j) {
		return false
	}
	for k := range len(x.Low) {
		if x.Low[k] >= 0x80 {
			return false
		}
	}
	if j > w.from {
		w.joins++
		w.cuts |= 1 << len(w.plate)
	}
	w.plate = appendUpper(w.plate, x.Low)
	w.to = j + 1
	for k := range len(x.Low) {
		if isDigit(x.Low[k]) {
			w.nums++
		} else {
			w.letters++
		}
	}
	switch x.Class {
	case words.Mixed:
		w.mixed = true
		if f.is(j, measured) {
			w.measured++
			if !x.Upper || f.caps {
				w.measured++ // "5am" is hardly half a plate
			}
		}
	case words.Letters:
		if !x.Upper {
			w.smalls++
		}
		w.titled = w.titled || x.Title
		switch {
		case !words.Common(x.Low) && !f.is(j, cue|weakCue|filler|veto) && (!f.is(j, isPlace) || len(x.Low) <= 3):
		case x.Upper && !f.caps:
			w.shouted++
		default:
			w.everyday++
		}
	case words.Digits:
		w.clock = w.clock || clockLike(x.Low)
	}
	return true
}

// meantAsPlate tells whether everyday words in capitals are letters of a plate all
// the same: "AW-866-CK", "silver Kia, DM 17387", "FU 515 TV", "ASK 1938", against
// "ETA 1745" and "NOV 2026".
func (f *finder) meantAsPlate(w *window) bool {
	joined, date := true, false
	for i := w.from; i < w.to; i++ {
		joined = joined && (i == w.from || f.words[i].Before == words.Join)
		date = date || dateWord(f.words[i].Low)
	}
	if date {
		return false
	}
	first, last := w.plate[0], w.plate[len(w.plate)-1]
	return joined || f.afterCar(w) || !isDigit(first) && !isDigit(last) || !w.clock
}

// dateWord tells whether a word begins a date or a time.
func dateWord(low string) bool {
	switch low {
	case "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "sept", "oct", "nov", "dec", "mon", "tue", "tues", "wed",
		"weds", "thu", "thur", "sat", "sun", "fri", "eta", "etd", "at", "by", "til", "till", "xmas", "nye":
		return true
	}
	return false
}

// lastLetters tells whether word j, a car word otherwise, ends a British plate:
// "AB12 CAB" in capitals or after a cue.
func (f *finder) lastLetters(w *window, j int) bool {
	return f.region == "GB" && j > w.from && len(f.words[j].Low) == 3 && len(w.plate) == 4 && !isDigit(w.plate[0]) && digitLike(w.plate[3]) &&
		(f.words[j].Upper && !f.caps || f.is(w.from-1, cue) || w.from == 0 && j+1 == len(f.words))
}

// digitLike tells whether a sign is a digit or a slip for one.
func digitLike(c byte) bool {
	_, cost := asDigit(c)
	return isDigit(c) || cost < noFit
}

// clockLike tells whether digits can be a time of day, to five minutes as people
// say it, or a few minutes.
func clockLike(s string) bool {
	switch len(s) {
	case 1, 2:
		return true
	case 3:
		return s[1] < '6' && (s[2] == '0' || s[2] == '5')
	case 4:
		return s[:2] < "24" && s[2] < '6' && (s[3] == '0' || s[3] == '5')
	}
	return false
}

// try weighs the window as a plate.
func (f *finder) try(w *window) {
	n := len(w.plate)
	if n < minPlate || w.measured > 0 && (w.joins == 0 || n < 6) {
		return
	}
	if f.known(w) {
		return
	}
	if w.nums == 0 {
		f.vanity(w)
		return
	}
	if w.letters == 0 {
		f.digitsOnly(w)
		return
	}
	best, plate := f.match(w)
	if best == nil {
		f.unusual(w)
		return
	}
	score := best.home
	if best.country != f.region && best.country != f.foreign {
		if best.abroad < 0.3 && f.vanityLand() {
			f.unusual(w)
			return
		}
		score = best.abroad
	}
	if score += f.context(w, score); score < minScore {
		return
	}
	h := f.hit(w, string(plate), best.name, score)
	if f.region == "GB" && best.shape == "AA19" && gbTag(plate) {
		h.Part, h.Format, h.Why = true, "GB part", "It gives the beginning of a plate."
	}
	f.add(h)
}

func (f *finder) hit(w *window, plate, format string, score float64) Hit {
	h := Hit{Plate: plate, Format: format, Score: score, Start: f.words[w.from].Start, End: f.words[w.to-1].End}
	if strings.HasPrefix(format, "DE") {
		h.Plate = f.umlauts(h)
	}
	h.Why = "It has the form of a plate: " + format + "."
	return h
}

// umlauts gives a German plate back the letters that folding took.
func (f *finder) umlauts(h Hit) string {
	typed := Canonical(f.text[h.Start:h.End])
	if !strings.ContainsAny(typed, "ÄÖÜ") {
		return h.Plate
	}
	return typed
}

// known takes a plate that was declared earlier.
func (f *finder) known(w *window) bool {
	if len(f.opts.Known) == 0 || w.letters == 0 && len(w.plate) < 5 || len(w.plate) < 3 {
		return false
	}
	var key [maxPlate]byte
	n := 0
	for _, c := range w.plate {
		switch c {
		case 'O':
			c = '0'
		case 'I':
			c = '1'
		}
		key[n] = c
		n++
	}
	plate, ok := f.opts.Known[string(key[:n])]
	if !ok || w.nums == 0 && w.everyday+w.shouted > 0 {
		return false
	}
	h := f.hit(w, plate, "declared", 0.97)
	h.Why = "It is a plate that was declared before."
	f.add(h)
	return true
}

// match finds the format that fits the window best, exactly or else with the
// fewest slips that the format decides, and what the window reads as in it; nil
// where none fits. The reading is overwritten by the next call.
func (f *finder) match(w *window) (*format, []byte) {
	n := len(w.plate)
	s := &f.scratch
	s.best, s.rank = nil, noFit
	w.area = f.area(w)
	if list := f.formats.byCountry[f.foreign]; list != nil {
		f.consider(w, list[n], false)
		if s.best != nil {
			return s.best, s.fixed[:n]
		}
	}
	if f.home != nil {
		f.consider(w, f.home[n], false)
	}
	if s.best == nil || s.best.home < 0.3 {
		had := s.best
		f.consider(w, f.formats.abroad[n], true)
		if had != nil && s.best != had && had.home > s.best.abroad {
			s.best = had
			had.fit(s.fixed[:n], w.plate)
		}
	}
	return s.best, s.fixed[:n]
}

// consider weighs formats against the best so far.
func (f *finder) consider(w *window, list []format, abroad bool) {
	s, n := &f.scratch, len(w.plate)
	for k := range list {
		x := &list[k]
		if abroad && x.country == f.region {
			continue
		}
		cost := x.fit(s.tmp[:n], w.plate)
		if cost == noFit || cost > 0 && !f.slipAllowed(w, x, s.tmp[:n], abroad) {
			continue
		}
		rank := cost + 10
		if w.area != "" && cost <= 3 && x.issuedBy(w.area) {
			rank = cost // the named state's own format decides
		}
		better := rank < s.rank
		if rank == s.rank {
			better = abroad && x.abroad > s.best.abroad || !abroad && x.home > s.best.home
		}
		if better {
			s.best, s.rank = x, rank
			copy(s.fixed[:n], s.tmp[:n])
		}
	}
}

// slipAllowed says whether a format may put slips right in the window: abroad
// never; in the US by the named state, or without one in the digits of three
// letters and four digits; elsewhere by the country's own formats that are
// strong enough to decide.
func (f *finder) slipAllowed(w *window, x *format, fixed []byte, abroad bool) bool {
	if f.is(w.from, isPlace) && w.joins > 0 && w.area == "" {
		return false // "NY L0T 4419": the state is no part of it
	}
	if abroad && x.abroad < 0.5 || !w.mixed && !f.is(w.from-1, cue) {
		return false
	}
	changed, letters, cost := 0, 0, 0
	for i, c := range fixed {
		if c != w.plate[i] {
			changed++
			if o := w.plate[i]; o == '0' || o == '1' || o == 'O' || o == 'I' {
				cost++
			} else {
				cost += 2
			}
			if !isDigit(c) {
				letters++
			}
		}
	}
	if abroad && changed < cost || changed > 0 && f.chosen(w) {
		return false // a word of one's own stays as it was typed
	}
	if changed > 3 || cost > 2 && changed < cost {
		return false // two kinds of slip at once: more likely another format
	}
	if x.country != "US" && x.country != "CA" {
		return x.home >= 0.45 && (letters == 0 || x.name != "GB Northern Ireland")
	}
	if w.area != "" {
		return x.issuedBy(w.area)
	}
	if !usualSerial(x.country, x.shape) || letters > 0 {
		return false
	}
	for i := range len(x.shape) {
		if c := w.plate[i]; isDigit(x.shape[i]) && !isDigit(c) && c != 'O' && c != 'I' {
			return false
		}
	}
	return true
}

// usualSerial tells whether a shape is so common in the country that it decides a
// slip without the state's or province's name.
func usualSerial(country, shape string) bool {
	switch shape {
	case "AAA9999":
		return true
	case "9AAA999":
		return country == "US"
	case "AAAA999", "AA99999":
		return country == "CA"
	}
	return false
}
