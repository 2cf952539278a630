package web

import (
	"cmp"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"passbell/internal/night"
)

// elsewhere is the section of a words file for sentences that other parts of
// passbell word and store, in English: why a text was read as it was, what is
// wrong with a row of an order book, what happened to an order.
const elsewhere = "elsewhere"

// known is such a sentence with something filled in, as it is recognised: its
// format with the verbs open.
type known struct {
	key   string
	whole *regexp.Regexp
	verbs []string
}

// newKnown lists the sentences of a section, the most particular first.
func newKnown(section map[string]any) []known {
	var out []known
	for _, key := range slices.SortedFunc(maps.Keys(section), func(a, b string) int {
		return cmp.Or(cmp.Compare(literals(b), literals(a)), strings.Compare(a, b))
	}) {
		if !verb.MatchString(key) {
			continue // said as it stands
		}
		k := known{key: key}
		pattern, at := "", 0
		for _, m := range verb.FindAllStringSubmatchIndex(key, -1) {
			v := key[m[4]:m[5]]
			pattern += regexp.QuoteMeta(key[at:m[0]]) + map[bool]string{true: `(\d+)`, false: `(.*?)`}[v == "d"]
			at, k.verbs = m[1], append(k.verbs, v)
		}
		k.whole = regexp.MustCompile(`\A` + pattern + regexp.QuoteMeta(key[at:]) + `\z`)
		out = append(out, k)
	}
	return out
}

// literals counts what of a format is not left open.
func literals(key string) int { return len(verb.ReplaceAllString(key, "")) }

// joints are how sentences are put together from others.
var joints = []string{" · ", "; ", ": ", ", "}

// say gives a sentence from elsewhere in the language of the page. What is not
// known, such as the words of a network or of a customer, stays as it is.
func (w *tongue) say(sentence string) string {
	if len(w.known()) == 0 || sentence == "" {
		return sentence
	}
	if w.plain[sentence] {
		return w.t(sentence)
	}
	for _, k := range w.known() {
		m := k.whole.FindStringSubmatch(sentence)
		if m == nil {
			continue
		}
		args := make([]any, len(k.verbs))
		for i, v := range k.verbs {
			args[i] = m[i+1]
			if v == "d" {
				args[i], _ = strconv.Atoi(m[i+1]) // digits, as the pattern says
			} else {
				args[i] = w.say(m[i+1])
			}
		}
		return w.t(k.key, args...)
	}
	if at, ok := w.moment(sentence); ok {
		return at
	}
	for _, joint := range joints {
		if before, after, ok := strings.Cut(sentence, joint); ok {
			return w.say(before) + joint + w.say(after)
		}
	}
	return sentence
}

// moment says a date and time of day that the desk wrote into the history. It
// wrote no year, so any will do in which that day of the month is that weekday.
func (w *tongue) moment(sentence string) (string, bool) {
	at, err := time.Parse("Mon 2 Jan 15:04", sentence)
	if err != nil {
		return "", false
	}
	d := night.Date{Year: 2000, Month: at.Month(), Day: at.Day()}
	for ; d.Year < 2028 && !strings.HasPrefix(sentence, d.Format("Mon")); d.Year++ {
	}
	return w.date(d) + " " + w.slot(night.ClockOf(at)), true
}

// whoWords names who did something, where that is nobody by name.
func (w *tongue) whoWords(who string) string {
	switch who {
	case cook:
		return w.t("cook")
	case "clock":
		return w.t("clock")
	case "customer":
		return w.t("customer")
	}
	return who
}

// way says which way a text took.
func (w *tongue) way(m night.Message) string {
	switch {
	case m.Adapter == "":
		return ""
	case m.Fallen:
		return w.t("by %s, as another way failed", m.Adapter)
	}
	return w.t("by %s", m.Adapter)
}
