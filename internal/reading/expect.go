package reading

import (
	"slices"

	"passbell/internal/night"
)

// expected gives the time at which the sender says to arrive, or nil.
func (s *scan) expected() *night.Clock {
	var best *night.Clock
	exact := false
	for i := range s.times {
		m := &s.times[i]
		if s.aside(m) || s.departs(m) {
			continue
		}
		if m.kind == momentClock {
			if s.ofSlot(m) {
				continue
			}
			c := s.ctx.resolve(*m)
			if s.countsMinutes(m) && s.ctx.misfit(c) > 0 && s.ctx.today() {
				c = s.ctx.now().Add(m.hour)
			}
			if best != nil && (exact && s.adjacent(i) && *best > c || s.ctx.today() && s.ctx.misfit(c) > 0) {
				continue // "6.15 or 6", "10 minutos y llego por las dos"
			}
			best, exact = &c, true
			continue
		}
		if c, ok := s.onward(i); ok {
			best, exact = &c, true
			continue
		}
		if c, ok := s.after(m); ok && !exact {
			best = &c
		}
	}
	if best == nil && s.onTime() {
		c := s.slot()
		return &c
	}
	return best
}

// countsMinutes tells whether a number that was read as an hour may count minutes:
// "eta 12", "omw, 10ish".
func (s *scan) countsMinutes(m *moment) bool {
	if m.min != 0 || m.fixed || m.hour < 2 {
		return false
	}
	return word(s.toks, m.start-1) == "eta" || word(s.toks, m.start-1) == "" && s.toks[m.end-1].Text == "ish"
}

// onward adds a last leg to the time before it: "train gets in 18:22 then 5 min
// walk".
func (s *scan) onward(i int) (night.Clock, bool) {
	m := &s.times[i]
	if i == 0 || s.times[i-1].kind != momentClock || m.hi <= 0 || m.hi > 60 || s.ofSlot(&s.times[i-1]) {
		return 0, false
	}
	switch word(s.toks, m.end) {
	case "walk", "drive", "ride", "cycle", "stroll":
	default:
		return 0, false
	}
	switch word(s.toks, m.start-1) {
	case "then", "plus", "and", "a", "":
		return s.ctx.resolve(s.times[i-1]).Add(m.hi), true
	}
	return 0, false
}

// onTime tells whether the sender means to keep to the slot.
func (s *scan) onTime() bool {
	for i := 0; i+1 < len(s.toks); i++ {
		if s.toks[i].Text == "on" && s.toks[i+1].Text == "time" && len(s.ctx.Slots) > 0 && word(s.toks, i-1) != "not" {
			return true
		}
		// "at my time", "on our slot"
		if t := s.toks[i].Text; (t == "at" || t == "on" || t == "for") && i+2 < len(s.toks) && s.toks[i+1].bits&clsMine != 0 && len(s.ctx.Slots) > 0 &&
			(s.toks[i+2].Text == "time" || s.toks[i+2].Text == "slot") && word(s.toks, i-1) != "not" && !s.asks() {
			return true
		}
	}
	return false
}

// after counts a length of time from now, or from the slot where the sender
// runs late or early against it.
func (s *scan) after(m *moment) (night.Clock, bool) {
	if m.hi < 0 || s.over(m) {
		return 0, false
	}
	n := max(m.lo, m.hi)
	switch s.against(m) {
	case 1:
		return s.slot().Add(n), true
	case -1:
		return s.slot().Add(-n), true
	}
	if !s.ctx.today() {
		return 0, false
	}
	return s.ctx.now().Add(n), true
}

func (s *scan) slot() night.Clock {
	if len(s.ctx.Slots) > 0 {
		return s.ctx.Slots[0]
	}
	return s.ctx.now()
}

