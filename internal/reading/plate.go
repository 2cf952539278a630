package reading

import (
	"strings"

	"passbell/internal/reading/plates"
	"passbell/internal/reading/vehicles"
	"passbell/internal/reading/vehicles/words"
)

// findVehicle looks for a vehicle and a plate and lays their classes over the
// tokens. Names and references are blanked first, so that "Mr White" lends
// nobody a colour.
func (s *scan) findVehicle() {
	text := s.masked()
	ws := words.Split(text)
	f := vehicles.FindIn(ws, s.ctx.Region)
	s.vehicle.Colours, s.vehicle.Make, s.vehicle.Model, s.vehicle.Body = f.Colours, f.Make, f.Model, f.Body
	for _, span := range f.Spans {
		s.lay(span[0], span[1], clsCar)
	}
	opts := plates.Options{Vehicle: &f}
	if s.ctx.Book != nil {
		opts.Refs, opts.Known = s.ctx.Book.Refs(), s.ctx.Book.Plates()
	}
	hits := plates.FindIn(text, ws, s.ctx.Region, opts)
	if len(hits) == 0 {
		return
	}
	surest := s.meant(hits)
	if surest.Part {
		s.vehicle.PlatePart = surest.Plate
	} else {
		s.vehicle.Plate = surest.Plate
	}
	s.lay(surest.Start, surest.End, clsPlate)
}

// meant gives the plate that stands in the end: the surest, or the one that a text
// puts in its place, "YRD 505? no, that's the trailer, it's 505 YRD".
func (s *scan) meant(hits []plates.Hit) plates.Hit {
	best := hits[0]
	for _, h := range hits[1:] {
		if h.Part != best.Part {
			continue
		}
		first, second := best, h
		if first.Start > second.Start {
			first, second = second, first
		}
		denied, changed := s.between(first, second)
		switch {
		case denied:
			best = first
		case changed:
			best = second
		}
	}
	return best
}

// between tells whether the second of two plates is denied, "A, not B", and whether
// it replaces the first, "A, no, B" and "not A, B".
func (s *scan) between(first, second plates.Hit) (denied, changed bool) {
	last := ""
	for i := range s.toks {
		t := &s.toks[i]
		if t.Start >= second.Start {
			break
		}
		if t.Kind == Break {
			continue
		}
		if t.End <= first.Start {
			last = t.Text
			continue
		}
		if t.Start < first.End {
			changed = changed || last == "not" || last == "no"
			last = ""
			continue
		}
		switch last = t.Text; last {
		case "no", "not", "wait", "sorry", "actually", "scratch", "instead", "meant", "correction", "oops", "mean", "wrong":
			changed = true
		}
	}
	return last == "not" && changed, changed
}

func (s *scan) lay(start, end int, bits class) {
	for i := range s.toks {
		if t := &s.toks[i]; t.Start < end && t.End > start {
			t.bits |= bits
		}
	}
}

// masked gives the text with names and references blanked.
func (s *scan) masked() string {
	var b []byte
	for i := range s.toks {
		t := &s.toks[i]
		if t.bits&(clsName|clsRef) == 0 || t.bits&clsRef == 0 && s.calledPlate(i) {
			continue
		}
		if b == nil {
			b = []byte(s.text)
		}
		for k := t.Start; k < t.End; k++ {
			b[k] = '_'
		}
	}
	if b == nil {
		return s.text
	}
	return string(b)
}

// calledPlate tells whether the word at i, in capitals, is called a plate, though it
// is a name as well: "plate is ZEY NEP" from Zeynep.
func (s *scan) calledPlate(i int) bool {
	if t := &s.toks[i]; s.text[t.Start:t.End] != strings.ToUpper(s.text[t.Start:t.End]) {
		return false
	}
	for k := i - 1; k >= 0 && k >= i-4; k-- {
		switch t := &s.toks[k]; t.Text {
		case "plate", "plates", "rego", "reg", "tag", "vanity", "registration", "licence", "license":
			return true
		case "is", "says", "say", "reads", "the", "a", "my", "it", "":
		default:
			if t.bits&clsName == 0 {
				return false
			}
		}
	}
	return false
}
