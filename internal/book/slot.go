package book

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"passbell/internal/night"
)

// half is the half of the day a time was given with.
type half int

const (
	either half = iota
	am
	pm
	full // on the 24-hour clock beyond doubt
)

// tick is one time of day as it was written.
type tick struct {
	hour, minute int
	half         half
	exact        bool // minutes or a half of the day were written
}

// span is a time or a range of times as it was written.
type span struct {
	from, to tick
	ranged   bool
	text     string
}

const (
	halfWords = `(?:\s*(a\.?\s?m\b\.?|p\.?\s?m\b\.?|[ap]\b|de la tarde|de la noche|de la mañana))?`
	hourWords = `(?:\s*(?:hrs?|hours|uhr|h|o'?clock)\b)?`
	clockText = `(\d{1,2})(?:[:.hH]([0-5]\d)(?::[0-5]\d(?:\.\d+)?)?)?` + hourWords + halfWords
)

var (
	rangeText = pattern(`(?i)(?:^|[^\d.,:£$€/])` + clockText + `\s*(?:-|–|—|−|~|\bto\b|\btill?\b|\buntil\b|\band\b|/|→|>|\ba\b|\by\b|\bhasta\b)+\s*` + clockText + `(?:$|[^\d:])`)
	oneText   = pattern(`(?i)(?:^|[^\d.,:£$€])` + clockText + `(?:$|[^\d:%])`)
	military  = pattern(`(?:^|[^\d.,:£$€+])([01]\d|2[0-3])([0-5]\d)(?:\s*(?:-|–|—|\bto\b)\s*([01]\d|2[0-3])([0-5]\d))?\s*(?:hrs?\b|h\b)?(?:$|[^\d:])`)
	spoken    = pattern(`(?i)\b(half|quarter|ten|twenty|five)\s+(past|to)\s+(one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|\d{1,2})\b` + halfWords)
	noon      = pattern(`(?i)\b(?:noon|midday|mediod[ií]a)\b`)
	fraction  = pattern(`^(?:\d{5})?[0.]?\.\d+$|^\d{5}\.\d+$`)
	odd       = strings.NewReplacer("\u202f", " ", "\u00a0", " ", "\u2009", " ", "\u2007", " ", "\u200a", " ", "\u2013", "-", "\u2014", "-", "\u2212", "-", "\u2012", "-", "\u2011", "-", "\u2010", "-", "\u02d0", ":", "\ua789", ":", "：", ":")
)

// strictness says how sure a text must be to be taken for a time.
type strictness int

const (
	slotCell strictness = iota // a column of slots: "5" is five o'clock
	loose                      // other words: a time needs minutes or a half of the day
)

// findSpans reads the times in a text, dates already taken out.
func findSpans(s string, how strictness) []span {
	s = strings.TrimSpace(weekday().ReplaceAllString(odd.Replace(s), " "))
	if s == "" {
		return nil
	}
	var out []span
	if how == slotCell && fraction().MatchString(s) {
		if f, err := strconv.ParseFloat(s, 64); err == nil {
			minutes := int((f-float64(int(f)))*24*60 + 0.5)
			t := tick{hour: minutes / 60 % 24, minute: minutes % 60, half: full, exact: true}
			return []span{{from: t, text: s}}
		}
	}
	s = cutSpans(s, rangeText(), func(m []string) (span, bool) {
		a, b := makeTick(m[1], m[2], m[3]), makeTick(m[4], m[5], m[6])
		sure := a.exact || b.exact
		return span{from: a, to: b, ranged: true}, a.valid() && b.valid() && (sure || how == slotCell)
	}, &out)
	s = cutSpans(s, spoken(), func(m []string) (span, bool) {
		t, ok := spokenTick(m)
		return span{from: t}, ok
	}, &out)
	s = cutSpans(s, military(), func(m []string) (span, bool) {
		a := tick{hour: atoi(m[1]), minute: atoi(m[2]), half: full, exact: true}
		if m[3] == "" {
			return span{from: a}, how == slotCell || strings.Contains(m[0], "h")
		}
		return span{from: a, to: tick{hour: atoi(m[3]), minute: atoi(m[4]), half: full, exact: true}, ranged: true}, true
	}, &out)
	s = cutSpans(s, oneText(), func(m []string) (span, bool) {
		t := makeTick(m[1], m[2], m[3])
		sure := t.exact && (how == slotCell || t.half != either || strings.ContainsAny(m[0], ":hH") || m[2] != "" && atoi(m[1]) > 12)
		alone := how == slotCell && strings.Trim(m[0], " ~") == strings.Trim(s, " ~")
		return span{from: t}, t.valid() && (sure || alone)
	}, &out)
	if noon().MatchString(s) {
		out = append(out, span{from: tick{hour: 12, half: full, exact: true}, text: noon().FindString(s)})
	}
	return out
}

func cutSpans(s string, re *regexp.Regexp, read func([]string) (span, bool), out *[]span) string {
	for from := 0; from < len(s); {
		at := re.FindStringSubmatchIndex(s[from:])
		if at == nil {
			break
		}
		m := make([]string, len(at)/2)
		for i := range m {
			if at[2*i] >= 0 {
				m[i] = s[from+at[2*i] : from+at[2*i+1]]
			}
		}
		sp, ok := read(m)
		if !ok {
			from += at[2] + 1
			for from < len(s) && s[from] >= '0' && s[from] <= '9' {
				from++
			}
			continue
		}
		// The first group starts the time; what stood before it stays.
		end := from + at[1]
		if end < len(s) || at[1] > 0 && end == len(s) {
			last := s[end-1]
			if last != ' ' && !isWordByte(last) && last != '.' {
				end--
			}
		}
		start := from + firstGroup(at)
		sp.text = strings.TrimSpace(s[start:end])
		*out = append(*out, sp)
		s = s[:start] + " | " + s[end:]
		from = start + 3
	}
	return s
}

