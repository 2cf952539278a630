package reading

import (
	"strings"

	"passbell/internal/night"
)

// fullMarks finds "10/10".
func (s *scan) fullMarks() bool {
	for i := 0; i+2 < len(s.toks); i++ {
		if s.toks[i].Num == 10 && s.toks[i+1].Kind == Dash && s.toks[i+2].Num == 10 && s.text[s.toks[i+1].Start] == '/' {
			return true
		}
	}
	return false
}

// shouted gives the word that stands alone, in capitals, behind the last full stop:
// "wrong button. START". "" where none does.
func (s *scan) shouted() string {
	n := len(s.toks)
	for n > 0 && s.toks[n-1].Kind == Break {
		n--
	}
	if n < 2 || s.toks[n-1].Kind != Word || s.toks[n-2].Kind != Break || s.toks[n-2].Mark == ',' || s.toks[n-2].Mark == ':' {
		return ""
	}
	if t := &s.toks[n-1]; strings.ToUpper(t.Text) == s.text[t.Start:t.End] {
		return t.Text
	}
	return ""
}

// keyword settles texts that are one of the published words and nothing else, or end
// in an opt-out or opt-in that stands apart.
func (s *scan) keyword(out *Reading) bool {
	switch w := s.shouted(); w {
	case "stop", "stopall", "unsubscribe", "start", "unstop":
		out.Vehicle, out.Intent = night.Vehicle{}, keywords[w]
		out.Asks = out.Allergy || s.marked('?')
		out.Why = "Ends in " + strings.ToUpper(w) + " on its own."
		return true
	}
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
	"help": Help, "info": Help, "ayuda": Help, "aide": Help,
}

// asks tells whether the text puts a question or a request.
func (s *scan) asks() bool {
	if s.has(signAsk, signRequest) {
		return true
	}
	return s.marked('?')
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
	if s.has(signWrong) && !s.has(signHere, signStop, signStart, signCancel) && !(s.ctx.Known && s.has(signProblem, signAsk, signComing)) {
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
