package reading

import "passbell/internal/reading/learn"

// Features describes a text for the learned model: its words and pairs of
// words, their themes, what kind of moment it came in, and what the rules make
// of it. The features from split on rest on the rules' judgement.
func Features(text string, ctx Context) (features []uint32, split int, rule Intent) {
	s := newScan(text, &ctx)
	out := s.decide()
	features, split = s.features(out.Intent)
	return features, split, out.Intent
}

// span says from which feature on a token's own begin.
type span struct{ token, feature int }

// features are computed once a text, so they are hashed without joining strings.
func (s *scan) features(rule Intent) (out []uint32, split int) {
	out = make([]uint32, 0, 24+9*len(s.toks))
	s.at = make([]span, 0, len(s.toks)+1)
	moment := s.momentWord()
	prev, before := "^", ""
	words := 0
	kind, kind2 := learn.Hash("k"), learn.Hash("kk")
	var last uint64
	for i := range s.toks {
		w := s.general(i)
		if w == "" || w == prev && w[0] == '<' {
			continue
		}
		words++
		s.at = append(s.at, span{i, len(out)})
		for _, theme := range themesOf(w) {
			out = append(out, learn.Hash("h", theme))
		}
		if bits := uint64(s.toks[i].bits); bits != 0 || last != 0 {
			out = append(out, learn.Mix(kind, bits), learn.Mix(learn.Mix(kind2, last), bits))
			last = bits
		}
		out = append(out, learn.Hash("w", w), learn.Hash("m", moment, w), learn.Hash("p", prev, w))
		if before != "" {
			out = append(out, learn.Hash("t", before, prev, w))
		}
		if t := &s.toks[i]; t.Kind == Word && !t.known && len(w) > 4 && w[0] != '<' {
			out = append(out, learn.Hash("a", w[:4]), learn.Hash("z", w[len(w)-4:]))
		}
		before, prev = prev, w
	}
	s.at = append(s.at, span{-1, len(out)})
	out = append(out, learn.Hash("p", prev, "$"), learn.Hash("l", size(words)), learn.Hash("c", moment),
		learn.Hash("v", s.vehicleWord(), moment))
	split = len(out)
	out = append(out, learn.Hash("r", string(rule)), learn.Hash("rm", string(rule), moment), learn.Hash("rl", string(rule), size(words)))
	out = append(out, learn.Hash("e", s.timeWord(), string(rule)))
	for sign, n := range s.alive {
		if n > 0 {
			out = append(out, learn.Hash("s", signWord(sign)), learn.Hash("sr", signWord(sign), string(rule)))
		}
	}
	return out, split
}

// general gives a token as the model sees it: what names a vehicle, a plate, a
// person, an order or a time stands for its kind; "" for what says nothing.
func (s *scan) general(i int) string {
	t := &s.toks[i]
	switch {
	case t.bits&clsPlate != 0:
		return "<plate>"
	case t.bits&clsRef != 0:
		return "<ref>"
	case t.bits&clsName != 0:
		return "<name>"
	case t.bits&clsCar != 0:
		return "<car>"
	case t.bits&clsTime != 0:
		return "<time>"
	case t.bits&clsDur != 0:
		return "<minutes>"
	case t.Kind == Number || t.bits&clsNumber != 0 && t.Kind == Word:
		return "<number>"
	case t.Kind == Break:
		switch t.Mark {
		case '?':
			return "?"
		case '!':
			return "!"
		}
		return ""
	case t.Kind == Dash:
		return ""
	}
	return t.Text
}

// momentWord names the moment in which a text comes: how far the night and the
// sender are.
func (s *scan) momentWord() string {
	who := "stranger"
	if s.ctx.Known {
		who = "known"
	}
	switch f := &s.ctx.Facts; {
	case f.Served:
		return who + " served"
	case f.Arrived:
		return who + " here"
	case s.ctx.due():
		return who + " due"
	case s.ctx.serving():
		return who + " early"
	case s.ctx.today():
		return who + " today"
	}
	return who + " ahead"
}

// timeWord names what times the text gives.
func (s *scan) timeWord() string {
	switch due, to := s.expected(), s.wanted(); {
	case due != nil && to != nil:
		return "both"
	case due != nil:
		return "due"
	case to != nil:
		return "to"
	}
	return "no time"
}

// vehicleWord names what of a vehicle the text tells.
func (s *scan) vehicleWord() string {
	v := &s.vehicle
	switch {
	case v.Plate != "" && (v.Make != "" || v.Model != "" || len(v.Colours) > 0):
		return "car and plate"
	case v.Plate != "" || v.PlatePart != "":
		return "plate"
	case v.Make != "" || v.Model != "":
		return "car"
	case v.Body != "" || len(v.Colours) > 0:
		return "some car"
	}
	return "no car"
}

func size(words int) string {
	switch {
	case words <= 1:
		return "one"
	case words <= 3:
		return "few"
	case words <= 8:
		return "some"
	case words <= 20:
		return "many"
	}
	return "long"
}

// signWord names a sign by one letter.
func signWord(sign int) string { return string(rune('A' + sign)) }
