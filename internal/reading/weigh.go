package reading

import (
	_ "embed"
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
const sureEnough = 2.5

// sureOfNoCancel is the same where the rules found a cancellation: the wish is
// rare, so the model has seen few, and one that nobody reads costs a meal.
const sureOfNoCancel = 8

// Settle weighs what the rules make of a text against the learned model. Words
// that opt out, opt in or ask for help are matters of published rules: the
// model neither takes them away nor adds them.
func Settle(model *learn.Model, features []uint32, rule Intent) Intent {
	switch rule {
	case Stop, Start, Help:
		return rule
	case Here, Cancel, Move, Coming, Car, Problem, Ask, Thanks, Other:
	}
	var chances [len(order)]float32
	model.Score(features, chances[:])
	learn.Chances(chances[:])
	best, own, top := rule, float32(0), float32(-1)
	for i, c := range order {
		chance := chances[i]
		switch {
		case c == Stop || c == Start || c == Help:
			continue
		case c == rule:
			own = chance
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
		return rule
	}
	return best
}

// weigh lets the learned model overrule the rules where it is sure, and brings
// the rest of the reading in line.
func (s *scan) weigh(out *Reading) {
	if len(s.toks) == 0 {
		return
	}
	features, _ := s.features(out.Intent)
	settled := Settle(learned(), features, out.Intent)
	if settled == Move && out.Intent != Move && s.ownTime(s.wanted()) {
		settled = Coming
	}
	if settled == out.Intent {
		return
	}
	lost := out.Intent == Cancel || out.Intent == Problem
	out.Intent, out.Why = settled, "Reads most like texts in which "+likeness[settled]+"."
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
	// What the rules took for a cancellation or a complaint is read by a person
	// whatever the model thinks: nobody is left unread.
	out.Asks = out.Asks || lost
}

// likeness says what texts of an intent have in common.
var likeness = map[Intent]string{
	Here: "somebody is there", Cancel: "nobody will come", Move: "another time is asked for", Coming: "somebody is on the way",
	Car: "a vehicle is announced", Problem: "something is wrong", Ask: "something is asked", Thanks: "a customer thanks or agrees",
	Other: "the kitchen is not meant",
}
