package book

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"passbell/internal/night"
)

// maxQty is the largest quantity that is believed; more is somebody's slip or
// another kind of number.
const maxQty = 999

var (
	qtyFront  = pattern(`^\(?\s*(\d{1,3})(?:[.,]0+)?\s*\)?\s*(?:[x×X*✕✖]\s*|\s+of\s+|\s+-\s+|\s*:\s+)(\S.*)$`)
	qtyBare   = pattern(`^(\d{1,3})(?:[.,]0+)?\s+(\pL.*)$`)
	qtyX      = pattern(`^(?:[x×X])\s*(\d{1,3})\s+(\S.*)$`)
	qtyBack   = pattern(`^(.*\S)\s*[,\-–:]?\s*(?:[x×*✕✖]|\bX)\s*(\d{1,3})(?:[.,]0+)?$`)
	qtyParenX = pattern(`^(.*\S)\s*[(\[]\s*(?:[x×X]\s*(\d{1,3})|(\d{1,3})\s*[x×X])\s*[)\]]$`)
	qtyNamed  = pattern(`(?i)^(.*\S)\s*[(\[,;\-–|]?\s*\b(?:qty|quantity|quantities|cantidad|cant|uds|no)\b\.?\s*[:=]?\s*(\d{1,3})\s*[)\]]?(.*)$`)
	qtyFirst  = pattern(`(?i)^(?:qty|quantity|cantidad)\s*[:=]?\s*(\d{1,3})\s*[,;|\-]?\s*(?:(?:item|product|name)\s*[:=]\s*)?(\S.*)$`)
	qtyEnd    = pattern(`^(.*\pL.*?)(?:\s*[:=]\s*|\s+[-–]\s+)(\d{1,3})$`)
	qtyParen  = pattern(`^(.*\pL.*?)\s*[(\[](\d{1,3})[)\]]$`)
	qtyWord   = pattern(`(?i)^(one|two|three|four|five|six|seven|eight|nine|ten|twelve|a|an|un|una|dos|tres|cuatro)\s+(\pL.*)$`)
	price     = pattern(`(?i)\s*(?:[@=]|\bat\b|[-–—:,])?\s*[(\[]?\s*[+]?(?:(?:£|\$|€|GBP|USD|EUR|AUD)\s*\d+(?:[.,]\d{1,2})?|\d+(?:[.,]\d{2})\s*(?:£|€|GBP|USD|EUR))(?:\s*(?:each|ea|pp))?\s*[)\]]?(?:\s|$)`)
	nameKey   = pattern(`(?i)^(?:product|item|name|product name|item name|producto)\s*[:=]\s*(\S.*)$`)
	nextQty   = pattern(`\s+(\d{1,2}\s+\pL)`)
	pieces    = pattern(`(?i)\d\s*(?:pieces?|pcs?|pack|packs|ct|count|inch|in|cm|g|kg|ml|l|cl|oz|lb|per|for|person|people|x)\b`)
	joinedQty = pattern(`(?i)(?:\s+(?:and|y|e|und|et)\s+|\s*[&+]\s+|\s*/\s*)(\d{1,3}\s*[x×]?\s+\pL|\d{1,3}\s*[x×]\s*\pL)`)
	markup    = strings.NewReplacer("<br>", "\n", "<br/>", "\n", "<br />", "\n", "<BR>", "\n", `\n`, "\n", "&amp;", "&", "&nbsp;", " ")
	listMark  = pattern(`^\s*(?:[-*•·–]|\d{1,2}[.)])\s+`)
)

// itemStyle is how one file writes its items, decided once for all cells.
type itemStyle struct {
	parenQty bool // "Pork bao (2)" counts; else the 2 is part of the name
	endQty   bool // "Pork bao: 2" counts
}

