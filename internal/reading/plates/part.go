package plates

import "passbell/internal/reading/vehicles/words"

// parts finds plates of which only the beginning or the end is given.
func (f *finder) parts() {
	spoken := false
	for i := range f.words {
		if f.is(i, cue|car) || f.low(i) == "tag" || f.low(i) == "number" || f.low(i) == "yoke" {
			spoken = true
		}
	}
	for i := range f.words {
		if j, sure := f.partCue(i); j > 0 {
			f.part(j, spoken || sure)
		}
		if f.is(i, cue) && f.region == "GB" {
			f.beginning(i)
		}
		if f.partAfter(i) {
			f.part(i, spoken)
		}
	}
}

// partCue reads words such as "ends in", "starts with", "last 3 of the plate are"
// at word i and gives the word after them; sure where they can hardly speak of
// anything but a plate.
func (f *finder) partCue(i int) (next int, sure bool) {
	switch f.low(i) {
	case "ends", "ending", "end", "starts", "starting", "start", "begins", "beginning", "begin", "termina", "terminan", "empieza", "finishes", "finishing":
		j := i + 1
		switch f.low(j) {
		case "in", "with", "on", "en", "con", "is", "are":
			return j + 1, f.low(j) != "on"
		case "of":
			called := false
			for j < len(f.words) && j < i+8 && f.words[j].Before < words.Stop && f.is(j, cue|filler) {
				called = called || f.is(j, cue)
				j++
			}
			if !called {
				return 0, false
			}
			return j, false
		}
		return j, false
	case "has", "with", "got", "contains":
		// "has KTO in it", "with a 19 at the end", "with KTO on the plate"
		j := i + 1
		if f.low(j) == "a" || f.low(j) == "an" {
			j++
		}
		switch k := j + 1; f.low(k) {
		case "in":
			if f.low(k+1) == "it" {
				return j, false
			}
		case "at", "on":
			if f.low(k+1) == "the" && (f.low(k+2) == "end" || f.low(k+2) == "start" || f.is(k+2, cue)) {
				return j, false
			}
		}
		return 0, false
	case "part", "partial", "half", "some", "bit":
		j := i + 1
		for j < len(f.words) && j < i+7 && f.words[j].Before < words.Stop && (f.is(j, cue) || f.is(j, filler)) {
			j++
		}
		if j > i+1 && (f.is(j-1, cue) || f.low(j-1) == "is") {
			return j, false
		}
		return 0, false
	case "last", "first", "final", "ultimos", "ultimas":
		j, called := i+1, false
		switch f.low(j) {
		case "letters", "digits", "characters":
			called = true
			j++
		case "2", "3", "4", "two", "three", "four", "couple", "few", "bit", "part", "half", "numbers", "tres", "cuatro":
			j++
		default:
			return 0, false
		}
		for j < len(f.words) && j < i+9 && f.words[j].Before < words.Stop {
			switch f.low(j) {
			case "letters", "digits", "numbers", "characters", "chars", "of", "on", "the", "my", "plate", "reg", "tag", "rego", "plates",
				"registration", "license", "number", "is", "are", "its", "de", "la", "placa", "placas", "son", "from", "and", "half", "bit", "part":
				called = called || f.low(j) == "letters" || f.low(j) == "digits" || f.low(j) == "characters"
				j++
				continue
			}
			break
		}
		if j < len(f.words) && f.words[j].Class == words.Letters && !(f.words[j].Upper && !f.caps) {
			return j, false
		}
		return j, called || j < len(f.words) && f.words[j].Class != words.Digits
	}
	return 0, false
}

// partAfter tells whether word i is called the beginning of a plate by what
// follows: "LX19 something", "4TR and the rest I forget".
func (f *finder) partAfter(i int) bool {
	w := &f.words[i]
	if p := f.low(i - 1); p == "the" || p == "on" {
		return false // "jam on the A47, dunno when"
	}
	if w.Class == words.Letters && !w.Upper || w.Class == words.Digits || len(w.Low) < 3 {
		return false
	}
	switch f.low(i + 1) {
	case "something", "summat", "somethin", "blah", "dunno", "algo":
		return true
	}
	return false
}

