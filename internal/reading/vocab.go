package reading

import "strings"

// class is a set of word classes; see classes.go for their words.
type class uint64

// Ids below firstWord belong to tokens that are no words.
const (
	idUnknown int32 = iota
	idNumber
	idBreak
	idDash
	idEmojiGood
	idEmojiBad
	firstWord
)

// vocab is everything that the reader knows about words, compiled once from the
// tables of this package. It is never changed after that.
type vocab struct {
	ids      map[string]int32
	words    []string
	bits     []class
	nums     []int
	splits   map[string][]string // "im" is "i am", with or without the apostrophe
	quoted   map[string][]string // "we'll" is "we will" but "well" is not
	spelling map[string]string   // a word with one letter left out, to the word
	patterns []pattern
	byWord   [][]int32 // patterns that may start with the word
	byClass  []classStart
}

type classStart struct {
	bits    class
	pattern int32
}

// vocabulary is compiled from constant tables and read only.
var vocabulary = newVocab()

func newVocab() *vocab {
	v := &vocab{
		ids:    make(map[string]int32, 4096),
		words:  make([]string, firstWord, 4096),
		bits:   make([]class, firstWord, 4096),
		nums:   make([]int, firstWord, 4096),
		splits: make(map[string][]string, 512),
		quoted: make(map[string][]string, 64),
	}
	for i := range v.nums {
		v.nums[i] = -1
	}
	for _, row := range classTable {
		for _, w := range strings.Fields(row.words) {
			v.bits[v.id(w)] |= row.class
		}
	}
	for w, n := range numberWords {
		id := v.id(w)
		v.nums[id] = n
		v.bits[id] |= clsNumber
	}
	for _, table := range []struct {
		rows string
		into map[string][]string
	}{{shorthand, v.splits}, {frenchShorthand, v.splits}, {quotedShorthand, v.quoted}} {
		for line := range strings.Lines(table.rows) {
			from, to, ok := strings.Cut(line, "=")
			if !ok {
				continue
			}
			meaning := strings.Fields(to)
			for _, w := range meaning {
				v.id(w)
			}
			for _, w := range strings.Fields(from) {
				table.into[w] = meaning
			}
		}
	}
	made := map[string]*element{}
	for _, rows := range phraseTables {
		for _, row := range rows {
			for line := range strings.Lines(row.phrases) {
				for _, phrase := range strings.Split(line, ";") {
					if strings.TrimSpace(phrase) != "" {
						v.patterns = append(v.patterns, v.compile(row.sign, phrase, made))
					}
				}
			}
		}
	}
	v.byWord = make([][]int32, len(v.words))
	for i := range v.patterns {
		v.index(int32(i))
	}
	v.makeSpelling()
	return v
}

// id gives the id of a word, making one where there is none.
func (v *vocab) id(w string) int32 {
	if id, ok := v.ids[w]; ok {
		return id
	}
	id := int32(len(v.words))
	v.ids[w] = id
	v.words = append(v.words, w)
	v.bits = append(v.bits, 0)
	v.nums = append(v.nums, -1)
	return id
}

// intern avoids an allocation for words that the vocabulary holds.
func (v *vocab) intern(b []byte) string {
	if id, ok := v.ids[string(b)]; ok {
		return v.words[id]
	}
	return string(b)
}

// makeSpelling prepares the words that a slip may be put right to: long enough,
// and of the classes that the decision hangs on.
func (v *vocab) makeSpelling() {
	v.spelling = map[string]string{}
	clash := map[string]bool{}
	for _, w := range strings.Fields(mendable) {
		for i := range len(w) {
			short := w[:i] + w[i+1:]
			if other, ok := v.spelling[short]; ok && other != w {
				clash[short] = true
			}
			v.spelling[short] = w
		}
		v.spelling[w] = w
	}
	for short := range clash {
		delete(v.spelling, short)
	}
}

// mend puts a slip of one letter right: one too few, one too many, another one,
// or two swapped. It gives "" where it can't tell.
func (v *vocab) mend(w string) string {
	if len(w) < 5 || len(w) > 16 {
		return ""
	}
	if to, ok := v.spelling[w]; ok {
		return to
	}
	var buf [16]byte
	for i := range len(w) {
		short := append(append(buf[:0], w[:i]...), w[i+1:]...)
		if to, ok := v.spelling[string(short)]; ok && to[0] == w[0] && near(w, to) {
			return to
		}
	}
	return ""
}

// near tells whether a and b differ by one letter or by two neighbours swapped.
func near(a, b string) bool {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	switch len(a) - len(b) {
	case 1:
		return a[i+1:] == b[i:]
	case -1:
		return a[i:] == b[i+1:]
	case 0:
		return i == len(a) || a[i+1:] == b[i+1:] ||
			i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
	}
	return false
}