func isWordByte(b byte) bool {
	return b >= '0' && b <= '9' || b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' || b >= 0x80
}

func firstGroup(at []int) int {
	if at[2] >= 0 {
		return at[2]
	}
	return at[0]
}

func makeTick(hour, minute, words string) tick {
	t := tick{hour: atoi(hour), half: halfOf(words), exact: minute != "" || words != ""}
	if minute != "" {
		t.minute = atoi(minute)
	}
	if t.hour > 12 || len(hour) == 2 && hour[0] == '0' && minute != "" && t.half == either && t.hour == 0 {
		t.half = full
	}
	return t
}

func halfOf(words string) half {
	w := strings.ToLower(strings.NewReplacer(".", "", " ", "").Replace(words))
	switch {
	case w == "":
		return either
	case w == "delatarde" || w == "delanoche" || w[0] == 'p':
		return pm
	}
	return am
}

func (t tick) valid() bool {
	return t.hour >= 0 && t.hour <= 23 && t.minute >= 0 && t.minute < 60 && (t.half == either || t.half == full || t.hour <= 12)
}

var numberWords = map[string]int{
	"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	"eleven": 11, "twelve": 12, "twenty": 20, "quarter": 15, "half": 30,
}

func spokenTick(m []string) (tick, bool) {
	hour, ok := numberWords[strings.ToLower(m[3])]
	if !ok {
		hour = atoi(m[3])
	}
	t := tick{hour: hour, minute: numberWords[strings.ToLower(m[1])], half: halfOf(m[4]), exact: true}
	if strings.EqualFold(m[2], "to") {
		t.minute = 60 - t.minute
		t.hour--
		if t.hour == 0 {
			t.hour = 12
		}
	}
	return t, t.hour >= 1 && t.hour <= 12 && t.minute < 60
}

// clocks lists what a written time can mean.
func (t tick) clocks() []night.Clock {
	at := func(h int) night.Clock { return night.Clock(h%24*60 + t.minute) }
	switch {
	case t.half == full:
		return []night.Clock{at(t.hour)}
	case t.half == pm && t.hour == 12, t.half == am && t.hour < 12:
		return []night.Clock{at(t.hour)}
	case t.half == pm:
		return []night.Clock{at(t.hour + 12)}
	case t.half == am:
		return []night.Clock{at(0)}
	case t.hour == 12:
		return []night.Clock{at(12), at(0)}
	}
	return []night.Clock{at(t.hour), at(t.hour + 12)}
}

// longest is the longest range, in minutes, that can be one slot: three hours
// are a whole evening.
const longest = 179

// slotTrouble says why a written time is no slot.
type slotTrouble struct{ what, fix string }

// place turns a span into a slot of the night n. ok tells whether there is a
// time at all; the trouble is nil where it can be used.
func (sp span) place(n night.Night) (c night.Clock, ok bool, trouble *slotTrouble) {
	starts := sp.starts()
	if len(starts) == 0 {
		return 0, false, &slotTrouble{
			fmt.Sprintf("%q spans three hours or more, which is no slot", sp.text),
			"ask which slot is meant",
		}
	}
	if n.Every <= 0 {
		return likely(starts), true, nil
	}
	var fits []night.Clock
	for _, s := range starts {
		if n.HasSlot(s) {
			fits = append(fits, s)
		}
	}
	switch len(fits) {
	case 1:
		return fits[0], true, nil
	case 0:
	default:
		return 0, false, &slotTrouble{
			fmt.Sprintf("%q may be %s or %s", sp.text, fits[0], fits[1]),
			"ask which slot is meant",
		}
	}
	for _, s := range starts {
		if s >= n.First && s <= n.Last {
			before := s - (s-n.First)%night.Clock(n.Every)
			return s, true, &slotTrouble{
				fmt.Sprintf("%s is between two slots", s),
				fmt.Sprintf("choose %s or %s", before, min(before.Add(n.Every), n.Last)),
			}
		}
	}
	return likely(starts), true, &slotTrouble{
		fmt.Sprintf("%s is outside of the night's slots, %s to %s", likely(starts), n.First, n.Last),
		"ask the customer for one of the night's slots",
	}
}

// starts lists the moments at which the span can start. In a range the two ends
// help each other: it runs forward and no longer than a slot can.
func (sp span) starts() []night.Clock {
	if !sp.ranged {
		return sp.from.clocks()
	}
	best, out := longest+1, []night.Clock(nil)
	for _, a := range sp.from.clocks() {
		for _, b := range sp.to.clocks() {
			long := int(b - a)
			if long < 0 {
				long += 24 * 60
			}
			if long <= 0 || long > longest || long > best {
				continue
			}
			if long < best {
				best, out = long, nil
			}
			out = append(out, a)
		}
	}
	return out
}

// likely takes the afternoon where nothing else decides: people collect a
// supper then.
func likely(starts []night.Clock) night.Clock {
	for _, s := range starts {
		if s >= 12*60 {
			return s
		}
	}
	return starts[0]
}