// styleOf looks at all cells: where a number in brackets stands beside a plainer
// quantity, it belongs to the name, such as the pieces in a box.
func styleOf(cells []string) itemStyle {
	plain, paren, both := 0, 0, 0
	for _, c := range cells {
		for _, p := range splitItems(c) {
			p = strings.TrimSpace(price().ReplaceAllString(p, " "))
			if qtyFront().MatchString(p) && qtyParen().MatchString(p) {
				both++
			}
			switch {
			case qtyFront().MatchString(p), qtyX().MatchString(p), qtyBack().MatchString(p), qtyParenX().MatchString(p), qtyNamed().MatchString(p):
				plain++
			case qtyBare().MatchString(p):
				plain++
			case qtyParen().MatchString(p):
				paren++
			}
		}
	}
	return itemStyle{parenQty: paren > 0 && both == 0, endQty: plain == 0}
}

// parseItems reads a cell that holds all items of an order.
func parseItems(s string, style itemStyle) []night.Item {
	s = strings.TrimSpace(s)
	if s == "" {
		return nil
	}
	if items, ok := jsonItems(s); ok {
		return items
	}
	if items, ok := keyedItems(s); ok {
		return items
	}
	var out []night.Item
	parts := splitItems(s)
	style.endQty = style.endQty || len(parts) > 1 && !slices.ContainsFunc(parts, func(p string) bool {
		return hasQty(p) || !qtyEnd().MatchString(strings.TrimSpace(p))
	})
	for _, p := range parts {
		if it, ok := parseItem(p, style); ok {
			out = append(out, it)
		}
	}
	return out
}

var (
	keyName = pattern(`(?i)(?:^|[|,;\n])\s*(?:product|item|name|product name|item name|title|producto)\s*[:=]\s*`)
	keyQty  = pattern(`(?i)(?:^|[|,;\n])\s*(?:qty|quantity|cantidad)\s*[:=]\s*(\d{1,3})\b`)
	keyAny  = pattern(`(?i)[|,;\n]\s*[a-z][a-z _]{1,20}\s*[:=]`)
)

// keyedItems reads items whose parts are named, such as
// "name:Pork bao|quantity:2|total:15.00; name:Slaw|quantity:1".
func keyedItems(s string) ([]night.Item, bool) {
	starts := keyName().FindAllStringIndex(s, -1)
	if len(starts) == 0 || len(keyQty().FindAllString(s, -1)) != len(starts) {
		return nil, false
	}
	var out []night.Item
	for i, at := range starts {
		part, before := s[at[1]:], ""
		if i+1 < len(starts) {
			part = s[at[1]:starts[i+1][0]]
		}
		if i == 0 {
			before = s[:at[0]]
		}
		name := part
		if end := keyAny().FindStringIndex(part); end != nil {
			name = part[:end[0]]
		}
		it := night.Item{Qty: 1, Name: strings.Join(strings.Fields(strings.Trim(name, " |,;")), " ")}
		if m := keyQty().FindStringSubmatch(part); m != nil {
			it.Qty = atoi(m[1])
		} else if m := keyQty().FindStringSubmatch(before); m != nil {
			it.Qty = atoi(m[1])
		} else {
			return nil, false
		}
		if it.Name == "" || it.Qty < 1 {
			return nil, false
		}
		out = append(out, it)
	}
	return out, true
}

