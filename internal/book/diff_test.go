package book_test

import (
	"slices"
	"strings"

	"passbell/internal/night"
)

// difference is what a newer book changes, in the order of the books.
type difference struct {
	New       []night.Order
	Changed   []change
	Unchanged []night.Order
	Missing   []night.Order // in the old book only: a person is asked, nothing is cancelled
}

// change is one order that stands differently in the newer book.
type change struct {
	Before night.Order
	After  night.Order
	Fields []string // of name, phone, email, slot, items, note, allergy
}

// diff compares two books by reference. Only what a book says is compared:
// state, marks and times of an order are not its business.
func diff(old, newer []night.Order) difference {
	var d difference
	before := make(map[string]night.Order, len(old))
	for _, o := range old {
		before[strings.ToLower(o.Ref)] = o
	}
	seen := make(map[string]bool, len(newer))
	for _, o := range newer {
		key := strings.ToLower(o.Ref)
		seen[key] = true
		was, ok := before[key]
		if !ok {
			d.New = append(d.New, o)
			continue
		}
		if fields := changes(was, o); len(fields) > 0 {
			d.Changed = append(d.Changed, change{Before: was, After: o, Fields: fields})
			continue
		}
		d.Unchanged = append(d.Unchanged, o)
	}
	for _, o := range old {
		if !seen[strings.ToLower(o.Ref)] {
			d.Missing = append(d.Missing, o)
		}
	}
	return d
}

func changes(a, b night.Order) []string {
	var out []string
	add := func(field string, same bool) {
		if !same {
			out = append(out, field)
		}
	}
	add("name", a.Name == b.Name)
	add("phone", a.Phone == b.Phone && (a.Phone != "" || a.PhoneTyped == b.PhoneTyped))
	add("email", a.Email == b.Email)
	add("slot", a.Slot == b.Slot)
	add("items", sameItems(a.Items, b.Items))
	add("note", a.Note == b.Note)
	add("allergy", a.Allergy == b.Allergy)
	return out
}

func sameItems(a, b []night.Item) bool {
	key := func(items []night.Item) []night.Item {
		out := slices.Clone(items)
		slices.SortFunc(out, func(x, y night.Item) int {
			return strings.Compare(x.Name+string(x.Kind), y.Name+string(y.Kind))
		})
		return out
	}
	return slices.Equal(key(a), key(b))
}
