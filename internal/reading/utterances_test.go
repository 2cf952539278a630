package reading

import (
	"bufio"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// situation builds the context of a row: when the sender writes, and what they
// did before. The night is Friday 4 December 2026 in London, slots 16:30 to
// 19:30; the sender's slot is 18:10.
func situation(t testing.TB, when string) Context {
	t.Helper()
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	ctx := Context{
		Region: "GB", Zone: zone, Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30,
		Known: true, Slots: []night.Clock{18*60 + 10},
	}
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 12, day, hour, minute, 0, 0, zone) }
	switch when {
	case "before":
		ctx.At = at(2, 18, 30)
	case "day":
		ctx.At = at(4, 11, 0)
	case "due":
		ctx.At = at(4, 18, 0)
	case "stranger":
		ctx.At, ctx.Known, ctx.Slots = at(4, 18, 0), false, nil
	case "there":
		ctx.At = at(4, 18, 12)
		ctx.Facts = Facts{Arrived: true, ArrivedAt: at(4, 18, 8)}
	case "served":
		ctx.At = at(4, 18, 50)
		ctx.Facts = Facts{Arrived: true, ArrivedAt: at(4, 18, 8), Served: true}
	default:
		t.Fatalf("no situation %q", when)
	}
	return ctx
}

// TestUtterances reads everyday texts of every intent. Expected values: the
// definitions of the corpus format (common practice, no source).
func TestUtterances(t *testing.T) {
	t.Parallel()
	f, err := os.Open("testdata/utterances.tsv")
	require.NoError(t, err)
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		row := strings.Split(lines.Text(), "\t")
		if strings.HasPrefix(row[0], "#") || len(row) != 3 {
			continue
		}
		t.Run(row[0]+" "+row[2], func(t *testing.T) {
			t.Parallel()
			got := Read(row[2], situation(t, row[0]))
			require.Equal(t, Intent(row[1]), got.Intent, got.Why)
		})
	}
	require.NoError(t, lines.Err())
}
