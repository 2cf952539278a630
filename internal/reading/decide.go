package reading

import (
	"slices"

	"passbell/internal/night"
)

// decide weighs the signs in the order of the intents.
func (s *scan) decide() Reading {
	out := Reading{Vehicle: s.vehicle, Allergy: s.allergy != ""}
	if s.reacts(&out) || s.keyword(&out) {
		return out
	}
	asks := s.asks()
	out.Asks = asks || out.Allergy
	if s.fullMarks() {
		s.alive[signThanks]++
	}
	out.Got, out.Waits = s.has(signGot), s.has(signNobody, signBeen)
	switch {
	case s.junk():
		out.Vehicle = night.Vehicle{}
		s.say(&out, Other, "Looks like advertising or a text meant for somebody else.", signNone)
		out.Asks = out.Allergy
	case s.has(signStop):
		s.say(&out, Stop, "Asks for no more messages: ", signStop)
		out.Asks = out.Allergy || s.marked('?')
	case s.has(signStart):
		s.say(&out, Start, "Wants messages again: ", signStart)
	case s.here(&out):
		out.Asks = out.Asks || s.has(signBeen, signHurry, signNobody, signProblem)
	case s.cancels(&out), s.moves(&out):
		out.Asks = true
	case s.comes(&out):
		out.Asks = out.Asks || s.has(signNobody)
	case s.tellsCar(&out):
		out.Asks = out.Asks || s.has(signProblem)
	case s.troubled(&out), s.questions(&out, asks):
		out.Asks = true
	case out.Allergy && !out.Got && !s.served():
		out.Intent, out.Why = Ask, "Tells of an allergy: \""+s.allergy+"\"."
	case s.thanks(&out):
	default:
		s.rest(&out)
	}
	s.namedSlot(&out)
	return out
}

// here decides whether somebody is at the collection point.
func (s *scan) here(out *Reading) bool {
	switch {
	case s.has(signHere) && !(s.served() && s.has(signGot)) && !s.introduces() && !(s.has(signAway) && !s.anyExplicit()):
		s.say(out, Here, "Says that somebody is there: ", signHere)
	case s.has(signPlace) && s.ctx.due() && !(s.has(signLost) && s.asks()) && !s.has(signAway, signComing, signCancel, signMove, signGot, signProblem, signNobody) && !s.question():
		s.say(out, Here, "Says where they stand, while collection is on: ", signPlace)
	case s.oneSlip():
		out.Intent, out.Why = Here, "One word, a letter away from \"here\"."
	case s.bareName():
		out.Intent, out.Why = Here, "Gives only a name or a reference, while collection is on."
	case s.bareCar():
		out.Intent, out.Why = Here, "Only describes the car, while collection is on: that is what the reminder asks for."
	default:
		return false
	}
	return true
}

// introduces tells whether every "here" only says who writes: "Luca here, can
// you ...".
func (s *scan) introduces() bool {
	if !s.asks() && !s.has(signComing, signAway, signCancel, signCantCome, signMove, signProblem) {
		return false
	}
	for i := range s.marks {
		m := &s.marks[i]
		if m.sign != signHere {
			continue
		}
		prev := m.start - 1
		if m.end-m.start != 1 || s.toks[m.start].Text != "here" || prev < 0 || s.toks[prev].Kind != Word {
			return false
		}
		if t := &s.toks[prev]; t.bits&clsName == 0 && (t.known || !t.Upper) {
			return false
		}
	}
	return true
}

// oneSlip tells whether the text is "here" with one wrong letter and nothing
// else: "hera", "hwre".
func (s *scan) oneSlip() bool {
	var word *Token
	for i := range s.toks {
		if t := &s.toks[i]; t.Kind == Word {
			if word != nil {
				return false
			}
			word = t
		}
	}
	return word != nil && !word.known && word.bits&overlaid == 0 && len(word.Text) >= 3 && len(word.Text) <= 5 && s.ctx.due() && near(word.Text, "here")
}

