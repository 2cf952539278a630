// Package phone reads phone numbers as customers type them and spreadsheets
// mangle them, and says what kind of line they are. It never guesses: a number
// that needs a guess comes back as an *Error that may carry an offer for a
// person to confirm.
package phone

import (
	"strings"

	"github.com/nyaruka/phonenumbers"
)

// Number is one number that was read.
type Number struct {
	E164     string // such as "+447700900123"
	National string // as people of its country write it, such as "07700 900123"
	Typed    string // as it stood in the order book
	Region   string // ISO 3166-1 alpha-2 of the number, such as "GB"
	Line     Line
	Fiction  bool   // reserved for films and examples: nobody has it
	Beside   string // words that stood beside the number, such as "mum"; "" for none
}

// Line is the kind of line a number belongs to.
type Line string

// The kinds of line, in words that a cook may see.
const (
	Mobile        Line = "mobile"
	FixedOrMobile Line = "landline or mobile" // North American numbers don't tell
	Landline      Line = "landline"
	Free          Line = "free of charge line"
	Premium       Line = "premium rate line"
	Shared        Line = "shared cost line"
	Personal      Line = "personal number" // redirected at a price, not a mobile
	Pager         Line = "pager"
	Internet      Line = "internet line"
	Company       Line = "company-wide number"
	UnknownLine   Line = "unknown line"
)

// TakesTexts tells whether a text to such a line has a fair chance to be read.
// Landlines count as no: some networks read a text aloud, most lose it.
func (l Line) TakesTexts() bool { return l == Mobile || l == FixedOrMobile }

// Foreign tells whether the number lies outside the country of region. Islands
// that share their country's code, such as Jersey with +44, count as home; the
// countries that share +1 or +7 do not.
func (n Number) Foreign(region string) bool {
	region = strings.ToUpper(region)
	if n.Region == region {
		return false
	}
	home := phonenumbers.GetCountryCodeForRegion(region)
	own := phonenumbers.GetCountryCodeForRegion(n.Region)
	return own != home || own == 1 || own == 7
}

// Region checks that a region is one that numbers can be read for.
func Region(region string) bool {
	return phonenumbers.GetCountryCodeForRegion(strings.ToUpper(region)) != 0
}

// Mask hides a number for logs and helpers: its last three digits stay.
func Mask(e164 string) string {
	digits := onlyDigits(e164)
	if len(digits) < 7 {
		return "…"
	}
	return "…" + digits[len(digits)-3:]
}

func onlyDigits(s string) string {
	var b strings.Builder
	for i := range len(s) {
		if s[i] >= '0' && s[i] <= '9' {
			b.WriteByte(s[i])
		}
	}
	return b.String()
}

func lineOf(t phonenumbers.PhoneNumberType) Line {
	switch t {
	case phonenumbers.MOBILE:
		return Mobile
	case phonenumbers.FIXED_LINE_OR_MOBILE:
		return FixedOrMobile
	case phonenumbers.FIXED_LINE:
		return Landline
	case phonenumbers.TOLL_FREE:
		return Free
	case phonenumbers.PREMIUM_RATE:
		return Premium
	case phonenumbers.SHARED_COST:
		return Shared
	case phonenumbers.PERSONAL_NUMBER:
		return Personal
	case phonenumbers.PAGER:
		return Pager
	case phonenumbers.VOIP:
		return Internet
	case phonenumbers.UAN, phonenumbers.VOICEMAIL:
		return Company
	}
	return UnknownLine
}
