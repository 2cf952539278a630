package book

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"passbell/internal/night"
	"passbell/internal/phone"
)

// group is the rows of one order.
type group struct {
	ref   string
	given bool // the reference stands in the file
	owns  bool // and is this order's alone
	first sectioned
	more  []sectioned
	name  string // as the first row has them
	phone string
	lines []line    // the rows, read; only while the order is being made
	looks []Problem // told once the order has its reference
	stops []Problem
}

// sectioned is a row and the time that heads its section, "" for none.
type sectioned struct {
	row
	under string
}

// builder carries one reading from rows to a book.
type builder struct {
	opt     Options
	lay     layout
	order   dayOrder
	style   itemStyle
	kinds   kinds
	book    Book
	groups  []*group
	byKey   map[string]*group
	phones  *phone.Reader
	memos   memos
	under   string // the time that heads the rows being read
	rows    []int  // first row of each order
	slab    []group
	scratch []line
	arena   []int // row numbers, many orders' in one piece
}

// assemble turns rows into orders.
func assemble(s sheet, name string, opt Options) (Book, error) {
	lay, err := findLayout(s, opt)
	if err != nil {
		return Book{}, &FileError{Name: name, What: err.Error(), Fix: "correct the mapping, or leave it out"}
	}
	if lay.useless() {
		return Book{}, &FileError{
			Name: name, What: "no column looks like names, numbers or orders",
			Fix: "give the columns a heading such as order, name, phone, slot, items, note",
		}
	}
	b := builder{
		opt: opt, lay: lay, kinds: newKinds(opt.Mapping),
		byKey: make(map[string]*group, len(s.rows)), phones: phone.NewReader(opt.Region), memos: newMemos(),
		book: Book{
			Problems: s.notes, Columns: lay.names(), Headings: lay.titles(), From: map[string][]int{},
			Held: map[string]string{}, Unplaced: map[string]bool{}, Shape: shape(s, lay),
		},
	}
	b.settleDays(s)
	b.style = styleOf(b.sampleItems(s))
	b.sort(s)
	b.build()
	b.compare()
	slices.SortStableFunc(b.book.LeftOut, func(x, y LeftOut) int { return x.Row - y.Row })
	slices.SortStableFunc(b.book.Problems, func(x, y Problem) int { return x.Row - y.Row })
	return b.book, nil
}

func (l *layout) useless() bool {
	return !l.has(fName) && !l.has(fFirst) && !l.has(fLast) && !l.has(fPhone) && !l.has(fRef)
}

// shape names the form of a file by its headings, wherever they stand, so that
// the mapping of one week serves the next.
func shape(s sheet, l layout) string {
	var titles []string
	for _, c := range l.columns {
		if l.headRow >= 0 && c.title != "" {
			titles = append(titles, fold(c.title))
		}
	}
	if titles == nil {
		return fmt.Sprintf("%s, %d columns without headings", s.format, len(l.columns))
	}
	slices.Sort(titles)
	sum := sha256.Sum256([]byte(strings.Join(titles, "\n")))
	return fmt.Sprintf("%d columns %s", len(titles), hex.EncodeToString(sum[:6]))
}

// settleDays looks at every date of the file before any is read.
func (b *builder) settleDays(s sheet) {
	switch strings.ToLower(strings.TrimSpace(b.opt.Mapping["day order"])) {
	case "dmy":
		b.order = dayFirst
		return
	case "mdy":
		b.order = monthFirst
		return
	}
	var first, second, nightFirst, nightSecond int
	for _, c := range b.lay.columns {
		if c.dates == 0 {
			continue
		}
		for _, r := range s.rows[b.lay.headRow+1:] {
			v := r.at(c.index)
			if len(v) < 4 || len(v) > 80 || !strings.ContainsAny(v, "/.-") {
				continue
			}
			f := findDates(v, b.opt.Night.Date)
			first, second = first+f.first, second+f.second
			for _, d := range f.days {
				if !d.swap.IsZero() && d.date == b.opt.Night.Date {
					nightFirst++
				}
				if !d.swap.IsZero() && d.swap == b.opt.Night.Date {
					nightSecond++
				}
			}
		}
	}
	b.order = settle(first, second, nightFirst, nightSecond, strings.ToUpper(b.opt.Region))
	b.bareDates(s)
	if b.order == clashing {
		b.problem(0, "", "date", Look, "some dates have the day first and others the month first",
			`say which is right by the mapping "day order" = dmy or mdy, or export the file again`)
	}
}