// bareName tells whether the text is a full name or a reference and little
// else, from somebody who may be expected.
func (s *scan) bareName() bool {
	if !s.ctx.due() || s.served() || s.asks() {
		return false
	}
	names, refs, rest := 0, 0, 0
	for i := range s.toks {
		t := &s.toks[i]
		switch {
		case t.Kind == Break || t.Kind == Emoji || t.Kind == Dash:
		case t.bits&clsRef != 0:
			refs++
		case t.bits&clsName != 0:
			names++
		case t.bits&(clsFiller|clsPolite|clsGreeting|clsVocative|clsItem|clsMine|clsSubject|clsBe) == 0 && t.Text != "name" && t.Text != "under":
			rest++
		}
	}
	return refs > 0 && (rest == 0 || rest <= 3 && !s.ctx.Known && !s.has(signCancel, signCantCome, signMove, signShift, signComing, signProblem, signNobody, signWrong, signFuture)) || names >= 2 && rest <= 1 && !s.has(signThanks) || names >= 2 && !s.ctx.Known && rest <= 4 && !s.has(signCancel, signCantCome, signMove, signShift, signComing, signProblem, signNobody, signWrong, signFuture)
}

func (s *scan) served() bool { return s.ctx.Facts.Served }

// question tells whether the first clause with words asks.
func (s *scan) question() bool {
	m := s.first(signAsk)
	if m != nil && m.start <= 2 {
		return true
	}
	for i := range s.toks {
		if t := &s.toks[i]; t.Kind == Break && t.Mark == '?' && s.clauses[i] == 0 {
			return true
		}
	}
	return false
}

// bareCar tells whether the text describes a vehicle that stands there: sent
// while the order is due, without a word of the future or another wish.
func (s *scan) bareCar() bool {
	if v := &s.vehicle; v.Body == "foot" && v.Plate == "" && v.Make == "" && s.expected() != nil {
		return false // "I walk, 18:30"
	}
	if !s.ctx.due() || s.served() || s.has(signAway, signComing, signCancel, signCantCome, signMove) || !s.firmCar() {
		return false
	}
	if s.has(signFuture, signCond) || s.has(signWillCar) && !s.has(signIsIn) {
		return false
	}
	if s.has(signAsk, signProblem, signNobody) && !s.has(signNowCar) && !s.mostlyCar() {
		return false
	}
	return true
}

// firmCar tells whether the text really describes a vehicle: a plate, a make,
// a body, or a colour in the manner of a description.
func (s *scan) firmCar() bool {
	v := &s.vehicle
	return v.Plate != "" || v.PlatePart != "" || v.Make != "" || v.Model != "" || v.Body != "" ||
		len(v.Colours) > 0 && (s.has(signNowCar, signWillCar) || s.mostlyCar())
}

// mostlyCar tells whether most words belong to a vehicle's description.
func (s *scan) mostlyCar() bool {
	car, rest := 0, 0
	for i := range s.toks {
		t := &s.toks[i]
		switch {
		case t.Kind == Break || t.Kind == Emoji || t.Kind == Dash:
		case t.bits&(clsCar|clsPlate) != 0:
			car++
		case t.bits&(clsFiller|clsName|clsRef) == 0:
			rest++
		}
	}
	return car > 0 && rest <= car
}

func (s *scan) cancels(out *Reading) bool {
	if s.has(signCancel) {
		s.say(out, Cancel, "Wants the order cancelled: ", signCancel)
		return true
	}
	if !s.has(signCantCome) || s.has(signMove) || s.has(signShift) && s.asks() {
		return false
	}
	m := s.first(signCantCome)
	for _, t := range s.times {
		if t.kind == momentClock && t.start >= m.start {
			return false
		}
	}
	s.say(out, Cancel, "Says that nobody will come: ", signCantCome)
	return true
}

func (s *scan) moves(out *Reading) bool {
	sign := signMove
	switch {
	case s.has(signMove):
	case s.has(signShift) && (s.asks() || !s.has(signFuture, signComing)):
		sign = signShift
	case s.has(signCantCome):
		sign = signCantCome
	default:
		return false
	}
	if s.served() && !s.asks() {
		return false
	}
	to := s.wanted()
	if sign == signShift && s.ownTime(to) {
		return false
	}
	s.say(out, Move, "Asks for another time: ", sign)
	out.To = to
	return true
}

// ownTime tells whether what seems to be asked for is the slot that the sender has,
// told and not asked: they mean to keep to it.
func (s *scan) ownTime(to *night.Clock) bool {
	return to != nil && len(s.ctx.Slots) == 1 && *to == s.ctx.Slots[0] && !s.asks() && !s.has(signMove, signCantCome)
}

