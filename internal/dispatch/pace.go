package dispatch

import (
	"slices"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Pace is how fast one adapter may send: how many at once, how many a second,
// how far apart to one address, and not at all while the provider asked for a
// pause. All dispatchers of the adapter keep to one Pace, each for a kitchen of
// its own; they get their turns one after the other, so that a long list of one
// kitchen does not hold up the others. It is safe for concurrent use.
type Pace struct {
	gap   time.Duration
	batch int // how many go together where many wait: one transaction for one text serves nobody

	mu       sync.Mutex
	users    int
	free     int // places for sends under way
	bucket   *rate.Limiter
	promised int           // places that were given and not used yet
	line     []*Dispatcher // who waits for a place, the longest first
	paused   time.Time
	lastTo   map[string]time.Time // by address, within the gap
}

const (
	// batchesASecond is how often at least the turn goes on where many wait.
	batchesASecond = 4
	// maxBatch is how many texts make the cost of claiming and settling them
	// small beside that of each.
	maxBatch = 50
)

// NewPace gives the pace of an adapter: at most window sends under way,
// perSecond in a second, and a gap between two to one address, zero for none.
func NewPace(window int, perSecond float64, gap time.Duration) *Pace {
	return &Pace{
		gap: gap, batch: min(max(1, int(perSecond/batchesASecond)), maxBatch), free: window, bucket: rate.NewLimiter(rate.Limit(perSecond), max(1, int(perSecond))), lastTo: map[string]time.Time{},
	}
}

func (p *Pace) join() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.users++
}

// shared tells whether others keep to this pace.
func (p *Pace) shared() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.users > 1
}

// take gives places to send at now: none where there is none, or where somebody
// else waits for longer, who is then woken. What is not used must be given back.
func (p *Pace) take(d *Dispatcher, now time.Time) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	room := min(p.free, int(p.bucket.TokensAt(now))-p.promised)
	if room <= 0 || now.Before(p.paused) {
		return 0
	}
	if len(p.line) > 0 && p.line[0] != d {
		p.line[0].Wake()
		return 0
	}
	room = min(room, max(p.batch, room/max(1, len(p.line)))) // some for each who waits
	p.drop(d)
	p.free -= room
	p.promised += room
	if p.free > 0 {
		p.next(d)
	}
	return room
}

// use turns a place into a send that begins now.
func (p *Pace) use(now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.promised--
	p.bucket.AllowN(now, 1)
}

// back gives back places that a dispatcher did not use.
func (p *Pace) back(d *Dispatcher, places int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.promised -= places
	p.free += places
	p.next(d)
}

// ended frees the place of a send that is over.
func (p *Pace) ended(d *Dispatcher) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.free++
	p.next(d)
}

// wait puts a dispatcher in the line, once.
func (p *Pace) wait(d *Dispatcher) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !slices.Contains(p.line, d) {
		p.line = append(p.line, d)
	}
}

// behind tells whether a dispatcher waits in the line behind another one, whose
// turn is then to be looked after.
func (p *Pace) behind(d *Dispatcher) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if slices.Index(p.line, d) <= 0 {
		return false
	}
	p.next(d)
	return true
}

// leave takes a dispatcher out of the line: it stops.
func (p *Pace) leave(d *Dispatcher) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.drop(d)
	p.next(d)
}

func (p *Pace) drop(d *Dispatcher) {
	p.line = slices.DeleteFunc(p.line, func(other *Dispatcher) bool { return other == d })
}

// next wakes who has waited longest, where that is not d, who is awake.
func (p *Pace) next(d *Dispatcher) {
	if len(p.line) > 0 && p.line[0] != d {
		p.line[0].Wake()
	}
}

// pause lets nobody send before a moment.
func (p *Pace) pause(until time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if until.After(p.paused) {
		p.paused = until
	}
}

// space keeps the gap between two texts to one address: it notes that one goes
// out now, or gives the moment from which on one may.
func (p *Pace) space(to string, now time.Time) (until time.Time, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for address, at := range p.lastTo {
		if now.Sub(at) >= p.gap {
			delete(p.lastTo, address)
		}
	}
	if last, ok := p.lastTo[to]; ok {
		return last.Add(p.gap), false
	}
	if p.gap > 0 {
		p.lastTo[to] = now
	}
	return now, true
}
