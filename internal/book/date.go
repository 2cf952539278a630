package book

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"passbell/internal/night"
)

// dayOrder says which of day and month stands first in dates of digits. One
// file has one order.
type dayOrder int

const (
	unknownOrder dayOrder = iota
	dayFirst
	monthFirst
	clashing // the file shows both
)

var (
	isoMoment = pattern(`\b(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s?([Zz]|UTC|[+-]\d{2}:?\d{2})(?:\[[\w/]+\])?`)
	isoDate   = pattern(`\b(20\d{2})([-/.])(\d{1,2})([-/.])(\d{1,2})(?:T|\b)`)
	digitDate = pattern(`\b(\d{1,2})(?:/(\d{1,2})/|-(\d{1,2})-|\.(\d{1,2})\.)(\d{4}|\d{2})\b`)
	shortDate = pattern(`\b(\d{1,2})/(\d{1,2})\b`)
	monthName = `jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?|` +
		`enero|ene|febrero|marzo|abril|abr|mayo|junio|julio|agosto|ago|se[p]?tiembre|octubre|noviembre|diciembre|dic`
	dayMonth = pattern(`(?i)\b(\d{1,2})(?:st|nd|rd|th|º)?[\s\-]+(?:of\s+|de\s+)?(` + monthName + `)\b\.?,?(?:[\s\-]+(?:de\s+)?(\d{4})\b|(?:-|\s*['’])(\d{2})\b)?`)
	monthDay = pattern(`(?i)\b(` + monthName + `)\b\.?[\s\-]+(\d{1,2})(?:st|nd|rd|th)?\b(?:,?\s+(\d{4})\b)?`)
	weekday  = pattern(`(?i)\b(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?s?\b[,.]?|\b(?:lunes|martes|miércoles|miercoles|jueves|viernes|sábado|sabado|domingo)\b,?`)
)

// day is one date found in a text.
type day struct {
	date night.Date // with the day first, where that matters
	swap night.Date // with the month first; zero where it doesn't matter
}

// found is what was found of dates in a text, and the text without them.
type found struct {
	days   []day
	moment *time.Time // a time with its offset
	rest   string     // the text with dates taken out
	first  int        // dates of digits that can only have the day first
	second int        // dates of digits that can only have the month first
}

// findDates takes the dates out of a text. Dates without a year are read with
// the year of the night, near, or the one that brings them closer to it.
func findDates(s string, near night.Date) found {
	f := found{rest: s}
	if !strings.ContainsAny(s, "0123456789") {
		return f
	}
	if m := isoMoment().FindStringSubmatch(s); m != nil {
		if t, ok := moment(m); ok {
			f.moment = &t
			f.rest = strings.Replace(s, m[0], " ", 1)
			return f
		}
	}
	f.cut(isoDate(), func(m []string) bool {
		return m[2] == m[4] && f.add(atoi(m[1]), atoi(m[3]), atoi(m[5]))
	})
	f.cut(digitDate(), func(m []string) bool {
		return f.digits(atoi(m[1]), atoi(m[2]+m[3]+m[4]), year(m[5]))
	})
	f.cut(dayMonth(), func(m []string) bool { return f.add(yearOr(m[3]+m[4], near, monthOf(m[2])), monthOf(m[2]), atoi(m[1])) })
	f.cut(monthDay(), func(m []string) bool { return f.add(yearOr(m[3], near, monthOf(m[1])), monthOf(m[1]), atoi(m[2])) })
	f.cut(shortDate(), func(m []string) bool {
		return !near.IsZero() && f.digits(atoi(m[1]), atoi(m[2]), near.Year)
	})
	return f
}

func (f *found) cut(re *regexp.Regexp, take func([]string) bool) {
	for _, m := range re.FindAllStringSubmatch(f.rest, 3) {
		if take(m) {
			f.rest = strings.Replace(f.rest, m[0], " ", 1)
		}
	}
}

func (f *found) add(y, m, d int) bool {
	date, ok := makeDate(y, m, d)
	if ok {
		f.days = append(f.days, day{date: date})
	}
	return ok
}

func (f *found) digits(a, b, y int) bool {
	first, okFirst := makeDate(y, b, a)
	second, okSecond := makeDate(y, a, b)
	switch {
	case okFirst && okSecond && a != b:
		f.days = append(f.days, day{date: first, swap: second})
	case okFirst:
		if a != b {
			f.first++
		}
		f.days = append(f.days, day{date: first})
	case okSecond:
		f.second++
		f.days = append(f.days, day{date: second})
	default:
		return false
	}
	return true
}

func moment(m []string) (time.Time, bool) {
	zone := strings.ToUpper(m[7])
	if zone == "Z" || zone == "UTC" {
		zone = "+00:00"
	}
	if len(zone) == 5 {
		zone = zone[:3] + ":" + zone[3:]
	}
	seconds := m[6]
	if seconds == "" {
		seconds = "00"
	}
	t, err := time.Parse(time.RFC3339, fmt.Sprintf("%s-%s-%sT%s:%s:%s%s", m[1], m[2], m[3], m[4], m[5], seconds, zone))
	return t, err == nil
}

func makeDate(y, m, d int) (night.Date, bool) {
	if m < 1 || m > 12 || d < 1 || d > 31 {
		return night.Date{}, false
	}
	t := time.Date(y, time.Month(m), d, 12, 0, 0, 0, time.UTC)
	return night.DateOf(t), t.Day() == d
}

func atoi(s string) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		return -1
	}
	return n
}

func year(s string) int {
	y := atoi(s)
	if y >= 0 && y < 100 {
		y += 2000
	}
	return y
}

func yearOr(s string, near night.Date, month int) int {
	switch {
	case s != "":
		return year(s)
	case month-int(near.Month) > 6: // December, seen from January
		return near.Year - 1
	case int(near.Month)-month > 6:
		return near.Year + 1
	}
	return near.Year
}

func monthOf(s string) int {
	s = strings.ToLower(s)
	switch s[:3] {
	case "ene":
		return 1
	case "abr":
		return 4
	case "ago":
		return 8
	case "dic":
		return 12
	}
	return strings.Index("janfebmaraprmayjunjulaugsepoctnovdec", strings.Replace(s[:3], "set", "sep", 1))/3 + 1
}

// settle decides the day order of a file from all its dates of digits. Where
// none decides, the night's own date does if it fits one order only, then the
// habit of the region.
func settle(first, second, nightFirst, nightSecond int, region string) dayOrder {
	switch {
	case first > 0 && second > 0, nightFirst > 0 && nightSecond > 0:
		return clashing
	case first > 0:
		return dayFirst
	case second > 0:
		return monthFirst
	case nightFirst > 0 && nightSecond == 0:
		return dayFirst
	case nightSecond > 0 && nightFirst == 0:
		return monthFirst
	case region == "US" || region == "PH":
		return monthFirst
	}
	return dayFirst
}

// in gives the date in the file's order; ok is false where the file shows both
// orders and this date could be either.
func (d day) in(order dayOrder) (night.Date, bool) {
	switch {
	case d.swap.IsZero():
		return d.date, true
	case order == clashing:
		return night.Date{}, false
	case order == monthFirst:
		return d.swap, true
	}
	return d.date, true
}
