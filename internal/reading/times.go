package reading

// moment is a time or a length of time that a text names.
type moment struct {
	start, end int // tokens
	kind       momentKind
	hour, min  int  // clock: hour as said; hour -1 for "half past" alone
	fixed      bool // clock: morning or afternoon was said, or 24 hours were used
	lo, hi     int  // length: minutes; -1 where it is vague ("a few minutes")
	clause     int
}

type momentKind uint8

const (
	momentClock momentKind = iota
	momentLength
)

// moments finds the times in toks and lays their classes over the tokens.
func moments(text string, toks []Token, clauses []int) []moment {
	var out []moment
	for i := 0; i < len(toks); {
		m, ok := momentAt(text, toks, i)
		if !ok {
			i++
			continue
		}
		m.start, m.clause = i, clauses[i]
		bits := clsTime
		if m.kind == momentLength {
			bits = clsDur
		}
		for j := m.start; j < m.end; j++ {
			toks[j].bits |= bits
		}
		out = append(out, m)
		i = m.end
	}
	return out
}

func momentAt(text string, toks []Token, i int) (moment, bool) {
	t := &toks[i]
	if t.bits&(clsPlate|clsRef|clsCar) != 0 {
		return moment{}, false
	}
	if t.Num < 0 && t.Kind != Number {
		return wordMoment(toks, i)
	}
	if money(text, t, toks, i) {
		return moment{}, false
	}
	if m, ok := fraction(toks, i); ok {
		return m, true
	}
	if m, ok := lengthAt(toks, i); ok {
		return m, true
	}
	return clockAt(toks, i)
}

// fraction reads "1/2 hour", "3/4 of an hour" and "three quarters of an hour".
func fraction(toks []Token, i int) (moment, bool) {
	j := i + 1
	if toks[i].Num == 1 && j+1 < len(toks) && toks[j].Kind == Dash && toks[j+1].Num == 2 {
		for k := j + 2; k <= j+4; k++ {
			switch word(toks, k) {
			case "hours":
				return moment{end: k + 1, kind: momentLength, lo: 30, hi: 30}, true
			case "an", "of", "a":
				continue
			}
			break
		}
	}
	switch {
	case toks[i].Num != 3:
		return moment{}, false
	case word(toks, j) == "quarters" || word(toks, j) == "quarter" && word(toks, j+1) == "of":
		j++
	case j+1 < len(toks) && toks[j].Kind == Dash && toks[j+1].Num == 4 && word(toks, j+2) == "of":
		j += 2
	default:
		return moment{}, false
	}
	if word(toks, j) == "of" && word(toks, j+1) == "an" && word(toks, j+2) == "hours" {
		return moment{end: j + 3, kind: momentLength, lo: 45, hi: 45}, true
	}
	return moment{}, false
}

// money keeps prices, marks out of ten and counts out of the times.
func money(text string, t *Token, toks []Token, i int) bool {
	if t.Start > 0 {
		switch text[t.Start-1] {
		case '$', '#':
			return true
		case 0xA3, 0xAC: // the last byte of £ and €
			return t.Start > 1
		}
	}
	if t.End < len(text) && (text[t.End] == '%' || text[t.End] == '$' || text[t.End] == '/' && t.Num <= 10 && t.End+2 < len(text) && text[t.End+1:t.End+3] == "10") {
		return true
	}
	switch word(toks, i+1) {
	case "quid", "pounds", "euro", "euros", "dollars", "bucks", "times", "miles", "mile", "km", "th", "nd", "kilometres", "metres", "meters", "yards", "feet", "blocks", "block", "percent", "stars", "people", "adults", "kids", "portions", "nights", "days", "weeks":
		return true
	}
	return false
}

func word(toks []Token, i int) string {
	if i < 0 || i >= len(toks) || toks[i].Kind == Break {
		return ""
	}
	return toks[i].Text
}