// against tells whether a length counts from the slot: 1 for late, -1 for
// early, 0 where it counts from now.
func (s *scan) against(m *moment) int {
	if len(s.ctx.Slots) == 0 {
		return 0
	}
	for k := m.start; k < m.end; k++ {
		if s.toks[k].Text == "more" {
			return 0 // "late again, ten more minutes"
		}
	}
	if word(s.toks, m.end) == "de" && word(s.toks, m.end+1) == "plus" {
		return 0 // "en retard, 15 de plus"
	}
	for k := m.end; k < len(s.toks) && k < m.end+4 && s.clauses[k] == m.clause; k++ {
		switch s.toks[k].Text {
		case "late", "behind", "delayed", "delay", "over", "later", "tarde", "retraso", "atrasado", "atrasada", "retard":
			return 1
		case "despues":
			if k+3 < len(s.toks) && s.toks[k+2].bits&clsMine != 0 && s.toks[k+3].bits&clsSlot != 0 {
				return 1 // "15 minutos despues de mi hora"
			}
		case "after", "past", "before":
			if k+2 < len(s.toks) && s.toks[k+1].bits&clsMine != 0 && s.toks[k+2].bits&clsSlot != 0 {
				if s.toks[k].Text == "before" {
					return -1
				}
				return 1 // "ten minutes after my time"
			}
		case "to", "onto":
			if k+2 < len(s.toks) && s.toks[k+1].bits&clsMine != 0 && s.toks[k+2].bits&clsSlot != 0 && (s.toks[k].Text == "onto" || word(s.toks, k-1) == "on" || word(s.toks, m.start-1) == "add") {
				return 1 // "add ten on to my time"
			}
		case "early", "earlier", "sooner", "temprano", "antes":
			return -1
		case "away", "out", "off", "until", "till":
			return 0
		}
	}
	for k := m.start - 1; k >= 0 && k >= m.start-7; k-- {
		if s.toks[k].Kind == Break {
			// A length that stands alone goes on from the clause before.
			if s.toks[k].Mark != ',' && s.toks[k].Mark != '.' || k < m.start-2 || k == m.start-2 && s.toks[m.start-1].Text != "about" && s.toks[m.start-1].Text != "maybe" {
				return 0
			}
			continue
		}
		switch s.toks[k].Text {
		case "in", "there", "here", "give", "another", "eta", "says", "with", "see", "take", "taking", "away", "en":
			return 0
		case "behind":
			if n := s.toks[k+1].bits; n&clsMine != 0 {
				continue // "stopped behind a combine. 5 minutes"
			}
			return 1
		case "late", "delayed", "delay", "retraso", "atrasado", "atrasada", "tarde", "retard":
			return 1
		case "early":
			if slices.ContainsFunc(s.toks[k:m.start], func(t Token) bool { return t.Kind == Break && t.Mark == '.' }) {
				return 0 // "leaving early cause it's murder. 15 mins"
			}
			return -1
		}
	}
	return 0
}

// over tells whether a length lies in the past or is no journey: "10 minutes
// ago", "waited 10 minutes", "a timer for 12 minutes".
func (s *scan) over(m *moment) bool {
	if word(s.toks, m.end) == "already" || word(s.toks, m.end) == "ago" || word(s.toks, m.end+1) == "ago" || word(s.toks, m.end) == "now" && word(s.toks, m.start-1) != "in" && s.has(signBeen) {
		return true
	}
	for k := m.start - 1; k >= 0 && k >= m.start-5 && s.clauses[k] == m.clause; k-- {
		switch s.toks[k].Text {
		case "for", "waited", "waiting", "been", "last", "past", "timer", "every", "steam", "cook", "hace", "llevo", "llevamos", "only":
			return s.toks[k].Text != "only" || word(s.toks, k-1) == "been"
		}
	}
	return false
}

// departs tells whether a time is when the sender leaves, finishes or is busy
// until, rather than when they arrive.
func (s *scan) departs(m *moment) bool {
	if m.kind == momentLength && word(s.toks, m.start-1) == "another" {
		return false
	}
	for k := m.start - 1; k >= 0 && k >= m.start-6 && s.clauses[k] == m.clause; k-- {
		if k < m.start-1 && s.toks[k].bits&clsTime != 0 && word(s.toks, m.start-1) != "to" && s.toks[m.start-1].Kind != Dash {
			return false // "finish at 6 so 6.20": the first is when they leave
		}
		switch s.toks[k].Text {
		case "train", "bus":
			if m.kind == momentLength {
				return false // "on the bus, 12 mins"
			}
			return true
		case "off":
			switch word(s.toks, k-1) {
			case "get", "gets", "getting", "am", "is", "clock", "clocking", "knock", "knocking":
				return true // "I get off at 7"
			}
			return false
		case "so", "says", "reckons", "due", "gets", "arrives", "lands", "there", "with", "arrive", "arriving", "eta", "be", "get", "see", "outside", "away", "late", "reach":
			return false
		case "here":
			if w := word(s.toks, k+1); w == "until" || w == "till" {
				return true
			}
			if w := word(s.toks, m.start-1); (w == "until" || w == "till") && word(s.toks, k-1) != "not" && word(s.toks, k-2) != "not" {
				return true // "here at the office till 4"
			}
			switch word(s.toks, k-1) {
			case "leave", "leaving", "left", "heading", "setting":
				return true // "leaving here 20 past"
			}
			return false
		case "leave", "leaving", "left", "set", "setting", "finish", "finishing", "finishes", "finished", "start", "starts", "starting", "work", "working", "shift", "depart", "salgo", "salimos", "clock", "knock", "knocking", "meeting", "class", "training", "practice", "appointment", "ordered", "booked", "closes", "close", "open":
			return true
		case "head", "heading":
			return word(s.toks, m.start-1) != "for" // "heading over for 6.25"
		}
	}
	return false
}

