package leader_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/leader"
)

const (
	ttl    = 30 * time.Second
	margin = 5 * time.Second
)

var noon = time.Date(2026, 12, 4, 12, 0, 0, 0, time.UTC)

// world is a database with a clock of its own, and the true time.
type world struct {
	at      time.Time
	holder  string
	term    int64
	expires time.Time
	away    error
	lost    error // an answer that got lost
	// before and after run on the way to the database and back.
	before, after func()
}

func (w *world) Grant(_ context.Context, holder string, ttl time.Duration) (int64, bool, error) {
	if w.before != nil {
		w.before()
	}
	if w.away != nil {
		return 0, false, w.away
	}
	free := !w.at.Before(w.expires)
	ok := free || w.holder == holder
	if ok {
		if free || w.holder != holder {
			w.term++
		}
		w.holder, w.expires = holder, w.at.Add(ttl)
	}
	term := w.term
	if w.after != nil {
		w.after()
	}
	return term, ok, w.lost
}

func (w *world) Release(_ context.Context, holder string) error {
	if w.away == nil && w.holder == holder {
		w.expires = time.Time{}
	}
	return w.away
}

// instance is a process whose clock is off, and runs at a rate of its own.
func instance(t *testing.T, w *world, name string, off time.Duration, rate float64) *leader.Leader {
	t.Helper()
	l, err := leader.New(leader.Config{Lease: w, Holder: name, TTL: ttl, Margin: margin, Now: func() time.Time {
		return noon.Add(off + time.Duration(float64(w.at.Sub(noon))*rate))
	}})
	require.NoError(t, err)
	return l
}

func TestOneLeadsAndAnotherTakesOver(t *testing.T) {
	t.Parallel()
	w := &world{at: noon}
	a, b := instance(t, w, "a", 0, 1), instance(t, w, "b", -7*time.Minute, 1)
	require.NoError(t, a.IsLeader(t.Context()))
	require.ErrorIs(t, b.IsLeader(t.Context()), leader.ErrNotLeader)
	for range 20 { // while it lives, it stays
		w.at = w.at.Add(9 * time.Second)
		require.NoError(t, a.IsLeader(t.Context()))
		require.ErrorIs(t, b.IsLeader(t.Context()), leader.ErrNotLeader)
	}
	assert.EqualValues(t, 1, a.Term())

	died := w.at // a is not heard of any more
	for b.IsLeader(t.Context()) != nil {
		assert.Zero(t, b.Term())
		w.at = w.at.Add(time.Second)
	}
	assert.LessOrEqual(t, w.at.Sub(died), ttl)
	assert.EqualValues(t, 2, b.Term(), "a new hand, a new term")
	assert.Zero(t, a.Term())
	require.ErrorIs(t, a.IsLeader(t.Context()), leader.ErrNotLeader, "back from the dead it finds the other")

	require.NoError(t, b.Resign(t.Context()))
	require.NoError(t, b.Resign(t.Context()), "twice is fine")
	require.NoError(t, a.IsLeader(t.Context()), "given back, it is free at once")
	assert.EqualValues(t, 3, a.Term())
	require.ErrorIs(t, b.IsLeader(t.Context()), leader.ErrNotLeader, "who resigned asks no more")
}

func TestPausedProcessStepsDownByItself(t *testing.T) {
	t.Parallel()
	w := &world{at: noon}
	a := instance(t, w, "a", 3*time.Minute, 1)
	require.NoError(t, a.IsLeader(t.Context()))
	w.at = w.at.Add(ttl - margin - 1)
	assert.EqualValues(t, 1, a.Term())
	w.at = w.at.Add(1)
	assert.Zero(t, a.Term(), "without a word from anybody")
	require.NoError(t, a.IsLeader(t.Context()))
	assert.EqualValues(t, 1, a.Term(), "nobody had it meanwhile")
}

func TestDatabaseAway(t *testing.T) {
	t.Parallel()
	w := &world{at: noon}
	var told []int64
	a, err := leader.New(leader.Config{
		Lease: w, Holder: "a", TTL: ttl, Margin: margin, Now: func() time.Time { return w.at }, Changed: func(term int64) { told = append(told, term) },
	})
	require.NoError(t, err)
	require.NoError(t, a.IsLeader(t.Context()))
	w.away = errors.New("connection refused")
	w.at = w.at.Add(ttl - margin - time.Second)
	require.NoError(t, a.IsLeader(t.Context()), "it has the lease until that is over")
	w.at = w.at.Add(time.Second)
	require.ErrorIs(t, a.IsLeader(t.Context()), w.away)
	require.ErrorIs(t, a.IsLeader(t.Context()), w.away)
	assert.Equal(t, []int64{1, 0}, told)
	w.away = nil
	require.NoError(t, a.IsLeader(t.Context()))
	assert.Equal(t, []int64{1, 0, 1}, told)
}

