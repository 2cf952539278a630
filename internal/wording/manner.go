package wording

import (
	"fmt"
	"slices"
	"strings"

	"passbell/internal/night"
)

// Regions that tell the time on a 12-hour clock, and those that name the month
// before the day when they write English. Source: CLDR 48 as Node's Intl gives
// it for en-XX and es-XX.
const (
	twelveHour = " US CA AU NZ IN PH SG HK JM TT BS BB PK MY CY GH PR GY" +
		" MX AR CO CL PE DO GT EC UY VE CR PA HN SV NI CU BO PY "
	monthFirst = " US CA PH PR "
)

// Spanish day names for texts. Saturday goes without its accent, as people text
// it: á is not in the GSM alphabet and would more than double the price.
const (
	daysES   = "domingo lunes martes miércoles jueves viernes sabado"
	monthsES = "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre"
)

// manner is how a text writes times, days and lists: by region and language.
type manner struct {
	region     string // ISO 3166-1 alpha-2
	lang       string // "en", "es"
	twelveHour bool
	monthFirst bool
}

func mannerOf(region, lang string) manner {
	in := func(regions string) bool {
		return region != "" && strings.Contains(regions, " "+strings.ToUpper(region)+" ")
	}
	return manner{region: region, lang: lang, twelveHour: in(twelveHour), monthFirst: in(monthFirst)}
}

// clock writes a time of day, "16:30" or "4:30 pm".
func (m manner) clock(c night.Clock) string {
	if !m.twelveHour {
		return c.String()
	}
	hour, half := int(c)/60, "am"
	if hour >= 12 {
		hour, half = hour-12, "pm"
	}
	if hour == 0 {
		hour = 12
	}
	return fmt.Sprintf("%d:%02d %s", hour, int(c)%60, half)
}

// at writes a time of day with its preposition, "at 16:30", "a las 16:30".
func (m manner) at(c night.Clock) string {
	if m.lang != "es" {
		return "at " + m.clock(c)
	}
	if words := m.clock(c); strings.HasPrefix(words, "1:") || strings.HasPrefix(words, "01:") {
		return "a la " + words
	}
	return "a las " + m.clock(c)
}

// day writes a date in full, "Friday 4 December".
func (m manner) day(d night.Date) string {
	switch {
	case d.IsZero():
		return ""
	case m.lang == "es":
		return fmt.Sprintf("%s %d de %s", nameES(daysES, int(d.Weekday())), d.Day, nameES(monthsES, int(d.Month)-1))
	case m.monthFirst:
		return d.Format("Monday, January 2")
	}
	return d.Format("Monday 2 January")
}

// date writes a date in short, "Fri 4 Dec".
func (m manner) date(d night.Date) string {
	switch {
	case d.IsZero():
		return ""
	case m.lang == "es":
		return fmt.Sprintf("%s %d %s", short(nameES(daysES, int(d.Weekday()))), d.Day, short(nameES(monthsES, int(d.Month)-1)))
	case m.monthFirst:
		return d.Format("Mon Jan 2")
	}
	return d.Format("Mon 2 Jan")
}

// carWords is what a customer is asked to write on arrival.
func (m manner) carWords() string {
	switch {
	case m.lang == "es":
		return "auto, color y placa"
	case strings.EqualFold(m.region, "US"), strings.EqualFold(m.region, "PR"):
		return "car, color and plate"
	}
	return "car, colour and plate"
}

// list joins words, "a", "a and b", "a, b and c".
func (m manner) list(words []string) string {
	and := " and "
	if m.lang == "es" {
		and = " y "
	}
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + and + words[n-1]
}

// refs names orders, "order K420", "orders K420 and K443".
func (m manner) refs(refs []string) string {
	one, many := "order ", "orders "
	if m.lang == "es" {
		one, many = "el pedido ", "los pedidos "
	}
	switch len(refs) {
	case 0:
		return ""
	case 1:
		return one + refs[0]
	}
	return many + m.list(refs)
}

// times names orders with their slots, "orders K420 at 17:10 and K443 at
// 17:30"; a slot that all of them share is named once.
func (m manner) times(refs []string, slots []night.Clock) string {
	if len(refs) == 0 {
		return ""
	}
	if !slices.ContainsFunc(slots, func(c night.Clock) bool { return c != slots[0] }) {
		return m.refs(refs) + " " + m.at(slots[0])
	}
	words := make([]string, len(refs))
	for i, ref := range refs {
		words[i] = ref + " " + m.at(slots[i])
	}
	return m.refs(words)
}

func nameES(names string, i int) string { return strings.Fields(names)[i] }

// short cuts a Spanish name to its first three letters, without a stop.
func short(name string) string { return string([]rune(name)[:3]) }