// aside tells whether a time is named only to be turned down: "not 5.40",
// "instead of 6", "rather than 7", "from 5.50".
func (s *scan) aside(m *moment) bool {
	k := m.start - 1
	for word(s.toks, k) == "my" || word(s.toks, k) == "the" || word(s.toks, k) == "our" || word(s.toks, k) == "at" || word(s.toks, k) == "de" || word(s.toks, k) == "las" || word(s.toks, k) == "la" || word(s.toks, k) == "a" || word(s.toks, k) == "until" || word(s.toks, k) == "for" && word(s.toks, k-1) == "not" {
		k--
	}
	switch word(s.toks, k) {
	case "not":
		return true
	case "than":
		if w := word(s.toks, k-1); w == "more" || w == "longer" {
			return word(s.toks, k-2) != "not" && word(s.toks, k-3) != "not" // "won't be more than 10"
		}
		return word(s.toks, k-1) != "later" && word(s.toks, k-1) != "earlier" || word(s.toks, k-2) != "no" && word(s.toks, k-2) != "not"
	case "of":
		return word(s.toks, k-1) == "instead" || word(s.toks, k-1) == "lugar"
	case "from":
		for j := m.end; j < len(s.toks) && j < m.end+4; j++ {
			if s.toks[j].bits&clsTime != 0 {
				return true
			}
		}
		return s.has(signMove)
	case "before":
		if w := word(s.toks, k-1); w == "not" || w == "be" && word(s.toks, k-2) == "not" {
			return true // "it won't be before 7" says no time
		}
		return s.has(signMove) && word(s.toks, k-1) != "bit"
	case "vez":
		return true
	}
	return (word(s.toks, k) == "make" || word(s.toks, k) == "do" || word(s.toks, k) == "manage") && (word(s.toks, k-1) == "not" || word(s.toks, k-2) == "not")
}

// ofSlot tells whether a time is the one that was booked: "my slot is 6".
func (s *scan) ofSlot(m *moment) bool {
	for k := m.start - 1; k >= 0 && k >= m.start-4 && s.clauses[k] == m.clause; k-- {
		switch s.toks[k].Text {
		case "order":
			return !s.comesFor(k, m)
		case "slot", "booked", "booking", "ordered", "reminder", "was", "supposed":
			return true
		case "there", "be", "arrive", "eta":
			return false
		}
	}
	switch word(s.toks, m.end) {
	case "slot", "order", "booking", "pickup", "collection", "one":
		return true
	}
	return s.ofLas(m)
}

// ofLas tells whether a time is named after an article that stands for an order: "la
// de las 6".
func (s *scan) ofLas(m *moment) bool {
	k := m.start - 1
	if w := word(s.toks, k); w != "las" && w != "la" || word(s.toks, k-1) != "de" {
		return false
	}
	switch word(s.toks, k-2) {
	case "la", "el", "lo", "las", "los":
		return true
	}
	return false
}

// comesFor tells whether the order at k is come for at m: "I'll come for my order at
// 7.50".
func (s *scan) comesFor(k int, m *moment) bool {
	if w := word(s.toks, m.start-1); k != m.start-2 || w != "at" && w != "by" && w != "around" && w != "about" {
		return false
	}
	for j := k - 1; j >= 0 && s.clauses[j] == m.clause; j-- {
		if t := &s.toks[j]; t.bits&clsGet != 0 || t.Text == "come" || t.Text == "coming" || t.Text == "back" {
			return true
		}
	}
	return false
}

// adjacent tells whether the time at i belongs to the one before it: "6 or
// 6.15", "5.30 - 5.45".
func (s *scan) adjacent(i int) bool {
	return i > 0 && s.times[i].start-s.times[i-1].end <= 1
}

