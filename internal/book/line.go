package book

import (
	"slices"
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

// picks says in which cells of a row each field stands, the best first.
type picks struct {
	ref, email, slotEnd, product, qty, refund, total, cancel, test         []int
	phones, slots, dates, items, notes, allergy, status, methods, variants []int
	unknown                                                                []int
}

func (l *layout) picks() picks {
	at := func(f field) []int {
		var out []int
		for _, i := range l.by[f] {
			out = append(out, l.columns[i].index)
		}
		return out
	}
	return picks{
		ref: at(fRef), email: at(fEmail), slotEnd: at(fSlotEnd), product: at(fProduct), qty: at(fQty), refund: at(fRefund),
		total: at(fTotal), cancel: at(fCancelled), test: at(fTest), phones: at(fPhone), slots: at(fSlot), dates: at(fDate),
		items: at(fItems), notes: at(fNote), allergy: at(fAllergy), status: at(fStatus), methods: at(fMethod),
		variants: at(fVariant), unknown: at(fUnknown),
	}
}

// first gives the first of some cells that is filled.
func (r row) first(cells []int) string {
	for _, i := range cells {
		if v := r.at(i); v != "" {
			return v
		}
	}
	return ""
}

// all gives those of some cells that are filled. A single cell serves as the
// list itself.
func (r row) all(cells []int) []string {
	if len(cells) == 1 {
		if i := cells[0]; r.at(i) != "" {
			return r.cells[i : i+1 : i+1]
		}
		return nil
	}
	var out []string
	for _, i := range cells {
		if v := r.at(i); v != "" {
			out = append(out, v)
		}
	}
	return out
}

// read sorts the cells of a row.
func (l *layout) read(r row) line {
	p := &l.pick
	x := line{
		num: r.num, ref: r.first(p.ref), email: r.first(p.email), slotEnd: r.first(p.slotEnd),
		product: r.first(p.product), qty: r.first(p.qty), refund: r.first(p.refund), total: r.first(p.total),
		cancel: r.first(p.cancel), test: r.first(p.test),
		phones: r.all(p.phones), slots: r.all(p.slots), dates: r.all(p.dates), items: r.all(p.items),
		notes: r.all(p.notes), allergy: r.all(p.allergy), status: r.all(p.status), methods: r.all(p.methods),
		unknown: r.all(p.unknown),
	}
	if p.variants != nil {
		x.variant = strings.Join(r.all(p.variants), ", ")
	}
	if len(p.product) > 1 {
		l.readPairs(r, &x)
	}
	l.readNames(r, &x)
	if l.has(fCount) {
		l.readCounts(r, &x)
	}
	return x
}

// readNames finds whose order it is: the customer's own name, then the name for
// delivery, then the payer's; whole or in two columns.
func (l *layout) readNames(r row, x *line) {
	if l.plainName {
		x.name = r.at(l.nameAt)
		return
	}
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

// readPairs reads products that stand beside each other in one row, each with
// its quantity where there are as many columns of those.
func (l *layout) readPairs(r row, x *line) {
	products := slices.Sorted(slices.Values(l.pick.product))
	counts := slices.Sorted(slices.Values(l.pick.qty))
	x.product, x.qty = "", ""
	for i, at := range products {
		name := r.at(at)
		if name == "" {
			continue
		}
		n := 1
		if len(counts) == len(products) {
			if q, ok := parseQty(r.at(counts[i])); ok {
				n = q
			}
		}
		if read, ok := parseItem(name, itemStyle{}); ok && len(counts) != len(products) {
			x.counts = append(x.counts, read)
			continue
		}
		x.counts = append(x.counts, night.Item{Qty: n, Name: name})
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
	title = strings.TrimSpace(price().ReplaceAllString(title, " "))
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
func (x *line) bare() bool {
	return x.ref == "" && x.name == "" && len(x.phones) == 0 && len(x.slots) == 0
}

// food tells whether the row says what is ordered.
func (x *line) food() bool {
	return x.product != "" || len(x.items) > 0 || len(x.counts) > 0
}

// takesBack tells whether the row is money or goods going back.
func (x *line) takesBack() bool {
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
