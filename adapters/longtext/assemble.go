// Package longtext is what the adapters share that carry texts in parts as phones
// do (3GPP TS 23.038 and 23.040): splitting a text, reading what a part says, and
// putting the parts of a long text together.
package longtext

import (
	"fmt"
	"slices"
	"time"
)

// Key is what the parts of one long text have in common (TS 23.040
// §9.2.3.24.1): who wrote to whom, the reference, its kind and how many parts.
type Key struct {
	Lane     string // the sender as the network wrote it
	From, To string
	Kind     Kind
	Ref      uint16
	Total    uint8
}

// Kind is how the parts were numbered; the same number means another text in
// another kind.
type Kind uint8

// The kinds of numbering.
const (
	Ref8   Kind = 1 // information element 00
	Ref16  Kind = 2 // information element 08
	RefSAR Kind = 3 // sar_* TLVs
)

// Part is one part of a long text.
type Part struct {
	Key  Key
	Seq  uint8 // 1 to Key.Total
	Text string
}

// Gathering is a long text that is being put together.
type Gathering struct {
	Key   Key
	texts []string
	have  []bool
	left  int
	since time.Time
}

// Complete says that no part is missing.
func (g *Gathering) Complete() bool { return g.left == 0 }

// Whole joins the parts; a gap shows as Gap words it.
func (g *Gathering) Whole() string {
	n := 0
	for _, t := range g.texts {
		n += len(t)
	}
	out := make([]byte, 0, n)
	for i, t := range g.texts {
		if !g.have[i] {
			t = Gap(i+1, len(g.texts))
		}
		out = append(out, t...)
	}
	return string(out)
}

// Gap stands in a text for a part that never came.
func Gap(seq, total int) string { return fmt.Sprintf("[part %d of %d did not arrive]", seq, total) }

// stored is a text that went to the sink, kept to recognise parts of it that the
// centre delivers again.
type stored struct {
	texts []string
	have  []bool
	at    time.Time
}

// Assembler puts long texts together. It keeps no clock: every call is handed
// the time. It is not safe for concurrent use.
type Assembler struct {
	limit time.Duration // how long to wait for the missing parts of a text
	keep  time.Duration // how long to recognise parts of what was stored
	open  map[Key]*Gathering
	done  map[Key]stored
	order []Key // of done, oldest first
	size  int   // octets of text in open
}

// The bounds of what is held at once. A part beyond them is not taken in, and
// the centre keeps it.
const (
	maxOpen  = 1000
	maxOctet = 8 << 20
	maxDone  = 5000
)

// New makes an assembler that waits limit for the missing parts of a text, and
// recognises the parts of what was stored for keep.
func New(limit, keep time.Duration) *Assembler {
	return &Assembler{limit: limit, keep: keep, open: map[Key]*Gathering{}, done: map[Key]stored{}}
}

// Verdict is what Add made of a part.
type Verdict struct {
	// Again: the part belongs to a text that is stored; acknowledge it.
	Again bool
	// Full is the text that the part completed.
	Full *Gathering
	// Waiting is the text that the part went into, where others are missing.
	Waiting *Gathering
	// Pushed is an incomplete text whose reference now means another one.
	Pushed *Gathering
	// NoRoom: the part was not taken in.
	NoRoom bool
}

// Add takes a part in. Texts that it returns stay known until Finish is called
// for them, so that a part that comes again while a text could not be stored
// completes it again.
func (a *Assembler) Add(now time.Time, p Part) Verdict {
	var v Verdict
	i := int(p.Seq) - 1
	if d, ok := a.done[p.Key]; ok && now.Sub(d.at) < a.keep {
		if d.have[i] && d.texts[i] == p.Text {
			v.Again = true
			return v
		}
	}
	g := a.open[p.Key]
	if g != nil && g.have[i] && g.texts[i] != p.Text {
		// Another text under the same reference: the counter has wrapped.
		v.Pushed = g
		a.Drop(g)
		g = nil
	}
	if a.size+len(p.Text) > maxOctet || (g == nil && len(a.open) >= maxOpen) {
		v.NoRoom = true
		return v
	}
	if g == nil {
		n := int(p.Key.Total)
		g = &Gathering{Key: p.Key, texts: make([]string, n), have: make([]bool, n), left: n, since: now}
		a.open[p.Key] = g
	}
	if !g.have[i] {
		g.have[i], g.texts[i] = true, p.Text
		g.left--
		a.size += len(p.Text)
	}
	if g.left == 0 {
		v.Full = g
	} else {
		v.Waiting = g
	}
	return v
}

// Drop takes a text out of those that are being put together.
func (a *Assembler) Drop(g *Gathering) {
	if a.open[g.Key] != g {
		return
	}
	delete(a.open, g.Key)
	for _, t := range g.texts {
		a.size -= len(t)
	}
}

// Overdue says whether a text is still incomplete and has waited long enough.
func (a *Assembler) Overdue(now time.Time, g *Gathering) bool {
	return a.open[g.Key] == g && g.left > 0 && now.Sub(g.since) >= a.limit
}

// Due returns the texts whose parts have been missing for too long, oldest first.
func (a *Assembler) Due(now time.Time) []*Gathering {
	var out []*Gathering
	for _, g := range a.open {
		if a.Overdue(now, g) {
			out = append(out, g)
		}
	}
	slices.SortFunc(out, func(x, y *Gathering) int { return x.since.Compare(y.since) })
	return out
}

// Finish forgets a text that was stored, but knows its parts for a while.
func (a *Assembler) Finish(now time.Time, g *Gathering) {
	a.Drop(g)
	if _, ok := a.done[g.Key]; ok {
		a.order = slices.DeleteFunc(a.order, func(k Key) bool { return k == g.Key })
	}
	a.done[g.Key] = stored{texts: g.texts, have: slices.Clone(g.have), at: now}
	a.order = append(a.order, g.Key)
	for len(a.order) > 0 && (len(a.order) > maxDone || now.Sub(a.done[a.order[0]].at) >= a.keep) {
		delete(a.done, a.order[0])
		a.order = a.order[1:]
	}
}