// A lease of which this process never learnt that it has it is given back too.
func TestResignAfterALostAnswer(t *testing.T) {
	t.Parallel()
	w := &world{at: noon}
	a, b := instance(t, w, "a", 0, 1), instance(t, w, "b", 0, 1)
	lost := errors.New("cut off")
	w.after = func() { w.lost = lost }
	require.ErrorIs(t, a.IsLeader(t.Context()), lost)
	w.after, w.lost = nil, nil
	require.ErrorIs(t, b.IsLeader(t.Context()), leader.ErrNotLeader)
	require.NoError(t, a.Resign(t.Context()))
	require.NoError(t, b.IsLeader(t.Context()), "and not only when its time is over")
}

// An answer that comes when the lease it grants is over makes no leader, and
// one that says no ends what was trusted.
func TestLateAnswer(t *testing.T) {
	t.Parallel()
	w := &world{at: noon}
	a, b := instance(t, w, "a", 0, 1), instance(t, w, "b", 0, 1)
	w.after = func() { w.at = w.at.Add(ttl - margin) }
	require.ErrorIs(t, a.IsLeader(t.Context()), leader.ErrNotLeader)
	assert.Zero(t, a.Term())
	w.after = nil
	require.NoError(t, a.IsLeader(t.Context()))
	w.holder, w.expires = "b", w.at.Add(ttl) // as after a backup was restored
	w.at = w.at.Add(ttl / 2)
	require.ErrorIs(t, a.IsLeader(t.Context()), leader.ErrNotLeader)
	assert.Zero(t, a.Term())
	require.NoError(t, b.IsLeader(t.Context()))
}

// The monotonic clock stands still while a machine sleeps: the wall clock tells
// then that time went by.
func TestMachineThatSlept(t *testing.T) {
	t.Parallel()
	w := &world{at: noon}
	start := time.Now() // with a monotonic reading
	now := start
	a, err := leader.New(leader.Config{Lease: w, Holder: "a", TTL: ttl, Margin: margin, Now: func() time.Time { return now }})
	require.NoError(t, err)
	require.NoError(t, a.IsLeader(t.Context()))
	now = start.Add(time.Second)
	assert.EqualValues(t, 1, a.Term())
	now = start.Round(0).Add(time.Hour) // no monotonic reading to go by
	assert.Zero(t, a.Term())
}

// Five processes with clocks that are minutes off and a tenth fast or slow,
// slow networks, pauses, deaths and a database that goes away: at no moment do
// two trust the lease, and no term has two holders.
func TestNeverTwo(t *testing.T) {
	t.Parallel()
	for seed := range uint64(300) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			neverTwo(t, rand.New(rand.NewPCG(seed, 0)))
		})
	}
}

func neverTwo(t *testing.T, chance *rand.Rand) {
	w := &world{at: noon}
	var all []*leader.Leader
	names := map[int64]int{}
	join := func() {
		off := time.Duration(chance.Int64N(int64(20*time.Minute))) - 10*time.Minute
		all = append(all, instance(t, w, fmt.Sprint(len(all)), off, 0.9+0.2*chance.Float64()))
	}
	for range 5 {
		join()
	}
	look := func() {
		t.Helper()
		trust := 0
		for i, l := range all {
			term := l.Term()
			if term == 0 {
				continue
			}
			trust++
			if was, ok := names[term]; ok {
				require.Equal(t, was, i, "term %d", term)
			}
			names[term] = i
		}
		require.LessOrEqual(t, trust, 1)
	}
	led := 0
	asking := map[int]bool{}
	ask := func(i int) {
		if asking[i] {
			return
		}
		asking[i] = true
		if all[i].IsLeader(t.Context()) == nil {
			led++
		}
		delete(asking, i)
	}
	delay := func() { // others ask meanwhile
		w.at = w.at.Add(time.Duration(chance.ExpFloat64() * float64(3*time.Second)))
		if chance.Float64() < 0.3 {
			ask(chance.IntN(len(all)))
		}
	}
	w.before, w.after = delay, delay
	for range 400 {
		w.at = w.at.Add(time.Duration(chance.ExpFloat64() * float64(4*time.Second)))
		look()
		i := chance.IntN(len(all))
		switch p := chance.Float64(); {
		case p < 0.01:
			_ = all[i].Resign(t.Context()) // in vain while the database is away
			join()
		case p < 0.03:
			w.at = w.at.Add(time.Minute) // everybody is paused
		case p < 0.06:
			w.away = errors.New("away")
		case p < 0.16:
			w.away = nil
		default:
			ask(i)
		}
		look()
	}
	assert.Positive(t, led)
}

func TestNewRefuses(t *testing.T) {
	t.Parallel()
	w, now := &world{}, func() time.Time { return noon }
	for name, c := range map[string]leader.Config{
		"no lease":        {Holder: "a", TTL: ttl, Margin: margin, Now: now},
		"no holder":       {Lease: w, TTL: ttl, Margin: margin, Now: now},
		"no clock":        {Lease: w, Holder: "a", TTL: ttl, Margin: margin},
		"no margin":       {Lease: w, Holder: "a", TTL: ttl, Now: now},
		"nothing is left": {Lease: w, Holder: "a", TTL: ttl, Margin: ttl / 2, Now: now},
	} {
		_, err := leader.New(c)
		require.Error(t, err, name)
	}
}
