package book

import (
	"fmt"
	"slices"
	"strings"

	"passbell/internal/night"
)

// standing sets aside what is not to be made: tests, cancelled orders, money
// given back, doubles, other nights. It tells whether anything is left.
func (b *builder) standing(g *group) bool {
	for i := range g.lines {
		if g.lines[i].isTest() {
			return b.drop(g, "it is a test order")
		}
	}
	if why := b.gone(g); why != "" {
		return b.drop(g, why)
	}
	b.backRows(g)
	if len(g.lines) == 0 {
		return false
	}
	b.doubles(g)
	d, ok := b.dateOf(g)
	if ok && !b.opt.Night.Date.IsZero() && d != b.opt.Night.Date {
		return b.drop(g, "it is for "+d.Format("Monday 2 January 2006")+", another night")
	}
	return true
}

func (b *builder) drop(g *group, why string) bool {
	for _, x := range g.lines {
		b.leave(x.num, why)
	}
	return false
}

// gone tells why a whole order is off; "" where it is on. Lines that are off by
// themselves are left out here.
func (b *builder) gone(g *group) string {
	first := g.lines[0].aside()
	all := first != ""
	for i := range g.lines[1:] {
		x := &g.lines[i+1]
		if x.aside() == "" && len(x.status) > 0 && x.ref != "" {
			all = false
		}
	}
	if all {
		return first
	}
	if len(g.lines) > 1 {
		g.lines = slices.DeleteFunc(g.lines, func(x line) bool {
			why := x.aside()
			if why != "" {
				b.leave(x.num, "this line is off: "+why)
			}
			return why != ""
		})
	}
	for i := range g.lines {
		x := &g.lines[i]
		whole, part := x.givenBack()
		switch {
		case whole:
			return "the money was given back"
		case part && x.total == "":
			b.later(g, "refund", "money was given back: "+x.refund, "look up whether the order still stands")
		case part:
			b.later(g, "refund", "part of the money was given back: "+x.refund, "look up what the customer no longer gets")
		}
		for _, s := range x.status {
			switch w := fold(s); {
			case partStatus().MatchString(w):
				b.later(g, "status", "its status is "+s, "look up what the customer no longer gets")
			case openStatus().MatchString(w), w == "no" || w == "false" || w == "n":
				b.later(g, "status", "its status is "+s, "make sure that it is paid before you make it")
			}
		}
	}
	return ""
}

// later notes a problem that the order gets when it has its reference.
func (b *builder) later(g *group, field, what, fix string) {
	g.looks = append(g.looks, Problem{Field: field, What: what, Fix: fix, Level: Look})
}

// backRows deals with rows that take money or goods back. A row that names what
// comes back stays and is counted down; one with money alone is weighed against
// the order's total.
func (b *builder) backRows(g *group) {
	if len(b.lay.pick.total) == 0 && len(b.lay.pick.qty) == 0 && !b.lay.has(fCount) {
		return
	}
	var paid, back float64
	var backs []line
	for _, x := range g.lines {
		t, _ := money(x.total)
		if x.takesBack() {
			back += min(t, 0)
			backs = append(backs, x)
		} else if paid == 0 || x.total != "" && !b.lay.has(fProduct) {
			paid += max(t, 0)
		}
	}
	if len(backs) == 0 { // as nearly always
		return
	}
	if len(backs) == len(g.lines) {
		b.drop(g, "it takes an order back")
		g.lines = nil
		return
	}
	if q := b.left(g); q == 0 || q < 0 || !b.counted(backs) && paid > 0 && -back >= paid-0.005 {
		b.drop(g, "all of it was given back")
		g.lines = nil
		return
	}
	b.later(g, "refund", "part of it was given back", "make sure that what is left is what the customer gets")
	if !b.counted(backs) {
		g.lines = slices.DeleteFunc(g.lines, func(x line) bool {
			if x.takesBack() {
				b.leave(x.num, "it gives money back for order "+g.ref)
				return true
			}
			return false
		})
	}
}

// counted tells whether rows name goods with quantities below nought.
func (b *builder) counted(backs []line) bool {
	for _, x := range backs {
		q, ok := parseQty(x.qty)
		if ok && q < 0 && x.product != "" {
			return true
		}
		for _, c := range x.counts {
			if c.Qty < 0 {
				return true
			}
		}
	}
	return false
}

// left counts the pieces that remain after what was taken back; 1 where rows do
// not count pieces.
func (b *builder) left(g *group) int {
	if !b.lay.has(fQty) && !b.lay.has(fCount) {
		return 1
	}
	n := 0
	for _, x := range g.lines {
		if q, ok := parseQty(x.qty); ok {
			n += q
		} else if x.product != "" {
			n++
		}
		for _, c := range x.counts {
			n += c.Qty
		}
	}
	return n
}

// doubles leaves out rows that repeat one of their own order word for word,
// where a row is a whole order.
func (b *builder) doubles(g *group) {
	if b.lay.has(fProduct) || len(g.lines) < 2 {
		return
	}
	seen := map[string]int{}
	kept := g.lines[:0]
	for _, x := range g.lines {
		key := fmt.Sprintf("%q %q %q %q %v %q", x.phones, x.slots, x.items, x.product, x.counts, x.notes)
		if at, twice := seen[key]; twice {
			b.leave(x.num, fmt.Sprintf("it is the same as row %d", at))
			b.later(g, "order", fmt.Sprintf("rows %d and %d are the same order", at, x.num), "nothing, unless it was meant to be two")
			continue
		}
		seen[key] = x.num
		kept = append(kept, x)
	}
	g.lines = kept
	if len(kept) > 1 && !b.lay.lines {
		b.later(g, "order", fmt.Sprintf("rows %d and %d have the same order number and were put together", kept[0].num, kept[1].num),
			"make sure that both belong to one order")
	}
}

// dateOf gives the date that an order is for, as far as its rows say.
func (b *builder) dateOf(g *group) (night.Date, bool) {
	for i := range g.lines {
		x := &g.lines[i]
		for _, texts := range [...][]string{x.slots, x.dates, {x.variant}, {x.product}, x.methods} {
			for _, v := range texts {
				if !datable(v) {
					continue
				}
				f := b.memos.dates.get(v, func(v string) found { return findDates(v, b.opt.Night.Date) })
				if f.moment != nil {
					return night.DateOf(f.moment.In(b.opt.Zone)), true
				}
				for _, d := range f.days {
					if date, ok := d.in(b.order); ok {
						return date, true
					}
					g.stops = append(g.stops, Problem{
						Field: "date", Level: Stop,
						What: fmt.Sprintf("%q may be %s or %s", v, d.date.Format("2 January"), d.swap.Format("2 January")),
						Fix:  "say which is right",
					})
					return night.Date{}, false
				}
			}
		}
	}
	return night.Date{}, false
}

// datable tells whether a text may hold a date or a time at all; most cells may
// not.
func datable(v string) bool {
	if len(v) < 4 || len(v) == 5 && v[2] == ':' {
		return false
	}
	return strings.ContainsAny(v, "0123456789")
}
