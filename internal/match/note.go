package match

import (
	"slices"
	"strings"

	"passbell/internal/reading"
)

// tagsOf gives the words by which an order's note says whom it is for: "for the rink
// volunteers", "church order", "my aunt's". Several orders of one number are told
// apart by them.
func tagsOf(note string) []string {
	var out []string
	toks := reading.Tokens(note)
	for i := range toks {
		t := &toks[i]
		switch {
		case t.Kind != reading.Word:
		case t.Text == "for":
			for j := i + 1; j < len(toks) && j <= i+4 && inName(toks, j); j++ {
				if toks[j].Kind == reading.Word && toks[j].Text != "in" && !plain[toks[j].Text] {
					out = append(out, tag(toks[j].Text))
				}
			}
		case t.Text == "order" && i > 0 && toks[i-1].Kind == reading.Word && !plain[toks[i-1].Text]:
			out = append(out, tag(toks[i-1].Text))
		case i > 0 && company[t.Text] && toks[i-1].Kind == reading.Word && !plain[toks[i-1].Text]:
			out = append(out, tag(toks[i-1].Text), tag(t.Text)) // "lab group"
		case t.Text == "my" && i == 0 && len(toks) > 1 && toks[1].Possessive:
			out = append(out, tag(toks[1].Text))
		case i == 0 && kin[t.Text] != "" && (t.Possessive || len(toks) == 1 || toks[1].Kind != reading.Word):
			out = append(out, tag(t.Text)) // "mum's, on my number", "suegra"; not "son drives"
		}
	}
	return out
}

// inName tells whether the token at j may belong to a name: "the in-laws", not "the office
// in town".
func inName(toks []reading.Token, j int) bool {
	if toks[j].Text == "in" {
		return j+1 < len(toks) && toks[j+1].Kind == reading.Dash
	}
	return toks[j].Kind == reading.Word || toks[j].Kind == reading.Dash
}

// company are words for people who share an order.
var company = map[string]bool{
	"group": true, "team": true, "club": true, "crew": true, "staff": true, "class": true, "choir": true, "ward": true, "shift": true, "committee": true, "squad": true,
	"department": true, "dept": true, "circle": true, "volunteers": true, "fellowship": true, "office": true, "lot": true, "gang": true,
}

// plain are words of notes that name nobody.
var plain = map[string]bool{
	"the": true, "my": true, "our": true, "a": true, "an": true, "me": true, "us": true, "mr": true, "mrs": true, "ms": true, "dr": true,
	"second": true, "separate": true, "this": true, "another": true, "other": true, "first": true, "and": true, "of": true, "please": true,
	"client": true, "friend": true, "it": true, "them": true, "later": true, "same": true, "one": true, "to": true, "no": true, "big": true,
	"order": true, "orders": true, "collection": true, "pickup": true, "tonight": true, "today": true, "sharing": true, "half": true,
}

// kin writes the words for one relation the same way.
var kin = map[string]string{
	"mom": "mum", "mam": "mum", "mammy": "mum", "mummy": "mum", "mommy": "mum", "mama": "mum", "mother": "mum", "momma": "mum",
	"daddy": "dad", "father": "dad", "papa": "dad", "auntie": "aunt", "aunty": "aunt", "nana": "nan", "gran": "nan", "grandma": "nan",
	"granny": "nan", "grandmother": "nan", "mum": "mum", "dad": "dad", "aunt": "aunt", "nan": "nan", "neighbor": "neighbour",
	"neighbour": "neighbour", "suegra": "suegra", "suegro": "suegro", "hermano": "hermano", "hermana": "hermana", "esposo": "esposo", "esposa": "esposa",
	"hijo": "hijo", "hija": "hija", "tia": "tia", "tio": "tio", "vecino": "vecino", "vecina": "vecina", "wife": "wife", "husband": "husband", "parent": "parent", "grandad": "grandad", "granddad": "grandad", "grandpa": "grandad", "grandfather": "grandad", "granda": "grandad", "uncle": "uncle", "nephew": "nephew", "niece": "niece", "cousin": "cousin", "grandson": "grandson", "granddaughter": "granddaughter", "sister": "sister", "brother": "brother", "son": "son", "daughter": "daughter",
}

// tag writes a word of a note, or of a text, as tags are compared.
func tag(w string) string {
	if k, ok := kin[w]; ok {
		return k
	}
	if s := strings.TrimSuffix(w, "s"); s != w && len(s) >= 3 {
		if k, ok := kin[s]; ok {
			return k
		}
		return s
	}
	return w
}

