package reading

import (
	"strings"

	"passbell/internal/night"
)

// scan is one text under examination.
type scan struct {
	ctx     *Context
	text    string
	toks    []Token
	clauses []int // clause of each token
	marks   []mark
	times   []moment
	vehicle night.Vehicle
	allergy string

	alive [signCount]int // marks of each sign that were not muted
}

// Read understands text. It never fails; what it can't place is Other.
func Read(text string, ctx Context) Reading {
	if len(text) > maxText {
		text = text[:maxText]
	}
	s := scan{ctx: &ctx, text: text, toks: Tokens(text)}
	s.split()
	s.overlay()
	s.findVehicle()
	s.times = moments(text, s.toks, s.clauses)
	s.marks = vocabulary.find(make([]mark, 0, 16+len(s.toks)*2), s.toks, s.clauses)
	s.allergy = vocabulary.allergyIn(s.toks, s.marks)
	s.mute()
	out := s.decide()
	out.Tokens = s.toks
	return out
}

// maxText is ten joined parts of 160 characters, in four-byte letters.
const maxText = 6400

// split numbers the clauses: punctuation ends one, and so do "but", "and" and
// "then" before a new statement.
func (s *scan) split() {
	s.clauses = make([]int, len(s.toks))
	n := 0
	for i := range s.toks {
		t := &s.toks[i]
		switch {
		case t.Kind == Break || t.Kind == Emoji:
			s.clauses[i] = n
			n++
			continue
		case t.Text == "but" || t.Text == "then" || t.Text == "pero" || t.Text == "because" || t.Text == "though":
			n++
		case t.Text == "and" && i+1 < len(s.toks) && s.toks[i+1].bits&(clsSubject|clsNobody|clsPerson|clsWill|clsCan) != 0:
			n++
		}
		s.clauses[i] = n
	}
}

// overlay marks the references and names of the order book.
func (s *scan) overlay() {
	if s.ctx.Book == nil {
		return
	}
	for i := range s.toks {
		t := &s.toks[i]
		if t.typed != "" && s.ctx.Book.IsName(t.typed) && (t.Upper || s.nameBeside(i)) {
			*t = Token{Text: t.typed, Start: t.Start, End: t.End, Upper: t.Upper, Num: -1, Min: -1}
		}
	}
	for i := range s.toks {
		t := &s.toks[i]
		switch {
		case t.Kind == Word && s.ctx.Book.IsRef(t.Text), t.Kind == Number && t.Min < 0 && s.ctx.Book.IsRef(t.Text) && s.meansOrder(i):
			t.bits |= clsRef
		case t.Kind == Word && len(t.Text) > 1 && s.ctx.Book.IsName(t.Text) && (!t.known || s.namedHere(i)):
			t.bits |= clsName
		}
		if t.Kind == Word && i+1 < len(s.toks) {
			s.joinedRef(i)
			if n := &s.toks[i+1]; t.bits&clsName == 0 && len(t.Text) <= 3 && n.Kind == Word && s.ctx.Book.IsName(t.Text+n.Text) {
				t.bits |= clsName
				n.bits |= clsName
			}
		}
	}
}

// nameBeside tells whether the word before or after is a name of the book.
func (s *scan) nameBeside(i int) bool {
	for _, j := range [2]int{i - 1, i + 1} {
		if j < 0 || j >= len(s.toks) || s.toks[j].Kind != Word {
			continue
		}
		if t := &s.toks[j]; s.ctx.Book.IsName(t.Text) || t.typed != "" && s.ctx.Book.IsName(t.typed) {
			return true
		}
	}
	return false
}

// joinedRef marks a reference that was written in two: "K 401", "LD-101".
func (s *scan) joinedRef(i int) {
	j := i + 1
	if s.toks[j].Kind == Dash && j+1 < len(s.toks) {
		j++
	}
	if s.toks[j].Kind != Number || s.toks[j].Min >= 0 || len(s.toks[i].Text) > 4 {
		return
	}
	if s.ctx.Book.IsRef(s.toks[i].Text + s.toks[j].Text) {
		for k := i; k <= j; k++ {
			s.toks[k].bits |= clsRef
		}
	}
}

