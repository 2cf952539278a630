package book

import (
	"strings"

	"passbell/internal/night"
)

// noDate reads a text as if no night were near.
var noDate night.Date

// line is one row, its cells sorted by what they mean.
type line struct {
	num      int
	ref      string
	name     string
	names    []string // other names in the row, such as the payer's
	phones   []string // best first
	email    string
	slots    []string // texts that may hold the slot, best first
	slotEnd  string
	dates    []string
	items    []string
	product  string
	qty      string
	variant  string
	counts   []night.Item
	notes    []string
	allergy  []string
	status   []string
	refund   string
	total    string
	cancel   string
	test     string
	methods  []string
	unknown  []string
	oddCount []string // cells of a count column that are no count
}

// read sorts the cells of a row.
func (l *layout) read(r row) line {
	x := line{num: r.num}
	first := func(f field) string {
		for _, i := range l.by[f] {
			if v := r.at(l.columns[i].index); v != "" {
				return v
			}
		}
		return ""
	}
	all := func(f field) []string {
		var out []string
		for _, i := range l.by[f] {
			if v := r.at(l.columns[i].index); v != "" {
				out = append(out, v)
			}
		}
		return out
	}
	x.ref, x.email, x.slotEnd = first(fRef), first(fEmail), first(fSlotEnd)
	x.product, x.qty = first(fProduct), first(fQty)
	x.refund, x.total, x.cancel, x.test = first(fRefund), first(fTotal), first(fCancelled), first(fTest)
	x.phones, x.slots, x.dates, x.items = all(fPhone), all(fSlot), all(fDate), all(fItems)
	x.notes, x.allergy, x.status, x.methods = all(fNote), all(fAllergy), all(fStatus), all(fMethod)
	x.variant = strings.Join(all(fVariant), ", ")
	x.unknown = all(fUnknown)
	l.readNames(r, &x)
	l.readCounts(r, &x)
	return x
}

// readNames finds whose order it is: the customer's own name, then the name for
// delivery, then the payer's; whole or in two columns.
func (l *layout) readNames(r row, x *line) {
	for s := customer; s <= billing; s++ {
		var whole, given, last string
		pick := func(f field, into *string) {
			for _, i := range l.by[f] {
				if c := l.columns[i]; c.side == s && *into == "" {
					*into = r.at(c.index)
				}
			}
		}
		pick(fName, &whole)
		pick(fFirst, &given)
		pick(fLast, &last)
		for _, n := range []string{whole, joinName(given, last)} {
			if n == "" {
				continue
			}
			if x.name == "" {
				x.name = n
			} else if fold(n) != fold(x.name) {
				x.names = append(x.names, n)
			}
		}
	}
}

func (l *layout) readCounts(r row, x *line) {
	for _, i := range l.by[fCount] {
		c := l.columns[i]
		v := r.at(c.index)
		if v == "" || v == "-" {
			continue
		}
		n, ok := parseQty(v)
		switch {
		case !ok:
			x.oddCount = append(x.oddCount, c.title+": "+v)
		case n != 0:
			x.counts = append(x.counts, night.Item{Qty: n, Name: productTitle(c.title)})
		}
	}
}

// productTitle makes the name of a product from the heading of its column.
func productTitle(title string) string {
	if i, j := strings.IndexByte(title, '['), strings.LastIndexByte(title, ']'); i >= 0 && j > i+1 {
		title = title[i+1 : j]
	}
	title = strings.TrimSpace(price.ReplaceAllString(title, " "))
	for _, lead := range []string{"how many ", "number of ", "quantity of ", "qty of ", "qty ", "quantity "} {
		if len(title) > len(lead) && strings.EqualFold(title[:len(lead)], lead) {
			title = title[len(lead):]
		}
	}
	for _, tail := range []string{" qty", " quantity", " (qty)", " (quantity)"} {
		if len(title) > len(tail) && strings.EqualFold(title[len(title)-len(tail):], tail) {
			title = title[:len(title)-len(tail)]
		}
	}
	return strings.Trim(title, " ?:-")
}

// bare tells whether the row says nothing of who, when or which order.
func (x line) bare() bool {
	return x.ref == "" && x.name == "" && len(x.phones) == 0 && len(x.slots) == 0
}

// food tells whether the row says what is ordered.
func (x line) food() bool {
	return x.product != "" || len(x.items) > 0 || len(x.counts) > 0
}

// takesBack tells whether the row is money or goods going back.
func (x line) takesBack() bool {
	if q, ok := parseQty(x.qty); ok && q < 0 {
		return true
	}
	if t, ok := money(x.total); ok && t < 0 {
		return true
	}
	for _, c := range x.counts {
		if c.Qty < 0 {
			return true
		}
	}
	return false
}
