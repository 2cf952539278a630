package reading

import (
	"passbell/internal/reading/plates"
	"passbell/internal/reading/vehicles"
	"passbell/internal/reading/vehicles/words"
)

// findVehicle looks for a vehicle and a plate and lays their classes over the
// tokens. Names and references are blanked first, so that "Mr White" lends
// nobody a colour.
func (s *scan) findVehicle() {
	var buf [48]words.Word
	text := s.masked()
	ws := words.Split(buf[:0], text)
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
	surest := hits[0]
	if surest.Part {
		s.vehicle.PlatePart = surest.Plate
	} else {
		s.vehicle.Plate = surest.Plate
	}
	s.lay(surest.Start, surest.End, clsPlate)
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
		if t.bits&(clsName|clsRef) == 0 {
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