// meansOrder tells whether the bare number at i is said to be an order's.
func (s *scan) meansOrder(i int) bool {
	if t := s.toks[i]; t.Start > 0 && s.text[t.Start-1] == '#' {
		return true
	}
	switch word(s.toks, i-1) {
	case "order", "number", "no", "num", "ref", "reference", "pedido", "orden", "numero", "ticket":
		return true
	}
	return false
}

// namedHere tells whether a word that is also an everyday word is meant as a
// name: beside another name, or behind "for", "it is", "name is".
func (s *scan) namedHere(i int) bool {
	t := &s.toks[i]
	if t.bits&(clsBe|clsSubject|clsMine|clsBeside) != 0 {
		return false
	}
	for _, j := range [2]int{i - 1, i + 1} {
		if j >= 0 && j < len(s.toks) && s.toks[j].Kind == Word && s.ctx.Book.IsName(s.toks[j].Text) && (!s.toks[j].known || s.toks[j].Upper && t.Upper) {
			return true
		}
	}
	switch word(s.toks, i-1) {
	case "for", "under", "name", "soy", "para", "mrs", "mr", "ms", "miss", "dr":
		return t.Upper || i+1 >= len(s.toks) || s.toks[i+1].Kind != Word
	case "is":
		return t.Upper && (word(s.toks, i-2) == "name" || word(s.toks, i-2) == "it" || word(s.toks, i-2) == "this")
	}
	return false
}

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
			dead[i] = dead[i] || s.supposed(m) && (s.marked('?') || s.asked(m.clause)) && !s.names(m, clsDur|clsTime) && !s.says(m, "late")
		case signGot:
			dead[i] = dead[i] || m.start > 0 && s.toks[m.start-1].bits&clsNot != 0
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

func (s *scan) has(signs ...Sign) bool {
	for _, x := range signs {
		if s.alive[x] > 0 {
			return true
		}
	}
	return false
}

// first gives the first mark of a sign.
func (s *scan) first(sign Sign) *mark {
	for i := range s.marks {
		if s.marks[i].sign == sign {
			return &s.marks[i]
		}
	}
	return nil
}

// said quotes the words of the first mark of a sign, as they were sent.
func (s *scan) said(sign Sign) string {
	m := s.first(sign)
	if m == nil {
		return ""
	}
	end := m.end
	for end > m.start+1 && end <= len(s.toks) && s.toks[end-1].Kind != Word && s.toks[end-1].Kind != Number {
		end--
	}
	return strings.TrimSpace(s.text[s.toks[m.start].Start:s.toks[end-1].End])
}

