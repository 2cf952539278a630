package bench

import (
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"
	"time"
)

var (
	only     = flag.String("only", "", "the one line to measure")
	times    = flag.Int("times", 1, "how often each line is measured; the table shows the middle and the spread")
	texts    = flag.Int("texts", 100_000, "messages to dispatch")
	orders   = flag.Int("orders", 100_000, "orders to plan")
	posts    = flag.Int("posts", 6_000, "texts from customers")
	clients  = flag.Int("clients", 16, "calls to the hook at once, and then four times as many")
	pages    = flag.Int("pages", 1_000, "open live pages")
	kitchens = flag.Int("kitchens", 1_000, "kitchens at the end of the growth")
	memory   = flag.Bool("memory", false, "keep the server's data in memory and flush nothing")
)

// line is one line of the table, by the name that -only takes.
type line struct {
	name    string
	measure func(t *testing.T) []result
}

// result is what one piece of work came to beside its baseline.
type result struct {
	work         string
	ours, beside string
	ratio        float64 // ours to the baseline: of rates more is better, of times less
	goal         string  // "" where there is none
	met          bool
}

// lines are all that is measured, in the order of the table.
func lines() []line {
	return []line{
		{"dispatch", dispatchOnServer},
		{"embedded", dispatchEmbedded},
		{"plan", planOnServer},
		{"planembedded", planEmbedded},
		{"hook", hook},
		{"live", livePages},
		{"start", start},
		{"growth", growth},
	}
}

// TestBench measures and prints the table. It asserts nothing about speed: a
// busy machine is no fault of the code.
func TestBench(t *testing.T) {
	runs := map[string][]result{}
	var works []string
	for range *times {
		for _, l := range lines() {
			if *only != "" && *only != l.name {
				continue
			}
			began := time.Now()
			t.Run(l.name, func(t *testing.T) { // what one leaves running does not disturb the next
				for _, r := range l.measure(t) {
					if runs[r.work] == nil {
						works = append(works, r.work)
					}
					runs[r.work] = append(runs[r.work], r)
				}
			})
			fmt.Fprintf(os.Stderr, "%s: measured in %s\n", l.name, time.Since(began).Round(100*time.Millisecond))
		}
	}
	if len(works) == 0 {
		t.Fatalf("there is no line %q", *only)
	}
	table(os.Stdout, works, runs)
}

func table(to io.Writer, works []string, runs map[string][]result) {
	w := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	defer func() { _ = w.Flush() }()
	fmt.Fprintln(w, "work\tours\tbeside\tratio\tgoal\tmet")
	for _, work := range works {
		all := runs[work]
		slices.SortFunc(all, func(a, b result) int {
			return strings.Compare(fmt.Sprintf("%9.3f", a.ratio), fmt.Sprintf("%9.3f", b.ratio))
		})
		middle := all[len(all)/2]
		ratio, met := "", ""
		if middle.ratio > 0 {
			ratio = fmt.Sprintf("%.2f", middle.ratio)
		}
		if len(all) > 1 && middle.ratio > 0 {
			ratio += fmt.Sprintf(" (%.2f to %.2f)", all[0].ratio, all[len(all)-1].ratio)
		}
		if middle.goal != "" {
			met = map[bool]string{true: "yes", false: "no"}[middle.met]
		}
		fmt.Fprintln(w, strings.Join([]string{work, middle.ours, middle.beside, ratio, middle.goal, met}, "\t"))
	}
}

// faster compares two rates: ours must be at least atLeast of the baseline's.
func faster(work string, ours, beside float64, unit, name string, atLeast float64) result {
	r := result{work: work, ours: fmt.Sprintf("%.0f %s", ours, unit), beside: fmt.Sprintf("%s: %.0f", name, beside), ratio: ours / beside}
	r.goal, r.met = fmt.Sprintf("%.2f or more", atLeast), r.ratio >= atLeast
	return r
}

// within compares two times: ours must be at most atMost of the baseline's.
func within(work string, ours, beside time.Duration, name string, atMost float64) result {
	r := result{work: work, ours: short(ours), beside: fmt.Sprintf("%s: %s", name, short(beside)), ratio: float64(ours) / float64(beside)}
	r.goal, r.met = fmt.Sprintf("%.2f or less", atMost), r.ratio <= atMost
	return r
}

// under compares a time with a bound.
func under(work string, ours, bound time.Duration) result {
	return result{work: work, ours: short(ours), goal: "under " + short(bound), met: ours < bound}
}

func short(d time.Duration) string {
	switch {
	case d > 10*time.Second:
		return d.Round(100 * time.Millisecond).String()
	case d > 100*time.Millisecond:
		return d.Round(time.Millisecond).String()
	}
	return d.Round(10 * time.Microsecond).String()
}

// p99 gives the time that 99 of 100 stay within.
func p99(all []time.Duration) time.Duration {
	slices.Sort(all)
	return all[(len(all)*99)/100]
}

func middle(all []time.Duration) time.Duration {
	slices.Sort(all)
	return all[len(all)/2]
}
