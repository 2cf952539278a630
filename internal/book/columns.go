package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// column is one column of the file and what it was taken for.
type column struct {
	index int
	title string
	heading
	given bool // by a mapping, not guessed
	stats
}

// layout is what a whole file was taken for.
type layout struct {
	columns []column
	by      map[field][]int // indexes into columns, the best first
	headRow int             // index of the heading in the sheet's rows; -1 for none
	lines   bool            // a row is a line of an order, not an order

	plainName bool // the name stands in one column, nameAt
	nameAt    int
	pick      picks
}

func (l *layout) has(f field) bool { return len(l.by[f]) > 0 }

// findLayout finds the heading and says what each column is.
func findLayout(s sheet, opt Options) (layout, error) {
	l := layout{headRow: findHead(s)}
	if i, ok := mappedHead(s, opt.Mapping); ok {
		l.headRow = i
	}
	width := 0
	for _, r := range s.rows {
		width = max(width, len(r.cells))
	}
	body := s.rows[l.headRow+1:]
	for i := range width {
		c := column{index: i}
		if l.headRow >= 0 {
			c.title = s.rows[l.headRow].at(i)
			c.heading = readHeading(c.title)
		}
		c.look(body)
		l.columns = append(l.columns, c)
	}
	if err := l.mapped(opt.Mapping); err != nil {
		return l, err
	}
	l.byContent()
	l.products()
	l.guess()
	l.rank()
	return l, nil
}

// titles lists the file's headings.
func (l *layout) titles() []string {
	var out []string
	for _, c := range l.columns {
		if c.title != "" {
			out = append(out, c.title)
		}
	}
	return out
}

// findHead finds the row that names the columns among the first rows: the one
// that names most fields. A file without any has none.
func findHead(s sheet) int {
	best, bestHits := -1, 1
	for i, r := range s.rows[:min(len(s.rows), 25)] {
		hits, filled := 0, 0
		seen := map[field]bool{}
		for _, c := range r.cells {
			if c == "" {
				continue
			}
			filled++
			h := readHeading(c)
			if h.field != fUnknown && len(c) < 60 {
				if !seen[h.field] {
					hits += 2
				} else {
					hits++
				}
				seen[h.field] = true
			}
		}
		// A row of an order may hold a word such as "collection" too.
		if hits > bestHits && hits*2 > filled && (seen[fName] || seen[fFirst] || seen[fPhone] || seen[fRef] || seen[fSlot] || seen[fLast]) {
			best, bestHits = i, hits
		}
	}
	if best < 0 && captioned(s) {
		return 0
	}
	return best
}

// captioned tells whether the first row is a heading in words that nobody here
// knows: words without a digit over columns with numbers.
func captioned(s sheet) bool {
	if len(s.rows) < 2 || len(s.rows[0].cells) < 3 {
		return false
	}
	for _, c := range s.rows[0].cells {
		if c == "" || strings.ContainsAny(c, "0123456789@") || len(c) > 40 {
			return false
		}
	}
	with := 0
	for _, r := range s.rows[1:min(len(s.rows), 6)] {
		if slices.ContainsFunc(r.cells, func(c string) bool { return phoneCell().MatchString(c) }) {
			with++
		}
	}
	return with > 0
}

// mappedHead finds the heading by the words that a mapping names.
func mappedHead(s sheet, mapping map[string]string) (int, bool) {
	best, most := 0, 0
	for i, r := range s.rows[:min(len(s.rows), 25)] {
		hits := 0
		for key, titles := range mapping {
			if !slices.Contains(Fields(), key) {
				continue
			}
			for title := range strings.SplitSeq(titles, " + ") {
				if slices.ContainsFunc(r.cells, func(c string) bool { return c != "" && fold(c) == fold(title) }) {
					hits++
				}
			}
		}
		if hits > most {
			best, most = i, hits
		}
	}
	return best, most > 0
}

// mapped applies the mapping that a person gave.
func (l *layout) mapped(mapping map[string]string) error {
	for key, titles := range mapping {
		if key == "hot" || key == "cold" || key == "extra" || key == "day order" || titles == "" {
			continue
		}
		f := field(key)
		if key == "ignore" {
			f = fOther
		} else if !slices.Contains(Fields(), key) {
			return fmt.Errorf("the mapping names %q, which is no field: use %s", key, strings.Join(Fields(), ", "))
		}
		for i := range l.columns {
			if c := &l.columns[i]; c.field == f && !c.given && f != fOther {
				c.heading = heading{field: fOther}
			}
		}
		titles := strings.Split(titles, " + ")
		if key == "ignore" {
			titles = strings.FieldsFunc(mapping[key], func(r rune) bool { return r == ',' || r == '+' })
		}
		for n, title := range titles {
			i := slices.IndexFunc(l.columns, func(c column) bool { return fold(c.title) == fold(title) || c.title == strings.TrimSpace(title) })
			if i < 0 {
				return fmt.Errorf("the mapping reads %s from %q, and no column has that heading", key, strings.TrimSpace(title))
			}
			use := f
			if f == fName && len(titles) == 2 {
				use = []field{fFirst, fLast}[n]
			}
			l.columns[i].heading = heading{field: use, weight: 4}
			l.columns[i].given = true
		}
	}
	return nil
}