// parseItem reads one item with its quantity in any of the usual notations.
func parseItem(p string, style itemStyle) (night.Item, bool) {
	p = strings.TrimLeft(listMark().ReplaceAllString(strings.TrimSpace(p), ""), "+& ")
	p = strings.Trim(strings.TrimSpace(price().ReplaceAllString(p, " ")), " ,;|")
	if p == "" || !strings.ContainsFunc(p, isLetterOrDigit) {
		return night.Item{}, false
	}
	qty, name := 1, p
	for _, try := range []struct {
		re        *regexp.Regexp
		qty, name int
		on        bool
	}{
		{qtyFirst(), 1, 2, true},
		{qtyFront(), 1, 2, true},
		{qtyX(), 1, 2, true},
		{qtyParenX(), 2, 1, true},
		{qtyNamed(), 2, 1, true},
		{qtyBack(), 2, 1, true},
		{qtyBare(), 1, 2, true},
		{qtyEnd(), 2, 1, style.endQty},
		{qtyParen(), 2, 1, style.parenQty},
	} {
		m := try.re.FindStringSubmatch(p)
		if !try.on || m == nil {
			continue
		}
		number, rest := m[try.qty], m[try.name]
		if try.re == qtyParenX() && number == "" {
			number = m[3]
		}
		if try.re == qtyNamed() && strings.TrimSpace(m[3]) != "" {
			rest += " " + strings.Trim(m[3], " ,;|-–")
		}
		if n := atoi(number); n >= 0 && n <= maxQty {
			qty, name = n, rest
			break
		}
	}
	if name == p {
		if m := qtyWord().FindStringSubmatch(p); m != nil {
			if n, ok := wordQty[strings.ToLower(m[1])]; ok {
				qty, name = n, m[2]
			}
		}
	}
	if m := nameKey().FindStringSubmatch(name); m != nil {
		name = m[1]
	}
	name = strings.Join(strings.Fields(strings.Trim(name, " ,;|-–:")), " ")
	return night.Item{Qty: qty, Name: name}, name != "" && qty > 0
}

var wordQty = map[string]int{
	"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10, "twelve": 12,
	"a": 1, "an": 1, "un": 1, "una": 1, "dos": 2, "tres": 3, "cuatro": 4,
}

func isLetterOrDigit(r rune) bool {
	return r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= 0xc0
}

// splitItems cuts a cell into items. Semicolons, bars and line breaks always
// cut; commas and strokes do outside of brackets, unless only some of the parts
// show a quantity: "2x Rice, steamed; 1x Slaw" is two items.
func splitItems(s string) []string {
	if strings.ContainsAny(s, "<\\&") {
		s = markup.Replace(s)
	}
	s = joinedQty().ReplaceAllString(s, "; $1")
	if qtyBare().MatchString(s) && !strings.ContainsAny(s, ",;|\n(") && !pieces().MatchString(s) {
		s = nextQty().ReplaceAllString(s, "; $1") // "2 bao 1 slaw"
	}
	hard := cut(s, ";\n|")
	var out []string
	for _, part := range hard {
		if namedPair(part) {
			out = append(out, part)
			continue
		}
		out = append(out, soft(part, len(hard) > 1)...)
	}
	return out
}

// soft cuts at commas where every part is an item of its own.
func soft(part string, among bool) []string {
	pieces := cut(part, ",")
	if len(pieces) == 1 {
		pieces = cut(strings.ReplaceAll(part, " / ", "\x00"), "\x00")
	}
	if len(pieces) == 1 {
		return []string{part}
	}
	counted := 0
	for _, p := range pieces {
		if hasQty(p) {
			counted++
		}
	}
	switch {
	case counted == len(pieces):
		return pieces
	case counted == 0 && !among, counted > 0 && !hasQty(pieces[0]):
		return pieces
	case counted > 1:
		// "2x Rice, steamed, 1x Slaw": a part without a quantity belongs to the
		// one before it.
		front := hasQty(pieces[0])
		var out []string
		for _, p := range pieces {
			if len(out) > 0 && front && !hasQty(p) {
				out[len(out)-1] += ", " + strings.TrimSpace(p)
				continue
			}
			out = append(out, p)
		}
		return out
	}
	return []string{part}
}

func hasQty(p string) bool {
	p = strings.TrimSpace(price().ReplaceAllString(strings.TrimSpace(p), " "))
	return qtyFront().MatchString(p) || qtyBack().MatchString(p) || qtyBare().MatchString(p) || qtyX().MatchString(p) ||
		qtyParenX().MatchString(p) || qtyNamed().MatchString(p)
}