// bareDates takes a column that is called a date and no more for the day of
// ordering when none of it is the night and all of it comes before.
func (b *builder) bareDates(s sheet) {
	if b.opt.Night.Date.IsZero() {
		return
	}
	for _, i := range b.lay.by[fDate] {
		c := &b.lay.columns[i]
		switch fold(c.title) {
		case "date", "day", "fecha", "dia", "datum", "data":
		default:
			continue
		}
		before, other := 0, 0
		for _, r := range s.rows[b.lay.headRow+1:] {
			for _, d := range findDates(r.at(c.index), b.opt.Night.Date).days {
				if date, ok := d.in(b.order); ok && date.Before(b.opt.Night.Date) {
					before++
				} else {
					other++
				}
			}
		}
		if before > 0 && other == 0 && !c.given {
			c.heading = heading{field: fCreated}
			b.lay.rank()
			b.book.Columns = b.lay.names()
			return
		}
	}
}

func (b *builder) sampleItems(s sheet) []string {
	var out []string
	rows := s.rows[b.lay.headRow+1:]
	for _, i := range b.lay.by[fItems] {
		for k := 0; k < len(rows); k += max(1, len(rows)/sampled) {
			if v := rows[k].at(b.lay.columns[i].index); v != "" {
				out = append(out, v)
			}
		}
	}
	return out
}

// sort gives every row to an order or leaves it out with a reason.
func (b *builder) sort(s sheet) {
	for _, r := range s.rows[:max(0, b.lay.headRow)] {
		b.book.Rows++
		b.leave(r.num, "it stands above the headings")
	}
	var head row
	if b.lay.headRow >= 0 {
		head = s.rows[b.lay.headRow]
	}
	var current *group
	body := s.rows[b.lay.headRow+1:]
	for i, r := range body {
		b.book.Rows++
		if b.opt.Progress != nil && i%1000 == 0 {
			b.opt.Progress(i, 2*len(body))
		}
		if why := b.furniture(r, head); why != "" {
			b.leave(r.num, why)
			continue
		}
		if b.section(r) {
			continue
		}
		x := b.read(sectioned{r, b.under})
		switch g, began := b.groupOf(&x, current); {
		case began:
			g.first = sectioned{r, b.under}
			current = g
		case g != nil:
			g.more = append(g.more, sectioned{r, b.under})
			current = g
		default:
			b.leave(r.num, "there is no order in it: "+shown(r))
		}
	}
	if b.opt.Progress != nil {
		b.opt.Progress(len(body), 2*len(body))
	}
}

// read sorts the cells of a row and gives it the slot of its section.
func (b *builder) read(r sectioned) line {
	x := b.lay.read(r.row)
	if len(x.slots) == 0 && r.under != "" {
		x.slots = []string{r.under}
	}
	return x
}

// section takes a row that holds nothing but a time for the heading of the rows
// below it, in files without a column for the slot.
func (b *builder) section(r row) bool {
	if b.lay.has(fSlot) {
		return false
	}
	only := ""
	for _, c := range r.cells {
		if c != "" && only != "" {
			return false
		}
		if c != "" {
			only = c
		}
	}
	if len(only) > 40 {
		return false
	}
	if c, ok, trouble := b.oneSlot([]string{only}, loose); ok && trouble == nil {
		b.under = only
		b.leave(r.num, "it is the heading of the rows for "+c.String())
		return true
	}
	return false
}

// shown gives a row's words for a person.
func shown(r row) string {
	var out []string
	for _, c := range r.cells {
		if c != "" {
			out = append(out, c)
		}
	}
	return fmt.Sprintf("%q", strings.Join(out, ", "))
}

// groupOf finds the order that a row belongs to, or begins one; nil where the
// row is part of none.
func (b *builder) groupOf(x *line, current *group) (g *group, began bool) {
	if x.bare() {
		goesOn := x.food() || len(x.notes) > 0 || len(x.allergy) > 0 || x.variant != ""
		if goesOn && current != nil && (b.lay.lines || b.lay.has(fRef)) {
			return current, false
		}
		return nil, false
	}
	if x.ref == "" && x.name == "" && len(x.phones) == 0 && !x.food() {
		return nil, false
	}
	key := x.ref
	if x.ref == "" {
		who := fold(x.name) + " " + digitsOf(x.phones)
		if current != nil && b.lay.lines && x.sameCustomer(current) {
			return current, false
		}
		if b.lay.lines {
			key = "\x00who " + who + " " + strings.Join(x.slots, " ")
		} else {
			key = fmt.Sprintf("\x00row %d", x.num)
		}
	}
	if g, ok := b.byKey[key]; ok {
		if x.ref == "" || x.sameCustomer(g) {
			return g, false
		}
		key += "\x00" + fold(x.name) + digitsOf(x.phones)
		if g, ok := b.byKey[key]; ok {
			return g, false
		}
	}
	g = b.newGroup()
	*g = group{ref: x.ref, given: x.ref != "", owns: x.ref != "" && key == x.ref, name: x.name, phone: digitsOf(x.phones)}
	b.byKey[key] = g
	b.groups = append(b.groups, g)
	return g, true
}

// newGroup gives room for a group, many from one piece.
func (b *builder) newGroup() *group {
	if len(b.slab) == 0 {
		b.slab = make([]group, 256)
	}
	g := &b.slab[0]
	b.slab = b.slab[1:]
	return g
}

