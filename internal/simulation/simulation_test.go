package simulation_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/simulation"
	"passbell/internal/store"
)

var (
	nights = flag.Int("nights", usual(), "how many nights to simulate")
	most   = flag.Int("most", 6, "the most orders of a night, up to 150; most nights are smaller")
	first  = flag.Uint64("first", 0, "the first seed")
	seed   = flag.Int64("seed", -1, "the one seed to simulate")
	keep   = flag.String("keep", "all", "with -seed: the parts of the night to keep, with commas between them")
	tell   = flag.Bool("tell", false, "with -seed: print every step")
)

// usual is how many nights the usual tests play. Only one task at a time has the
// turn, so the race detector has little to see and makes a night some fifteen
// times slower: it gets a few, and `make unit` plays the others without it.
func usual() int {
	if raced {
		return 6
	}
	return 200
}

// folder gives a folder for databases, in memory where the system has such a
// place: a night that is over needs none of it.
func folder(t *testing.T) string {
	t.Helper()
	const inMemory = "/dev/shm"
	if info, err := os.Stat(inMemory); err != nil || !info.IsDir() {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp(inMemory, "passbell-simulation-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

// database makes the place of a new database for one night.
type database func(t *testing.T) string

// embedded gives embedded databases: copies of an empty one that is up to date.
func embedded(t *testing.T) database {
	t.Helper()
	place := filepath.Join(folder(t), "empty.db")
	s, err := store.Open(t.Context(), place)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	empty, err := os.ReadFile(place)
	require.NoError(t, err)
	return func(t *testing.T) string {
		t.Helper()
		place := filepath.Join(folder(t), "night.db")
		require.NoError(t, os.WriteFile(place, empty, 0o600))
		return place
	}
}

// play plays one night on a database of its own.
func play(t *testing.T, db database, o simulation.Options) (out simulation.Result) {
	t.Helper()
	place := db(t)
	o.Open = func(ctx context.Context) (*store.Store, error) { return store.Open(ctx, place) }
	defer func() {
		// What hangs for good keeps the bubble from ending.
		if r := recover(); r != nil {
			out.Broken = append(out.Broken, fmt.Sprint(r))
		}
	}()
	synctest.Test(t, func(t *testing.T) {
		var err error
		o.Wait = synctest.Wait
		out, err = simulation.Play(t.Context(), o)
		require.NoError(t, err, "seed %d", o.Seed)
	})
	return out
}

// small makes a night that failed smaller and says how to play it again.
func small(t *testing.T, db database, o simulation.Options, broken []string) {
	t.Helper()
	const tries = 150
	words := func(keep []string) string {
		o.Keep = keep
		return strings.Join(play(t, db, o).Broken, "\n")
	}
	parts := simulation.Shrink(simulation.Parts(o.Seed, o.Most), tries, func(keep []string) bool { return words(keep) != "" })
	assert.Fail(t, "this must never be", "%s\nin a smaller night: %s\nplay it again with\n    %s", strings.Join(broken, "\n"), words(parts), simulation.Command(o, parts))
}

func TestSimulation(t *testing.T) {
	t.Parallel()
	db := embedded(t)
	if *seed >= 0 {
		one(t, db)
		return
	}
	all := &count{of: map[string]int{}}
	t.Cleanup(func() { all.check(t) })
	for i := range uint64(*nights) {
		o := simulation.Options{Seed: *first + i, Most: *most}
		t.Run(fmt.Sprintf("seed %d", o.Seed), func(t *testing.T) {
			t.Parallel()
			out := play(t, db, o)
			all.add(out)
			if !out.OK() {
				small(t, db, o, out.Broken)
			}
		})
	}
}

// count is what happened in all nights together.
type count struct {
	mu     sync.Mutex
	of     map[string]int
	nights int
}

func (c *count) add(r simulation.Result) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.nights++
	for what, n := range r.Happened {
		c.of[what] += n
	}
}

// check fails where something is said to be drawn and never happened: then the
// nights prove nothing of it.
func (c *count) check(t *testing.T) {
	t.Helper()
	if c.nights < 200 {
		return
	}
	for _, what := range simulation.Mishaps() {
		t.Logf("%6d %s", c.of[what], what)
		assert.NotZero(t, c.of[what], "in %d nights it never happened: %s", c.nights, what)
	}
}

// Nights on which something was not as it must be, and what it was.
func TestNightsThatOnceWentWrong(t *testing.T) {
	t.Parallel()
	db := embedded(t)
	for what, o := range map[string]simulation.Options{
		"a text that was sent, fell to another way and was withdrawn was forgotten":  {Seed: 306, Most: 60},
		"a text went another way although the report came that it had arrived":       {Seed: 30809, Most: 8},
		"the same with two instances and a provider that repeats itself":             {Seed: 30932, Most: 8},
		"an order of two was cancelled before its instructions could go":             {Seed: 43670, Most: 20},
		"a text whose first try had arrived was in doubt by its second":              {Seed: 68, Most: 10},
		"the same after it went another way":                                         {Seed: 282, Most: 20},
		"a text names two things that are missing":                                   {Seed: 674, Most: 20},
		"a text about what is missing was dropped without a word":                    {Seed: 100359, Most: 20},
		"a try that was given up was never made, and the text withdrawn":             {Seed: 100386, Most: 20},
		"a text thought lost had arrived after the order was moved":                  {Seed: 652, Most: 60},
		"a text about what is missing went another way when more was":                {Seed: 130285, Most: 15},
		"a change after its slot was told once the clock was put back":               {Seed: 50655, Most: 15},
		"one of three orders was moved shortly before the reminder of all":           {Seed: 52086, Most: 15},
		"an order was added beside one whose instructions were lost and go again":    {Seed: 57342, Most: 15},
		"an update went out after the clock was put back to before the reminder":     {Seed: 210, Most: 60},
		"a text about three orders was sent again when one had another number":       {Seed: 105452, Most: 15},
		"instructions that served as the reminder stood as they were after all":      {Seed: 202635, Most: 15},
		"instructions served as the reminder, and the clock was put back meanwhile":  {Seed: 304402, Most: 15},
		"the reminder of two failed, one was told by hand, and it was sent again":    {Seed: 307278, Most: 15},
		"an order was added when the reminder of another was overdue":                {Seed: 300902, Most: 15},
		"a reminder that was never tried was told by hand after an update":           {Seed: 400993, Most: 15},
		"a customer came to the door before their order was in the book":             {Seed: 309712, Most: 15},
		"instructions of two were refused, and went of one while the other was here": {Seed: 703618, Most: 15},
		"a try was given up, the number changed, and it turned out not to be made":   {Seed: 701626, Most: 15},
		"a refused try was given up before that was recorded, and the text withdrawn": {Seed: 600276, Most: 150, Keep: strings.Split(
			"p6,p10,p14,p15,p19,p20,p22,p24,p25,p30,p31,p33,p38,p40,p41,p44,p45,p49,p51,p53,p54,p55,p60,m5,m13,m33", ",")},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			require.Empty(t, play(t, db, o).Broken)
		})
	}
}

