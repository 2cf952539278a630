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
			for j := i + 1; j < len(toks) && j <= i+4 && toks[j].Kind == reading.Word && toks[j].Text != "in"; j++ {
				if !plain[toks[j].Text] {
					out = append(out, tag(toks[j].Text))
				}
			}
		case t.Text == "order" && i > 0 && toks[i-1].Kind == reading.Word && !plain[toks[i-1].Text]:
			out = append(out, tag(toks[i-1].Text))
		case t.Text == "my" && i == 0 && len(toks) > 1 && toks[1].Possessive:
			out = append(out, tag(toks[1].Text))
		}
	}
	return out
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
	"hijo": "hijo", "hija": "hija", "tia": "tia", "tio": "tio", "vecino": "vecino", "vecina": "vecina", "wife": "wife", "husband": "husband", "parent": "parent", "sister": "sister", "brother": "brother", "son": "son", "daughter": "daughter",
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
	for k := range toks {
		if w := toks[k].Text; w == "which" || w == "two" && textAt(toks, k+1) == "orders" || w == "two" && textAt(toks, k-1) == "the" ||
			w == "one" && textAt(toks, k+1) == "for" && textAt(toks, k-1) == "and" {
			return nil // speaks of all of them
		}
	}
	var tagged, named, rest []int
	for _, i := range own {
		switch {
		case len(x.tags[i]) == 0:
			rest = append(rest, i)
		case tagNamed(x.tags[i], toks):
			named = append(named, i)
			tagged = append(tagged, i)
		default:
			tagged = append(tagged, i)
		}
	}
	if len(rest) == 1 && len(tagged) > 0 && forMine(toks) {
		return rest
	}
	if len(named) < len(own) {
		return named
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
		case "car", "van", "truck", "plate", "reg", "number", "name", "says", "said", "is":
			if before != "for" {
				continue
			}
		}
		switch before {
		case "for":
			return true
		case "at", "by", "near", "from", "outside", "opposite", "behind", "past", "in":
			continue
		}
		if t.Possessive || !relation && before == "" && after != "here" {
			return true
		}
	}
	return false
}

// saidFor narrows orders that a text all names to those whose name follows "for" or
// "on": "got Pearl's, now waiting on Calvin's". Nil where that tells nothing.
func (x *Index) saidFor(own []int, toks []reading.Token) []int {
	var out []int
	for _, i := range own {
		for k := range toks {
			if w := textAt(toks, k-1); toks[k].IsName() && (w == "for" || w == "on") && slices.Contains(x.names[i], toks[k].Text) {
				out = appendNew(out, i)
			}
		}
	}
	if len(out) == len(own) {
		return nil
	}
	return out
}

// onlySigned tells whether nothing but a name that says who writes picks one of the
// orders of a number: "Dee here, in the van" may have come for both.
func (x *Index) onlySigned(own, picked []int, r *reading.Reading) bool {
	switch r.Intent {
	case reading.Here, reading.Coming, reading.Cancel, reading.Move:
	case reading.Stop, reading.Start, reading.Help, reading.Car, reading.Problem, reading.Ask, reading.Thanks, reading.Other:
		return false
	}
	if len(x.open(picked)) == 0 || len(picked) >= len(x.open(own)) || len(x.refsIn(r.Tokens)) > 0 || x.namedParts(picked[0], r.Tokens) == 0 {
		return false
	}
	for k := range r.Tokens {
		t := &r.Tokens[k]
		if t.Text == "mine" {
			return false
		}
		if !t.IsName() {
			continue
		}
		switch textAt(r.Tokens, k-1) {
		case "for", "under", "of", "named", "called", "get", "getting", "collect", "collecting", "cancel", "para", "pour", "de":
			return false
		}
		switch textAt(r.Tokens, k+1) {
		case "order", "bag", "one", "food", "collection", "pickup", "only":
			return false
		}
		if t.Possessive {
			return false
		}
	}
	return len(x.ordinal(own, r)) == 0 && len(x.noted(own, r.Tokens)) == 0
}

// oneOf tells whether a text means one order of its number without naming it: "ours
// only for now", "back again", "can hers be sliced thin".
func oneOf(r *reading.Reading) bool {
	for k := range r.Tokens {
		before, after := textAt(r.Tokens, k-1), textAt(r.Tokens, k+1)
		switch r.Tokens[k].Text {
		case "only", "solo":
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

// forMine tells whether a text is about the sender's own order: "here for mine".
func forMine(toks []reading.Token) bool {
	for k := range toks {
		if toks[k].Text == "mine" && textAt(toks, k-1) == "for" || toks[k].Text == "own" && textAt(toks, k-1) == "my" {
			return true
		}
	}
	return false
}

// both tells whether a text is about all the orders of its number: "both of them",
// "mine and Loretta's".
func both(toks []reading.Token) bool {
	for k := range toks {
		switch toks[k].Text {
		case "both", "ambos", "ambas":
			return true
		case "dos":
			if p := textAt(toks, k-1); p == "los" || p == "las" && textAt(toks, k-2) != "a" && textAt(toks, k-2) != "para" && textAt(toks, k-2) != "de" {
				return true // "recogemos las dos"; "a las dos" is a time
			}
		case "and", "y", "et":
			if self(textAt(toks, k+1)) && k > 0 && toks[k-1].IsName() || self(textAt(toks, k-1)) && k+1 < len(toks) && toks[k+1].IsName() {
				return true // "Calvin and I are on our way"
			}
		case "mine":
			if textAt(toks, k+1) == "and" || textAt(toks, k+1) == "an" || textAt(toks, k-1) == "and" {
				return true
			}
		case "one":
			if textAt(toks, k+1) == "bag" && textAt(toks, k-1) == "it" {
				return true // "make it one bag"
			}
		}
	}
	return false
}

// self tells whether a word is the sender: "Calvin and me", "Silvia y yo".
func self(w string) bool { return w == "i" || w == "me" || w == "myself" || w == "yo" || w == "moi" }

func textAt(toks []reading.Token, k int) string {
	if k < 0 || k >= len(toks) {
		return ""
	}
	return toks[k].Text
}
