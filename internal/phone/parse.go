package phone

import (
	"strconv"
	"strings"

	"github.com/nyaruka/phonenumbers"
)

// minDigits is the fewest digits that are taken for a whole number rather than
// for a piece of text such as "after 5".
const minDigits = 7

// Parse reads one cell as a phone number of region, an ISO 3166-1 alpha-2 code.
// Where it can't, the error is an *Error. A number that is read is known to be
// in use or reserved for fiction; whether it takes texts, is foreign or is
// fiction is for the caller to ask.
func Parse(typed, region string) (Number, error) {
	region = strings.ToUpper(region)
	if !Region(region) {
		return Number{}, &Error{
			Kind: NotReal, Typed: typed,
			What: "numbers can't be read: " + strconv.Quote(region) + " is no country",
			Fix:  "set the kitchen's region to a country's two letters, such as GB",
		}
	}
	p := reader{typed: typed, region: region}
	return p.read(tidy(typed))
}

// reader carries what every step of one reading needs.
type reader struct {
	typed  string
	region string
}

func (p reader) read(cell string) (Number, error) {
	if m := scientific.FindStringSubmatch(cell); m != nil {
		return p.power(m[1]+m[2], m[3])
	}
	if m := float.FindStringSubmatch(cell); m != nil && len(m[1]) >= minDigits {
		return p.digits(dial(m[1]))
	}
	if thousands.MatchString(cell) && !strings.HasPrefix(cell, "0") {
		if n, err := p.digits(onlyDigits(cell)); err == nil {
			return n, nil
		}
	}
	if strings.Contains(cell, "##") || strings.HasPrefix(cell, "#") {
		return Number{}, fault(DigitsLost, p.typed)
	}
	if m := label.FindStringSubmatch(cell); m != nil {
		cell = m[1]
	}
	switch count := len(onlyDigits(cell)); {
	case strings.Trim(cell, "-–—./?*x X") == "":
		return Number{}, fault(NoNumber, p.typed)
	case isNone(cell):
		return Number{}, fault(NoNumber, p.typed)
	case count == 0:
		return Number{}, fault(Words, p.typed)
	case letters(cell) || count > 13 || strings.ContainsAny(cell, ";\n|,&"):
		return p.mixed(cell)
	}
	return p.digits(dial(cell))
}

func isNone(cell string) bool {
	switch strings.ToLower(strings.Trim(cell, " .-()")) {
	case "none", "no", "n/a", "na", "nil", "null", "unknown", "no phone", "no number", "ninguno", "sin teléfono", "sin telefono", "tbc", "nan", "undefined":
		return true
	}
	return false
}

// power reads a number that a spreadsheet wrote as a power of ten. All digits
// there: it is offered, since a last digit of nought may have been dropped with
// others behind it. Any digit missing: they are lost.
func (p reader) power(mantissa, exponent string) (Number, error) {
	e, err := strconv.Atoi(exponent)
	if err != nil || len(mantissa) != e+1 {
		return Number{}, fault(DigitsLost, p.typed)
	}
	n, err := p.digits(mantissa)
	if err != nil {
		return Number{}, err
	}
	f := fault(Confirm, p.typed, n)
	f.What = "the spreadsheet wrote the number as a power of ten; its digits seem to be all there"
	return Number{}, f
}

// mixed reads a cell that holds more than one number or words as well.
func (p reader) mixed(cell string) (Number, error) {
	if n, ok := p.slip(cell); ok {
		f := fault(Confirm, p.typed, n)
		f.What = "letters stand among the digits, such as O for 0"
		return Number{}, f
	}
	var found []Number
	var last *Error
	var used string
	for _, piece := range pieces(cell) {
		n, err := p.digits(dial(piece))
		if err != nil {
			last, _ = err.(*Error) //nolint:errorlint // digits returns nothing else
			continue
		}
		if len(found) > 0 && found[0].E164 == n.E164 {
			used += " " + piece
			continue
		}
		found, used = append(found, n), piece
	}
	switch {
	case len(found) > 1:
		return Number{}, fault(TwoNumbers, p.typed, found...)
	case len(found) == 1 && last == nil:
		n := found[0]
		if letters(cell) {
			n.Beside = beside(cell, strings.TrimSpace(used))
		}
		return n, nil
	case len(found) == 1:
		return Number{}, fault(TwoNumbers, p.typed, found...)
	case last != nil:
		return Number{}, last
	}
	return Number{}, fault(Words, p.typed)
}