// one plays the night that was asked for.
func one(t *testing.T, db database) {
	t.Helper()
	o := simulation.Options{Seed: uint64(*seed), Most: *most}
	switch *keep {
	case "all":
	case "none":
		o.Keep = []string{}
	default:
		o.Keep = strings.Split(*keep, ",")
	}
	if *tell {
		o.Tell = func(line string) { fmt.Println(line) }
	}
	out := play(t, db, o)
	t.Logf("%+v", out)
	require.Empty(t, out.Broken)
}

func TestTheSameSeedIsTheSameNight(t *testing.T) {
	t.Parallel()
	db := embedded(t)
	seeds := []uint64{1, 17, 158}
	if raced {
		seeds = seeds[:1]
	}
	for _, seed := range seeds {
		o := simulation.Options{Seed: seed, Most: 8}
		require.Equal(t, play(t, db, o), play(t, db, o), "seed %d", seed)
	}
}

func TestShrinkLeavesWhatMatters(t *testing.T) {
	t.Parallel()
	var all []string
	for i := range 40 {
		all = append(all, fmt.Sprint(i))
	}
	both := func(keep []string) bool {
		s := "," + strings.Join(keep, ",") + ","
		return strings.Contains(s, ",7,") && strings.Contains(s, ",31,")
	}
	require.Equal(t, []string{"7", "31"}, simulation.Shrink(all, 500, both))
	require.Empty(t, simulation.Shrink(all, 500, func([]string) bool { return true }))
	require.Equal(t, all, simulation.Shrink(all, 500, func([]string) bool { return false }))
}
