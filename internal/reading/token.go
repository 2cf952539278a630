package reading

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind sorts tokens by what they are made of.
type Kind uint8

// The kinds of token.
const (
	Word   Kind = iota // letters, or letters and digits
	Number             // digits, with or without minutes behind a colon or a dot
	Break              // punctuation that ends a clause
	Dash               // a hyphen, dash or slash between two things
	Emoji
)

// Token is one word, number or mark of a text. A contraction makes two tokens
// with one span: "I'm" is "i" and "am".
type Token struct {
	Text       string // lower case, without accents and apostrophes
	Start, End int    // byte span in the text as it was sent
	Kind       Kind
	Mark       byte // for a Break: the mark itself, '\n' for a line end
	Upper      bool // began with a capital letter
	Possessive bool // ended in 's
	Glued      bool // follows the token before it without a space: "6" and "pm"
	Num        int  // value of a number or number word; -1 where it is none
	Min        int  // minutes of "5.30"; -1 where none were given
	Digits     int  // how many digits a Number was written with, before the mark

	typed string // the word before a slip or a shorthand was put right; "" where none was
	id    int32
	bits  class
	// known holds for words of the vocabulary, before names and vehicles are
	// laid over them.
	known bool
}

// maxTokens bounds the work on a text: ten joined parts of 160 characters hold
// fewer words.
const maxTokens = 640

// Tokens splits a text into tokens. It never fails: what it can't read becomes
// a word or is left out.
func Tokens(text string) []Token { return vocabulary.tokens(text) }

func (v *vocab) tokens(text string) []Token {
	out := make([]Token, 0, 8+len(text)/4)
	for i := 0; i < len(text) && len(out) < maxTokens; {
		r, size := decode(text, i)
		switch {
		case isDigit(r):
			out, i = v.number(out, text, i)
		case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Thai):
			// Scripts without spaces: a token for each sign.
			out = v.add(out, Token{Text: text[i : i+size], Start: i, End: i + size, Num: -1, Min: -1})
			i += size
		case isLetter(r):
			out, i = v.word(out, text, i)
		case r == '-' || r == '–' || r == '—' || r == '/':
			out = append(out, dash(text, i, size, len(out) > 0))
			i += size
		case isBreak(r):
			mark := byte(r)
			if r > unicode.MaxASCII {
				mark = breakFor(r)
			}
			out = append(out, Token{Start: i, End: i + size, Kind: Break, Mark: mark, Num: -1, Min: -1, id: idBreak})
			i += size
		case r == '&' || r == '+':
			out = v.add(out, Token{Text: "and", Start: i, End: i + size, Num: -1, Min: -1})
			i += size
		case r == '@':
			out = v.add(out, Token{Text: "at", Start: i, End: i + size, Num: -1, Min: -1})
			i += size
		case isEmoji(r):
			out = append(out, Token{Text: text[i : i+size], Start: i, End: i + size, Kind: Emoji, Num: -1, Min: -1, id: v.emoji(r), bits: v.emojiBits(r)})
			i += size
		default:
			i += size
		}
	}
	return v.settle(out)
}

// dash tells a dash that joins ("10-15") from one that breaks a sentence.
func dash(text string, i, size int, follows bool) Token {
	t := Token{Start: i, End: i + size, Kind: Dash, Mark: '-', Num: -1, Min: -1, id: idDash}
	spaced := i > 0 && text[i-1] == ' ' && i+size < len(text) && text[i+size] == ' '
	if spaced && follows && text[i] != '/' && !digitNear(text, i, size) {
		t.Kind, t.id = Break, idBreak
	}
	return t
}

func digitNear(text string, i, size int) bool {
	return i >= 2 && isDigit(rune(text[i-2])) && i+size+1 < len(text) && isDigit(rune(text[i+size+1]))
}

