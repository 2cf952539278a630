package night

import (
	"fmt"
	"strings"
)

// Missing gives the lines of an order of which pieces are missing.
func Missing(items []Item) []Item {
	var out []Item
	for _, it := range items {
		if it.Short > 0 {
			out = append(out, it)
		}
	}
	return out
}

// MissingLine says what of an order is missing, "2 x Pork dumplings, 1 x Chilli
// oil"; "" for nothing.
func MissingLine(items []Item) string {
	var parts []string
	for _, it := range Missing(items) {
		parts = append(parts, fmt.Sprintf("%d x %s", it.Short, it.Name))
	}
	return strings.Join(parts, ", ")
}

// Settled tells whether nothing is left to put into the bag for a line: it is
// ticked, or all of it is missing.
func (it Item) Settled() bool { return it.Ticked || it.AllMissing() }

// AllMissing tells whether there is nothing of a line.
func (it Item) AllMissing() bool { return it.Short > 0 && it.Short >= it.Qty }

// FindItem gives the place of a line that is named by its place and its name. A
// page that was drawn before the order changed may name a place where another
// line stands now; then the name decides. An empty name trusts the place.
func FindItem(items []Item, place int, name string) (int, bool) {
	if place >= 0 && place < len(items) && (name == "" || items[place].Name == name) {
		return place, true
	}
	if name == "" {
		return 0, false
	}
	for i, it := range items {
		if it.Name == name {
			return i, true
		}
	}
	return 0, false
}

// KeepMarks gives the lines now with the marks of the same lines before. A line
// with another number of pieces has to be packed anew and loses its tick; what is
// missing of it stays, as the customer may know.
func KeepMarks(before, now []Item) []Item {
	out := append([]Item{}, now...)
	used := make([]bool, len(before))
	take := func(same func(was, is Item) bool) {
		for i := range out {
			for j, was := range before {
				if used[j] || out[i].Ticked || out[i].Short > 0 || !same(was, out[i]) {
					continue
				}
				used[j] = true
				out[i].Ticked = was.Ticked && was.Qty == out[i].Qty
				out[i].Short = min(was.Short, max(out[i].Qty, 1))
				out[i].AtGate = was.AtGate && out[i].Short > 0
				break
			}
		}
	}
	take(func(was, is Item) bool { return was.Name == is.Name && was.Kind == is.Kind && was.Qty == is.Qty })
	take(func(was, is Item) bool { return was.Name == is.Name && was.Kind == is.Kind })
	return out
}