func digitsOf(phones []string) string {
	if len(phones) == 0 {
		return ""
	}
	return fold(phones[0])
}

// sameCustomer tells whether a further row of an order names the same person,
// as far as it names anybody.
func (x *line) sameCustomer(g *group) bool {
	if x.name != "" && g.name != "" && x.name != g.name && fold(tidyName(x.name)) != fold(tidyName(g.name)) {
		return false
	}
	if x.name == "" && len(x.phones) > 0 && g.phone != "" && digitsOf(x.phones) != g.phone {
		return false
	}
	return true
}

func (b *builder) leave(row int, why string) {
	b.book.LeftOut = append(b.book.LeftOut, LeftOut{Row: row, Why: why})
}

func (b *builder) problem(row int, ref, field string, level Level, what, fix string) {
	b.book.Problems = append(b.book.Problems, Problem{Row: row, Order: ref, Field: field, What: what, Fix: fix, Level: level})
}

// build turns each group into an order, or leaves its rows out.
func (b *builder) build() {
	b.book.Orders = make([]night.Order, 0, len(b.groups))
	b.book.From = make(map[string][]int, len(b.groups))
	for i, g := range b.groups {
		if b.opt.Progress != nil && i%1000 == 0 {
			b.opt.Progress(len(b.groups)+i, 2*len(b.groups))
		}
		b.scratch = append(b.scratch[:0], b.read(g.first))
		for _, r := range g.more {
			b.scratch = append(b.scratch, b.read(r))
		}
		g.lines = b.scratch
		if !b.standing(g) {
			continue
		}
		b.refer(g)
		b.book.Orders = append(b.book.Orders, b.makeOrder(g))
		b.rows = append(b.rows, g.lines[0].num)
		b.book.From[g.ref] = b.rowsOf(g)
		g.lines = nil
	}
}

// rowsOf gives the row numbers of a group.
func (b *builder) rowsOf(g *group) []int {
	if cap(b.arena)-len(b.arena) < len(g.lines) {
		b.arena = make([]int, 0, max(4096, len(g.lines)))
	}
	start := len(b.arena)
	for _, x := range g.lines {
		b.arena = append(b.arena, x.num)
	}
	return b.arena[start:len(b.arena):len(b.arena)]
}

// refer sees to it that every order has a reference of its own that is the same
// when the file is loaded again.
func (b *builder) refer(g *group) {
	x := g.lines[0]
	if !g.given {
		words := strings.Fields(fold(tidyName(x.name)))
		if tail := b.lastDigits(x.phones); tail != "" {
			words = append(words, tail)
		}
		if len(words) == 0 {
			words = []string{"order"}
		}
		g.ref = strings.Join(words, "-")
		if b.lay.has(fRef) {
			defer func() {
				b.problem(x.num, g.ref, "order", Look, "it has no order number; "+g.ref+" is used", "compare it with the place it came from")
			}()
		}
	}
	base := g.ref
	for n := 2; b.refTaken(g); n++ {
		g.ref = fmt.Sprintf("%s-%d", base, n)
	}
	if g.given && g.ref != base {
		b.problem(x.num, g.ref, "order", Look, fmt.Sprintf("two customers have the order number %s; this one became %s", base, g.ref),
			"look up which number is right")
	}
}

// refTaken tells whether a group's reference is another order's: one that was
// given to an order before, or that stands in the file itself.
func (b *builder) refTaken(g *group) bool {
	if g.owns {
		return false
	}
	if _, used := b.book.From[g.ref]; used {
		return true
	}
	other, stands := b.byKey[g.ref]
	return stands && other != g
}

func (b *builder) lastDigits(phones []string) string {
	if len(phones) == 0 {
		return ""
	}
	if n, err := b.phones.Parse(phones[0]); err == nil {
		return n.E164[len(n.E164)-3:]
	}
	var digits []byte
	for i := range len(phones[0]) {
		if c := phones[0][i]; c >= '0' && c <= '9' {
			digits = append(digits, c)
		}
	}
	return string(digits[max(0, len(digits)-3):])
}

// makeOrder makes the order of a group that stands.
func (b *builder) makeOrder(g *group) night.Order {
	x := g.lines[0]
	o := night.Order{Ref: g.ref, State: night.Booked}
	for _, y := range g.lines {
		if o.Name == "" {
			o.Name = b.memos.names.get(y.name, tidyName)
		}
		if o.Email == "" {
			o.Email = y.email
		}
	}
	if o.Name == "" {
		b.problem(x.num, o.Ref, "name", Look, "there is no name", "look the name up where the order was taken")
	}
	b.number(g, &o)
	b.items(g, &o)
	b.note(g, &o)
	b.slot(g, &o)
	if len(o.Items) == 0 {
		b.problem(x.num, o.Ref, "items", Look, "nothing is ordered", "look up what was ordered, or leave the order out")
	}
	return o
}