// byContent corrects headings whose words say one thing and whose cells another.
func (l *layout) byContent() {
	count := map[field]int{}
	for _, c := range l.columns {
		count[c.field]++
	}
	for i := range l.columns {
		c := &l.columns[i]
		if c.given || c.filled == 0 {
			continue
		}
		switch c.field {
		case fName, fFirst, fRef, fPhone:
			c.correctWho(count)
		case fProduct, fItems, fTotal, fStatus:
			c.correctWhat(count)
		case fSlot, fDate, fNote:
			c.correctWhen(count)
		}
	}
}

// correctWho corrects what seemed to be a name, an order number or a phone.
func (c *column) correctWho(count map[field]int) {
	person := c.field == fName || c.field == fFirst
	switch {
	case c.field != fRef && c.share(c.emails, 0.6):
		c.field = fEmail
	case person && c.share(c.phones, 0.6):
		c.field = fPhone
	case person && c.share(c.refs, 0.8) && c.people == 0:
		c.field = fRef
	case c.field == fFirst && count[fLast] == 0:
		c.field = fName
	case c.field != fRef:
	case c.share(c.phones, 0.5) && count[fPhone] == 0:
		c.field = fPhone
	case c.share(c.dishes, 0.6) && c.refs*2 < c.filled:
		c.field = fItems
	case c.share(c.people, 0.8) && count[fName] == 0:
		c.field = fName
	case c.share(c.clocks, 0.8) && c.refs == 0 && count[fSlot] == 0:
		c.field = fSlot
	}
}

// correctWhat corrects what seemed to be items, or an amount or a status.
func (c *column) correctWhat(count map[field]int) {
	switch c.field {
	case fProduct:
		switch {
		case count[fProduct] > 1 && c.share(c.counts, 0.9):
			c.heading = heading{field: fOther} // a line's number
		case c.share(c.many, 0.2) && count[fQty] == 0:
			c.field = fItems
		}
	case fItems:
		switch {
		case c.share(c.counts, 0.9):
			c.heading = heading{} // a number of items
		case count[fQty] > 0 && count[fProduct] == 0 && !c.share(c.many, 0.1) && !c.share(c.dishes, 0.3):
			c.field = fProduct
		}
	case fStatus:
		if c.share(c.amounts, 0.8) {
			c.field = fTotal
		}
	case fTotal:
		if count[fQty] == 0 && count[fProduct] > 0 && c.share(c.counts, 0.9) {
			c.field = fQty
		}
	}
}

// correctWhen corrects what seemed to be a slot, a date or a note.
func (c *column) correctWhen(count map[field]int) {
	switch {
	case c.field == fSlot && c.clocks == 0 && c.dates == 0 && count[fSlot] > 1:
		c.field = fMethod
	case c.field == fSlot && c.clocks == 0 && c.share(c.dates, 0.5):
		c.field = fDate
	case c.field == fSlot && c.clocks == 0 && c.share(c.people, 0.8) && count[fName] == 0:
		c.field = fName
	case c.field == fDate && c.share(c.clocks, 0.5) && count[fSlot] == 0:
		c.field = fSlot
	case c.field == fNote && c.share(c.clocks, 0.9) && count[fSlot] == 0:
		c.field = fSlot
	}
}

// products finds the columns that count one product each. They exist only where
// no column lists items.
func (l *layout) products() {
	listed := slices.ContainsFunc(l.columns, func(c column) bool {
		return c.field == fItems && !c.share(c.counts, 0.9) || c.field == fProduct
	})
	if listed {
		return
	}
	for i := range l.columns {
		c := &l.columns[i]
		known := c.field != fUnknown && !(c.field == fItems || c.field == fQty || c.weight == 1)
		if known || c.title == "" || c.given {
			continue
		}
		if c.filled > 0 && c.share(c.counts, 0.99) && !(c.ordered && c.filled > 3) {
			c.heading = heading{field: fCount, weight: 1}
		}
	}
}

