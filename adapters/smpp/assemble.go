package smpp

import (
	"slices"
	"time"

	"passbell/adapters/smpp/pdu"
)

// partKey is what the parts of one long text have in common (TS 23.040
// §9.2.3.24.1): who wrote to whom, the reference, its kind and how many parts.
type partKey struct {
	lane     string // the sender as the network wrote it
	from, to string
	kind     refKind
	ref      uint16
	total    uint8
}

// refKind is how the parts were numbered; the same number means another text in
// another kind.
type refKind uint8

const (
	ref8  refKind = 1 // information element 00
	ref16 refKind = 2 // information element 08
	refTL refKind = 3 // sar_* TLVs
)

// part is one part of a long text.
type part struct {
	key  partKey
	seq  uint8 // 1 to total
	text string
}

// gathering is a long text that is being put together.
type gathering struct {
	key   partKey
	texts []string
	have  []bool
	left  int
	since time.Time
}

// whole joins the parts; a gap shows as the words of missing.
func (g *gathering) whole(missing func(seq, total int) string) string {
	n := 0
	for _, t := range g.texts {
		n += len(t)
	}
	out := make([]byte, 0, n)
	for i, t := range g.texts {
		if !g.have[i] {
			t = missing(i+1, len(g.texts))
		}
		out = append(out, t...)
	}
	return string(out)
}

// stored is a text that went to the sink, kept to recognise parts of it that the
// centre delivers again.
type stored struct {
	texts []string
	have  []bool
	at    time.Time
}

// assembler puts long texts together. It keeps no clock: every call is handed
// the time. It is not safe for concurrent use.
type assembler struct {
	limit time.Duration // how long to wait for the missing parts of a text
	keep  time.Duration // how long to recognise parts of what was stored
	open  map[partKey]*gathering
	done  map[partKey]stored
	order []partKey // of done, oldest first
	size  int       // octets of text in open
}

// The bounds of what is held at once. A part beyond them is not taken in, and
// the centre keeps it.
const (
	maxOpen  = 1000
	maxOctet = 8 << 20
	maxDone  = 5000
)

func newAssembler(limit, keep time.Duration) *assembler {
	return &assembler{limit: limit, keep: keep, open: map[partKey]*gathering{}, done: map[partKey]stored{}}
}

// verdict is what add made of a part.
type verdict struct {
	// again: the part belongs to a text that is stored; acknowledge it.
	again bool
	// full is the text that the part completed.
	full *gathering
	// waiting is the text that the part went into, where others are missing.
	waiting *gathering
	// pushed is an incomplete text whose reference now means another one.
	pushed *gathering
	// noRoom: the part was not taken in.
	noRoom bool
}

// add takes a part in. Texts that it returns stay known until finish is called
// for them, so that a part that comes again while a text could not be stored
// completes it again.
func (a *assembler) add(now time.Time, p part) verdict {
	var v verdict
	i := int(p.seq) - 1
	if d, ok := a.done[p.key]; ok && now.Sub(d.at) < a.keep {
		if d.have[i] && d.texts[i] == p.text {
			v.again = true
			return v
		}
	}
	g := a.open[p.key]
	if g != nil && g.have[i] && g.texts[i] != p.text {
		// Another text under the same reference: the counter has wrapped.
		v.pushed = g
		a.drop(g)
		g = nil
	}
	if a.size+len(p.text) > maxOctet || (g == nil && len(a.open) >= maxOpen) {
		v.noRoom = true
		return v
	}
	if g == nil {
		n := int(p.key.total)
		g = &gathering{key: p.key, texts: make([]string, n), have: make([]bool, n), left: n, since: now}
		a.open[p.key] = g
	}
	if !g.have[i] {
		g.have[i], g.texts[i] = true, p.text
		g.left--
		a.size += len(p.text)
	}
	if g.left == 0 {
		v.full = g
	} else {
		v.waiting = g
	}
	return v
}

// drop takes a text out of those that are being put together.
func (a *assembler) drop(g *gathering) {
	if a.open[g.key] != g {
		return
	}
	delete(a.open, g.key)
	for _, t := range g.texts {
		a.size -= len(t)
	}
}

// overdue says whether a text is still incomplete and has waited long enough.
func (a *assembler) overdue(now time.Time, g *gathering) bool {
	return a.open[g.key] == g && g.left > 0 && now.Sub(g.since) >= a.limit
}

// due returns the texts whose parts have been missing for too long, oldest first.
func (a *assembler) due(now time.Time) []*gathering {
	var out []*gathering
	for _, g := range a.open {
		if a.overdue(now, g) {
			out = append(out, g)
		}
	}
	slices.SortFunc(out, func(x, y *gathering) int { return x.since.Compare(y.since) })
	return out
}

// finish forgets a text that was stored, but knows its parts for a while.
func (a *assembler) finish(now time.Time, g *gathering) {
	a.drop(g)
	if _, ok := a.done[g.key]; ok {
		a.order = slices.DeleteFunc(a.order, func(k partKey) bool { return k == g.key })
	}
	a.done[g.key] = stored{texts: g.texts, have: slices.Clone(g.have), at: now}
	a.order = append(a.order, g.key)
	for len(a.order) > 0 && (len(a.order) > maxDone || now.Sub(a.done[a.order[0]].at) >= a.keep) {
		delete(a.done, a.order[0])
		a.order = a.order[1:]
	}
}

// concatOf finds how a message is numbered among the parts of a long text: in
// its user data header or in its sar TLVs. False where it stands alone or where
// the numbers cannot be ("ignore the element", TS 23.040).
func concatOf(m *pdu.SM, h header) (kind refKind, ref uint16, total, seq uint8, ok bool) {
	if h.concat.kind != 0 {
		return h.concat.kind, h.concat.ref, h.concat.total, h.concat.seq, true
	}
	r, ok1 := m.TLVs.Uint16(pdu.TagSarRef)
	t, ok2 := m.TLVs.Byte(pdu.TagSarTotal)
	s, ok3 := m.TLVs.Byte(pdu.TagSarSeq)
	if ok1 && ok2 && ok3 && t > 1 && s >= 1 && s <= t {
		return refTL, r, t, s, true
	}
	return 0, 0, 0, 0, false
}