// pieces finds the parts of a cell that may be whole numbers.
func pieces(cell string) []string {
	var out []string
	for _, part := range between.Split(cell, -1) {
		for _, c := range candidate.FindAllString(part, -1) {
			switch d := len(onlyDigits(c)); {
			case d < minDigits:
			case d > 15:
				out = append(out, halves(c)...)
			default:
				out = append(out, c)
			}
		}
	}
	return out
}

// halves splits digits that are too many for one number where a second number
// seems to begin: at a plus or at a nought behind a space or a stroke.
func halves(s string) []string {
	for i := minDigits; i < len(s)-minDigits; i++ {
		starts := s[i] == '+' || s[i] == '0' && strings.ContainsRune(" /,-", rune(s[i-1]))
		left, right := len(onlyDigits(s[:i])), len(onlyDigits(s[i:]))
		if starts && left >= minDigits+2 && right >= minDigits+2 {
			return []string{s[:i], s[i:]}
		}
	}
	return []string{s}
}

// slip puts right letters that were typed for digits, so that the number can be
// offered.
func (p reader) slip(cell string) (Number, bool) {
	if strings.Contains(strings.TrimSpace(cell), " ") && strings.ContainsFunc(cell, func(r rune) bool {
		return r >= 'a' && r <= 'z' && r != 'o' && r != 'l' && r != 'i'
	}) {
		return Number{}, false
	}
	fixed := strings.NewReplacer("O", "0", "o", "0", "l", "1", "I", "1", "i", "1").Replace(cell)
	if fixed == cell || letters(fixed) || len(onlyDigits(cell)) < minDigits {
		return Number{}, false
	}
	n, err := p.digits(dial(fixed))
	return n, err == nil
}

// digits reads what is left to dial. Every reading that needs no guess is tried
// in the order in which people mean them; the first that is in use wins.
func (p reader) digits(s string) (Number, error) {
	bare := strings.TrimPrefix(s, "+")
	if strings.Trim(bare, "0") == "" {
		return Number{}, fault(NoNumber, p.typed)
	}
	for _, try := range p.spellings(s) {
		if n, ok := p.inUse(try); ok {
			return n, nil
		}
	}
	if n, ok := p.guess(s); ok {
		f := fault(Confirm, p.typed, n)
		return Number{}, f
	}
	return Number{}, p.refuse(s)
}

// spellings lists the ways to read s that need no guess.
func (p reader) spellings(s string) []string {
	code := strconv.Itoa(phonenumbers.GetCountryCodeForRegion(p.region))
	bare := strings.TrimPrefix(s, "+")
	plus := bare != s
	var out []string
	switch {
	case plus && strings.HasPrefix(bare, "00"): // "+0044…"
		out = append(out, "+"+strings.TrimLeft(bare, "0"))
	case plus && strings.HasPrefix(bare, "0"): // "+07…": no country code starts with 0
		out = append(out, bare)
	case plus:
		out = append(out, s)
	case strings.HasPrefix(bare, "00"):
		out = append(out, s, "+"+bare[2:])
	case strings.HasPrefix(bare, code) && !strings.HasPrefix(bare, "0"):
		// "447700…": where the rest is a number of its own the code was meant,
		// unless the whole is one too.
		if n, ok := p.inUse("+" + bare); ok && n.Line.TakesTexts() {
			out = append(out, "+"+bare)
		}
		out = append(out, s, "+"+bare)
	default:
		out = append(out, s)
	}
	return out
}

