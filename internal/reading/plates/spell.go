package plates

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// sign is one letter or some digits of a plate spelled out.
type sign struct {
	text     string
	from, to int // words
	weight   int // how much it speaks for a plate being spelled out
}

// The weights of signs. A plate is spelled out where they come to enough; a
// number or an everyday word ("be", "you", "a") alone never does.
const (
	weightDigits = 0 // digits typed together
	weightFaint  = 1 // one letter or digit, or a letter's name that is an everyday word
	weightWord   = 2 // a number word, a letter's name, letters typed together beside such
	weightStrong = 4 // ICAO letter, "M as in Mike", "double four"
	enough       = 6
)

// spellable tells whether the text may hold a plate spelled out: three spelling
// words, letters' names or single signs, or "as in".
func (f *finder) spellable() bool {
	n, faint := 0, 0
	for i := range f.words {
		w := &f.words[i]
		switch {
		case len(w.Low) == 1:
			faint++
			continue
		case w.Low == "as" && f.low(i+1) == "in":
			return true
		case w.Class != words.Letters:
			continue
		}
		if t, ok := words.Spelling(w.Low); ok {
			n++
			if !isDigit(t[0]) || i > 0 && f.group(i-1) || i+1 < len(f.words) && f.group(i+1) {
				n++
			}
		} else if _, ok := words.LetterName(w.Low); ok {
			faint++
		}
	}
	return n >= 2 || n+faint >= 4 && (n > 0 || faint >= 5)
}

// spelled reads plates given by spelling words: "alpha bravo one two", "M as in
// Mike", "double four".
func (f *finder) spelled() {
	if !f.spellable() {
		return
	}
	var buf [16]sign
	run := buf[:0]
	for i := 0; i < len(f.words); {
		s, ok := f.sign(i)
		if ok && len(run) > 0 && f.words[i].Before > words.Comma {
			f.spelledRun(run)
			run = run[:0]
		}
		if ok && len(run) < 16 {
			run = append(run, s)
			i = s.to
			continue
		}
		f.spelledRun(run)
		run = run[:0]
		i++
	}
	f.spelledRun(run)
}

// sign reads one sign at word i.
func (f *finder) sign(i int) (sign, bool) {
	w := &f.words[i]
	if len(w.Low) == 1 && w.Class == words.Letters && f.low(i+2) != "" {
		as := f.low(i+1) == "as" && (f.low(i+2) == "in" || f.low(i+2) == "for")
		if as && strings.HasPrefix(f.low(i+3), w.Low) {
			return sign{strings.ToUpper(w.Low), i, i + 4, weightStrong}, true
		}
		if (f.low(i+1) == "for" || f.low(i+1) == "like" || f.low(i+1) == "in") && len(f.low(i+2)) > 1 && strings.HasPrefix(f.low(i+2), w.Low) {
			return sign{strings.ToUpper(w.Low), i, i + 3, weightStrong}, true
		}
	}
	if w.Low == "double" || w.Low == "triple" {
		next, ok := f.one(i + 1)
		if !ok || len(next.text) != 1 {
			return sign{}, false
		}
		n := 2
		if w.Low == "triple" {
			n = 3
		}
		return sign{strings.Repeat(next.text, n), i, next.to, weightStrong}, true
	}
	if (w.Low == "dash" || w.Low == "hyphen" || w.Low == "space") && i > 0 {
		return sign{"", i, i + 1, weightDigits}, true
	}
	return f.one(i)
}

func (f *finder) one(i int) (sign, bool) {
	if i >= len(f.words) {
		return sign{}, false
	}
	w := &f.words[i]
	if w.Low == "x" && f.low(i+1) == "ray" {
		return sign{"X", i, i + 2, weightStrong}, true
	}
	if t, ok := words.Spelling(w.Low); ok {
		if len(t) == 2 && t[1] == '0' && t != "10" {
			if u, ok := words.Spelling(f.low(i + 1)); ok && len(u) == 1 && u >= "1" && u <= "9" {
				return sign{t[:1] + u, i, i + 2, weightWord}, true
			}
		}
		weight := weightStrong
		if isDigit(t[0]) {
			weight = weightWord
		}
		return sign{t, i, i + 1, weight}, true
	}
	if w.Low == "double" && f.low(i+1) == "you" {
		return sign{"W", i, i + 2, weightWord}, true
	}
	if t, ok := words.LetterName(w.Low); ok {
		if words.Common(w.Low) {
			return sign{t, i, i + 1, weightFaint}, true
		}
		return sign{t, i, i + 1, weightWord}, true
	}
	if f.group(i) {
		return sign{strings.ToUpper(w.Low), i, i + 1, weightWord}, true
	}
	switch {
	case f.is(i, bad|measured):
	case len(w.Low) == 1 && w.Low[0] < 0x80:
		return sign{strings.ToUpper(w.Low), i, i + 1, weightFaint}, true
	case w.Class == words.Digits && len(w.Low) <= 5, w.Class == words.Mixed && len(w.Low) <= 5 && ascii(w.Low):
		return sign{strings.ToUpper(w.Low), i, i + 1, weightDigits}, true
	}
	return sign{}, false
}

// group tells whether word i is letters of a plate typed together beside signs
// that are spelled: "lx nineteen kto".
func (f *finder) group(i int) bool {
	w := &f.words[i]
	if w.Class != words.Letters || len(w.Low) < 2 || len(w.Low) > 4 || !ascii(w.Low) || words.Common(w.Low) || f.is(i, isPlace|cue|car) {
		return false
	}
	for _, j := range [2]int{i - 1, i + 1} {
		if j < 0 || j >= len(f.words) {
			continue
		}
		if _, ok := words.Spelling(f.low(j)); ok || len(f.low(j)) == 1 && f.words[j].Class == words.Digits {
			return true
		}
	}
	return f.words[max(0, i-1)].Class == words.Digits && i > 0
}

// spelledRun finds the part of a run of signs that is a plate.
func (f *finder) spelledRun(run []sign) {
	if len(run) < 3 {
		return
	}
	for a := range run {
		w := window{from: run[a].from, plate: f.scratch.plate[:0], mixed: true}
		count, weight := 0, 0
		for b := a; b < len(run); b++ {
			s := run[b]
			if len(w.plate)+len(s.text) > maxPlate {
				break
			}
			w.plate = append(w.plate, s.text...)
			w.to = s.to
			count++
			weight += s.weight
			if count < 3 || s.text == "" || weight < enough {
				continue
			}
			f.spelledWindow(&w, a == 0 && b == len(run)-1)
		}
	}
}

// spelledWindow weighs signs that were spelled out.
func (f *finder) spelledWindow(w *window, all bool) {
	w.nums, w.letters = 0, 0
	for _, c := range w.plate {
		if isDigit(c) {
			w.nums++
		} else {
			w.letters++
		}
	}
	if w.nums == 0 || w.letters == 0 || len(w.plate) < 4 {
		return
	}
	tight, loose := f.cueBefore(w)
	score, name, plate := 0.0, f.region+" other", w.plate
	if best, fixed := f.match(w); best != nil {
		score, name, plate = max(best.home, 0.4), best.name, fixed
		if best.country != f.region {
			score = best.abroad
		}
		score += float64(len(plate)) / 100
	} else if all && len(w.plate) >= 5 {
		score = 0.35
	}
	switch {
	case tight:
		score += 0.3
	case loose:
		score += 0.2
	}
	if score < minScore {
		return
	}
	h := f.hit(w, string(plate), name, score)
	h.Why = "A plate is spelled out: " + name + "."
	f.add(h)
}
