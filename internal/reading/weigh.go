package reading

import (
	_ "embed"
	"slices"
	"sync"

	"passbell/internal/night"
	"passbell/internal/reading/learn"
)

//go:embed intents.model
var intents []byte

// learned is the model that `make train` makes from the labelled nights.
var learned = sync.OnceValue(func() *learn.Model {
	m, err := learn.Parse(intents)
	if err != nil {
		panic(err) // the weights are part of the program
	}
	return m
})

// sureEnough is how much likelier, in the model's view, another intent must be
// than the one that the rules found, before it is taken instead.
const sureEnough = 1.5

// sureOfNoCancel is the same where the rules found a cancellation: the wish is
// rare, so the model has seen few, and one that nobody reads costs a meal.
const sureOfNoCancel = 8

// Below these chances of an arrival a person looks at the text as well: sureHere
// where the rules found it too, sureHereAlone where the model alone did. Leaving
// out one night at a time, that is 3 % of the arrivals and 19 of every 20 texts
// that are taken for one and are none.
const (
	sureHere      = 0.9
	sureHereAlone = 0.95
	sureNotHere   = 0.05 // the rules found one and the model takes it away
)

// Verdict is what rules and model together make of a text.
type Verdict struct {
	Intent Intent
	// Doubt is set where it may as well be an arrival and none: a person looks.
	Doubt bool
}

// Settle weighs what the rules make of a text against the learned model. Words
// that opt out, opt in or ask for help are matters of published rules: the
// model neither takes them away nor adds them.
func Settle(model *learn.Model, features []uint32, rule Intent) Verdict {
	switch rule {
	case Stop, Start, Help:
		return Verdict{Intent: rule}
	case Here, Cancel, Move, Coming, Car, Problem, Ask, Thanks, Other:
	}
	var chances [len(order)]float32
	model.Score(features, chances[:])
	learn.Chances(chances[:])
	best, own, top, here := rule, float32(0), float32(-1), float32(0)
	for i, c := range order {
		chance := chances[i]
		switch c {
		case Stop, Start, Help:
			continue
		case rule:
			own = chance
		}
		if c == Here {
			here = chance
		}
		if chance > top {
			best, top = c, chance
		}
	}
	need := float32(sureEnough)
	if rule == Cancel {
		need = sureOfNoCancel
	}
	if top < need*own {
		best = rule
	}
	v := Verdict{Intent: best}
	switch {
	case best == Here && rule == Here:
		v.Doubt = here < sureHere
	case best == Here:
		v.Doubt = here < sureHereAlone
	case rule == Here:
		v.Doubt = here > sureNotHere
	}
	return v
}

// weigh lets the learned model overrule the rules where it is sure, and brings
// the rest of the reading in line.
func (s *scan) weigh(out *Reading) {
	if len(s.toks) == 0 || s.reaction != "" {
		return
	}
	features, _ := s.features(out.Intent)
	verdict := Settle(learned(), features, out.Intent)
	settled := verdict.Intent
	if settled == Move && out.Intent != Move && s.ownTime(s.wanted()) {
		settled = Coming
	}
	if settled == out.Intent {
		out.Asks = out.Asks || verdict.Doubt
		return
	}
	lost := verdict.Doubt || out.Intent == Cancel || out.Intent == Problem
	out.Why = "Reads most like texts in which " + likeness[settled] + s.weightiest(features, out.Intent, settled) + "."
	out.Intent = settled
	out.Due, out.To, out.Vehicle = nil, nil, s.vehicle
	out.Asks = s.asks() || out.Allergy
	switch settled {
	case Here:
		out.Asks = out.Asks || s.has(signBeen, signHurry, signNobody, signProblem)
	case Coming:
		out.Due = s.expected()
	case Move:
		out.To, out.Asks = s.wanted(), true
	case Cancel, Problem, Ask:
		out.Asks = true
	case Thanks:
		out.Asks = out.Allergy || s.marked('?')
	case Other:
		out.Vehicle, out.Asks = night.Vehicle{}, out.Allergy
	case Stop, Start, Help, Car:
	}
	// What the rules took for a cancellation or a complaint, or what may be an arrival,
	// is read by a person whatever the model thinks: nobody is left unread.
	out.Asks = out.Asks || lost
}

// weightiest quotes the word that speaks most for one intent against another.
func (s *scan) weightiest(features []uint32, from, to Intent) string {
	was, is := slices.Index(order[:], from), slices.Index(order[:], to)
	word, top := -1, float32(0)
	var scores [len(order)]float32
	for k := 0; k+1 < len(s.at); k++ {
		learned().Score(features[s.at[k].feature:s.at[k+1].feature], scores[:])
		if d := scores[is] - scores[was]; d > top {
			word, top = s.at[k].token, d
		}
	}
	if word < 0 {
		return ""
	}
	t := &s.toks[word]
	return ", most for \"" + s.text[t.Start:t.End] + "\""
}

// likeness says what texts of an intent have in common.
var likeness = map[Intent]string{
	Here: "somebody is there", Cancel: "nobody will come", Move: "another time is asked for", Coming: "somebody is on the way",
	Car: "a vehicle is announced", Problem: "something is wrong", Ask: "something is asked", Thanks: "a customer thanks or agrees",
	Other: "the kitchen is not meant",
}
