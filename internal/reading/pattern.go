package reading

import (
	"fmt"
	"strings"
)

// A phrase of the tables is a row of elements with spaces between them:
//
//	word        that word (as Tokens writes it)
//	a|b|<c>     any of them
//	<class>     any word of the class, see classes.go
//	x?          x or nothing
//	x+          x once or more
//	..          up to three words of the same clause
//	!x          the next word is not x (takes no word)
//	^ and $     the head and the end of a clause (take no word)
//	a|$         that word or the end of a clause
type pattern struct {
	sign  Sign
	elems []*element
}

type element struct {
	ids  []int32
	bits class
	op   op
	opt  bool
	many bool
	// orEnd is set where the end of a clause will do as well: "a|$".
	orEnd bool
}

type op uint8

const (
	opWord op = iota
	opGap
	opNot
	opHead
	opEnd
)

const gapWords = 3

// compile makes a pattern of a phrase. What many phrases have in common is made
// once, and kept in made.
func (v *vocab) compile(sign Sign, phrase string, made map[string]*element) pattern {
	fields := strings.Fields(phrase)
	p := pattern{sign: sign, elems: make([]*element, len(fields))}
	for i, f := range fields {
		e, ok := made[f]
		if !ok {
			one := v.element(f)
			e = &one
			made[f] = e
		}
		p.elems[i] = e
	}
	return p
}

func (v *vocab) element(f string) element {
	switch f {
	case "..":
		return element{op: opGap}
	case "^":
		return element{op: opHead}
	case "$":
		return element{op: opEnd}
	}
	var e element
	if rest, ok := strings.CutPrefix(f, "!"); ok {
		e.op, f = opNot, rest
	}
	if rest, ok := strings.CutSuffix(f, "?"); ok {
		e.opt, f = true, rest
	}
	if rest, ok := strings.CutSuffix(f, "+"); ok {
		e.many, f = true, rest
	}
	alts := strings.Split(f, "|")
	e.ids = make([]int32, 0, len(alts))
	for _, alt := range alts {
		if alt == "$" {
			e.orEnd = true
			continue
		}
		if rest, ok := strings.CutSuffix(alt, "+"); ok {
			e.many, alt = true, rest
		}
		if strings.HasPrefix(alt, "<") {
			bits, ok := classNames[strings.Trim(alt, "<>")]
			if !ok {
				panic(fmt.Sprintf("phrase table: no class %s", alt))
			}
			e.bits |= bits
			continue
		}
		e.ids = append(e.ids, v.id(alt))
	}
	return e
}

// index files a pattern under every word that it may start with.
func (v *vocab) index(n int32) {
	p := v.patterns[n]
	for _, e := range p.elems {
		if e.op != opWord {
			continue
		}
		for _, id := range e.ids {
			v.byWord[id] = append(v.byWord[id], n)
		}
		if e.bits != 0 {
			for id, b := range v.bits {
				if b&e.bits != 0 {
					v.byWord[id] = append(v.byWord[id], n)
				}
			}
			if e.bits&overlaid != 0 {
				v.byClass = append(v.byClass, classStart{e.bits & overlaid, n})
			}
		}
		if !e.opt {
			return
		}
	}
}

// mark is a phrase found in a text.
type mark struct {
	sign       Sign
	start, end int // tokens
	clause     int
	pattern    int32
}

// find appends every phrase that the tokens hold.
func (v *vocab) find(out []mark, toks []Token, clauses []int) []mark {
	for i := range toks {
		t := &toks[i]
		if t.Kind == Break {
			continue
		}
		if int(t.id) < len(v.byWord) {
			for _, n := range v.byWord[t.id] {
				out = v.try(out, toks, clauses, i, n)
			}
		}
		if t.bits&overlaid != 0 {
			for _, s := range v.byClass {
				if t.bits&s.bits != 0 {
					out = v.try(out, toks, clauses, i, s.pattern)
				}
			}
		}
	}
	return out
}

func (v *vocab) try(out []mark, toks []Token, clauses []int, i int, n int32) []mark {
	p := &v.patterns[n]
	end := match(p.elems, toks, i, true)
	if end <= i {
		return out
	}
	if k := len(out); k > 0 && out[k-1].sign == p.sign && out[k-1].start == i {
		if end > out[k-1].end {
			out[k-1].end, out[k-1].pattern = end, n
		}
		return out
	}
	return append(out, mark{p.sign, i, end, clauses[i], n})
}

// match gives the token after the match of elems at i, or -1. A phrase never
// crosses a break.
func match(elems []*element, toks []Token, i int, first bool) int {
	if len(elems) == 0 {
		return i
	}
	e := elems[0]
	inside := i < len(toks) && toks[i].Kind != Break
	switch e.op {
	case opHead:
		if i > 0 && toks[i-1].Kind != Break && toks[i-1].Kind != Emoji && toks[i-1].bits&clsLead == 0 {
			return -1
		}
		return match(elems[1:], toks, i, first)
	case opEnd:
		if inside && toks[i].Kind != Emoji {
			return -1
		}
		return match(elems[1:], toks, i, false)
	case opNot:
		if inside && e.takes(&toks[i]) {
			return -1
		}
		return match(elems[1:], toks, i, false)
	case opGap:
		for k := 0; k <= gapWords; k++ {
			if end := match(elems[1:], toks, i+k, false); end >= 0 {
				return end
			}
			if i+k >= len(toks) || toks[i+k].Kind == Break {
				return -1
			}
		}
		return -1
	case opWord:
		if inside && !first && hyphen(toks, i) {
			return match(elems, toks, i+1, false)
		}
	}
	if e.orEnd && (!inside || toks[i].Kind == Emoji) {
		if end := match(elems[1:], toks, i, false); end >= 0 {
			return end
		}
	}
	if inside && e.takes(&toks[i]) {
		j := i + 1
		if e.many {
			for j < len(toks) && toks[j].Kind != Break && e.takes(&toks[j]) {
				j++
			}
			for ; j > i; j-- {
				if end := match(elems[1:], toks, j, false); end >= 0 {
					return end
				}
			}
		} else if end := match(elems[1:], toks, j, false); end >= 0 {
			return end
		}
	}
	// An optional first element may be left out only when the phrase is filed
	// under the next one, which then stands at i as well.
	if e.opt {
		return match(elems[1:], toks, i, first)
	}
	return -1
}

// hyphen tells whether the token at i joins two words into one, as in "nut-free": a
// phrase reads over it.
func hyphen(toks []Token, i int) bool {
	return toks[i].Kind == Dash && i > 0 && i+1 < len(toks) && toks[i-1].Kind == Word && toks[i+1].Kind == Word &&
		toks[i-1].End == toks[i].Start && toks[i].End == toks[i+1].Start
}

func (e *element) takes(t *Token) bool {
	if t.bits&e.bits != 0 {
		return true
	}
	if t.Kind != Word {
		return false
	}
	for _, id := range e.ids {
		if id == t.id {
			return true
		}
	}
	return false
}