// noted narrows the orders of one number to those whose notes the text names; nil
// where it names none of them, or all.
func (x *Index) noted(own []int, toks []reading.Token) []int {
	if rest := x.senders(own, toks); rest != nil {
		return rest
	}
	named := keep(own, func(i int) bool { return tagNamed(x.tags[i], toks) })
	if len(named) < len(own) {
		return named
	}
	return nil
}

// senders gives the sender's own order where a text is about that one and the notes of
// all the others say for whom they are; nil else.
func (x *Index) senders(own []int, toks []reading.Token) []int {
	rest := keep(own, func(i int) bool { return len(x.tags[i]) == 0 })
	if len(rest) == 1 && len(own) > 1 && forMine(toks) {
		return rest
	}
	return nil
}

// tagNamed tells whether a text names one of the tags as what an order is for: "for
// mum", "Pastor's bag", "the mosque order", not "mum says hello" or "by the mosque".
func tagNamed(tags []string, toks []reading.Token) bool {
	for k := range toks {
		t := &toks[k]
		if t.Kind != reading.Word || !slices.Contains(tags, tag(t.Text)) {
			continue
		}
		_, relation := kin[t.Text]
		before, after := textAt(toks, k-1), textAt(toks, k+1)
		if before == "the" || before == "my" || before == "our" {
			before = textAt(toks, k-2)
		}
		if before == "not" {
			continue // "the half four one, not the mammy's"
		}
		switch after {
		case "order", "orders", "food", "bag", "one", "box", "dinner", "lot":
			return true
		case "says", "said", "is":
			if before != "for" {
				continue
			}
		}
		if vehicle[after] && before != "for" {
			continue
		}
		switch before {
		case "for":
			return true
		case "at", "by", "near", "from", "outside", "opposite", "behind", "past", "in":
			continue
		}
		if t.Possessive && !contracts(after) || !relation && before == "" && after != "here" {
			return true
		}
	}
	return false
}

// oneOf tells whether a text means one order of its number without naming it: "ours
// only for now", "back again", "can hers be sliced thin", "here for the veggie one", "I'm
// getting my wife's".
func oneOf(r *reading.Reading) bool {
	for k := range r.Tokens {
		if described(r.Tokens, k) || kinsOwn(r.Tokens, k) {
			return true
		}
		before, after := textAt(r.Tokens, k-1), textAt(r.Tokens, k+1)
		switch r.Tokens[k].Text {
		case "only", "just", "solo":
			switch after {
			case "mine", "ours", "the", "for", "this", "one", "el", "la", "para":
				return true
			}
			if before == "mine" || before == "ours" || before == "this" {
				return true
			}
		case "again":
			if r.Intent == reading.Here && (before == "back" || before == "me" || before == "us") {
				return true
			}
		case "hers", "theirs":
			switch r.Intent {
			case reading.Ask, reading.Cancel, reading.Move, reading.Problem:
				return true
			case reading.Stop, reading.Start, reading.Help, reading.Here, reading.Coming, reading.Car, reading.Thanks, reading.Other:
			}
		}
	}
	return false
}

// described tells whether from k on something is fetched that is told from the rest by
// a word that nothing else of the order book explains: "for the veggie one".
func described(toks []reading.Token, k int) bool {
	switch toks[k].Text {
	case "for", "get", "getting", "collect", "collecting", "grab", "grabbing", "fetch", "fetching", "up":
	default:
		return false
	}
	switch textAt(toks, k+1) {
	case "the", "my", "our", "that":
	default:
		return false
	}
	for j := k + 2; j < len(toks) && j <= k+4 && toks[j].Kind == reading.Word; j++ {
		switch toks[j].Text {
		case "one", "order", "bag", "box", "lot", "batch":
			return j > k+2
		case "whole", "entire", "full", "food", "dinner", "takeaway", "takeout", "dumpling", "pickup", "collection", "big":
			return false
		}
	}
	return false
}

// kinsOwn tells whether the word at k is a relation whose order is fetched: "for my
// sister", "my wife's".
func kinsOwn(toks []reading.Token, k int) bool {
	if _, ok := kin[toks[k].Text]; !ok {
		return false
	}
	switch after := textAt(toks, k+1); {
	case toks[k].Possessive:
		switch after {
		case "", "order", "bag", "one", "food", "box", "dinner", "lot":
			return true
		}
	case textAt(toks, k-1) == "for" || textAt(toks, k-2) == "for" && (textAt(toks, k-1) == "my" || textAt(toks, k-1) == "our"):
		return after == "" || toks[k+1].Kind != reading.Word
	}
	return false
}