// expand adds a word as what it stands for.
func (v *vocab) expand(out []Token, t Token, apostrophe bool) []Token {
	if apostrophe {
		if words, ok := v.quoted[t.Text]; ok {
			return v.addAll(out, t, words)
		}
	}
	if words, ok := v.splits[t.Text]; ok {
		return v.addAll(out, t, words)
	}
	if t.Possessive {
		t.Text = t.Text[:len(t.Text)-1]
		return v.add(out, t)
	}
	if _, ok := v.ids[t.Text]; ok || len(t.Text) < 3 || strings.ContainsAny(t.Text, "0123456789") {
		return v.add(out, t)
	}
	// "pullin" is "pulling".
	if strings.HasSuffix(t.Text, "in") {
		if id, ok := v.ids[t.Text+"g"]; ok {
			t.typed, t.Text = t.Text, v.words[id]
			return v.add(out, t)
		}
	}
	if short, ok := v.shorten(t.Text); ok {
		t.typed, t.Text = t.Text, short
		if words, split := v.splits[short]; split {
			return v.addAll(out, t, words)
		}
		return v.add(out, t)
	}
	return v.add(out, t)
}

func (v *vocab) addAll(out []Token, t Token, words []string) []Token {
	if len(words) == 1 {
		t.typed = t.Text
	}
	for _, w := range words {
		t.Text = w
		out = v.add(out, t)
	}
	return out
}

func (v *vocab) add(out []Token, t Token) []Token {
	if t.Kind == Word {
		if id, ok := v.ids[t.Text]; ok {
			t.id, t.bits, t.Num, t.known = id, v.bits[id], v.nums[id], true
		}
	}
	return append(out, t)
}

// shorten takes the length out of "hereeee" and "hiii": a run of one letter
// becomes one or two of it, whichever makes a word that is known.
func (v *vocab) shorten(w string) (string, bool) {
	var one, two [48]byte
	a, b := one[:0], two[:0]
	run, long := 0, false
	for i := range len(w) {
		if i > 0 && w[i] == w[i-1] {
			run++
		} else {
			run = 1
		}
		if run == 1 {
			a = append(a, w[i])
		}
		if run <= 2 {
			b = append(b, w[i])
		}
		long = long || run >= 3 || run == 2 && i == len(w)-1
		if len(b) >= 46 {
			break
		}
	}
	if !long {
		return "", false
	}
	for _, cand := range [][]byte{b, a} {
		if id, ok := v.ids[string(cand)]; ok {
			return v.words[id], true
		}
		if _, ok := v.splits[string(cand)]; ok {
			return string(cand), true
		}
	}
	// "soooo goood" needs each run judged alone; the last run is the usual one.
	if n := len(b); n > 2 && b[n-1] == b[n-2] {
		if id, ok := v.ids[string(b[:n-1])]; ok {
			return v.words[id], true
		}
	}
	return "", false
}

func (v *vocab) emoji(r rune) int32 {
	if strings.ContainsRune(badEmoji, r) {
		return idEmojiBad
	}
	return idEmojiGood
}

func (v *vocab) emojiBits(r rune) class {
	if strings.ContainsRune(badEmoji, r) {
		return 0
	}
	return clsFiller
}

const badEmoji = "👎😡🤬😠🤮🤢😤💀🖕🙄"

// settle reads the words that mean different things in different company:
// "were outside" at the head of a clause is "we are outside".
func (v *vocab) settle(toks []Token) []Token {
	for i := 0; i < len(toks); i++ {
		t := &toks[i]
		if t.Kind != Word {
			continue
		}
		prev, next := neighbour(toks, i, -1), neighbour(toks, i, 1)
		if t.Text == "no" && (next == "one" || next == "body") {
			nobody := *t
			nobody.Text, nobody.End = "nobody", toks[i+1].End
			toks[i] = v.add(toks[i:i:i], nobody)[0]
			toks = append(toks[:i+1], toks[i+2:]...)
			continue
		}
		if words := twoFaced(t.Text, prev, next); words != nil {
			toks = v.replace(toks, i, words)
			i += len(words) - 1
			continue
		}
		if t.id == idUnknown && !strings.ContainsAny(t.Text, "0123456789") {
			if to := v.mend(t.Text); to != "" {
				t.typed, t.Text = t.Text, to
				if words, ok := v.splits[to]; ok {
					toks = v.replace(toks, i, words)
					continue
				}
				t.id = v.ids[to]
				t.bits, t.Num, t.known = v.bits[t.id], v.nums[t.id], true
			}
		}
	}
	return toks
}

func (v *vocab) replace(toks []Token, i int, words []string) []Token {
	old := toks[i]
	repl := make([]Token, 0, 4)
	repl = v.addAll(repl, Token{Start: old.Start, End: old.End, Upper: old.Upper, Num: -1, Min: -1}, words)
	out := append(toks[:i:i], repl...)
	return append(out, toks[i+1:]...)
}

// neighbour gives the word beside toks[i] in its clause, or "".
func neighbour(toks []Token, i, step int) string {
	j := i + step
	if j < 0 || j >= len(toks) || toks[j].Kind == Break || toks[j].Kind == Emoji {
		return ""
	}
	return toks[j].Text
}

// twoFaced gives what a word stands for beside its neighbours, or nil.
func twoFaced(w, prev, next string) []string {
	row, ok := faces[w]
	if !ok {
		return nil
	}
	for _, f := range row {
		if (f.prev == "*" || inList(f.prev, prev)) && (f.next == "*" || inList(f.next, next)) {
			return f.means
		}
	}
	return nil
}

// inList tells whether w is one of the words in list; "$" stands for none.
func inList(list, w string) bool {
	if w == "" {
		w = "$"
	}
	for len(list) > 0 {
		var head string
		head, list, _ = strings.Cut(list, " ")
		if head == w {
			return true
		}
	}
	return false
}