func (s *scan) comes(out *Reading) bool {
	due := s.expected()
	if due == nil {
		due = s.returns()
	}
	switch {
	case due != nil && s.has(signGot) && len(s.ctx.Slots) > 1 && s.has(signFuture, signComing) && !s.asks():
		out.Intent, out.Why = Coming, "Has some of the food and says when they come for the rest."
	case s.served() && (due == nil || s.has(signGot)), s.has(signNobody) && !s.has(signAway) && due == nil && s.ctx.serving():
		return false
	case s.has(signNoCar) && s.has(signFuture) && due == nil && !s.ctx.serving():
		return false
	case s.has(signAway) && (s.ctx.today() || due != nil):
		s.say(out, Coming, "Says that they are not there yet: ", signAway)
	case s.comingFirst() && (s.ctx.today() || due != nil):
		s.say(out, Coming, "Says that they are on the way: ", signComing)
	case due != nil && s.has(signFuture) && !s.question() && !s.timeAsked():
		s.say(out, Coming, "Says when they will come: ", signFuture)
	case due != nil && !s.has(signAsk, signRequest, signProblem) && s.onlyTime():
		out.Intent, out.Why = Coming, "Names a time and little else."
	default:
		return false
	}
	out.Due = due
	return true
}

// returns gives the slot for which a sender with several orders, who has the food of
// one, says to come again: "got it, I'll come myself for the half six".
func (s *scan) returns() *night.Clock {
	if !s.has(signGot) || len(s.ctx.Slots) < 2 || len(s.times) != 1 || s.times[0].kind != momentClock {
		return nil
	}
	c := s.ctx.resolve(s.times[0])
	if !slices.Contains(s.ctx.Slots, c) || s.ctx.today() && c < s.ctx.now() {
		return nil
	}
	return &c
}

// comingFirst tells whether a word of travel stands outside a question.
func (s *scan) comingFirst() bool {
	for i := range s.marks {
		if s.marks[i].sign != signComing {
			continue
		}
		asked := false
		for j := range s.marks {
			a := &s.marks[j]
			if a.sign == signAsk && a.clause == s.marks[i].clause && a.start < s.marks[i].start && (!s.explicit(&s.marks[i]) || s.toks[a.start].bits&clsBe != 0) {
				asked = true
			}
		}
		if !asked {
			return true
		}
	}
	return false
}

// timeAsked tells whether the clause that names a time asks something.
func (s *scan) timeAsked() bool {
	for i := range s.times {
		if s.asked(s.times[i].clause) {
			return true
		}
	}
	return false
}

// onlyTime tells whether little but a time was said.
func (s *scan) onlyTime() bool {
	rest, timed := 0, 0
	for i := range s.toks {
		t := &s.toks[i]
		switch {
		case t.Kind != Word && t.Kind != Number:
		case t.bits&(clsTime|clsDur) != 0:
			timed++
		case t.bits&(clsFiller|clsVocative|clsName|clsAdverb|clsPolite|clsGreeting) == 0:
			rest++
		}
	}
	return timed > 0 && rest <= 1
}

func (s *scan) tellsCar(out *Reading) bool {
	if s.served() && s.has(signProblem, signAsk, signThanks) {
		return false
	}
	if !s.firmCar() {
		if s.has(signNoCar) && !s.asks() && !s.served() {
			s.say(out, Car, "Comes without a car: ", signNoCar)
			return true
		}
		return false
	}
	if s.has(signWillCar, signNowCar) || s.mostlyCar() || s.vehicle.Plate != "" {
		if s.vehicle.Plate == "" && !s.carStated() {
			return false
		}
		out.Intent, out.Why = Car, "Tells which vehicle it will be, without being there."
		return true
	}
	if s.has(signAsk, signProblem, signNobody, signRequest) {
		return false
	}
	out.Intent, out.Why = Car, "Describes a vehicle, without being there."
	return true
}

// carStated tells whether some clause speaks of the vehicle without asking.
func (s *scan) carStated() bool {
	for i := range s.toks {
		if s.toks[i].bits&clsCar == 0 {
			continue
		}
		asked := false
		for j := range s.marks {
			if m := &s.marks[j]; (m.sign == signAsk || m.sign == signRequest) && m.clause == s.clauses[i] && m.start < i {
				asked = true
			}
		}
		if !asked {
			return true
		}
	}
	return false
}

func (s *scan) troubled(out *Reading) bool {
	switch {
	case s.has(signNobody) && (s.ctx.serving() && s.ctx.Known || !s.asks()):
		s.say(out, Problem, "Says that nobody comes out: ", signNobody)
	case s.has(signProblem) && !(s.asks() && !s.ctx.serving() && !s.ctx.Facts.Arrived && !s.past()):
		s.say(out, Problem, "Reports something wrong: ", signProblem)
	case s.has(signBeen) && s.ctx.serving() && !s.has(signThanks, signGot):
		s.say(out, Problem, "Has been waiting: ", signBeen)
	default:
		return false
	}
	return true
}
