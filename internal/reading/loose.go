package reading

import "passbell/internal/night"

// loose gives the time that the only number of a text can be where no word beside it
// says that it is one: "6 is grand", "be about 7 now", "tell me five". It is asked only
// of texts that are known to be about coming, and that name no time otherwise. An hour
// must lie within those in which customers come; where minutes are allowed, a number
// that can be no hour counts from now.
func (s *scan) loose(minutes bool) *night.Clock {
	if len(s.times) > 0 {
		return nil
	}
	found := -1
	for i := range s.toks {
		if !s.mayBeTime(i) {
			continue
		}
		if found >= 0 {
			return nil
		}
		found = i
	}
	if found < 0 {
		return nil
	}
	n, today := s.toks[found].Num, s.ctx.today()
	hour, min := n, 0
	if n >= 100 {
		hour, min = n/100, n%100
	}
	if hour <= 12 || n >= 100 {
		c := s.ctx.resolve(moment{kind: momentClock, hour: hour, min: min})
		if s.ctx.misfit(c) == 0 && (!today || c >= s.ctx.now()) {
			return &c
		}
	}
	if !minutes || !today || n < 3 || n > 60 {
		return nil
	}
	c := s.ctx.now().Add(n)
	return &c
}

// mayBeTime tells whether the number at i counts nothing and belongs to nothing.
func (s *scan) mayBeTime(i int) bool {
	t := &s.toks[i]
	if t.Num < 1 || t.Num > 60 && (t.Num%100 > 59 || t.Num > 2359) || t.Min >= 0 || t.Digits > 4 || t.bits&(clsPlate|clsRef|clsCar|clsName) != 0 || money(s.text, t, s.toks, i) {
		return false
	}
	if t.Kind == Word && t.Num < 4 {
		return false // "one" and "two" are seldom hours
	}
	return s.plain(i-1) && s.plain(i+1)
}

// plain tells whether at i no word stands that a number could belong to.
func (s *scan) plain(i int) bool {
	if i < 0 || i >= len(s.toks) {
		return true
	}
	t := &s.toks[i]
	switch {
	case t.Kind == Break, t.Kind == Emoji:
		return true
	case t.Kind != Word || t.Num >= 0 || t.bits&(clsItem|clsFood|clsCar|clsPlate|clsRef|clsSpot|clsTopic) != 0:
		return false
	}
	return t.bits&(clsBe|clsSubject|clsAdverb|clsFiller|clsPolite|clsVocative|clsWill|clsLead|clsGreeting|clsDay) != 0 || suits[t.Text]
}

// suits are words that stand beside an hour and count nothing.
var suits = map[string]bool{
	"if": true, "suits": true, "suit": true, "works": true, "work": true, "about": true, "around": true, "say": true, "at": true, "by": true, "for": true,
	"till": true, "until": true, "tell": true, "me": true, "us": true, "said": true, "says": true, "make": true, "do": true, "like": true, "maybe": true, "prob": true,
	"probably": true, "hopefully": true, "possibly": true, "poss": true, "possible": true, "sharp": true, "ish": true, "como": true, "unos": true, "a": true, "las": true,
	"vers": true, "round": true, "will": true, "to": true, "not": true,
}
