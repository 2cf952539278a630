package phone

import (
	"regexp"
	"strings"
	"unicode"
)

var (
	scientific = regexp.MustCompile(`^\+?(\d)(?:[.,](\d+))?[eE]\+?(\d{1,2})$`)
	float      = regexp.MustCompile(`^(\+?\d+)[.,]0+$`)
	thousands  = regexp.MustCompile(`^\d{1,3}(?:[,.]\d{3}){2,}$`)
	formula    = regexp.MustCompile(`^=\s*"(.*)"$`)
	label      = regexp.MustCompile(`(?i)^(?:tel|tel(?:e|é)fono|telephone|phone|ph|mobile|mob|m[oó]vil|cell|cel|celular|sms|text|whatsapp|call|number|no|nr|t|m|p)\s*[.:#]*\s*([+(\[\d].*)$`)
	trunk      = regexp.MustCompile(`[(\[]\s*0\s*[)\]]`)
	// candidate finds what may be a number inside other words.
	candidate = regexp.MustCompile(`[+(\[]{0,2}\d[\d\s().\[\]/\-]*\d`)
	between   = regexp.MustCompile(`(?i)\s*(?:[;|\n]|\s/\s|//|,\s|\bor\b|\band\b|\by\b|\bo\b|&)\s*`)
)

// tidy makes one plain text of a cell: no invisible marks, one kind of space,
// hyphen and digit, and none of the marks by which spreadsheets keep a text a
// text.
func tidy(s string) string {
	s = strings.Map(plain, s)
	s = strings.Trim(s, " \t\r\n")
	for {
		before := s
		if m := formula.FindStringSubmatch(s); m != nil {
			s = m[1]
		}
		s = strings.TrimLeft(s, "'`´’‘=\"“”")
		s = strings.TrimRight(s, "'`´’‘\"“”;, ")
		s = strings.TrimSpace(s)
		if s == before {
			break
		}
	}
	if len(s) > 4 && strings.EqualFold(s[:4], "tel:") {
		s = s[4:]
	}
	return s
}

func plain(r rune) rune {
	switch {
	case r >= ' ' && r < 0x7f:
		return r
	case r == '\u2010' || r == '\u2011' || r == '\u2012' || r == '\u2013' || r == '\u2014' || r == '\u2212' || r == '\uff0d':
		return '-'
	case r == '\uff0b':
		return '+'
	case r == '\n' || r == '\r':
		return '\n'
	case unicode.IsSpace(r) || r == '\u2007' || r == '\u202f':
		return ' '
	case unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Cc, r):
		return -1
	case unicode.Is(unicode.Nd, r):
		return asciiDigit(r)
	}
	return r
}

// asciiDigit turns a decimal digit of any script into its ASCII form: Unicode
// lays the ten digits of a script out in one run that starts at a multiple of
// their zero.
func asciiDigit(r rune) rune {
	zero := r
	for zero > 0 && r-zero < 9 && unicode.Is(unicode.Nd, zero-1) {
		zero--
	}
	return '0' + (r - zero)
}

// dial keeps what can be dialled: digits, and a plus in front of them.
func dial(s string) string {
	s = trunk.ReplaceAllString(s, "0")
	digits := onlyDigits(s)
	if i := strings.IndexAny(s, "+0123456789"); i >= 0 && s[i] == '+' {
		return "+" + digits
	}
	return digits
}

func letters(s string) bool {
	return strings.ContainsFunc(s, unicode.IsLetter)
}

// beside gives what is left of a cell around the number, without the marks that
// set it off.
func beside(cell, number string) string {
	rest := strings.Replace(cell, number, " ", 1)
	rest = strings.Join(strings.Fields(rest), " ")
	return strings.Trim(rest, " ()[]-:,;./")
}