// wordMoment reads what begins without a number: "half an hour", "quarter to",
// "a couple of minutes", "noon".
func wordMoment(toks []Token, i int) (moment, bool) {
	at := func(k int) string { return word(toks, i+k) }
	length := func(n, minutes int) (moment, bool) {
		return moment{end: i + n, kind: momentLength, lo: minutes, hi: minutes}, true
	}
	switch at(0) {
	case "half", "media", "meia":
		switch {
		case at(1) == "hours" || at(1) == "hora":
			return length(2, 30)
		case (at(1) == "an" || at(1) == "a") && at(2) == "hours":
			return length(3, 30)
		case at(1) == "past" || at(1) == "after":
			return minutesPast(toks, i+2, 30)
		}
		if w := word(toks, i-1); at(0) == "half" && at(1) == "" && (w == "at" || w == "by" || w == "till" || w == "until" || w == "before") {
			return minutesPast(toks, i+1, 30) // "back at half"
		}
		if n := num(toks, i+1); n >= 1 && n <= 12 && at(0) == "half" && !isUnit(at(2)) {
			return clock(toks, i+2, n, 30, false)
		}
	case "on":
		if at(1) == "the" && at(2) == "hours" {
			return moment{end: i + 3, kind: momentClock, hour: -1}, true
		}
	case "quarter", "qtr", "cuarto":
		k := 1
		if at(1) == "of" && at(2) == "an" && at(3) == "hours" {
			return length(4, 15)
		}
		if at(1) == "hours" {
			return length(2, 15)
		}
		if at(1) == "de" && at(2) == "hora" {
			return length(3, 15)
		}
		switch at(k) {
		case "past", "after":
			return minutesPast(toks, i+2, 15)
		case "to", "until", "of", "before":
			return minutesTo(toks, i+2, 15)
		case "para":
			return minutesTo(toks, i+2, 15)
		}
	case "a", "an", "one", "una", "un", "une":
		switch {
		case at(1) == "hours" && speed(word(toks, i-1)):
			return moment{}, false
		case at(1) == "hours" || at(1) == "hora":
			if at(2) == "and" && at(3) == "a" && at(4) == "half" {
				return length(5, 90)
			}
			if n, e := wholeNum(toks, i+3); at(2) == "and" && n > 0 && n < 60 {
				if isUnit(word(toks, e)) {
					e++
				}
				return length(e-i, 60+n)
			}
			return length(2, 60)
		case at(1) == "minutes":
			return length(2, 1)
		case at(1) == "quarter" && at(2) == "of" && at(3) == "an" && at(4) == "hours":
			return length(5, 15)
		case at(1) == "couple" && at(2) == "of" && at(3) == "minutes":
			return length(4, 2)
		case at(1) == "couple" && at(2) == "minutes":
			return length(3, 2)
		case at(1) == "few" && at(2) == "minutes", at(1) == "bit" && at(2) == "of", at(1) == "half" && at(2) == "hours":
			if at(1) == "half" {
				return length(3, 30)
			}
			return length(3, -1)
		}
	case "hours":
		if isLate(at(1)) && num(toks, i-1) < 0 {
			return length(1, 60) // "hour late, sorry"
		}
		if at(1) == "and" && at(2) == "a" && !toks[i].Glued {
			switch at(3) {
			case "half":
				return length(4, 90)
			case "quarter":
				return length(4, 75)
			}
		}
	case "couple":
		if at(1) == "minutes" {
			return length(2, 2)
		}
		if at(1) == "of" && at(2) == "minutes" {
			return length(3, 2)
		}
	case "few":
		if at(1) == "minutes" {
			return length(2, -1)
		}
	case "noon", "midday", "mediodia":
		return moment{end: i + 1, kind: momentClock, hour: 12, fixed: true}, true
	}
	return moment{}, false
}

// speed tells whether a word before "an hour" makes it one: "thirty miles an hour".
func speed(w string) bool {
	switch w {
	case "mile", "miles", "km", "k", "kilometres", "kilometers", "times":
		return true
	}
	return false
}

// num gives the number at toks[i], joining "twenty five"; -1 where there is
// none.
func num(toks []Token, i int) int {
	if i < 0 || i >= len(toks) || toks[i].Num < 0 || toks[i].Min >= 0 || toks[i].bits&(clsPlate|clsRef) != 0 {
		return -1
	}
	return toks[i].Num
}

// wholeNum reads a number of one or two words and tells where it ends.
func wholeNum(toks []Token, i int) (int, int) {
	n := num(toks, i)
	if n < 0 {
		return -1, i
	}
	if toks[i].Kind == Word && n >= 20 && n%10 == 0 {
		j := i + 1
		if j < len(toks) && toks[j].Kind == Dash {
			j++
		}
		if j < len(toks) && toks[j].Kind == Word {
			if m := num(toks, j); m >= 1 && m <= 9 {
				return n + m, j + 1
			}
		}
	}
	return n, i + 1
}

func isUnit(w string) bool { return w == "minutes" || w == "hours" || w == "hora" || w == "seconds" }