// part takes the piece of plate at word i.
func (f *finder) part(i int, spoken bool) {
	if i >= len(f.words) || f.words[i].Before == words.Stop || f.is(i, car) {
		return
	}
	w := &f.words[i]
	if f.is(i, bad) || f.is(i, measured) && !spoken {
		return // "ends in 47K" may be a plate, "ends in 10mins" is none
	}
	if f.spelledPart(i) {
		return
	}
	var buf [8]byte
	n := len(w.Low)
	if n > 6 || !ascii(w.Low) {
		return
	}
	to := i + 1
	piece := appendUpper(buf[:0], w.Low)
	if to < len(f.words) && !words.Common(w.Low) && f.words[to].Before <= words.Join && n+len(f.words[to].Low) <= 6 && ascii(f.words[to].Low) && !f.is(to, bad) {
		x := &f.words[to]
		if x.Class != words.Letters && w.Class != words.Digits || x.Class == words.Letters && (x.Upper && !f.caps || len(x.Low) == 1 && x.Low != "a" && x.Low != "i") {
			piece = appendUpper(piece, x.Low)
			to++
		}
	}
	letters, nums := 0, 0
	for _, c := range piece {
		if isDigit(c) {
			nums++
		} else {
			letters++
		}
	}
	switch {
	case len(piece) < 2 || !spoken && (w.Class != words.Mixed || len(piece) < 3):
		return
	case nums == 0 && (words.Common(w.Low) && (!w.Upper || f.caps) || len(piece) > 4 || !w.Upper && len(piece) > 3):
		return
	case letters == 0 && f.unitAfter(to):
		return
	case letters == 0 && len(piece) < 2:
		return
	}
	f.add(Hit{Plate: string(piece), Part: true, Start: w.Start, End: f.words[to-1].End, Format: f.region + " part",
		Score: 0.8, Why: "It gives part of a plate."})
}

// spelledPart takes a piece of plate that is spelled out from word i on: "ends
// kilo tango delta", "K T D".
func (f *finder) spelledPart(i int) bool {
	var buf [8]byte
	piece := buf[:0]
	weight, j := 0, i
	for j < len(f.words) && (j == i || f.words[j].Before <= words.Comma) {
		s, ok := f.sign(j)
		if !ok || len(piece)+len(s.text) > 5 {
			break
		}
		piece, weight, j = append(piece, s.text...), weight+s.weight, s.to
	}
	if j-i < 2 || len(piece) < 2 || weight < enough/2 {
		return false
	}
	f.add(Hit{Plate: string(piece), Part: true, Start: f.words[i].Start, End: f.words[j-1].End, Format: f.region + " part",
		Score: 0.8, Why: "It spells part of a plate."})
	return true
}

func ascii(s string) bool {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// unitAfter tells whether a unit or a time follows, so that digits are no plate.
func (f *finder) unitAfter(i int) bool {
	if i >= len(f.words) || f.words[i].Before > words.Slash {
		return false
	}
	switch f.low(i) {
	case "min", "mins", "minutes", "minute", "hours", "hour", "hrs", "pm", "am", "ish", "oclock", "days", "past", "to", "more":
		return true
	}
	return f.words[i].Class == words.Digits
}

// beginning takes the letters and age identifier of a GB plate without the rest:
// "reg LX19".
func (f *finder) beginning(i int) {
	j := i + 1
	for j < len(f.words) && j < i+4 && f.is(j, filler) && f.words[j].Before < words.Stop {
		j++
	}
	if j >= len(f.words) || len(f.words[j].Low) != 4 || f.words[j].Class != words.Mixed || f.words[j].Before == words.Stop {
		return
	}
	if k := j + 1; k < len(f.words) && f.words[k].Before <= words.Join && len(f.words[k].Low) == 3 && !words.Common(f.words[k].Low) {
		return
	}
	var buf, out [7]byte
	p := append(appendUpper(buf[:0], f.words[j].Low), "AAA"...)
	if len(p) != 7 {
		return
	}
	x := format{shape: "AA99AAA", rule: gbCurrent}
	if x.fit(out[:], p) == noFit {
		return
	}
	f.add(Hit{Plate: string(out[:4]), Part: true, Start: f.words[j].Start, End: f.words[j].End, Format: "GB part",
		Score: 0.85, Why: "It gives the beginning of a plate."})
}
