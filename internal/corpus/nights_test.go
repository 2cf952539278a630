package corpus_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/corpus"
	"passbell/internal/match"
)

// The labelled nights. The first folder lies beside the repository on some
// machines only.
var folders = []string{"../../../shared/corpus", "../../testdata/nights"}

// heldOut is the folder of the nights that the reader is measured by and nothing else.
const heldOut = "../../testdata/heldout"

func nights(t testing.TB, in ...string) []corpus.Set {
	t.Helper()
	var out []corpus.Set
	for _, dir := range in {
		if _, err := os.Stat(dir); err != nil {
			t.Logf("no labelled nights in %s: left out", filepath.Base(dir))
			continue
		}
		for _, name := range corpus.Find(dir) {
			s, err := corpus.Load(dir, name)
			require.NoError(t, err)
			out = append(out, s)
		}
	}
	return out
}

// add reads a night's texts and adds what came of it to a score.
func add(t testing.TB, sc *corpus.Score, s corpus.Set) {
	t.Helper()
	run, err := corpus.NewRun(s.Night, s.Orders)
	require.NoError(t, err)
	for _, m := range s.Messages {
		sc.Add(m, run.Read(m))
	}
}

// floor is what every night must reach; a change that reads one worse shows
// here.
var floor = struct{ intent, recall, precision, orders float64 }{0.97, 0.995, 0.995, 0.98}

// fieldFloor is the F1 of what describes a vehicle, and the share read exactly of
// plates and times.
var fieldFloor = map[string]float64{"colour": 0.98, "make": 0.98, "model": 0.98, "plate": 0.98, "due": 0.95, "to": 0.95}

func TestNights(t *testing.T) {
	t.Parallel()
	for _, s := range nights(t, folders...) {
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel()
			sc := corpus.NewScore()
			add(t, sc, s)
			holds(t, s.Name, sc)
		})
	}
}

// TestHeldOut holds the nights that nobody tuned on or learned from, by several hands and
// from several regions, to the same, all together.
func TestHeldOut(t *testing.T) {
	t.Parallel()
	sc := corpus.NewScore()
	for _, s := range nights(t, heldOut) {
		add(t, sc, s)
	}
	holds(t, "held out", sc)
}

// holds checks what must be reached.
func holds(t *testing.T, name string, sc *corpus.Score) {
	t.Helper()
	here, orders := sc.Intents["here"], sc.Fields["orders"]
	t.Logf("%s: intent %.1f %%, here %.1f / %.1f %%, orders %.1f %%, plates %.1f %%, false plates %.2f", name, 100*sc.Accuracy(), 100*here.Recall(), 100*here.Precision(), 100*orders.Recall(), 100*sc.Fields["plate"].Recall(), sc.FalsePlates())
	require.GreaterOrEqual(t, sc.Accuracy(), floor.intent, "intents")
	require.GreaterOrEqual(t, here.Recall(), floor.recall, "arrivals found")
	require.GreaterOrEqual(t, here.Precision(), floor.precision, "arrivals right")
	require.GreaterOrEqual(t, orders.Recall(), floor.orders, "orders")
	require.Zero(t, sc.WrongAuto, "a wrong order acted on without a person")
	require.InDelta(t, 1, sc.Fields["allergy"].Recall(), 0, "an allergy was missed")
	require.LessOrEqual(t, sc.FalsePlates(), 0.5, "plates read where there is none")
	for field, least := range fieldFloor {
		got := sc.Fields[field]
		figure := got.Recall()
		if field == "colour" || field == "make" || field == "model" {
			figure = got.F1()
		}
		require.GreaterOrEqual(t, figure, least, field)
	}
}

// TestMaskReadsTheSame masks every labelled night and reads it again: intents
// and orders must come out as before, and no name or number may be left.
func TestMaskReadsTheSame(t *testing.T) {
	t.Parallel()
	for _, s := range nights(t, folders...) {
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel()
			masked := corpus.Mask(s)
			a, err := corpus.NewRun(s.Night, s.Orders)
			require.NoError(t, err)
			b, err := corpus.NewRun(masked.Night, masked.Orders)
			require.NoError(t, err)
			for i, o := range masked.Orders {
				require.NotEqual(t, s.Orders[i].Name, o.Name)
			}
			differ := 0
			for i, m := range s.Messages {
				x, y := a.Read(m), b.Read(masked.Messages[i])
				if x.Intent != y.Intent || fmt.Sprint(x.Orders) != fmt.Sprint(y.Orders) {
					differ++
					t.Logf("%q as %q: %s %v, masked %s %v", m.Text, masked.Messages[i].Text, x.Intent, x.Orders, y.Intent, y.Orders)
				}
			}
			require.LessOrEqual(t, differ, len(s.Messages)/50)
			dir := t.TempDir()
			masked.Name = "masked"
			require.NoError(t, corpus.Save(dir, masked))
			back, err := corpus.Load(dir, "masked")
			require.NoError(t, err)
			require.Len(t, back.Messages, len(masked.Messages))
			require.Equal(t, masked.Orders, back.Orders)
		})
	}
}

// BenchmarkNight reads and matches the messages of a night with 200 orders;
// figures are per message.
func BenchmarkNight(b *testing.B) {
	sets := nights(b, folders...)
	if len(sets) == 0 {
		b.Skip("no labelled nights here")
	}
	s := sets[0]
	orders := s.Orders
	for i := 0; len(orders) < 200; i++ {
		o := s.Orders[i%len(s.Orders)]
		o.Ref = fmt.Sprintf("X%03d", i)
		o.Name = fmt.Sprintf("%s%c %s%c", o.Name, 'a'+i%26, o.Name, 'a'+i/26)
		o.Phone = fmt.Sprintf("+44163296%04d", i)
		orders = append(orders, o)
	}
	run, err := corpus.NewRunOn(s.Night, match.New(corpus.MatchOrders(s.Night.Region, orders)))
	require.NoError(b, err)
	times := make([]time.Duration, 0, b.N)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		began := time.Now()
		run.Read(s.Messages[i%len(s.Messages)])
		times = append(times, time.Since(began))
		i++
	}
	b.ReportMetric(float64(median(times).Nanoseconds()), "ns-median/op")
}

func median(d []time.Duration) time.Duration {
	if len(d) == 0 {
		return 0
	}
	sorted := slices.Clone(d)
	slices.Sort(sorted)
	return sorted[len(sorted)/2]
}