// lengthAt reads "10 minutes", "10-15 min", "1 hour 20", "in 10", "15 late".
func lengthAt(toks []Token, i int) (moment, bool) {
	lo, j := wholeNum(toks, i)
	if lo < 0 || lo > 600 {
		return moment{}, false
	}
	hi := lo
	if k := j; joins(toks, k) {
		if n, e := wholeNum(toks, k+1); n > 0 && n <= 600 {
			hi, j = n, e
		}
	} else if k := j; k < len(toks) && word(toks, k) == "ish" && isUnit(word(toks, k+1)) {
		j++
	} else if n, e := wholeNum(toks, k); n > lo && n <= 120 && isUnit(word(toks, e)) && toks[k].Kind == toks[i].Kind && !toks[k].Glued && n%5 == 0 {
		hi, j = n, e // "five ten minutes"
	}
	out := moment{kind: momentLength, lo: lo, hi: hi}
	switch w := word(toks, j); {
	case w == "minutes" || w == "more" && word(toks, j+1) == "minutes" || w == "odd" && word(toks, j+1) == "minutes":
		out.end = j + 1
		if w != "minutes" {
			out.end++
		}
		// "10 minutes past 6" is a time of day.
		switch n := num(toks, out.end+1); word(toks, out.end) {
		case "past", "after":
			if n >= 1 && n <= 12 && hi < 60 && !isUnit(word(toks, out.end+2)) {
				return minutesPast(toks, out.end+1, hi)
			}
		case "to":
			if n >= 1 && n <= 12 && hi < 60 {
				if m, ok := minutesTo(toks, out.end+1, hi); ok {
					return m, true
				}
			}
		}
		return out, true
	case w == "and" && word(toks, j+1) == "a" && word(toks, j+2) == "half" && word(toks, j+3) == "hours":
		out.lo, out.hi, out.end = lo*60+30, hi*60+30, j+4
		return out, true
	case w == "hours" && lo <= 12 && !(toks[j].Glued && (hourPrep(word(toks, i-1)) || word(toks, j+1) == "moins" || word(toks, j+1) == "et")):
		out.lo, out.hi, out.end = lo*60, hi*60, j+1
		k := j + 1
		if word(toks, k) == "and" {
			k++
		}
		if n, e := wholeNum(toks, k); n > 0 && n < 60 {
			if isUnit(word(toks, e)) {
				e++
			}
			out.lo, out.hi, out.end = out.lo+n, out.hi+n, e
		} else if word(toks, k) == "a" && word(toks, k+1) == "half" {
			out.lo, out.hi, out.end = out.lo+30, out.hi+30, k+2
		}
		return out, true
	case w == "seconds" || w == "tick" || w == "ticks" || w == "jiffies":
		out.lo, out.hi, out.end = -1, -1, j+1
		return out, true
	}
	if bareLength(toks, i, j, hi) || hi > 12 && hi <= 60 && hi%5 == 0 && word(toks, j-2) == "or" && (word(toks, j) == "" || isLate(word(toks, j))) && lateBefore(toks, i) {
		out.end = j
		return out, true
	}
	return moment{}, false
}

// joins tells whether toks[k] joins the two ends of a range.
func joins(toks []Token, k int) bool {
	if k >= len(toks) {
		return false
	}
	switch toks[k].Text {
	case "to", "or", "and", "a", "o":
		// "ten to 5" is a time: only a range when a unit follows.
		n, e := wholeNum(toks, k+1)
		return n > 0 && (isUnit(word(toks, e)) || isLate(word(toks, e)) || toks[k].Text == "or" && (word(toks, k-2) == "in" || n > 12 && n <= 60 && n%5 == 0 && toks[k-1].Num > 0 && toks[k-1].Min < 0 && toks[k+1].Min < 0) || toks[k].Text == "to" && lengthBefore(toks, k, n))
	}
	return toks[k].Kind == Dash
}

// lengthBefore tells whether the "to" at k joins a length that "in" begins and that
// the number n behind it makes longer: "in 10 to 15", not "in at 10 to 5".
func lengthBefore(toks []Token, k, n int) bool {
	p := k - 2
	for p >= 0 && (toks[p].Text == "about" || toks[p].Text == "around" || toks[p].Text == "like" || toks[p].Text == "maybe" || toks[p].Text == "roughly") {
		p--
	}
	w := word(toks, p)
	return (w == "in" || w == "within") && toks[k-1].Num > 0 && toks[k-1].Min < 0 && n > toks[k-1].Num
}

// lateBefore tells whether the clauses before i say that somebody is late: "running late,
// maybe ten or fifteen".
func lateBefore(toks []Token, i int) bool {
	for k := max(0, i-5); k < i; k++ {
		if isLate(toks[k].Text) {
			return true
		}
	}
	return false
}

