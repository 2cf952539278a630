package plates

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// sign is one letter or some digits of a plate spelled out.
type sign struct {
	text     string
	from, to int  // words
	plain    bool // typed as it is, not spelled by a word
}

// spellable tells whether the text may hold a plate spelled out: three spelling
// words, or "as in".
func (f *finder) spellable() bool {
	n := 0
	for i := range f.words {
		w := &f.words[i]
		if _, ok := words.Spelling(w.Low); ok || len(w.Low) == 1 {
			n++
		}
		if w.Low == "as" && f.low(i+1) == "in" {
			n += 2
		}
	}
	return n >= 3
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
			return sign{strings.ToUpper(w.Low), i, i + 4, false}, true
		}
		if (f.low(i+1) == "for" || f.low(i+1) == "like" || f.low(i+1) == "in") && len(f.low(i+2)) > 1 && strings.HasPrefix(f.low(i+2), w.Low) {
			return sign{strings.ToUpper(w.Low), i, i + 3, false}, true
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
		return sign{strings.Repeat(next.text, n), i, next.to, false}, true
	}
	if (w.Low == "dash" || w.Low == "hyphen" || w.Low == "space") && i > 0 {
		return sign{"", i, i + 1, true}, true
	}
	return f.one(i)
}

func (f *finder) one(i int) (sign, bool) {
	if i >= len(f.words) {
		return sign{}, false
	}
	w := &f.words[i]
	if w.Low == "x" && f.low(i+1) == "ray" {
		return sign{"X", i, i + 2, false}, true
	}
	if t, ok := words.Spelling(w.Low); ok {
		if len(t) == 2 && t[1] == '0' && t != "10" {
			if u, ok := words.Spelling(f.low(i + 1)); ok && len(u) == 1 && u >= "1" && u <= "9" {
				return sign{t[:1] + u, i, i + 2, false}, true
			}
		}
		return sign{t, i, i + 1, false}, true
	}
	if len(w.Low) == 1 && w.Low[0] < 0x80 || w.Class == words.Digits && len(w.Low) <= 5 && !f.is(i, bad) {
		return sign{strings.ToUpper(w.Low), i, i + 1, true}, true
	}
	return sign{}, false
}

// spelledRun finds the part of a run of signs that is a plate.
func (f *finder) spelledRun(run []sign) {
	spelled := 0
	for _, s := range run {
		if !s.plain {
			spelled++
		}
	}
	if len(run) < 3 || spelled < 2 && len(run) < 5 {
		return
	}
	var buf [maxPlate + 4]byte
	var out [maxPlate]byte
	for a := range run {
		w := window{from: run[a].from, plate: buf[:0], mixed: true}
		count := 0
		for b := a; b < len(run); b++ {
			s := run[b]
			if len(w.plate)+len(s.text) > maxPlate {
				break
			}
			w.plate = append(w.plate, s.text...)
			w.to = s.to
			count++
			if count < 3 || s.text == "" {
				continue
			}
			f.spelledWindow(&w, &out, a == 0 && b == len(run)-1)
		}
	}
}

// spelledWindow weighs signs that were spelled out.
func (f *finder) spelledWindow(w *window, out *[maxPlate]byte, all bool) {
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
	if best, fixed, ok := f.match(w, out); ok {
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
	h := f.hit(w, string(plate), name, score)
	h.Why = "A plate is spelled out: " + name + "."
	f.add(h)
}
