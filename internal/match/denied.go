package match

import (
	"slices"

	"passbell/internal/reading"
)

// denied tells whether a text says of one of these orders that it is not meant: "not for
// Ama", "all except L107", "not the second one". A clue that is denied is none.
func (x *Index) denied(list []int, toks []reading.Token) bool {
	for k := range toks {
		if !denies(toks, k) {
			continue
		}
		j := k + 1
		for passedOver[textAt(toks, j)] {
			j++
		}
		if j < len(toks) && x.points(list, toks, j) {
			return true
		}
	}
	return false
}

// denies tells whether the word at k takes out what follows.
func denies(toks []reading.Token, k int) bool {
	switch toks[k].Text {
	case "not", "except", "excluding", "without", "minus":
		return true
	case "but", "bar":
		switch textAt(toks, k-1) {
		case "all", "everything", "anything", "any":
			return true
		}
	}
	return false
}

// passedOver may stand between a denial and what it denies.
var passedOver = map[string]bool{
	"for": true, "the": true, "my": true, "our": true, "to": true, "of": true, "from": true, "about": true, "pick": true, "picking": true, "up": true,
	"get": true, "getting": true, "collect": true, "collecting": true, "here": true, "under": true, "order": true,
}

// points tells whether the word at k is what tells one of these orders from others.
func (x *Index) points(list []int, toks []reading.Token, k int) bool {
	t := &toks[k]
	switch after := textAt(toks, k+1); t.Text {
	case "first", "1st", "earlier", "second", "2nd", "later", "last", "third", "3rd", "other", "next":
		return after == "one" || after == "order" || after == "bag" || after == "slot" || after == "lot"
	}
	if t.Kind == reading.Number {
		return textAt(toks, k+1) == "one"
	}
	return slices.ContainsFunc(list, func(i int) bool {
		return t.IsName() && slices.Contains(x.names[i], t.Text) || t.IsRef() && x.IsRef(t.Text) && x.byRef[t.Text] == i || slices.Contains(x.tags[i], tag(t.Text))
	})
}
