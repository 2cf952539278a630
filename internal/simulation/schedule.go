package simulation

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
)

// The points at which a task waits for its turn.
const (
	claim         = "claim"
	claimed       = "claimed" // at least one
	check         = "check"   // of what was claimed
	dispatchRead  = "dispatch reads"
	dispatchWrite = "dispatch writes"
	sending       = "send"
	inboxRead     = "inbox reads"
	inboxWrite    = "inbox writes"
	deskRead      = "desk reads"
	deskWrite     = "desk writes"
)

// The lanes: what an instance does one after the other.
const (
	drains   = "drain"
	reads    = "inbox"
	people   = "people"
	receipts = "receipts"
)

// task is one thing that an instance does, from its start to its end.
type task struct {
	id     int
	name   string
	in     *instance
	life   *life
	lane   []string
	checks bool  // its next reading is of what it claimed
	over   bool  // guarded by sim.mu, as is err
	err    error // errDied where the instance went down with it
	then   func(err error)
}

// stop is a place where a task waits for its turn.
type stop struct {
	task  *task
	point string
	call  *call // where a provider is called
	turn  chan verdict
	until time.Time // held up until then
}

type taskKey struct{}

// park waits until the scheduler gives the turn.
func (s *sim) park(ctx context.Context, l *life, point string, c *call) verdict {
	t := ctx.Value(taskKey{}).(*task)
	p := &stop{task: t, point: point, call: c, turn: make(chan verdict)}
	s.mu.Lock()
	if l.over {
		s.mu.Unlock()
		return verdict{die: before}
	}
	s.fresh = append(s.fresh, p)
	s.mu.Unlock()
	return <-p.turn
}

// start lets an instance begin something. then is called by the scheduler once
// it is done.
func (s *sim) start(ctx context.Context, in *instance, lane []string, name string, do func(context.Context) error, then func(error)) {
	s.lastID++
	t := &task{id: s.lastID, name: name, in: in, life: in.life, lane: lane, err: errDied, then: then}
	s.tasks[t] = true
	for _, l := range lane {
		in.busy[l]++
	}
	s.say("instance %d begins: %s", in.number, name)
	go func() {
		defer func() {
			s.mu.Lock()
			defer s.mu.Unlock()
			t.over = true
		}()
		err := do(context.WithValue(ctx, taskKey{}, t))
		s.mu.Lock()
		defer s.mu.Unlock()
		t.err = err
	}()
	s.settle(ctx)
}

// errDied says that the instance crashed under a task.
var errDied = fmt.Errorf("the instance crashed")

// settle waits until everybody waits for a turn, lets the network take in the
// calls that were made, and ends what is done.
func (s *sim) settle(ctx context.Context) {
	s.o.Wait()
	s.mu.Lock()
	fresh := s.fresh
	s.fresh = nil
	var done []*task
	var errs []error
	for t := range s.tasks {
		if t.over {
			done = append(done, t)
		}
	}
	slices.SortFunc(done, func(a, b *task) int { return cmp.Compare(a.id, b.id) })
	for _, t := range done {
		errs = append(errs, t.err)
	}
	s.mu.Unlock()
	slices.SortFunc(fresh, func(a, b *stop) int {
		return cmp.Or(cmp.Compare(a.task.id, b.task.id), strings.Compare(a.key(), b.key()))
	})
	for _, p := range fresh {
		if p.call != nil {
			s.net.take(ctx, p.call)
		}
		if d := s.mishap.hold(p.point); d > 0 {
			s.happened("held up", true)
			p.until = s.clock().Add(d)
			s.say("instance %d, %s: %s is held up for %s", p.task.in.number, p.task.name, p.point, d)
		}
		s.stops = append(s.stops, p)
	}
	for i, t := range done {
		delete(s.tasks, t)
		for _, l := range t.lane {
			t.in.busy[l]--
		}
		if t.then != nil {
			t.then(errs[i])
		}
	}
}

func (p *stop) key() string {
	if p.call == nil {
		return ""
	}
	return p.call.text.Key
}

