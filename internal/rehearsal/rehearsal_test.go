package rehearsal

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// nights is how many seeds are played; `go test ./internal/rehearsal -nights
// 500` plays more. One task at a time has the turn, so the race detector has
// little to see and makes a night many times slower: it gets two, and `make unit`
// plays the others without it.
var nights = flag.Int("nights", usual(), "how many seeds to rehearse")

func usual() int {
	if raced {
		return 2
	}
	return 12
}

// play runs one night to its end and gives the lines as well.
func play(t *testing.T, o Options) (Result, []Line) {
	t.Helper()
	ctx := context.Background()
	var lines []Line
	o.Dir, o.Told = t.TempDir(), func(l Line) { lines = append(lines, l) }
	r, err := Open(ctx, o)
	require.NoError(t, err)
	defer func() { require.NoError(t, r.Close(ctx)) }()
	for more := true; more; {
		more, err = r.Step(ctx)
		require.NoError(t, err)
		require.Empty(t, r.Invariants(), "seed %d, %d orders, at %s", o.Seed, o.Orders, r.clock.Now())
	}
	out, err := r.Result(ctx)
	require.NoError(t, err)
	return out, lines
}

func TestNights(t *testing.T) {
	t.Parallel()
	for seed := range uint64(*nights) {
		orders := 1 + int(seed*7)%24
		if seed%10 == 7 { // most nights are small to keep the tests quick
			orders = 36
		}
		t.Run(fmt.Sprintf("seed %d of %d orders", seed, orders), func(t *testing.T) {
			t.Parallel()
			out, _ := play(t, Options{Seed: seed, Orders: orders})
			require.Empty(t, out.Violations)
			require.Empty(t, out.Mismatches)
			for _, m := range out.Misreads {
				t.Logf("%s: %q %s", m.Name, m.Text, m.What)
			}
		})
	}
}

func TestSameSeedSameNight(t *testing.T) {
	t.Parallel()
	var reports [2]bytes.Buffer
	var lines [2][]Line
	for i := range reports {
		var out Result
		out, lines[i] = play(t, Options{Seed: 7, Orders: 10})
		require.NoError(t, out.Write(&reports[i]))
	}
	require.Equal(t, reports[0].String(), reports[1].String())
	require.Equal(t, lines[0], lines[1])
}

func TestPacedRunSleepsThroughTheEvening(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	r, err := Open(ctx, Options{Seed: 3, Orders: 5, Dir: t.TempDir()})
	require.NoError(t, err)
	defer func() { require.NoError(t, r.Close(ctx)) }()
	var slept, longest time.Duration
	err = r.Run(ctx, Pace{Speed: 80, Sleep: func(_ context.Context, d time.Duration) error {
		slept += d
		longest = max(longest, d)
		return nil
	}})
	require.NoError(t, err)
	// 16:00 to 20:30 is 16,200 seconds, at 80 in one 202 seconds; the days around
	// it are a hop a moment.
	require.InDelta(t, 202.5, slept.Seconds(), 12)
	require.LessOrEqual(t, longest, frameTime)
	out, err := r.Result(ctx)
	require.NoError(t, err)
	require.True(t, out.OK(), "%+v", out)
}

func TestRunStopsWhenToldTo(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	r, err := Open(ctx, Options{Seed: 3, Orders: 5, Dir: t.TempDir()})
	require.NoError(t, err)
	defer func() { require.NoError(t, r.Close(context.Background())) }()
	err = r.Run(ctx, Pace{Speed: 80, Sleep: func(ctx context.Context, _ time.Duration) error {
		cancel()
		return ctx.Err()
	}})
	require.ErrorIs(t, err, context.Canceled)
	report, err := r.Report(context.Background())
	require.NoError(t, err)
	require.NotZero(t, report.Date)
}

func TestCastRefusesWhatItCannotFill(t *testing.T) {
	t.Parallel()
	for _, orders := range []int{-1, 0, 151} {
		_, err := NewCast(1, orders)
		require.Error(t, err, "%d orders", orders)
	}
	for _, orders := range []int{1, 2, 150} {
		c, err := NewCast(1, orders)
		require.NoError(t, err)
		require.Len(t, c.rows, orders)
	}
}
