package book

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// lastFirst is a surname, a comma and the names before it.
var lastFirst = pattern(`^(\p{Lu}[\pL'’\-]*(?:\s\p{Lu}[\pL'’\-]*)?),\s*(\p{Lu}[\pL'’.\-]*(?:\s\p{Lu}[\pL'’.\-]*)?)$`)

// tidyName writes a name as its owner would: first name first, not all in
// capitals. A name that mixes both is left alone but for a surname shouted in
// front.
func tidyName(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if m := lastFirst().FindStringSubmatch(s); m != nil && !suffix(m[2]) {
		s = m[2] + " " + m[1]
	}
	words := strings.Fields(s)
	if len(words) > 1 {
		n := 0
		for n < len(words) && shouted(words[n]) {
			n++
		}
		if n > 0 && n < len(words) && titled(words[n:]) {
			words = append(append([]string{}, words[n:]...), words[:n]...)
		}
	}
	all, none := true, true
	for _, w := range words {
		all = all && (shouted(w) || utf8.RuneCountInString(w) == 1)
		none = none && w == strings.ToLower(w)
	}
	for i, w := range words {
		if shouted(w) && (all || len(words) > 1) && utf8.RuneCountInString(w) > 2 || all && shouted(w) || none {
			words[i] = capital(w)
		}
	}
	return strings.Join(words, " ")
}

func suffix(s string) bool {
	switch strings.ToLower(strings.Trim(s, ". ")) {
	case "jr", "sr", "ii", "iii", "phd", "md", "esq":
		return true
	}
	return false
}

func shouted(w string) bool {
	letters := 0
	for _, r := range w {
		if unicode.IsLower(r) {
			return false
		}
		if unicode.IsUpper(r) {
			letters++
		}
	}
	return letters > 1
}

func titled(words []string) bool {
	for _, w := range words {
		r, size := utf8.DecodeRuneInString(w)
		if !unicode.IsUpper(r) || size == len(w) || w[size:] != strings.ToLower(w[size:]) {
			return false
		}
	}
	return true
}

// capital writes one word of a name with capitals where a name has them.
func capital(w string) string {
	var b strings.Builder
	start := true
	for _, r := range strings.ToLower(w) {
		if start {
			r = unicode.ToUpper(r)
		}
		b.WriteRune(r)
		start = r == '-' || r == '\'' || r == '’' || r == '.'
	}
	out := b.String()
	if strings.HasPrefix(out, "Mc") && len(out) > 3 {
		out = "Mc" + strings.ToUpper(out[2:3]) + out[3:]
	}
	for _, tail := range []string{"'S", "’S"} {
		if strings.HasSuffix(out, tail) {
			out = out[:len(out)-1] + "s"
		}
	}
	return out
}

// joinName makes a whole name of two columns. A first-name cell that already
// ends in the surname, or holds both, is not doubled.
func joinName(first, last string) string {
	first, last = strings.TrimSpace(first), strings.TrimSpace(last)
	switch {
	case first == "":
		return last
	case last == "", strings.EqualFold(first, last), strings.HasSuffix(fold(first), " "+fold(last)):
		return first
	case shouted(last) && !shouted(first):
		last = capital(last)
	}
	return first + " " + last
}