// guess gives columns without a telling heading the field that their cells look
// like, for fields that no heading names.
func (l *layout) guess() {
	taken := map[field]bool{}
	for _, c := range l.columns {
		taken[c.field] = true
	}
	named := taken[fName] || taken[fFirst] || taken[fLast]
	itemised := taken[fItems] || taken[fProduct] || taken[fCount]
	for _, g := range []struct {
		field field
		done  bool
		fits  func(column) bool
	}{
		{fEmail, taken[fEmail], func(c column) bool { return c.share(c.emails, 0.7) }},
		{fPhone, taken[fPhone], func(c column) bool { return c.share(c.phones, 0.7) }},
		{fSlot, taken[fSlot], func(c column) bool { return c.share(c.clocks, 0.7) }},
		{fDate, taken[fDate] || l.headRow >= 0, func(c column) bool { return c.share(c.dates, 0.9) }},
		{fItems, itemised, func(c column) bool { return c.share(c.dishes, 0.6) }},
		{fName, named, func(c column) bool { return c.share(c.people, 0.5) && c.distinct*2 > c.filled }},
		{fRef, taken[fRef], func(c column) bool { return c.share(c.refs, 0.95) && c.distinct == c.filled && c.phones == 0 }},
		{fNote, taken[fNote] || l.headRow >= 0, func(c column) bool { return c.filled > 0 && c.phones+c.clocks+c.dates+c.emails == 0 }},
	} {
		if g.done {
			continue
		}
		for i := range l.columns {
			if c := &l.columns[i]; c.field == fUnknown && !c.given && g.fits(*c) {
				c.heading = heading{field: g.field}
				break
			}
		}
	}
}

// rank orders the columns of each field, the one to be believed first. It does
// not depend on where a column stands, save between equals in all else.
func (l *layout) rank() {
	l.by = map[field][]int{}
	for i, c := range l.columns {
		l.by[c.field] = append(l.by[c.field], i)
	}
	for f, list := range l.by {
		if f == fNote || f == fCount || f == fAllergy || f == fUnknown {
			continue
		}
		slices.SortStableFunc(list, func(a, b int) int {
			x, y := l.columns[a], l.columns[b]
			return cmp.Or(
				cmp.Compare(x.side, y.side),
				cmp.Compare(y.preferred(), x.preferred()),
				cmp.Compare(y.weight, x.weight),
				cmp.Compare(y.useful(), x.useful()),
				cmp.Compare(x.title, y.title),
			)
		})
	}
	l.lines = l.has(fProduct) || l.repeats()
	l.pick = l.picks()
	if l.plainName = len(l.by[fName]) == 1 && !l.has(fFirst) && !l.has(fLast); l.plainName {
		l.nameAt = l.columns[l.by[fName][0]].index
	}
}

// preferred puts mobiles before other phones, and a pick-up before a mere time.
func (c column) preferred() int {
	words := " " + fold(c.title) + " "
	has := func(list ...string) bool {
		return slices.ContainsFunc(list, func(w string) bool { return strings.Contains(words, w) })
	}
	switch c.field {
	case fPhone:
		if has("mobile", "cell", "movil", "celular", " text", "sms", "whatsapp") {
			return 1
		}
	case fSlot, fDate:
		if has("slot", "collect", "pick", "recogida", "franja", "window") {
			return 1
		}
	case fRef:
		if has("order", "pedido", "booking", " ref") {
			return 1
		}
	case fStatus:
		if has("order", "pedido") {
			return 1
		}
	}
	return 0
}

func (c column) useful() int {
	switch c.field {
	case fPhone:
		return c.phones
	case fSlot:
		return c.clocks
	case fRef:
		return c.distinct
	case fItems:
		return c.dishes
	}
	return c.filled
}

// repeats tells whether rows continue the order above them: its own columns are
// blank while others go on.
func (l *layout) repeats() bool {
	if !l.has(fRef) || !l.has(fItems) {
		return false
	}
	ref := l.columns[l.by[fRef][0]]
	items := l.columns[l.by[fItems][0]]
	return ref.filled*10 < items.filled*9 || ref.distinct*10 < ref.filled*8
}

// names gives the field-to-heading table that is shown and remembered.
func (l *layout) names() map[string]string {
	out := map[string]string{}
	for f, list := range l.by {
		if f == fUnknown || f == fOther || f == fMethod {
			continue
		}
		var titles []string
		for _, i := range list {
			c := l.columns[i]
			title := c.title
			if title == "" {
				title = fmt.Sprintf("column %d", c.index+1)
			}
			titles = append(titles, title)
		}
		key := string(f)
		if f == fCount {
			key = string(fItems)
		}
		out[key] = strings.Join(titles, " + ")
	}
	if out["name"] == "" && (out["first name"] != "" || out["last name"] != "") {
		out["name"] = strings.Trim(out["first name"]+" + "+out["last name"], " +")
	}
	return out
}
