package match

import "passbell/internal/reading"

// counted tells whether a text counts the orders of its number or asks which is which,
// so that a slot or a note's word in it tells none from the others: "the two orders at 4".
func counted(toks []reading.Token) bool {
	for k := range toks {
		before, after := textAt(toks, k-1), textAt(toks, k+1)
		switch toks[k].Text {
		case "which":
			return true
		case "two", "2":
			if after == "orders" || before == "the" && after != "pm" && after != "oclock" && after != "one" {
				return true
			}
		case "one":
			if after == "for" && before == "and" {
				return true
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

// both tells whether a text is about all the orders of its number.
func both(toks []reading.Token) bool { return everyOne(toks) || sideBySide(toks) }

// sideBySide tells whether a text puts orders beside each other: "mine and Loretta's",
// "Calvin and I", "Mark's and Linda's both".
func sideBySide(toks []reading.Token) bool {
	all := everyOne(toks)
	for k := range toks {
		before, after := textAt(toks, k-1), textAt(toks, k+1)
		switch toks[k].Text {
		case "and", "y", "et":
			left, right := k > 0 && toks[k-1].IsName(), k+1 < len(toks) && toks[k+1].IsName()
			if left && (self(after) || all) || right && (self(before) || all) {
				return true
			}
		case "mine":
			if after == "and" || after == "an" || before == "and" {
				return true
			}
		case "one":
			if after == "bag" && before == "it" {
				return true // "make it one bag"
			}
		}
	}
	return false
}

// adds tells whether a text puts what it names beside something else, so that it may be
// about more than that: "I'll get Pauline's with mine", "my sister's too".
func adds(toks []reading.Token) bool {
	for k := range toks {
		before, after := textAt(toks, k-1), textAt(toks, k+1)
		switch toks[k].Text {
		case "too", "also", "aswell", "tambien", "aussi":
			return true
		case "well":
			if before == "as" {
				return true
			}
		case "mine", "ours", "own":
			if before == "with" || before == "and" || after == "and" || before == "my" && textAt(toks, k-2) == "with" {
				return true
			}
		case "my", "our":
			if before == "and" || before == "with" && k+1 < len(toks) && toks[k+1].Possessive {
				return true
			}
		}
	}
	return false
}

// singles tells whether a text speaks of one order among others, by its place in a
// row: "the first of the two", "number two", "see you for the other".
func singles(toks []reading.Token) bool {
	for k := range toks {
		before := textAt(toks, k-1)
		switch toks[k].Text {
		case "first", "1st", "second", "2nd", "last", "third", "3rd", "other", "next", "otra", "otro", "segunda", "primera", "deuxieme", "premiere", "autre":
			switch before {
			case "the", "my", "our", "for", "la", "el", "l":
				after := textAt(toks, k+1)
				if after == "" || after == "of" || after == "now" || orderWord[after] {
					return true
				}
			}
		case "number", "no", "num":
			if k+1 < len(toks) && toks[k+1].Num > 0 && toks[k+1].Num < 4 && before != "order" && before != "house" {
				return true
			}
		}
	}
	return false
}

// orderWord are words for an order that stand behind its place in a row.
var orderWord = map[string]bool{
	"one": true, "order": true, "bag": true, "pickup": true, "slot": true, "lot": true, "pedido": true, "orden": true, "commande": true, "half": true, "batch": true,
}

// self tells whether a word is the sender: "Calvin and me", "Silvia y yo".
func self(w string) bool { return w == "i" || w == "me" || w == "myself" || w == "yo" || w == "moi" }

func textAt(toks []reading.Token, k int) string {
	if k < 0 || k >= len(toks) {
		return ""
	}
	return toks[k].Text
}

// everyOne tells whether a text says in so many words that it means all.
func everyOne(toks []reading.Token) bool {
	for k := range toks {
		switch toks[k].Text {
		case "both", "ambos", "ambas":
			return true
		case "dos":
			if p := textAt(toks, k-1); p == "los" || p == "las" && textAt(toks, k-2) != "a" && textAt(toks, k-2) != "para" && textAt(toks, k-2) != "de" {
				return true // "recogemos las dos"; "a las dos" is a time
			}
		}
	}
	return false
}