// number reads digits and, glued to them, minutes or a unit: "5.30pm", "10min".
// Digits that run on into other letters are a word: "k448", "lx19kto".
func (v *vocab) number(out []Token, text string, i int) ([]Token, int) {
	j, num := i, 0
	for j < len(text) && isDigit(rune(text[j])) {
		if num < 1e8 {
			num = num*10 + int(text[j]-'0')
		}
		j++
	}
	t := Token{Start: i, Kind: Number, Num: num, Min: -1, Digits: j - i, id: idNumber, bits: clsNumber}
	end := j
	if j-i <= 2 && j+2 < len(text) && (text[j] == ':' || text[j] == '.' || text[j] == 'h' || text[j] == 'H' || text[j] == ';') && twoDigits(text, j+1) {
		t.Min = int(text[j+1]-'0')*10 + int(text[j+2]-'0')
		end = j + 3
	}
	k := end
	for k < len(text) {
		r, size := decode(text, k)
		if !isLetter(r) && !isDigit(r) && !unicode.Is(unicode.Mn, r) {
			break
		}
		k += size
	}
	if k == end {
		t.Text, t.End = text[i:end], end
		return append(out, t), end
	}
	suffix := strings.ToLower(text[end:k])
	if unit, ok := units[suffix]; ok {
		t.Text, t.End = text[i:end], end
		out = append(out, t)
		for _, w := range strings.Fields(unit) {
			out = v.add(out, Token{Text: w, Start: end, End: k, Glued: true, Num: -1, Min: -1})
		}
		return out, k
	}
	return v.word(out, text, i)
}

// units are what may be glued to a number without making it another word.
var units = map[string]string{
	"am": "am", "pm": "pm", "a": "am", "p": "pm", "ish": "ish", "pmish": "pm ish", "amish": "am ish",
	"m": "minutes", "mi": "minutes", "min": "minutes", "mins": "minutes", "minute": "minutes", "minutes": "minutes", "minutos": "minutes", "mns": "minutes", "mn": "minutes", "minz": "minutes",
	"h": "hours", "hr": "hours", "hrs": "hours", "hour": "hours", "hours": "hours", "ph": "hours",
	"s": "ish", "x": "times", "th": "th", "st": "th", "nd": "nd", "rd": "th", "oclock": "oclock", "sec": "seconds", "secs": "seconds",
}

func twoDigits(s string, i int) bool {
	return i+1 < len(s) && s[i] >= '0' && s[i] <= '5' && isDigit(rune(s[i+1])) && (i+2 >= len(s) || !isDigit(rune(s[i+2])))
}

// word reads letters and digits, dropping apostrophes inside.
func (v *vocab) word(out []Token, text string, i int) ([]Token, int) {
	var buf [48]byte
	b := buf[:0]
	t := Token{Start: i, Num: -1, Min: -1}
	first, _ := decode(text, i)
	t.Upper = unicode.IsUpper(first)
	apostrophe := false
	j := i
	for j < len(text) {
		r, size := decode(text, j)
		switch {
		case r < utf8.RuneSelf && isLetter(r), isDigit(r):
			c := text[j]
			if c >= 'A' && c <= 'Z' {
				c += 'a' - 'A'
			}
			b = append(b, c)
		case isLetter(r):
			b = appendFolded(b, r)
		case unicode.Is(unicode.Mn, r):
		case isApostrophe(r) && len(b) == 1 && b[0] == 't' && j+size < len(text) && letterAt(text, j+size):
			// "t'van": the article of the north of England.
			t.Text, t.End = "the", j
			return v.add(out, t), j
		case isApostrophe(r) && j > i && j+size < len(text) && letterAt(text, j+size):
			apostrophe = true
			if n := j + size; (text[n] == 's' || text[n] == 'S') && (n+1 >= len(text) || !letterAt(text, n+1)) {
				t.Possessive = true
			}
		default:
			t.Text, t.End = v.intern(b), j
			return v.expand(out, t, apostrophe), j
		}
		j += size
	}
	t.Text, t.End = v.intern(b), j
	return v.expand(out, t, apostrophe), j
}

func letterAt(s string, i int) bool {
	r, _ := decode(s, i)
	return isLetter(r)
}

