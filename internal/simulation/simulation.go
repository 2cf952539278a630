// Package simulation plays invented nights on the real plan, desk, dispatch,
// inbox and store, with everything going wrong that can: crashes at every step,
// a network that refuses, loses answers and repeats itself, a database that goes
// away, clocks that jump, several instances on one database. After every step
// that changed anything it holds the database and what really reached phones
// against what must always be so (see watch), and at the end of the night
// against what must have come about.
//
// A night hangs on its seed alone. Nothing runs but what the scheduler lets run:
// every call to the database and to a provider waits for its turn, so a failing
// seed fails again, and its night can be made smaller part by part.
package simulation

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/inbox"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/wording"
	"passbell/templates"
)

// Options say which night to play.
type Options struct {
	Seed uint64
	Most int // the most orders a night may have, 1 to 150; most nights are small
	// Keep names the parts of the night that are left in it; nil for all. Parts
	// gives the names.
	Keep []string
	// Open opens the night's database, once for each instance and once for the
	// one who watches.
	Open func(ctx context.Context) (*store.Store, error)
	// Wait returns when everything that was started waits for its turn:
	// synctest.Wait, as a night is played in a bubble of package synctest.
	Wait func()
	// Break puts faults in on purpose, to see that they are noticed.
	Break Break
	// Tell is told every step in words; may be nil.
	Tell func(string)
}

// Break replaces parts of an instance by faulty ones. Each may be nil.
type Break struct {
	Desk     func(desk.Store) desk.Store
	Inbox    func(inbox.Store) inbox.Store
	Dispatch func(dispatch.Store) dispatch.Store
}

// Result is how a night went.
type Result struct {
	Broken  []string // what must always be so and was not; the night ends with the first
	Orders  int
	Steps   int
	Crashes int
	Calls   int    // calls of a provider
	Texts   int    // texts that reached a phone
	Inbound int    // texts from customers that were acknowledged
	Trace   uint64 // the same for the same night
	// Happened counts what went wrong and what the cook did, by its name; Mishaps
	// gives the names.
	Happened map[string]int
}

// Mishaps names all that can go wrong, and all that a cook does besides her
// usual rounds: what Result.Happened counts.
func Mishaps() []string {
	out := []string{
		"the database is away", "its answer is lost", "the clock is put forward", "the clock is put back", "held up", "several instances",
		"an instance whose clock is ahead", "an instance whose clock is behind",
		"a day on which the clocks go forward", "a day on which the clocks go back",
		"refused", "throttled", "the account is out of order", "no answer, and it went out", "no answer, and it did not", "lost by the network",
		"a receipt is repeated", "a text is repeated", "receipts out of order",
	}
	for point := range points(1) {
		out = append(out, "a crash before: "+point, "a crash after: "+point)
	}
	for _, what := range append(whatCooksDo(), networkMishaps()...) {
		if !slices.Contains(out, what) {
			out = append(out, what)
		}
	}
	return out
}

// OK tells whether everything was as it must be.
func (r Result) OK() bool { return len(r.Broken) == 0 }

// mostSteps bounds a night of so many orders: one that goes on for longer does
// not come to its end.
func mostSteps(orders int) int { return 12_000 + 2_500*orders }

// sim is one night being played.
type sim struct {
	o      Options
	sc     *scenario
	rnd    *rand.Rand
	texts  *wording.Set
	stores []*store.Store
	eye    *store.Kitchen
	k      night.Kitchen
	night  night.Night

	mu    sync.Mutex // guards what tasks touch
	now   time.Time
	fresh []*stop       // that came to wait since the scheduler last looked
	back  time.Duration // by how much the clock went back, in all
	wrote bool          // something was stored since the last look

	insts  []*instance
	tasks  map[*task]bool
	stops  []*stop // who waits, in a fixed order
	lastID int
	due    time.Time // when the next text is due, as of when time last passed,
	waits  bool      // and whether any is
	agenda agenda
	net    *network
	watch  *watch
	mishap mishaps
	idle   int // times in a row that the clock moved though something was due
	rounds int // of bringing the night to its end

	out   Result
	trace interface {
		Write(p []byte) (int, error)
		Sum64() uint64
	}
}

