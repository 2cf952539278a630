package book

import (
	"fmt"
	"slices"
	"strings"

	"passbell/internal/night"
)

// compared is the most orders whose names are compared with each other.
const compared = 5000

// compare looks for orders that may be one, and for names that may be mixed up
// at the pass. Nothing is joined or changed: a person settles it.
func (b *builder) compare() {
	b.sameOrders()
	b.alikeNames()
}

// sameOrders shows orders of one customer that say the same, and one number
// under two names.
func (b *builder) sameOrders() {
	first := make(map[string]int, len(b.book.Orders))
	next := make([]int, len(b.book.Orders)) // the order before with the same number, -1 for none
	for i := range b.book.Orders {
		o := &b.book.Orders[i]
		key := o.Phone
		if key == "" {
			key = "\x00" + o.PhoneTyped + fold(o.Name)
		}
		next[i] = -1
		if j, seen := first[key]; seen {
			next[i] = j
			b.sameAs(i, next)
		}
		first[key] = i
	}
}

// mostOf is how many orders of one number are compared with each other.
const mostOf = 20

// sameAs compares an order with those of the same number before it.
func (b *builder) sameAs(i int, next []int) {
	o := &b.book.Orders[i]
	var stranger *night.Order
	for j, n := next[i], 0; j >= 0 && n < mostOf; j, n = next[j], n+1 {
		other := &b.book.Orders[j]
		same := sameName(o.Name, other.Name)
		if same && o.Slot == other.Slot && itemKey(o.Items) == itemKey(other.Items) {
			b.problem(b.rows[i], o.Ref, "order", Look, fmt.Sprintf("it is the same as order %s: same customer, slot and items", other.Ref),
				"keep one of them if it was sent twice")
			return
		}
		if !same {
			stranger = other
		}
	}
	if stranger != nil && o.Phone != "" {
		b.problem(b.rows[i], o.Ref, "phone", Look, fmt.Sprintf("the number is also that of %s, order %s", stranger.Name, stranger.Ref),
			"they get one text for both orders; change the number if that is wrong")
	}
}

func sameName(a, b string) bool { return a == b || fold(a) == fold(b) }

func itemKey(items []night.Item) string {
	parts := make([]string, len(items))
	for i, it := range items {
		parts[i] = fmt.Sprintf("%d %s", it.Qty, fold(it.Name))
	}
	slices.Sort(parts)
	return strings.Join(parts, ";")
}

// alikeNames shows names that differ by a letter, or by the order of their
// words, or are the same with another number.
func (b *builder) alikeNames() {
	if len(b.book.Orders) > compared {
		return
	}
	seen := map[string]int{}
	for i, o := range b.book.Orders {
		if o.Name == "" {
			continue
		}
		told := map[int]bool{}
		for _, key := range nameKeys(o.Name) {
			j, ok := seen[key]
			if !ok {
				seen[key] = i
				continue
			}
			other := b.book.Orders[j]
			if told[j] || fold(other.Name) == fold(o.Name) && (other.Phone == o.Phone || other.Phone == "" || o.Phone == "") {
				continue
			}
			told[j] = true
			what := fmt.Sprintf("%s looks like %s, order %s", o.Name, other.Name, other.Ref)
			if fold(other.Name) == fold(o.Name) {
				what = fmt.Sprintf("another %s has order %s and another number", other.Name, other.Ref)
			}
			b.problem(b.rows[i], o.Ref, "name", Look, what, "ask for the number as well when they come")
			break
		}
	}
}

// nameKeys are the spellings that a name shares with names that look like it:
// its words in order of the alphabet, and those with one letter left out. Short
// names have no such letter to spare.
func nameKeys(name string) []string {
	words := strings.Fields(fold(name))
	slices.Sort(words)
	whole := strings.Join(words, " ")
	keys := []string{whole}
	if len(whole) < 7 {
		return keys
	}
	for i := range len(whole) {
		if whole[i] != ' ' && whole[i] < 0x80 {
			keys = append(keys, whole[:i]+"_"+whole[i+1:], whole[:i]+whole[i+1:])
		}
	}
	return keys
}
