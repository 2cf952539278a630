package web

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"passbell/internal/night"
)

// find gives the orders that a few typed characters can mean, the best first: a
// bag number, a reference, part of a name, the end of a number, part of a
// plate. Nothing typed gives all. Every word typed must fit.
func find(orders []night.Order, typed string) []night.Order {
	words := strings.Fields(fold(typed))
	type hit struct {
		order night.Order
		rank  int
	}
	var hits []hit
	for _, o := range orders {
		rank := 0
		for _, w := range words {
			r := fits(o, w)
			if r == 0 {
				rank = 0
				break
			}
			rank = max(rank, r)
		}
		if len(words) == 0 || rank > 0 {
			hits = append(hits, hit{o, rank})
		}
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return b.rank - a.rank })
	out := make([]night.Order, len(hits))
	for i, h := range hits {
		out[i] = h.order
	}
	return out
}

// fits says how well one word fits an order; 0 for not at all.
func fits(o night.Order, word string) int {
	ref := fold(o.Ref)
	plate := fold(o.Vehicle.Plate + o.Vehicle.PlatePart)
	digits := strings.TrimLeft(word, "#")
	switch {
	case ref == word || o.Bag > 0 && digits == strconv.Itoa(o.Bag):
		return 5
	case plate != "" && plate == word:
		return 5
	}
	for name := range strings.FieldsSeq(fold(o.Name)) {
		if strings.HasPrefix(name, word) {
			return 4
		}
	}
	switch {
	case len(word) >= 3 && isDigits(word) && (strings.HasSuffix(o.Phone, word) || strings.HasSuffix(onlyDigits(o.PhoneTyped), word)):
		return 3
	case len(word) >= 7 && isDigits(word) && strings.HasSuffix(o.Phone, strings.TrimLeft(word, "0")):
		return 3
	case strings.Contains(fold(o.Name), word):
		return 2
	case len(word) >= 2 && (strings.Contains(plate, word) || strings.Contains(ref, word)):
		return 1
	}
	return 0
}

// fold makes words comparable: no case, no accents, no signs but digits and
// letters.
func fold(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Mn, r), r == '\'', r == '’', r == '-', r == '.':
			return -1
		case unicode.IsLetter(r), unicode.IsDigit(r):
			return unicode.ToLower(r)
		}
		return ' '
	}, norm.NFD.String(s))
}

func isDigits(s string) bool { return s != "" && onlyDigits(s) == s }

func onlyDigits(s string) string {
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, s)
}