// Play plays a night to its end, or until something is not as it must be. The
// error says that the night could not be played; what was found is in the
// result.
func Play(ctx context.Context, o Options) (_ Result, err error) {
	if o.Tell == nil {
		o.Tell = func(string) {}
	}
	s := &sim{o: o, sc: newScenario(o.Seed, o.Most, o.Keep), rnd: o.stream("schedule"), tasks: map[*task]bool{}, trace: fnv.New64a()}
	s.out.Orders = len(s.sc.orders)
	s.now = s.sc.start
	s.mishap = newMishaps(s.sc.mishaps)
	s.out.Happened = map[string]int{}
	s.note()
	defer func() { err = errors.Join(err, s.close()) }()
	if err := s.open(ctx); err != nil {
		return s.out, err
	}
	s.net = newNetwork(s)
	s.watch = newWatch(s)
	if err := s.begin(ctx); err != nil {
		return s.out, err
	}
	err = s.run(ctx)
	s.out.Broken, s.out.Trace = s.watch.broken, s.trace.Sum64()
	s.out.Crashes = s.mishap.crashes
	return s.out, err
}

// note counts what is drawn once for the night.
func (s *sim) note() {
	s.happened("several instances", s.sc.instances > 1)
	s.happened("an instance whose clock is ahead", s.sc.wrong > 0)
	s.happened("an instance whose clock is behind", s.sc.wrong < 0)
	s.happened("a day on which the clocks go forward", s.sc.night.Date == clockChange(s.sc.kitchen.Region, s.sc.night.Date.Year, true))
	s.happened("a day on which the clocks go back", s.sc.night.Date == clockChange(s.sc.kitchen.Region, s.sc.night.Date.Year, false))
	for name := range s.sc.network {
		s.happened(name, true)
	}
}

// happened counts what happened, if it did.
func (s *sim) happened(what string, did bool) {
	if did {
		s.out.Happened[what]++
	}
}

// stream gives a source of randomness of its own for each part of a night, so
// that leaving out one part does not change the others.
func (o Options) stream(name string) *rand.Rand { return stream(o.Seed, name) }

func stream(seed uint64, name string) *rand.Rand {
	h := fnv.New64a()
	_, _ = h.Write([]byte(name))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// clock is the time as every instance reads it whose clock is right.
func (s *sim) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// latest is the latest that any instance reads.
func (s *sim) latest() time.Time { return s.clock().Add(max(0, s.sc.wrong)) }

func (s *sim) turnClock(by time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(by)
}

// open opens the database for each instance and the watcher.
func (s *sim) open(ctx context.Context) (err error) {
	if s.texts, err = wording.Load(templates.Texts, nil, "en"); err != nil {
		return err
	}
	for range 1 + s.sc.instances {
		db, err := s.o.Open(ctx)
		if err != nil {
			return err
		}
		s.stores = append(s.stores, db)
	}
	s.k = s.sc.kitchen
	if s.k.ID, err = s.stores[0].PutKitchen(ctx, s.k); err != nil {
		return err
	}
	s.eye = s.stores[0].Kitchen(s.k.ID)
	for i := range s.sc.instances {
		in := &instance{s: s, number: i, rows: s.stores[1+i].Kitchen(s.k.ID)}
		if err := in.boot(); err != nil {
			return err
		}
		s.insts = append(s.insts, in)
	}
	s.insts[len(s.insts)-1].ahead = s.sc.wrong
	return nil
}

// close ends what still runs and closes the database.
func (s *sim) close() error {
	for _, in := range s.insts {
		s.kill(in)
	}
	var err error
	for _, db := range s.stores {
		err = errors.Join(err, db.Close())
	}
	return err
}

// begin stores the night and fills the agenda.
func (s *sim) begin(ctx context.Context) error {
	d, err := desk.New(desk.Config{Store: deskRows{s.eye}, Kitchen: s.k, Texts: s.texts, Now: s.latest, Routes: s.sc.routes})
	if err != nil {
		return err
	}
	if s.night, err = d.AddNight(ctx, s.sc.night, cook); err != nil {
		return fmt.Errorf("seed %d: %w", s.o.Seed, err)
	}
	s.watch.desk = d
	s.prepare()
	return s.watch.look(ctx)
}

// say notes what happens.
func (s *sim) say(format string, args ...any) {
	line := s.clock().In(s.k.Zone).Format("Mon 02 15:04:05 ") + fmt.Sprintf(format, args...)
	_, _ = s.trace.Write([]byte(line))
	s.o.Tell(line)
}

// run lets the night happen step by step.
func (s *sim) run(ctx context.Context) error {
	for s.watch.ok() {
		s.out.Steps++
		if s.out.Steps > mostSteps(s.out.Orders) {
			s.watch.violate("the night does not come to its end: %s", s.unfinished())
			return nil
		}
		over, err := s.step(ctx)
		if err != nil {
			return err
		}
		if t := s.stuck(); t != nil {
			s.watch.violate("%s hangs", t.name)
			return nil
		}
		if s.wrote {
			s.wrote = false
			if err := s.watch.look(ctx); err != nil {
				return err
			}
		}
		if over {
			return s.watch.end(ctx)
		}
	}
	return nil
}