// namedPair tells whether a part names its quantity, as in "Pork bao, Qty: 2".
func namedPair(part string) bool {
	return strings.Count(strings.ToLower(part), "qty") == 1 || strings.Count(strings.ToLower(part), "quantity") == 1
}

// cut splits at any of the marks outside of brackets.
func cut(s, marks string) []string {
	var out []string
	depth, from := 0, 0
	for i := range len(s) {
		switch c := s[i]; {
		case c == '(' || c == '[':
			depth++
		case c == ')' || c == ']':
			depth = max(0, depth-1)
		case depth == 0 && strings.IndexByte(marks, c) >= 0, c == '\n':
			out = append(out, s[from:i])
			from = i + 1
		}
	}
	out = append(out, s[from:])
	kept := out[:0]
	for _, p := range out {
		if strings.TrimSpace(p) != "" {
			kept = append(kept, p)
		}
	}
	return kept
}

// jsonItems reads items that are written as JSON inside a cell.
func jsonItems(s string) ([]night.Item, bool) {
	if s[0] != '[' && s[0] != '{' {
		return nil, false
	}
	v, err := parseJSON([]byte(s))
	if err != nil {
		return nil, false
	}
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	var out []night.Item
	for _, e := range list {
		switch e := e.(type) {
		case string:
			if it, ok := parseItem(e, itemStyle{parenQty: true, endQty: true}); ok {
				out = append(out, it)
			}
		case object:
			if it, ok := objectItem(e); ok {
				out = append(out, it)
			}
		default:
			return nil, false
		}
	}
	return out, len(out) > 0
}

// objectItem reads one item of a JSON list by the names of its members.
func objectItem(o object) (night.Item, bool) {
	it := night.Item{Qty: 1}
	var extra []string
	for _, m := range o {
		text := jsonText(m.value)
		switch h := readHeading(m.name); {
		case m.name == "kind" && (text == string(night.Hot) || text == string(night.Cold) || text == string(night.Extra)):
			it.Kind = night.Kind(text)
		case h.field == fQty:
			q, ok := parseQty(text)
			if !ok {
				return it, false
			}
			it.Qty = q
		case h.field == fProduct || h.field == fName || m.name == "title":
			if it.Name == "" {
				it.Name = cell(text)
			}
		case (h.field == fVariant || h.field == fNote) && text != "":
			extra = append(extra, cell(text))
		}
	}
	if it.Name != "" && len(extra) > 0 {
		it.Name += " (" + strings.Join(extra, ", ") + ")"
	}
	return it, it.Name != ""
}

// parseQty reads a quantity cell such as "2", "2.0", "x2", "two" or "-1".
func parseQty(s string) (int, bool) {
	s = strings.ToLower(strings.Trim(strings.TrimSpace(s), "x× "))
	if n, ok := wordQty[s]; ok {
		return n, true
	}
	f, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", "."), 64)
	if err != nil || f != math.Trunc(f) || math.Abs(f) > maxQty {
		return 0, false
	}
	return int(f), true
}

// money reads an amount such as "£12.50", "-12,50 €", "(12.50)" or "1,234.50".
// It serves signs and comparisons only.
func money(s string) (float64, bool) {
	neg := strings.HasPrefix(s, "(") && strings.HasSuffix(s, ")")
	var b strings.Builder
	for _, r := range strings.ReplaceAll(s, "−", "-") {
		if r >= '0' && r <= '9' || r == '.' || r == ',' || r == '-' {
			b.WriteRune(r)
		}
	}
	t := b.String()
	if i := strings.LastIndexAny(t, ".,"); i >= 0 {
		if len(t)-i == 4 && strings.Count(t, ".")+strings.Count(t, ",") == 1 && t[i] == ',' {
			t = strings.ReplaceAll(t, ",", "")
		} else {
			t = strings.NewReplacer(".", "", ",", "").Replace(t[:i]) + "." + t[i+1:]
		}
	}
	f, err := strconv.ParseFloat(t, 64)
	if neg {
		f = -f
	}
	return f, err == nil
}