func isLate(w string) bool {
	switch w {
	case "late", "behind", "away", "out", "off", "delayed", "early", "later", "earlier", "tarde":
		return true
	}
	return false
}

// bareLength tells whether a number without a unit counts minutes: "in 10",
// "give me 5", "15 late", "back 20", or a range that stands alone.
func bareLength(toks []Token, i, j, hi int) bool {
	if hi > 180 || toks[i].Min >= 0 {
		return false
	}
	if word(toks, j) == "de" && word(toks, j+1) == "plus" {
		return true // "15 de plus"
	}
	if isLate(word(toks, j)) && toks[i].Kind != Dash {
		w := word(toks, j)
		if (w == "out" || w == "off") && (word(toks, j+1) == "of" || hi < 2) {
			return false
		}
		return true
	}
	after := word(toks, j)
	if after == "am" || after == "pm" || after == "oclock" || after == "past" || after == "to" || after == "ish" && hi <= 12 && word(toks, i-1) != "in" {
		return false
	}
	p := i - 1
	for word(toks, p) == "about" || word(toks, p) == "like" || word(toks, p) == "around" || word(toks, p) == "another" || word(toks, p) == "maybe" || word(toks, p) == "roughly" || word(toks, p) == "unos" || word(toks, p) == "como" {
		p--
	}
	if p > 1 && p < i-1 && toks[p].Kind == Break && (word(toks, p-1) == "minutes" || isLate(word(toks, p-1)) && word(toks, p-2) == "minutes") && closed(toks, j) {
		return true // "20 minutes, maybe 25", "ten minutes out, maybe fifteen"
	}
	switch word(toks, p) {
	case "in", "within":
		if p > 0 && toks[p-1].Kind == Number {
			return false // "8 in 10"
		}
		return word(toks, j) == "" || toks[j].bits&(clsItem|clsFood|clsCar|clsPerson) == 0 || toks[j].bits&clsVocative != 0
	case "says", "saying", "reckons":
		switch word(toks, p-1) {
		case "gps", "satnav", "nav", "maps", "map", "phone", "google", "waze", "app", "it", "thing", "car":
			return hi > 12 && word(toks, j) == ""
		}
		return false
	case "en", "em", "dans":
		return hi >= 3
	case "tardo", "tarda", "tardamos", "tardan", "tardare":
		return true
	case "add":
		return hi >= 5 && (after == "" || after == "on" || after == "onto" || after == "to")
	case "back", "forward":
		return hi >= 5
	case "me", "us":
		w := word(toks, p-1)
		return (w == "give" || w == "allow" || w == "need") && (word(toks, j) == "" || toks[j].bits&(clsItem|clsFood) == 0)
	case "running":
		return true
	case "by":
		w := word(toks, p-1)
		return w == "late" || w == "back" || w == "delayed" || w == "forward"
	case "take", "takes":
		return word(toks, j) == ""
	case "be", "taking", "need":
		return (hi > 12 || word(toks, i-1) == "another") && closed(toks, j)
	}
	if word(toks, i-1) == "another" && closed(toks, j) {
		return true
	}
	if w := word(toks, i-1); (w == "about" || w == "like") && word(toks, i-2) == "" && word(toks, j) == "" && hi > 12 {
		return true
	}
	if j == i+1 && toks[i].Kind == Number && hi > 12 && hi <= 60 && i == 0 && j == len(toks) {
		return true // "15" and nothing else
	}
	if j == len(toks) && hi >= 10 && hi <= 60 && toks[i].Kind == Number && i > 1 && word(toks, i-1) == "" && travelled(toks[:i-1]) {
		return true // "just stopping for petrol, 10"
	}
	// A range of minutes alone in its clause.
	return j-i >= 3 && toks[i+1].Kind == Dash && word(toks, i-1) == "" && word(toks, j) == "" && hi <= 60 && hi > 12
}

// closed tells whether nothing that could be counted stands at j: "another 5 sorry".
func closed(toks []Token, j int) bool {
	return word(toks, j) == "" || toks[j].bits&(clsPolite|clsVocative) != 0
}

// travelled tells whether the words before a break speak of the way here.
func travelled(toks []Token) bool {
	for i := range toks {
		switch toks[i].Text {
		case "leaving", "left", "stopping", "stopped", "heading", "driving", "traffic", "stuck", "way", "coming", "petrol", "gas", "saliendo", "camino", "trafico":
			return true
		}
	}
	return false
}