// goOn gives the turn to one who waits.
func (s *sim) goOn(ctx context.Context, i int) {
	p := s.stops[i]
	s.stops = slices.Delete(s.stops, i, i+1)
	v, jump := s.mishap.strike(p.point)
	s.happened("the clock is put forward", jump > 0)
	s.happened("the clock is put back", jump < 0)
	s.happened("the database is away", v.fail == before)
	s.happened("its answer is lost", v.fail == after)
	s.happened("a crash before: "+p.point, v.die == before)
	s.happened("a crash after: "+p.point, v.die == after)
	if jump != 0 {
		s.turnClock(jump)
		s.back += max(0, -jump)
		s.say("the clock jumps by %s", jump)
		s.wake()
	}
	what := ""
	switch {
	case v.die == before:
		what = ", and the instance crashes before"
	case v.die == after:
		what = ", and the instance crashes after"
	case v.fail == before:
		what = ", and the database is away"
	case v.fail == after:
		what = ", and its answer is lost"
	}
	s.say("instance %d, %s: %s %s%s", p.task.in.number, p.task.name, p.point, p.key(), what)
	if p.call != nil && v.die == never {
		p.call.answered = true
	}
	if v.die == before {
		s.mu.Lock()
		p.task.life.over = true
		s.mu.Unlock()
	}
	p.turn <- v
	s.settle(ctx)
	if v.die != never {
		s.crash(ctx, p.task.in)
	}
}

// crash clears up after an instance and plans its return.
func (s *sim) crash(ctx context.Context, in *instance) {
	s.kill(in)
	s.settle(ctx)
	in.back = s.clock().Add(time.Duration(s.rnd.IntN(100)*s.rnd.IntN(8)) * time.Second)
}

// stuck tells whether something goes on that waits for nobody's turn: it will
// never end.
func (s *sim) stuck() *task {
	for t := range s.tasks {
		if !slices.ContainsFunc(s.stops, func(p *stop) bool { return p.task == t }) {
			return t
		}
	}
	return nil
}

// kill ends all that an instance does.
func (s *sim) kill(in *instance) {
	s.mu.Lock()
	in.life.over = true
	s.mu.Unlock()
	for {
		s.o.Wait()
		s.mu.Lock()
		s.stops = append(s.stops, s.fresh...)
		s.fresh = nil
		s.mu.Unlock()
		i := slices.IndexFunc(s.stops, func(p *stop) bool { return p.task.life == in.life })
		if i < 0 {
			return
		}
		p := s.stops[i]
		s.stops = slices.Delete(s.stops, i, i+1)
		p.turn <- verdict{die: before}
	}
}

// ready is something that can begin now.
type ready struct {
	begin func(ctx context.Context)
}

// mostTasks bounds what goes on at once.
const mostTasks = 7

// step lets one thing happen. over is true when nothing is left to happen.
func (s *sim) step(ctx context.Context) (over bool, err error) {
	for _, in := range s.insts {
		if !in.alive() && !in.back.After(s.clock()) {
			s.say("instance %d starts again", in.number)
			if err := in.boot(); err != nil {
				return false, err
			}
		}
	}
	var can []ready
	if len(s.tasks) < mostTasks {
		can = s.ready()
	}
	// Who goes on is likelier than that something begins, or everything would
	// always be under way at once.
	const eager = 3
	free := s.free()
	if waiting := eager * len(free); waiting+len(can) > 0 {
		if len(free) > 0 && s.rnd.IntN(60) == 0 {
			by := time.Duration(1+s.rnd.IntN(20)) * time.Second
			s.turnClock(by)
			s.say("%s pass", by)
			s.wake()
			return false, nil
		}
		if i := s.rnd.IntN(waiting + len(can)); i < waiting {
			s.goOn(ctx, free[i/eager])
		} else {
			can[i-waiting].begin(ctx)
		}
		return false, nil
	}
	return s.pass(ctx)
}

// free gives those who wait and are not held up, by their place.
func (s *sim) free() []int {
	now := s.clock()
	var out []int
	for i, p := range s.stops {
		if !p.until.After(now) {
			out = append(out, i)
		}
	}
	return out
}

// pass moves the clock to the next moment at which anything is due.
func (s *sim) pass(ctx context.Context) (over bool, err error) {
	next, ok, err := s.next(ctx)
	if err != nil {
		return false, err
	}
	if !ok {
		return s.finish(ctx)
	}
	now := s.clock()
	if s.rnd.IntN(5) == 0 && !s.watch.underway() && len(s.tasks) == 0 {
		if err := s.watch.nothingMissing(ctx); err != nil {
			return false, err
		}
	}
	if next.After(now) {
		s.idle = 0
	} else { // something waits for somebody who is held up: ever longer
		s.idle++
		next = now.Add(time.Duration(1+s.rnd.IntN(3+s.idle/3)) * time.Second)
	}
	if s.idle == 0 && s.rnd.IntN(3) == 0 {
		next = next.Add(time.Duration(s.rnd.IntN(4000)) * time.Millisecond)
	}
	s.turnClock(next.Sub(now))
	s.say("time passes")
	s.wake()
	return false, nil
}

