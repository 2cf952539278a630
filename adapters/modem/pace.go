package modem

import (
	"sync"
	"time"
)

// pacer lets parts go at an even pace, and no more than burst of them in any
// window. Places are booked for all parts of a text at once, so that no text is
// held up halfway. It is handed the time.
type pacer struct {
	every  time.Duration // between two parts
	burst  int
	window time.Duration

	mu     sync.Mutex
	booked []time.Time // when the last parts go or went, oldest first
	next   time.Time   // nothing goes before
}

func newPacer(perMinute float64, burst int, window time.Duration) *pacer {
	return &pacer{every: time.Duration(float64(time.Minute) / perMinute), burst: burst, window: window}
}

// book takes the next places in the line for n parts and gives their times. Where
// the first would be later than now+most, none is taken and wait says how long
// until there is room.
func (p *pacer) book(now time.Time, n int, most time.Duration) (at []time.Time, wait time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	booked := append([]time.Time(nil), p.booked...)
	next := p.next
	for range n {
		t := now
		if next.After(t) {
			t = next
		}
		if len(booked) >= p.burst {
			if free := booked[len(booked)-p.burst].Add(p.window); free.After(t) {
				t = free
			}
		}
		at = append(at, t)
		booked = append(booked, t)
		next = t.Add(p.every)
	}
	// A text with more parts than a window holds is let go as soon as its first
	// part may; the others wait for their turn. Any other waits for all.
	first := at[0]
	if n <= p.burst {
		last := at[n-1].Add(-time.Duration(n-1) * p.every)
		if last.After(first) {
			first = last
		}
	}
	if d := first.Sub(now); d > most {
		return nil, d
	}
	p.booked = booked[max(0, len(booked)-p.burst-maxParts):]
	p.next = next
	return at, 0
}

// pause lets nothing be booked before until.
func (p *pacer) pause(until time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if until.After(p.next) {
		p.next = until
	}
}

// maxParts is the most parts of a text (TS 23.040 §9.2.3.24.1).
const maxParts = 255

// giveBack frees places that were not used.
func (p *pacer) giveBack(at []time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n := len(at); n > 0 && p.next.Equal(at[n-1].Add(p.every)) {
		p.next = at[0]
	}
	for _, t := range at {
		for i := len(p.booked) - 1; i >= 0; i-- {
			if p.booked[i].Equal(t) {
				p.booked = append(p.booked[:i:i], p.booked[i+1:]...)
				break
			}
		}
	}
}

// length is how long n parts take from an empty window to the last.
func (p *pacer) length(n int) time.Duration {
	fresh := pacer{every: p.every, burst: p.burst, window: p.window}
	var start, last time.Time
	for range n {
		at, _ := fresh.book(start, 1, 1<<62)
		last = at[0]
	}
	return last.Sub(start)
}
