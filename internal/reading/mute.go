package reading

import "slices"

// mutes pairs the signs that take away others' words.
var mutes = [...]struct {
	by Sign
	of [2]Sign
}{
	{signNotHere, [2]Sign{signHere, signPlace}},
	{signAway, [2]Sign{signHere, signPlace}},
	{signNoCancel, [2]Sign{signCancel, signCantCome}},
	{signNoMove, [2]Sign{signMove, signShift}},
	{signNoComing, [2]Sign{signComing}},
	{signNoProblem, [2]Sign{signProblem}},
	{signNoAsk, [2]Sign{signAsk}},
}

// mute drops the marks whose words have another sense here, and the arrivals
// that are wished, planned, asked about or past.
func (s *scan) mute() {
	dead := make([]bool, len(s.marks))
	for _, rule := range mutes {
		for i := range s.marks {
			if s.marks[i].sign != rule.by {
				continue
			}
			for j := range s.marks {
				m := &s.marks[j]
				if m.sign == signHere && s.forOwnSlot(m) {
					continue
				}
				if (m.sign == rule.of[0] || m.sign == rule.of[1]) && m.start < s.marks[i].end && s.marks[i].start < m.end && (rule.by != signNotHere || s.marks[i].start <= m.start) {
					dead[j] = true
				}
			}
		}
	}
	for i := range s.marks {
		m := &s.marks[i]
		switch m.sign {
		case signHere, signPlace:
			dead[i] = dead[i] || s.unreal(m)
		case signNobody, signProblem, signCancel, signCantCome:
			dead[i] = dead[i] || s.supposed(m)
		case signComing:
			dead[i] = dead[i] || s.forOwnSlot(m) || s.supposed(m) && (s.marked('?') || s.asked(m.clause)) && !s.names(m, clsDur|clsTime) && !s.says(m, "late")
		case signAway:
			dead[i] = dead[i] || m.start > 0 && (s.toks[m.start-1].bits&clsYou != 0 || m.start > 1 && s.toks[m.start-2].bits&clsYou != 0 && s.toks[m.start-1].bits&(clsNot|clsBe) == 0)
		case signGot:
			dead[i] = dead[i] || m.start > 0 && s.toks[m.start-1].bits&clsNot != 0
		case signHurry, signBeen:
			dead[i] = dead[i] || m.start > 0 && (s.toks[m.start-1].Text == "no" || s.toks[m.start-1].Text == "not") && (s.says(m, "hurry") || s.says(m, "rush"))
		case signMove:
			dead[i] = dead[i] || s.names(m, clsFood)
		}
	}
	k := 0
	for i := range s.marks {
		if dead[i] {
			continue
		}
		s.marks[k] = s.marks[i]
		s.alive[s.marks[k].sign]++
		k++
	}
	s.marks = s.marks[:k]
}

// unreal tells whether the arrival that m names is not a fact: it lies ahead,
// hangs on a condition, is asked about, or is over.
func (s *scan) unreal(m *mark) bool {
	explicit := s.explicit(m)
	for i := range s.marks {
		o := &s.marks[i]
		if o.start > m.start || o.clause != m.clause && !(o.clause == m.clause-1 && s.carries(m)) {
			continue
		}
		switch o.sign {
		case signFuture:
			if o.end <= m.start+1 && !(explicit && s.restarts(o, m)) || o.clause == m.clause && o.start < m.start && o.end >= m.end {
				return true
			}
		case signCond:
			if o.start < m.start {
				return true
			}
		case signAsk:
			if o.start < m.start && !explicit || m.sign == signPlace {
				return true
			}
		}
	}
	for k := m.start - 1; k >= 0 && k >= m.start-3 && s.clauses[k] == m.clause; k-- {
		if t := s.toks[k].Text; t == "was" || t == "were" {
			return true
		}
	}
	if !s.ctx.today() && !s.ctx.Date.IsZero() && s.toks[m.start].Text == "here" {
		return true
	}
	if !explicit && (!s.ctx.today() || s.ctx.now() < s.ctx.First-120) && !s.ctx.Date.IsZero() {
		return len(s.toks) > 3
	}
	return false
}

// forOwnSlot tells whether m begins "here for 6.10" from somebody whose slot that is,
// and who may be expected now.
func (s *scan) forOwnSlot(m *mark) bool {
	if s.toks[m.start].Text != "here" || word(s.toks, m.start+1) != "for" || !s.ctx.due() {
		return false
	}
	k := m.start + 2
	if k < len(s.toks) && s.toks[k].bits&clsMine != 0 {
		k++
	}
	for i := range s.times {
		if t := &s.times[i]; t.start == k && t.kind == momentClock && slices.Contains(s.ctx.Slots, s.ctx.resolve(*t)) {
			return true
		}
	}
	return false
}

// asked tells whether a clause puts a question.
func (s *scan) asked(clause int) bool {
	for i := range s.marks {
		if s.marks[i].sign == signAsk && s.marks[i].clause == clause {
			return true
		}
	}
	return false
}

// names tells whether a mark's words hold one of a class.
func (s *scan) names(m *mark, c class) bool {
	for k := m.start; k < m.end; k++ {
		if s.toks[k].bits&c != 0 {
			return true
		}
	}
	return false
}

// says tells whether a mark's words hold one word.
func (s *scan) says(m *mark, w string) bool {
	for k := m.start; k < m.end; k++ {
		if s.toks[k].Text == w {
			return true
		}
	}
	return false
}

// supposed tells whether "if" stands before m in its clause: "if nobody answers".
func (s *scan) supposed(m *mark) bool {
	for k := m.start - 1; k >= 0 && s.clauses[k] == m.clause; k-- {
		if t := s.toks[k].Text; t == "if" || t == "si" || t == "unless" || t == "hope" || t == "hopefully" {
			return true
		}
	}
	return false
}

// carries tells whether the clause of m goes on from the one before: joined by
// "and" without a subject and verb of its own.
func (s *scan) carries(m *mark) bool {
	for k := m.start; k >= 0; k-- {
		if s.clauses[k] != m.clause {
			return s.toks[k].Kind != Break
		}
	}
	return false
}

// restarts tells whether a statement of its own begins between o and m: "will
// text later i am here".
func (s *scan) restarts(o, m *mark) bool {
	for k := o.end; k <= m.start && k+1 < len(s.toks); k++ {
		if s.toks[k].bits&clsSubject != 0 && (s.toks[k+1].bits&clsBe != 0 || s.toks[k+1].Text == "have") {
			return true
		}
	}
	return false
}

// explicit tells whether somebody is said to be there: "I am", "he's", "we've".
func (s *scan) explicit(m *mark) bool {
	who := false
	for k := max(0, m.start-4); k < m.end && k < len(s.toks); k++ {
		t := &s.toks[k]
		if s.clauses[k] != m.clause {
			continue
		}
		if t.bits&(clsPerson|clsName) != 0 || t.Text == "i" || t.Text == "we" || t.Text == "he" || t.Text == "she" || t.Text == "they" {
			who = true
		}
		switch t.Text {
		case "am", "are", "is", "have", "has", "been":
			if who || t.Text == "am" {
				return true
			}
		case "estoy", "estamos", "llegue", "llegamos":
			return true
		}
	}
	return false
}

// anyExplicit tells whether some arrival is told outright.
func (s *scan) anyExplicit() bool {
	for i := range s.marks {
		if s.marks[i].sign == signHere && s.explicit(&s.marks[i]) {
			return true
		}
	}
	return false
}
