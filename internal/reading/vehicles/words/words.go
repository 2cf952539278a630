// Package words cuts a customer's text into words for the readers of vehicles
// and plates: folded to plain lower-case letters, with what stood before each
// word and how it was typed, and always with its place in the text.
package words

import (
	"unicode"
	"unicode/utf8"
)

// Sep says what stands between a word and the one before it; the strongest
// mark found there counts.
type Sep uint8

// The separators, weakest first.
const (
	Space Sep = iota // blanks, or the start of the text
	Join             // a hyphen, dot or middle dot without a blank: "CR-V"
	Slash            // "blue/green"
	Comma            // comma, colon, bracket, spaced dash, emoji
	Stop             // full stop, question or exclamation mark, semicolon, new line
)

// Class says what a word is made of.
type Class uint8

// The classes of a word.
const (
	Letters Class = iota
	Digits
	Mixed
)

// Word is one run of letters and digits.
type Word struct {
	Start, End int    // byte span in the text, inner apostrophes included
	Low        string // plain lower-case letters and digits, apostrophes left out
	Stem       string // Low without a possessive or contracted "'s"
	Class      Class
	Upper      bool // letters typed as capitals only, at least one
	Title      bool // a capital first, small letters after it
	Poss       bool // typed with 's
	Money      bool // a currency sign stands before it
	Hash       bool // a # stands before it
	Before     Sep

	lo, hi int32 // place in the folded text while it is being written
}

// Split cuts text into words. It never fails: what is neither letter nor digit
// separates.
func Split(text string) []Word {
	s := splitter{text: text, low: make([]byte, 0, len(text)+8), out: make([]Word, 0, 4+len(text)/5)}
	for s.pos < len(text) {
		r, size := utf8.DecodeRuneInString(text[s.pos:])
		if isWord(r) {
			s.word()
			continue
		}
		s.gap(r)
		s.pos += size
	}
	low := string(s.low)
	for i := range s.out {
		w := &s.out[i]
		w.Low = low[w.lo:w.hi]
		w.Stem = w.Low
		if w.Poss && len(w.Low) > 1 {
			w.Stem = w.Low[:len(w.Low)-1]
		}
	}
	return s.out
}

type splitter struct {
	text string
	low  []byte
	out  []Word
	pos  int
	gapState
}

// gapState is what was seen since the last word.
type gapState struct {
	sep   Sep
	blank bool // a blank, which turns a hyphen or dot from a join into a break
	join  rune // the joining mark seen, 0 for none
	money bool
	hash  bool
}

func isWord(r rune) bool {
	if r < utf8.RuneSelf {
		return r|0x20 >= 'a' && r|0x20 <= 'z' || r >= '0' && r <= '9'
	}
	return unicode.IsLetter(r) || unicode.IsDigit(r)
}

// gap notes a rune that is no part of a word.
func (s *splitter) gap(r rune) {
	up := func(to Sep) { s.sep = max(s.sep, to) }
	switch r {
	case ' ', '\t', '\u00a0', '\u202f', '\u2009':
		s.blank = true
		if s.join != 0 {
			s.settleJoin()
		}
	case '-', '\u2010', '\u2011', '\u2012', '\u2013', '\u2014', '.', '\u00b7', '\u2022', '_':
		if s.blank || s.join != 0 || len(s.out) == 0 {
			up(breakOf(r))
		}
		s.join = r
	case '/', '\\', '|', '&', '+':
		up(Slash)
	case '!', '?', ';', '\n', '\r', '\u2026', '\u3002', '\uff01', '\uff1f', '\u061f', '\u00a1', '\u00bf':
		up(Stop)
	case '\'', '\u2019', '\u2018', '`', '"', '\u201c', '\u201d', '*':
	case '#':
		s.hash = true
	case '$', '\u00a3', '\u20ac':
		s.money = true
	default:
		if !unicode.In(r, unicode.Mn, unicode.Cf, unicode.Me) {
			up(Comma)
		}
	}
}

