package vehicles

import (
	"math/bits"
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// A slip of one letter is looked for in words of minSlip letters and more, of
// two letters from minTwoSlips on; shorter words have too many neighbours.
const (
	minSlip     = 5
	minTwoSlips = 8
)

// slip finds the one name or colour that a misspelt word may stand for, nil
// where there is none or more than one.
func (l *lexicon) slip(w *words.Word) *lexeme {
	s := w.Stem
	if w.Class != words.Letters || len(s) < minSlip-1 || len(s) > 20 || words.Common(s) {
		return nil
	}
	if x := l.rounded(s); x != nil {
		return x
	}
	best, bestDist, tie := "", 3, false
	letters := lettersOf(s)
	for _, k := range l.slips[s[0]] {
		limit := 1
		if len(k.key) >= minTwoSlips && len(s) >= minTwoSlips-1 {
			limit = 2
		}
		if bits.OnesCount32(letters^k.letters) > 2*limit {
			continue // each slip changes two letters at most
		}
		switch d := distance(s, k.key, limit); {
		case d > limit:
		case d < bestDist:
			best, bestDist, tie = k.key, d, false
		case d == bestDist:
			tie = true
		}
	}
	if best == "" || tie {
		return nil
	}
	return l.words[best]
}

// lettersOf gives the set of letters of a word as bits.
func lettersOf(s string) uint32 {
	var set uint32
	for i := range len(s) {
		set |= 1 << (s[i] & 31)
	}
	return set
}

// rounded finds a name in "a" that was written as it is said with an r behind it:
// "corsar", "fiester".
func (l *lexicon) rounded(s string) *lexeme {
	if len(s) < minSlip || s[len(s)-1] != 'r' {
		return nil
	}
	var buf [20]byte
	n := copy(buf[:], s[:len(s)-1])
	switch buf[n-1] {
	case 'a', 'e':
		buf[n-1] = 'a'
	default:
		return nil
	}
	if x := l.words[string(buf[:n])]; x != nil && len(x.names) > 0 && x.names[0].trust == sure {
		return x
	}
	return nil
}

// distance is the optimal string alignment distance of two short words, or more
// than limit. A doubled or dropped letter, a wrong one and two swapped each
// count one.
func distance(a, b string, limit int) int {
	if len(a)-len(b) > limit || len(b)-len(a) > limit {
		return limit + 1
	}
	if strings.EqualFold(a, b) {
		return 0
	}
	var rows [3][24]int
	prev2, prev, cur := &rows[0], &rows[1], &rows[2]
	for j := range len(b) + 1 {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			d := min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d = min(d, prev2[j-2]+1)
			}
			cur[j] = d
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}
