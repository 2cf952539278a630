package modem

import (
	"fmt"
	"strings"
	"sync"
	"time"
)

// book joins status reports to the ids of parts. A report names the reference
// that the modem gave (8 bits, so it comes again after 256 parts) and the number.
//
// The id is made of a mark of the number, the reference and a slice of time, so
// that a report which comes after a restart, when the book is empty, still finds
// its id: the report tells when the network took the part over. Near the edge of
// a slice it has two candidates, and both are handed on.
type book struct {
	mu    sync.Mutex
	parts []entry // oldest first
}

type entry struct {
	id, number string
	mr         int // -1: the modem's result never came
	at         time.Time
}

const (
	// slice is short enough that a reference rarely comes twice within it for
	// one number.
	slice = 6 * time.Hour
	// skew is how far the network's clock and ours may be apart, with the time
	// that a part takes to get there.
	skew = 10 * time.Minute
	// keepParts is how long a report may stay away: three days is common
	// practice; no source.
	keepParts = 7 * 24 * time.Hour
	maxBook   = 5000
)

func newBook() *book { return &book{} }

func partID(number string, mr int, t time.Time) string {
	return fmt.Sprintf("%s-%d-%d", mark([]byte(number))[:10], mr, t.UnixMilli()/slice.Milliseconds())
}

// sent notes a part that the network took over now, and names it.
func (b *book) sent(now time.Time, number string, mr int) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	id := partID(number, mr, now)
	n := 1
	for _, e := range b.parts {
		if e.id == id || strings.HasPrefix(e.id, id+".") {
			n++
		}
	}
	if n > 1 {
		id = fmt.Sprintf("%s.%d", id, n)
	}
	b.add(entry{id: id, number: number, mr: mr, at: now})
	return id
}

// doubt notes a part whose result never came, and names it.
func (b *book) doubt(now time.Time, number, key string, part int) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	id := fmt.Sprintf("%s-x-%d", mark([]byte(number), []byte(key))[:10], part)
	b.add(entry{id: id, number: number, mr: -1, at: now})
	return id
}

// resolve notes the reference of a part that was in doubt.
func (b *book) resolve(id string, mr int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.parts {
		if b.parts[i].id == id && b.parts[i].mr < 0 {
			b.parts[i].mr = mr
		}
	}
}

func (b *book) add(e entry) {
	b.parts = append(b.parts, e)
	for len(b.parts) > maxBook || e.at.Sub(b.parts[0].at) > keepParts {
		b.parts = b.parts[1:]
	}
}

// join finds the part that a report is about; false where none fits.
func (b *book) join(r *report) (string, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	known := ""
	for i := len(b.parts) - 1; i >= 0; i-- {
		e := &b.parts[i]
		if e.mr != int(r.mr) || !sameNumber(e.number, r.to) {
			continue
		}
		if r.sent.Sub(e.at).Abs() <= skew {
			return e.id, true
		}
		if known == "" { // where a clock is wrong, the last one it is
			known = e.id
		}
	}
	var fit *entry
	for i := range b.parts {
		e := &b.parts[i]
		if e.mr >= 0 || !sameNumber(e.number, r.to) || r.sent.Sub(e.at).Abs() > skew {
			continue
		}
		if fit != nil {
			return known, known != "" // two texts in doubt: it could be either
		}
		fit = e
	}
	if fit == nil {
		return known, known != ""
	}
	fit.mr = int(r.mr) // from now on it is known
	return fit.id, true
}

// candidates are the ids that a report may be about when the book does not know.
func candidates(r *report) []string {
	out := []string{partID(r.to, int(r.mr), r.sent)}
	for _, d := range []time.Duration{-skew, skew} {
		if id := partID(r.to, int(r.mr), r.sent.Add(d)); id != out[0] {
			out = append(out, id)
		}
	}
	return out
}

// sameNumber compares numbers of which one may be in a national form.
func sameNumber(a, b string) bool {
	a, b = strings.TrimLeft(a, "+0"), strings.TrimLeft(b, "+0")
	if len(a) < len(b) {
		a, b = b, a
	}
	// A national number has seven digits or more nearly everywhere.
	return a == b || len(b) >= 7 && strings.HasSuffix(a, b)
}
