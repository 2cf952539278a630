package smpp

import (
	"math/big"
	"strings"
	"sync"
)

// How a receipt's message id relates to the one in submit_sm_resp. The two are
// free text in the specification, and centres spell them differently.
const (
	idsAuto             = "auto"               // found out from the first receipts
	idsSame             = "same"               // alike but for case and leading zeros
	idsExact            = "exact"              // alike to the letter
	idsDecimalInReceipt = "decimal-in-receipt" // hexadecimal in the answer
	idsHexInReceipt     = "hex-in-receipt"     // decimal in the answer
)

// fold is the one spelling of an id: no spaces around it, lower case, no leading
// zeros.
func fold(id string) string {
	id = strings.ToLower(strings.TrimSpace(id))
	if cut := strings.TrimLeft(id, "0"); cut != "" || id == "" {
		return cut
	}
	return "0"
}

// rebase writes a number of one base in another; false where it is none.
func rebase(id string, from, to int) (string, bool) {
	if id == "" || id[0] == '-' || id[0] == '+' {
		return "", false
	}
	n, ok := new(big.Int).SetString(id, from)
	if !ok {
		return "", false
	}
	return n.Text(to), true
}

// respell turns a receipt's id into the answer's spelling by a given relation.
func respell(id, relation string) (string, bool) {
	switch relation {
	case idsDecimalInReceipt:
		return rebase(fold(id), 10, 16)
	case idsHexInReceipt:
		return rebase(fold(id), 16, 10)
	}
	return fold(id), true
}

// idBook gives ids one spelling, so that the id of a receipt equals the id of
// the answer that it belongs to. The answer's spelling is kept (folded) and the
// receipt's is turned into it.
//
// With auto it remembers the ids of the latest answers and looks for a receipt's
// among them in each relation. A receipt that fits in one relation only counts as
// a vote for it; the relation with the most votes then holds for receipts that
// fit nowhere, such as those of texts of before a restart. Where a centre's ids
// are all digits in both spellings and the program is restarted often, name the
// relation in the configuration.
type idBook struct {
	relation string // as configured

	mu    sync.Mutex
	votes [len(guesses)]int
	known map[string]struct{}
	ring  []string
	next  int
}

// guesses are the relations that auto tries, in this order.
var guesses = [...]string{idsSame, idsDecimalInReceipt, idsHexInReceipt}

// idMemory is how many ids of answers are remembered: several nights' worth.
const idMemory = 20000

func newIDBook(relation string) *idBook {
	return &idBook{relation: relation, known: map[string]struct{}{}}
}

// answer spells the id of a submit_sm_resp.
func (b *idBook) answer(id string) string {
	if b.relation == idsExact {
		return id
	}
	id = fold(id)
	if b.relation != idsAuto || id == "" {
		return id
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, ok := b.known[id]; ok {
		return id
	}
	if len(b.ring) < idMemory {
		b.ring = append(b.ring, id)
	} else {
		delete(b.known, b.ring[b.next])
		b.ring[b.next] = id
		b.next = (b.next + 1) % idMemory
	}
	b.known[id] = struct{}{}
	return id
}

// receipt spells the id of a receipt as its answer's was. It is not sure where
// the relation is still to be found out and the answer was not seen.
func (b *idBook) receipt(id string) (spelled string, sure bool) {
	switch b.relation {
	case idsExact:
		return id, true
	case idsAuto:
		return b.guess(id)
	}
	if out, ok := respell(id, b.relation); ok {
		return out, true
	}
	return fold(id), true
}

func (b *idBook) guess(id string) (string, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	best := b.best()
	found, fits := "", 0
	for i, relation := range guesses {
		out, ok := respell(id, relation)
		if _, known := b.known[out]; !ok || !known {
			continue
		}
		switch {
		case fits == 0:
			found, fits = out, 1<<i
		case out == found: // a digit is the same in every base
			fits |= 1 << i
		default:
			fits |= 1 << i
			if i == best {
				found = out
			}
		}
	}
	for i := range guesses {
		if fits == 1<<i {
			b.votes[i]++
		}
	}
	switch {
	case fits != 0:
		return found, true
	case best < 0:
		return fold(id), false
	}
	if out, ok := respell(id, guesses[best]); ok {
		return out, true
	}
	return fold(id), true
}

// best is the relation with the most votes, -1 while there are none.
func (b *idBook) best() int {
	best := -1
	for i, n := range b.votes {
		if n > 0 && (best < 0 || n > b.votes[best]) {
			best = i
		}
	}
	return best
}

// now says what relation holds, "" where it is not known yet.
func (b *idBook) now() string {
	if b.relation != idsAuto {
		return b.relation
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if best := b.best(); best >= 0 {
		return guesses[best]
	}
	return ""
}
