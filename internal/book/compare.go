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
	b.sameNumbers()
	b.alikeNames()
}

func (b *builder) sameOrders() {
	seen := map[string]night.Order{}
	for _, o := range b.book.Orders {
		key := fmt.Sprint(fold(o.Name), o.Phone, o.PhoneTyped, o.Slot, itemKey(o.Items))
		if o.Phone != "" {
			key = fmt.Sprint(fold(o.Name), o.Phone, o.Slot, itemKey(o.Items))
		}
		if other, ok := seen[key]; ok {
			b.problem(b.firstRow(o.Ref), o.Ref, "order", Look, fmt.Sprintf("it is the same as order %s: same customer, slot and items", other.Ref),
				"keep one of them if it was sent twice")
			continue
		}
		seen[key] = o
	}
}

func itemKey(items []night.Item) string {
	parts := make([]string, len(items))
	for i, it := range items {
		parts[i] = fmt.Sprintf("%d %s", it.Qty, fold(it.Name))
	}
	slices.Sort(parts)
	return strings.Join(parts, ";")
}

func (b *builder) firstRow(ref string) int {
	if rows := b.book.From[ref]; len(rows) > 0 {
		return rows[0]
	}
	return 0
}

// sameNumbers shows one number under two names.
func (b *builder) sameNumbers() {
	seen := map[string]night.Order{}
	for _, o := range b.book.Orders {
		if o.Phone == "" {
			continue
		}
		other, ok := seen[o.Phone]
		if !ok {
			seen[o.Phone] = o
			continue
		}
		if fold(other.Name) != fold(o.Name) {
			b.problem(b.firstRow(o.Ref), o.Ref, "phone", Look, fmt.Sprintf("the number is also that of %s, order %s", other.Name, other.Ref),
				"they get one text for both orders; change the number if that is wrong")
		}
	}
}

// alikeNames shows names that differ by a letter, or by the order of their
// words, or are the same with another number.
func (b *builder) alikeNames() {
	if len(b.book.Orders) > compared {
		return
	}
	seen := map[string]int{}
	for i, o := range b.book.Orders {
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
			b.problem(b.firstRow(o.Ref), o.Ref, "name", Look, what, "ask for the number as well when they come")
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