// decide weighs the signs in the order of the intents.
func (s *scan) decide() Reading {
	out := Reading{Vehicle: s.vehicle, Allergy: s.allergy != ""}
	if s.keyword(&out) {
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

// fullMarks finds "10/10".
func (s *scan) fullMarks() bool {
	for i := 0; i+2 < len(s.toks); i++ {
		if s.toks[i].Num == 10 && s.toks[i+1].Kind == Dash && s.toks[i+2].Num == 10 && s.text[s.toks[i+1].Start] == '/' {
			return true
		}
	}
	return false
}

// say settles the intent and the sentence; a sign adds the words that said so.
func (s *scan) say(out *Reading, intent Intent, why string, sign Sign) {
	out.Intent = intent
	out.Said = s.sentence(sign)
	if words := s.said(sign); sign != signNone && words != "" {
		why += "\"" + words + "\"."
	}
	out.Why = why
}

// sentence gives the tokens between the full stops round the first mark of a
// sign.
func (s *scan) sentence(sign Sign) [2]int {
	m := s.first(sign)
	if m == nil {
		return [2]int{}
	}
	stop := func(t *Token) bool { return t.Kind == Break && t.Mark != ',' && t.Mark != ':' }
	from, to := m.start, m.end
	for from > 0 && !stop(&s.toks[from-1]) {
		from--
	}
	for to < len(s.toks) && !stop(&s.toks[to]) {
		to++
	}
	return [2]int{from, to}
}

// keyword settles texts that are one of the published words and nothing else.
func (s *scan) keyword(out *Reading) bool {
	key, n, polite := "", 0, false
	for i := range s.toks {
		t := &s.toks[i]
		if t.Kind != Word {
			if t.Kind == Number {
				return false
			}
			continue
		}
		if t.bits&clsPolite != 0 && keywords[t.Text] == "" {
			polite = true
			continue
		}
		if t.Text == key {
			continue
		}
		if n++; n > 2 {
			return false
		}
		key += t.Text
	}
	intent, ok := keywords[key]
	if !ok {
		return false
	}
	out.Vehicle = night.Vehicle{}
	switch {
	case key == "yes":
		if !s.ctx.Facts.OptedOut {
			return false
		}
	case key == "cancel" || key == "cancelar":
		if polite {
			return false
		}
		out.Asks = true
		out.Intent, out.Why = Stop, "CANCEL alone opts out; the order may have been meant."
		return true
	case intent == Help:
		out.Asks = true
	}
	out.Intent = intent
	out.Why = strings.ToUpper(key) + " alone is the published word for it."
	return true
}

// keywords are the published words, see 47 CFR 64.1200(a)(10) and the CTIA
// Messaging Principles and Best Practices (May 2023) §5.1.3.
var keywords = map[string]Intent{
	"stop": Stop, "stopall": Stop, "unsubscribe": Stop, "end": Stop, "quit": Stop, "cancel": Stop, "optout": Stop, "revoke": Stop, "remove": Stop,
	"arret": Stop, "alto": Stop, "baja": Stop, "parar": Stop, "cancelar": Stop, "stopp": Stop, "unsub": Stop,
	"start": Start, "unstop": Start, "yes": Start, "optin": Start, "subscribe": Start, "resubscribe": Start, "resume": Start,
	"help": Help, "info": Help, "ayuda": Help,
}

// asks tells whether the text puts a question or a request.
func (s *scan) asks() bool {
	if s.has(signAsk, signRequest) {
		return true
	}
	return s.marked('?')
}

// marked tells whether a mark stands behind some words.
func (s *scan) marked(mark byte) bool {
	for i := range s.toks {
		if t := &s.toks[i]; t.Kind == Break && t.Mark == mark && i > 0 {
			return true
		}
	}
	return false
}

// topical tells whether the text speaks of the kitchen's matters at all.
func (s *scan) topical() bool {
	for i := range s.toks {
		if s.toks[i].bits&(clsTopic|clsItem|clsFood|clsRef|clsName|clsAllergen) != 0 {
			return true
		}
	}
	return false
}

// businesslike is topical without the words that a family's texts share, such
// as food.
func (s *scan) businesslike() bool {
	for i := range s.toks {
		if s.toks[i].bits&(clsTopic|clsItem|clsRef|clsName) != 0 {
			return true
		}
	}
	return false
}

// junk tells advertising, wrong numbers and private texts from the rest.
func (s *scan) junk() bool {
	if s.has(signWrong) && !s.has(signHere, signStop, signCancel) && !(s.ctx.Known && s.has(signProblem, signAsk, signComing)) {
		return true
	}
	if !s.ctx.Known && s.has(signSpam) && !s.anyExplicit() {
		return true
	}
	if !s.ctx.Known && s.has(signPrivate) && !s.businesslike() && !s.has(signHere) {
		return true
	}
	ads := s.alive[signAd]
	if ads == 0 {
		return false
	}
	if !s.ctx.Known {
		return ads >= 1 && !s.has(signHere) && !(s.has(signStop) && ads < 2) && !s.namesOrder() || ads >= 3
	}
	return ads >= 2 && !s.has(signHere, signStop, signComing, signCancel, signThanks)
}

// namesOrder tells whether a name or a reference of the book is in the text.
func (s *scan) namesOrder() bool {
	for i := range s.toks {
		if s.toks[i].bits&(clsRef|clsName) != 0 {
			return true
		}
	}
	return false
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

// anyExplicit tells whether some arrival is told outright.
func (s *scan) anyExplicit() bool {
	for i := range s.marks {
		if s.marks[i].sign == signHere && s.explicit(&s.marks[i]) {
			return true
		}
	}
	return false
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
	s.say(out, Move, "Asks for another time: ", sign)
	out.To = s.wanted()
	return true
}

func (s *scan) comes(out *Reading) bool {
	due := s.expected()
	switch {
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

// comingFirst tells whether a word of travel stands outside a question.
func (s *scan) comingFirst() bool {
	for i := range s.marks {
		if s.marks[i].sign != signComing {
			continue
		}
		asked := false
		for j := range s.marks {
			a := &s.marks[j]
			if a.sign == signAsk && a.clause == s.marks[i].clause && a.start < s.marks[i].start && !s.explicit(&s.marks[i]) {
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

// past tells whether the night is over.
func (s *scan) past() bool {
	return !s.ctx.Date.IsZero() && s.ctx.Date.Before(night.DateOf(s.ctx.At.In(s.ctx.zone())))
}

func (s *scan) questions(out *Reading, asks bool) bool {
	if !asks {
		return false
	}
	if s.has(signPrivate) && !s.businesslike() && !out.Allergy {
		return false
	}
	topic := s.topical()
	if !topic && (s.has(signPrivate) || !s.ctx.Known && !s.has(signAsk)) {
		return false
	}
	switch {
	case s.has(signAsk):
		s.say(out, Ask, "Asks something: ", signAsk)
	case s.has(signRequest):
		s.say(out, Ask, "Asks for something: ", signRequest)
	default:
		out.Intent, out.Why = Ask, "Ends in a question mark."
	}
	return true
}

func (s *scan) thanks(out *Reading) bool {
	switch {
	case s.has(signGot):
		s.say(out, Thanks, "Has the food: ", signGot)
	case s.has(signPrivate) && !s.has(signThanks):
		return false
	case s.has(signThanks):
		s.say(out, Thanks, "Acknowledges or thanks: ", signThanks)
	case s.friendly():
		out.Intent, out.Why = Thanks, "Only a friendly reaction."
	case s.ctx.Known && s.has(signComing, signFuture) && !s.ctx.serving():
		out.Intent, out.Why = Thanks, "Says that they will come, without a time to settle."
	default:
		return false
	}
	return true
}

// friendly tells whether the text is emoji and small words only.
func (s *scan) friendly() bool {
	seen := false
	for i := range s.toks {
		t := &s.toks[i]
		switch {
		case t.id == idEmojiBad:
			return false
		case t.Kind == Emoji:
			seen = true
		case t.Kind == Break || t.Kind == Dash:
		case t.bits&(clsVocative|clsGreeting|clsName|clsPolite) != 0 || t.Text == "x" || t.Text == "xx" || t.Text == "xxx":
			seen = true
		default:
			return false
		}
	}
	return seen
}

// rest settles what no rule placed. From somebody who is there and waits, it
// is more about where they stand.
func (s *scan) rest(out *Reading) {
	if s.ctx.Facts.Arrived && !s.served() && s.settling() && !s.has(signPrivate) && len(s.toks) > 0 {
		out.Intent, out.Why = Here, "Adds to what they said when they arrived."
		out.Asks = out.Asks || s.has(signHurry, signBeen)
		return
	}
	out.Asks = out.Allergy
	out.Vehicle = night.Vehicle{}
	if s.has(signSorry) && !s.has(signPrivate) {
		s.say(out, Thanks, "Only an apology: ", signSorry)
		return
	}
	if s.ctx.Facts.Arrived && s.ctx.today() && !s.has(signPrivate) && s.words() >= 3 {
		if s.lacks() {
			out.Intent, out.Asks, out.Why = Problem, true, "After the food was handed over, says what it is not."
			return
		}
		out.Intent, out.Why = Thanks, "A remark after the food was handed over."
		return
	}
	out.Intent, out.Why = Other, "Nothing in it is about an order."
}

// lacks tells whether the text denies something of the food: "half the order
// is not here".
func (s *scan) lacks() bool {
	not, food := false, false
	for i := range s.toks {
		t := &s.toks[i]
		not = not || t.bits&clsNot != 0 || t.Text == "only" || t.Text == "half" || t.Text == "without" || t.Text == "nothing"
		food = food || t.bits&(clsItem|clsFood|clsAllergen) != 0
	}
	return not && food
}

// words counts the words that the tables know.
func (s *scan) words() int {
	n := 0
	for i := range s.toks {
		if s.toks[i].known {
			n++
		}
	}
	return n
}

// settling tells whether the sender arrived just now, so that a text without
// a sign of its own adds to that.
func (s *scan) settling() bool {
	at := s.ctx.Facts.ArrivedAt
	return at.IsZero() || s.ctx.At.Sub(at) <= settling
}