// guess tries the readings that a person has to confirm.
func (p reader) guess(s string) (Number, bool) {
	bare := strings.TrimPrefix(s, "+")
	var tries []string
	if !strings.HasPrefix(bare, "0") || strings.HasPrefix(bare, "00") {
		tries = append(tries, "+"+strings.TrimLeft(bare, "0"))
	}
	if strings.HasPrefix(bare, "00") {
		tries = append(tries, strings.TrimLeft(bare, "0")) // one nought too many
	}
	if bare != s {
		tries = append(tries, bare) // a plus in front of a national number
	}
	for _, try := range tries {
		if try == s {
			continue
		}
		if n, ok := p.inUse(try); ok {
			return n, true
		}
	}
	return Number{}, false
}

// inUse reads s when it is a number in use or one reserved for fiction.
func (p reader) inUse(s string) (Number, bool) {
	parsed, err := phonenumbers.Parse(s, p.region)
	if err != nil || parsed.GetExtension() != "" {
		return Number{}, false
	}
	n := p.number(parsed)
	if phonenumbers.IsValidNumber(parsed) {
		return n, n.E164 != ""
	}
	r, ok := fiction(n.E164)
	if !ok || r.region == "" {
		return Number{}, false
	}
	n.Region, n.Line = r.region, r.line
	return n, true
}

func (p reader) number(parsed *phonenumbers.PhoneNumber) Number {
	n := Number{
		E164:     phonenumbers.Format(parsed, phonenumbers.E164),
		National: phonenumbers.Format(parsed, phonenumbers.NATIONAL),
		Typed:    p.typed,
		Region:   phonenumbers.GetRegionCodeForNumber(parsed),
		Line:     lineOf(phonenumbers.GetNumberType(parsed)),
	}
	if n.Region == "" || n.Region == "ZZ" {
		n.Region = phonenumbers.GetRegionCodeForCountryCode(int(parsed.GetCountryCode()))
	}
	_, n.Fiction = fiction(n.E164)
	return n
}

// refuse words why s is no number in use.
func (p reader) refuse(s string) error {
	parsed, err := phonenumbers.Parse(p.spellings(s)[0], p.region)
	if err != nil {
		if len(onlyDigits(s)) < minDigits {
			return fault(TooShort, p.typed)
		}
		if len(onlyDigits(s)) > 15 {
			return fault(TooLong, p.typed)
		}
		return fault(NotReal, p.typed)
	}
	switch phonenumbers.IsPossibleNumberWithReason(parsed) {
	case phonenumbers.IS_POSSIBLE:
		return p.possible(parsed)
	case phonenumbers.TOO_SHORT, phonenumbers.IS_POSSIBLE_LOCAL_ONLY:
		return fault(TooShort, p.typed)
	case phonenumbers.TOO_LONG:
		return fault(TooLong, p.typed)
	case phonenumbers.INVALID_LENGTH:
		f := fault(NotReal, p.typed)
		f.What = "the number has too few or too many digits"
		return f
	case phonenumbers.INVALID_COUNTRY_CODE:
	}
	return fault(NotReal, p.typed)
}

// possible tells a number that misses or repeats a digit from one in a range
// that the number tables may not know yet. Countries with numbers of several
// lengths make the first look like the second.
func (p reader) possible(parsed *phonenumbers.PhoneNumber) error {
	n := p.number(parsed)
	for _, tail := range []string{"0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "00", "55"} {
		if _, ok := p.inUse(n.E164 + tail); ok {
			return fault(TooShort, p.typed)
		}
	}
	if _, ok := p.inUse(n.E164[:len(n.E164)-1]); ok {
		return fault(TooLong, p.typed)
	}
	return fault(Unusual, p.typed, n)
}
