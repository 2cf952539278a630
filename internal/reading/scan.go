package reading

import (
	"strings"

	"passbell/internal/reading/vehicles"

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
	// reaction is what somebody's phone wrote of their reaction to a text of ours, as an
	// intent; "" for a text of their own.
	reaction Intent
	at       []span // where each word's features begin, once there are some

	alive [signCount]int // marks of each sign that were not muted
}

// Read understands text. It never fails; what it can't place is Other.
func Read(text string, ctx Context) Reading {
	s := newScan(text, &ctx)
	out := s.decide()
	s.weigh(&out)
	switch {
	case out.Intent == Coming && out.Due == nil:
		out.Due = s.loose(true)
	case out.Intent == Move && out.To == nil:
		out.To = s.loose(false)
	}
	out.Tokens = s.toks
	return out
}

// ReadByRules is Read without the learned model: what the model is trained
// beside.
func ReadByRules(text string, ctx Context) Reading {
	s := newScan(text, &ctx)
	out := s.decide()
	out.Tokens = s.toks
	return out
}

// newScan finds everything in a text that a decision can rest on.
func newScan(text string, ctx *Context) *scan {
	if len(text) > maxText {
		text = text[:maxText]
	}
	s := &scan{ctx: ctx, text: text}
	s.text, s.reaction = ownWords(text)
	s.toks = Tokens(s.text)
	s.split()
	s.overlay()
	s.findVehicle()
	s.times = moments(text, s.toks, s.clauses)
	s.marks = vocabulary.find(make([]mark, 0, 16+len(s.toks)*2), s.toks, s.clauses)
	s.allergy = vocabulary.allergyIn(s.toks, s.marks)
	s.mute()
	return s
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
		if n := len(t.Text) - 1; t.Kind == Word && n >= 4 && t.Text[n] == 's' && !t.known && !s.ctx.Book.IsName(t.Text) && s.ctx.Book.IsName(t.Text[:n]) {
			t.Text, t.Possessive = t.Text[:n], true // "Micks" without its apostrophe
		}
		switch {
		case t.Kind == Word && s.ctx.Book.IsRef(t.Text), t.Kind == Number && t.Min < 0 && s.ctx.Book.IsRef(t.Text) && s.meansOrder(i):
			t.bits |= clsRef
		case t.Kind == Word && len(t.Text) > 1 && s.ctx.Book.IsName(t.Text) && (!t.known && (t.Upper || !vehicles.Colour(t.Text)) || s.namedHere(i)):
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
	switch word(s.toks, i-1) { // "here for brown", not "here, brown Hyundai"
	case "for", "under", "name", "soy", "para", "mrs", "mr", "ms", "miss", "dr":
		return t.Upper || i+1 >= len(s.toks) || s.toks[i+1].Kind != Word
	case "and":
		return t.Upper && i > 1 && s.toks[i-2].bits&clsName != 0 // "for Chue and See"
	case "is":
		return t.Upper && (word(s.toks, i-2) == "name" || word(s.toks, i-2) == "it" || word(s.toks, i-2) == "this")
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

// marked tells whether a mark stands behind some words.
func (s *scan) marked(mark byte) bool {
	for i := range s.toks {
		if t := &s.toks[i]; t.Kind == Break && t.Mark == mark && i > 0 {
			return true
		}
	}
	return false
}