// wake lets the instances look whether something is due.
func (s *sim) wake() {
	for _, in := range s.insts {
		if s.rnd.IntN(10) > 0 {
			in.tick = true
		}
	}
}

// next gives the moment at which the next thing happens by itself.
func (s *sim) next(ctx context.Context) (at time.Time, ok bool, err error) {
	consider := func(t time.Time) {
		if !ok || t.Before(at) {
			at, ok = t, true
		}
	}
	if t, waiting := s.agenda.next(); waiting {
		consider(t)
	}
	if t, waiting := s.net.next(); waiting {
		consider(t)
	}
	if s.due, s.waits, err = s.eye.NextDue(ctx); err != nil {
		return at, false, err
	}
	if s.waits {
		consider(s.due)
	}
	now := s.clock()
	for _, in := range s.insts {
		if !in.alive() {
			consider(in.back)
		}
	}
	for _, p := range s.stops {
		consider(p.until)
	}
	if s.watch.underway() || s.watch.unread() {
		// Nobody is at it any more, or it would be somebody's turn.
		consider(now.Add(2 * s.sc.dispatch.Timeout))
	}
	return at, ok, nil
}

// ready lists what can begin now.
func (s *sim) ready() []ready {
	var out []ready
	now := s.clock()
	// Looking costs, and mostly there is nothing to see.
	idle := (!s.waits || s.due.After(now)) && !s.watch.underway() && !s.watch.unread()
	for _, in := range s.insts {
		if in.tick && idle && s.rnd.IntN(10) > 0 {
			in.tick = false
		}
		if !in.alive() || !in.tick {
			continue
		}
		if in.busy[drains] == 0 {
			for _, w := range in.wires {
				out = append(out, ready{func(ctx context.Context) {
					in.tick = false
					s.beat(ctx, in, w)
				}})
			}
		}
	}
	for i := range s.agenda.waiting {
		d := s.agenda.waiting[i]
		if d.at.After(now) {
			break // they are in order
		}
		if in := s.choose(d.lane); in != nil {
			out = append(out, ready{func(ctx context.Context) {
				s.agenda.take(d)
				s.start(ctx, in, d.lane, d.name, func(ctx context.Context) error { return d.do(ctx, in) }, func(err error) { s.done(d, err) })
			}})
		}
		if len(out) > 8 {
			break
		}
	}
	for _, l := range s.net.due(now) {
		lane := []string{receipts}
		if l.text != nil {
			lane = []string{reads}
		}
		in := s.choose(lane)
		if in == nil {
			continue
		}
		out = append(out, ready{func(ctx context.Context) {
			l.flying = true
			s.start(ctx, in, lane, l.name(), func(ctx context.Context) error { return l.deliver(ctx, in) }, func(err error) { s.net.delivered(l, err) })
		}})
	}
	return out
}

// beat is what an instance does with every tick of its clock: it sends what is
// due, and now and then reads what stands unread.
func (s *sim) beat(ctx context.Context, in *instance, w *wire) {
	if (s.watch.unread() || s.rnd.IntN(8) == 0) && in.busy[reads] == 0 {
		s.start(ctx, in, []string{reads}, "catch up", in.inbox.CatchUp, s.tolerate("catch up"))
	}
	if !in.alive() || in.busy[drains] > 0 {
		return
	}
	s.start(ctx, in, []string{drains}, "send what is due by "+w.name, func(ctx context.Context) error {
		err := w.dispatcher.Drain(ctx)
		for _, other := range in.wires {
			if other != w && err == nil {
				err = other.dispatcher.Drain(ctx)
			}
		}
		return err
	}, s.tolerate("send what is due"))
}

// choose draws an instance that is free to do something; nil where none is.
func (s *sim) choose(lane []string) *instance {
	var free []*instance
	for _, in := range s.insts {
		busy := slices.ContainsFunc(lane, func(l string) bool { return (l == reads || l == drains) && in.busy[l] > 0 })
		if in.alive() && !busy {
			free = append(free, in)
		}
	}
	if len(free) == 0 {
		return nil
	}
	return free[s.rnd.IntN(len(free))]
}