// settleJoin turns a hyphen or dot with a blank after it into a break.
func (s *splitter) settleJoin() {
	s.sep = max(s.sep, breakOf(s.join))
}

func breakOf(r rune) Sep {
	if r == '.' {
		return Stop
	}
	return Comma
}

// word reads the run of letters and digits at pos.
func (s *splitter) word() {
	if s.join != 0 {
		s.sep = max(s.sep, Join)
	}
	w := Word{Start: s.pos, Before: s.sep, Money: s.money, Hash: s.hash, lo: int32(len(s.low))}
	s.gapState = gapState{}
	var letters, digits, capitals int
	firstCap := false
	for s.pos < len(s.text) {
		r, size := utf8.DecodeRuneInString(s.text[s.pos:])
		if isApostrophe(r) && len(s.low) == int(w.lo)+1 && s.low[w.lo] == 't' {
			break // "t'van": the article of the north of England
		}
		if isApostrophe(r) && len(s.low) > int(w.lo) && s.letterAt(s.pos+size) {
			next, n := utf8.DecodeRuneInString(s.text[s.pos+size:])
			w.Poss = (next == 's' || next == 'S') && !s.letterAt(s.pos+size+n)
			s.pos += size
			continue
		}
		if unicode.Is(unicode.Mn, r) {
			s.pos += size
			continue
		}
		if !isWord(r) {
			break
		}
		if unicode.Is(unicode.Han, r) {
			if s.pos > w.Start {
				break // each stands for itself: there are no blanks to cut at
			}
			s.low = utf8.AppendRune(s.low, r)
			s.pos += size
			letters++
			break
		}
		switch {
		case unicode.IsDigit(r):
			digits++
		case unicode.IsUpper(r):
			capitals++
			firstCap = firstCap || letters == 0 && digits == 0
			letters++
		default:
			letters++
		}
		s.low = appendFold(s.low, r)
		s.pos += size
	}
	w.End, w.hi = s.pos, int32(len(s.low))
	switch {
	case letters == 0:
		w.Class = Digits
	case digits > 0:
		w.Class = Mixed
	}
	w.Upper = letters > 0 && (capitals == letters || w.Poss && capitals == letters-1)
	w.Title = firstCap && capitals == 1 && letters > 1
	s.out = append(s.out, w)
}

func (s *splitter) letterAt(pos int) bool {
	if pos >= len(s.text) {
		return false
	}
	r, _ := utf8.DecodeRuneInString(s.text[pos:])
	return unicode.IsLetter(r)
}

func isApostrophe(r rune) bool {
	return r == '\'' || r == '\u2019' || r == '\u2018' || r == '`' || r == '\u00b4'
}

// latin folds U+00C0 to U+017F to plain letters, by canonical decomposition
// where there is one.
const latin = "aaaaaaaceeeeiiiidnooooo ouuuuytsaaaaaaaceeeeiiiidnooooo ouuuuyty" +
	"aaaaaaccccccccddddeeeeeeeeeegggggggghhhhiiiiiiiiiiiijjkkkllllllllllnnnnnnnnnoooooooo" +
	"rrrrrrssssssssttttttuuuuuuuuuuuuwwyyyzzzzzzs"

// AppendFold adds s in the folded form of Low to dst, signs other than letters and
// digits left out.
func AppendFold(dst []byte, s string) []byte {
	for _, r := range s {
		if isWord(r) {
			dst = appendFold(dst, r)
		}
	}
	return dst
}

// appendFold adds r in its plain lower-case form. Full-width letters and digits
// count as plain ones; other scripts stay as they are.
func appendFold(dst []byte, r rune) []byte {
	if r >= 0xff01 && r <= 0xff5e {
		r -= 0xfee0
	}
	switch {
	case r >= 'A' && r <= 'Z':
		return append(dst, byte(r)|0x20)
	case r < utf8.RuneSelf:
		return append(dst, byte(r))
	case r >= 0xc0 && r < 0x180:
		return append(dst, latin[r-0xc0])
	}
	return utf8.AppendRune(dst, unicode.ToLower(r))
}
