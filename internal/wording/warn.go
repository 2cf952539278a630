package wording

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
)

// straight maps marks that word processors and spreadsheets put in to what a
// phone keyboard has. None of them changes how a word is spelled.
func straight(r rune) (string, bool) {
	switch r {
	case '\u2018', '\u2019', '\u201A', '\u201B', '\u2032', '\u00B4', '`':
		return "'", true
	case '\u201C', '\u201D', '\u201E', '\u201F', '\u2033', '\u00AB', '\u00BB':
		return `"`, true
	case '\u2010', '\u2011', '\u2012', '\u2013', '\u2014', '\u2015', '\u2212':
		return "-", true
	case '\u2026':
		return "...", true
	case '\u2022', '\u00B7':
		return "-", true
	case '\u00BD':
		return "1/2", true
	case '\u200B', '\u200C', '\u200E', '\u200F', '\u2060', '\uFEFF', '\u00AD':
		return "", true
	}
	if r != ' ' && (r == '\t' || unicode.Is(unicode.Zs, r)) {
		return " ", true
	}
	return "", false
}

// Straighten replaces curly quotes, long dashes, odd spaces and their like,
// which would more than double the price of a text, by their plain forms.
// Letters stay as they are: a name keeps its accents.
func Straighten(text string) string {
	var b strings.Builder
	b.Grow(len(text))
	for _, r := range text {
		if plain, ok := straight(r); ok {
			b.WriteString(plain)
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

// WarningKind says what a warning is about.
type WarningKind string

// The kinds of warning.
const (
	OddCharacter WarningKind = "odd character" // turns the text to UCS-2
	Long         WarningKind = "long"          // more than three parts
	TooLong      WarningKind = "too long"      // cannot be sent at all
	Link         WarningKind = "link"
	Marketing    WarningKind = "marketing"
	Alarm        WarningKind = "alarm"
	Fleeting     WarningKind = "fleeting" // not true when read again later
	FoodClaim    WarningKind = "food claim"
)

// Warning is something in a text that a cook should look at before it goes out.
type Warning struct {
	Kind WarningKind
	At   string // the characters or words meant; "" for the whole text
	Use  string // what to write in their place; "" where leaving it out is the cure
	Say  string // in words, for the cook
}

const longParts = 3

// Warnings looks a text over. It refuses nothing: what goes out is the cook's
// decision.
func Warnings(text string) []Warning {
	out := oddCharacters(text)
	size := Measure(text)
	switch {
	case size.Parts > MaxParts:
		out = append(out, Warning{Kind: TooLong, Say: fmt.Sprintf(
			"the text takes %d parts; %d is the most that can be sent", size.Parts, MaxParts)})
	case size.Parts > longParts:
		out = append(out, Warning{Kind: Long, Say: fmt.Sprintf(
			"the text takes %d parts, each at the price of a text: shorten it", size.Parts)})
	}
	for _, c := range wordChecks {
		for _, at := range c.find.FindAllString(text, -1) {
			out = append(out, Warning{Kind: c.kind, At: strings.TrimSpace(at), Say: fmt.Sprintf("%q %s", strings.TrimSpace(at), c.say)})
		}
	}
	return out
}

func oddCharacters(text string) []Warning {
	var out []Warning
	if enc, _ := length(text); enc == GSM7 {
		return nil
	}
	seen := map[rune]bool{}
	for _, r := range text {
		if septets(r) > 0 || seen[r] {
			continue
		}
		seen[r] = true
		w := Warning{Kind: OddCharacter, At: string(r)}
		plain, ok := straight(r)
		switch {
		case ok && plain == "":
			w.Say = fmt.Sprintf("the invisible character %U makes the text cost more than twice as much: leave it out", r)
		case ok:
			w.Use = plain
			w.Say = fmt.Sprintf("%q makes the text cost more than twice as much: write %q", string(r), plain)
		default:
			w.Say = fmt.Sprintf("%q makes the text cost more than twice as much: it is not in the alphabet of text messages", string(r))
		}
		out = append(out, w)
	}
	return out
}

type check struct {
	kind WarningKind
	find *regexp.Regexp
	say  string
}

// wordChecks lists what a service text should do without. The words are common
// practice, no source; that one line of promotion makes a service text
// marketing is the United Kingdom regulator's published view.
var wordChecks = []check{
	{Link, regexp.MustCompile(`(?i)\b(?:https?://|www\.)\S+|\b[a-z0-9-]+(?:\.[a-z0-9-]+)*\.[a-z]{2,}/\S+|(?-i:\b[A-Za-z0-9-]+\.(?:com|org|net|info|link|shop|app|co\.uk|uk|ie|au|eu)\b)`),
		"is a link: networks block texts with links and customers distrust them"},
	{Marketing, regexp.MustCompile(`(?i)\d+ ?% (?:off|discount|de descuento)|\b(?:discount|voucher|coupon|promo(?:tion)?|special offer|offers?|half[- ]price|bargain|on sale|two for one|2 for 1|2-for-1|buy one|free gift|prize|win|winner|refer a friend|descuentos?|oferta|ofertas|promoci[oó]n|cup[oó]n|rebajas|2x1|sorteo|premio)\b`),
		"makes it marketing: that needs the customer's consent, and an order's text does without"},
	{Alarm, regexp.MustCompile(`(?i)\b(?:urgent|urgently|immediately|act now|final notice|last warning|last chance|verify|suspended|password|urgente|inmediatamente|[uú]ltimo aviso|contraseña)\b|!{2,}`),
		"sounds like a fraud: say it plainly"},
	{Fleeting, regexp.MustCompile(`(?i)\b(?:now|today|tonight|tomorrow|yesterday|this (?:morning|afternoon|evening)|in \d+ (?:minutes?|mins?|hours?|hrs?|days?)|ahora|hoy|mañana|ayer|esta (?:tarde|noche)|en \d+ (?:minutos?|horas?|d[ií]as?))\b`),
		"is not true for somebody who reads it later: give the day and the time"},
	{FoodClaim, regexp.MustCompile(`(?i)\b(?:(?:allergen|allergy|nut|peanut|gluten|dairy|milk|egg|soya?|sesame|shellfish)[- ]free|free (?:of|from) (?:all )?(?:allergens?|nuts?|gluten|dairy|milk|eggs?|soya?|sesame|shellfish)|safe (?:to eat|for allerg\w+|for coeliacs?|for celiacs?)|sin (?:gluten|lactosa|al[eé]rgenos|frutos secos|nueces)|libre de (?:gluten|lactosa|al[eé]rgenos)|apto para cel[ií]acos)\b`),
		"promises that food is safe for somebody: a text must not, speak to the customer"},
}
