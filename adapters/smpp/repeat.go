package smpp

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"time"
)

// SMPP gives inbound texts no id, and a centre delivers a text again, with
// another sequence number, whenever it did not see the acknowledgement. repeats
// tells such a text from one that the customer wrote twice:
//
//   - what was not acknowledged, or was acknowledged over a connection from
//     which nothing was heard any more, comes again: the same id
//   - what comes again within window of its acknowledgement is the same text:
//     networks double, and a hasty thumb does too
//   - later it is a new text: somebody who writes HERE again in ten minutes
//     stands at the gate, and must not be swallowed
//
// The id is made of the content and of the time, cut to window, so that what
// comes again after a restart mostly keeps its id; where it does not, a text is
// shown twice, which is the better of the two mistakes.
//
// It is handed the time and is not safe for concurrent use.
type repeats struct {
	window time.Duration
	seen   map[[32]byte]*sighting
	order  [][32]byte
}

type sighting struct {
	id    string
	first time.Time
	acked time.Time // zero while it is not acknowledged
	lost  func() bool
}

// The bounds of the memory.
const (
	maxSeen = 10000
	// unackedFor is how long a centre may try to deliver: common practice for
	// texts is up to three days; no source.
	unackedFor = 72 * time.Hour
)

func newRepeats(window time.Duration) *repeats {
	return &repeats{window: window, seen: map[[32]byte]*sighting{}}
}

// fingerprint is the content of a text. The lengths keep fields apart.
func fingerprint(fields ...string) [32]byte {
	h := sha256.New()
	var n [8]byte
	for _, f := range fields {
		binary.BigEndian.PutUint64(n[:], uint64(len(f)))
		h.Write(n[:])
		h.Write([]byte(f))
	}
	var out [32]byte
	h.Sum(out[:0])
	return out
}

// id names a text that came in now.
func (r *repeats) id(now time.Time, mark [32]byte) string {
	s := r.seen[mark]
	if s != nil && s.same(now, r.window) {
		return s.id
	}
	var bucket [8]byte
	binary.BigEndian.PutUint64(bucket[:], uint64(now.UnixMilli()/r.window.Milliseconds()))
	sum := sha256.Sum256(append(mark[:], bucket[:]...))
	id := base64.RawURLEncoding.EncodeToString(sum[:15])
	if s != nil && s.id == id { // the same slice of time, and yet a new text
		sum = sha256.Sum256(append(sum[:], bucket[:]...))
		id = base64.RawURLEncoding.EncodeToString(sum[:15])
	}
	if s == nil {
		r.order = append(r.order, mark)
	}
	r.seen[mark] = &sighting{id: id, first: now}
	for len(r.order) > maxSeen {
		delete(r.seen, r.order[0])
		r.order = r.order[1:]
	}
	return id
}

func (s *sighting) same(now time.Time, window time.Duration) bool {
	switch {
	case s.acked.IsZero():
		return now.Sub(s.first) < unackedFor
	case now.Sub(s.acked) < window:
		return true
	}
	return s.lost != nil && s.lost() && now.Sub(s.first) < unackedFor
}

// acked notes that a text was acknowledged now; lost says later whether that
// may never have reached the centre.
func (r *repeats) acked(now time.Time, mark [32]byte, lost func() bool) {
	if s := r.seen[mark]; s != nil {
		s.acked, s.lost = now, lost
	}
}