// wanted gives the time that is asked for instead, or nil.
func (s *scan) wanted() *night.Clock {
	var out, until, kept *night.Clock
	for i := range s.times {
		m := &s.times[i]
		if m.kind == momentClock && s.until(m) && !s.aside(m) {
			c := s.ctx.resolve(*m)
			until = &c
			continue // "called out till noon. Can you do 2:30"
		}
		if m.kind != momentClock {
			if c, ok := s.shifted(m); ok && out == nil {
				out = &c
			}
			continue
		}
		if s.aside(m) || s.departs(m) && !s.toSlot(m) || len(s.times) > 1 && (word(s.toks, m.end) == "one" || s.ofLas(m)) {
			continue // "can I get mum's 6.40 one at 5.20"
		}
		c := s.ctx.resolve(*m)
		own := len(s.ctx.Slots) > 0 && c == s.ctx.Slots[0]
		switch {
		case out != nil && m.hour < 0 && m.min < 30:
			near := (*out - *out%60) + night.Clock(m.min) // "after 8, like ten past"
			out = &near
		case own && (out != nil || len(s.times) > 1):
			kept = &c // as a rule the slot that is given up
		case out != nil && s.corrects(m):
			out = &c
		case out == nil:
			out = &c
		case s.adjacent(i) && s.toks[m.start-1].Text != "or" && c > *out:
			out = &c
		case s.toSlot(m):
			out = &c
		}
	}
	switch {
	case out != nil:
		return out
	case until != nil:
		return until
	case kept != nil && s.has(signMove) && s.otherOrders():
		return kept // another order shall move to the sender's own slot
	}
	return nil
}

// otherOrders tells whether a time is that of another order of the sender's: "the 6.40
// one to 6", "mum's from 6.40 to 6".
func (s *scan) otherOrders() bool {
	for i := range s.times {
		m := &s.times[i]
		if m.kind == momentClock && (word(s.toks, m.end) == "one" || word(s.toks, m.start-1) == "from" || s.ofLas(m)) {
			return true
		}
	}
	return false
}

// corrects tells whether a time takes the place of the one before it: "7:20, no make
// it 7:30", "closer to 7, say 6:55".
func (s *scan) corrects(m *moment) bool {
	k := m.start - 1
	if word(s.toks, k) == "it" && word(s.toks, k-1) == "make" {
		return true
	}
	w := word(s.toks, k)
	return w == "actually" || w == "no" || w == "rather" || w == "say"
}

// until tells whether something lasts until m, with or without a day between.
func (s *scan) until(m *moment) bool {
	k := m.start - 1
	if k >= 0 && s.toks[k].bits&clsDay != 0 {
		k--
	}
	w := word(s.toks, k)
	return w == "until" || w == "till"
}

func (s *scan) toSlot(m *moment) bool {
	w := word(s.toks, m.start-1)
	return w == "to" || w == "a" && word(s.toks, m.start-2) != "to" || word(s.toks, m.end) == "instead"
}

// shifted reads "push mine back 20", "half an hour later".
func (s *scan) shifted(m *moment) (night.Clock, bool) {
	if m.hi < 0 || len(s.ctx.Slots) == 0 || s.over(m) {
		return 0, false
	}
	dir := 0
	for k := max(0, m.start-6); k < len(s.toks) && k < m.end+4; k++ {
		if s.clauses[k] != m.clause {
			continue
		}
		switch s.toks[k].Text {
		case "later", "back", "late", "delay", "push", "postpone", "tarde", "after", "atrasar", "atrasen", "retrasar", "posponer":
			if dir == 0 {
				dir = 1
			}
		case "earlier", "early", "forward", "sooner", "temprano", "before", "antes", "adelantar", "adelanten", "adelantarme":
			dir = -1
		}
	}
	if dir == 0 {
		return 0, false
	}
	return s.ctx.Slots[0].Add(dir * max(m.lo, m.hi)), true
}

// namedSlot keeps a slot that tells one order from another: "the 5.40 one".
func (s *scan) namedSlot(out *Reading) {
	for i := range s.times {
		if m := &s.times[i]; m.kind == momentClock {
			c := s.ctx.resolve(*m)
			out.Slot = &c
			if i > 0 && s.times[i-1].kind == momentClock && s.adjacent(i) && m.start > s.times[i-1].end {
				out.Slot = nil // "6.20 or 6.30" is neither's slot
			}
			if s.ofSlot(m) {
				out.SlotNamed = true
				return
			}
			switch word(s.toks, m.start-1) {
			case "since", "till", "until", "before", "after":
				out.Slot = nil // "waiting since 6" is no order's slot
			}
		}
	}
}
