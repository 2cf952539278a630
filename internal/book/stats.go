package book

// stats count what the cells of a column look like.
type stats struct {
	filled, distinct                                            int
	phones, clocks, dates, emails, counts, refs, people, dishes int
	many                                                        int // cells with several items
	amounts                                                     int // cells with an amount of money
	ordered                                                     bool
}

// share tells whether n is at least the given part of the filled cells.
func (s stats) share(n int, part float64) bool {
	return s.filled > 0 && float64(n) >= part*float64(s.filled)
}

var (
	emailCell  = pattern(`^[^@\s]+@[^@\s]+\.[^@\s]+$`)
	refCell    = pattern(`^#?[A-Za-z]{0,6}[-_#/ ]?\d[\dA-Za-z\-/]*$`)
	phoneCell  = pattern(`^['+(\[\d][\d\s()\[\].\-/+]{6,}$`)
	countCell  = pattern(`^[x×]?\s*\d{1,3}(?:\.0+)?$`)
	amountCell = pattern(`^[£$€]?\s*-?\d+[.,]\d{2}\s*[£$€]?$`)
	personish  = pattern(`^\pL[\pL'’.\-]*,?(?:\s+\pL[\pL'’.\-]*){1,4}$`)
)

// sampled is how many rows are looked at to know a column.
const sampled = 400

func (c *column) look(rows []row) {
	step := max(1, len(rows)/sampled)
	seen := map[string]bool{}
	last := 0
	c.ordered = true
	for i := 0; i < len(rows); i += step {
		v := rows[i].at(c.index)
		if v == "" {
			continue
		}
		c.filled++
		if !seen[v] {
			seen[v] = true
			c.distinct++
		}
		if n := atoi(v); n != last+1 {
			c.ordered = false
		} else {
			last = n
		}
		c.countCell(v)
	}
}

func (c *column) countCell(v string) {
	if emailCell().MatchString(v) {
		c.emails++
		return
	}
	digits := 0
	for i := range len(v) {
		if v[i] >= '0' && v[i] <= '9' {
			digits++
		}
	}
	if digits == 0 {
		if personish().MatchString(v) {
			c.people++
		}
		if many := len(splitItems(v)); many > 1 {
			c.many++
		}
		return
	}
	if digits >= 7 && digits <= 16 && phoneCell().MatchString(v) {
		c.phones++
	}
	if countCell().MatchString(v) {
		c.counts++
	}
	if amountCell().MatchString(v) {
		c.amounts++
	}
	if refCell().MatchString(v) {
		c.refs++
	}
	if len(v) > 80 && v[0] != '[' {
		if len(splitItems(v)) > 1 {
			c.many++
		}
		return
	}
	f := findDates(v, noDate)
	if len(f.days) > 0 || f.moment != nil {
		c.dates++
	}
	if f.moment != nil || len(findSpans(f.rest, loose)) > 0 {
		c.clocks++
	}
	if v[0] == '[' || v[0] == '{' {
		if items, ok := jsonItems(v); ok && len(items) > 0 {
			c.dishes++
			return
		}
	}
	parts := splitItems(v)
	for _, p := range parts {
		if hasQty(p) && !phoneCell().MatchString(v) {
			c.dishes++
			break
		}
	}
	if len(parts) > 1 {
		c.many++
	}
}