func decode(s string, i int) (rune, int) {
	if c := s[i]; c < utf8.RuneSelf {
		return rune(c), 1
	}
	return utf8.DecodeRuneInString(s[i:])
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

func isLetter(r rune) bool {
	if r < utf8.RuneSelf {
		return r|0x20 >= 'a' && r|0x20 <= 'z'
	}
	return unicode.IsLetter(r)
}

func isApostrophe(r rune) bool {
	switch r {
	case '\'', '’', '‘', 'ʼ', '`', '´', '′':
		return true
	}
	return false
}

func isBreak(r rune) bool {
	switch r {
	case '.', '!', '?', ',', ';', ':', '\n', '\r', '(', ')', '…', '¿', '¡', '。', '，', '！', '？', '؟', '،', '"', '“', '”', '•', '|', '*':
		return true
	}
	return false
}

func breakFor(r rune) byte {
	switch r {
	case '？', '؟', '¿':
		return '?'
	case '！', '¡':
		return '!'
	}
	return '.'
}

func isEmoji(r rune) bool {
	switch {
	case r >= 0x1F3FB && r <= 0x1F3FF: // skin tones belong to the emoji before
		return false
	case r >= 0x1F000 && r <= 0x1FAFF, r >= 0x2600 && r <= 0x27BF, r == 0x2B50, r == 0x2B55, r >= 0x2190 && r <= 0x21FF:
		return true
	}
	return false
}

// appendFolded adds a letter in lower case and without its accent.
func appendFolded(b []byte, r rune) []byte {
	r = unicode.ToLower(r)
	if s, ok := folds[r]; ok {
		return append(b, s...)
	}
	return utf8.AppendRune(b, r)
}

// folds takes the accents off the Latin letters of European languages.
var folds = makeFolds(map[string]string{
	"a": "àáâãäåāăą", "c": "çćĉċč", "d": "ďđð", "e": "èéêëēĕėęě", "g": "ĝğġģ", "h": "ĥħ", "i": "ìíîïĩīĭįı",
	"j": "ĵ", "k": "ķ", "l": "ĺļľŀł", "n": "ñńņňŉ", "o": "òóôõöøōŏő", "r": "ŕŗř", "s": "śŝşšș",
	"t": "ţťŧț", "u": "ùúûüũūŭůűųư", "w": "ŵ", "y": "ýÿŷ", "z": "źżž", "ae": "æ", "oe": "œ", "ss": "ß", "th": "þ",
})

func makeFolds(table map[string]string) map[rune]string {
	out := make(map[rune]string, 128)
	for plain, letters := range table {
		for _, r := range letters {
			out[r] = plain
		}
	}
	// Vietnamese letters carry two marks; these are the blocks of U+1EA0.
	for _, row := range []struct {
		lo, hi rune
		plain  string
	}{{0x1EA0, 0x1EB7, "a"}, {0x1EB8, 0x1EC7, "e"}, {0x1EC8, 0x1ECB, "i"}, {0x1ECC, 0x1EE3, "o"}, {0x1EE4, 0x1EF1, "u"}, {0x1EF2, 0x1EF9, "y"}} {
		for r := row.lo; r <= row.hi; r++ {
			out[r] = row.plain
		}
	}
	out['ơ'] = "o"
	return out
}

// Fold gives a word as Tokens would write it: lower case, no accents, letters
// and digits only.
func Fold(s string) string {
	b := make([]byte, 0, len(s))
	for _, r := range s {
		switch {
		case isDigit(r):
			b = append(b, byte(r))
		case r < utf8.RuneSelf && isLetter(r):
			b = append(b, byte(r|0x20))
		case isLetter(r):
			b = appendFolded(b, r)
		}
	}
	return string(b)
}

// IsName tells whether the token is part of a name of the order book.
func (t Token) IsName() bool { return t.bits&clsName != 0 }

// IsPerson tells whether a word is one for somebody: "nephew", "driver".
func (t Token) IsPerson() bool { return t.bits&clsPerson != 0 }

// Vocative tells whether a word is one that others are addressed by: "bro", "love".
func (t Token) Vocative() bool { return t.bits&clsVocative != 0 }

// IsCar tells whether the token belongs to the description of a vehicle.
func (t Token) IsCar() bool { return t.bits&clsCar != 0 }

// Everyday tells whether the token is a word of the reader's own tables.
func (t Token) Everyday() bool { return t.known }

// IsRef tells whether the token is (part of) an order reference.
func (t Token) IsRef() bool { return t.bits&clsRef != 0 }
