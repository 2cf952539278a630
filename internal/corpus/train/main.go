// Command train makes the learned part of the reader from labelled nights.
//
//	go run ./internal/corpus/train [-try] FOLDER...
//
// It writes internal/reading/intents.model, always the same from the same
// nights. With -try it writes nothing: it leaves out one night at a time, trains
// on the others, and prints how each would have been read.
package main

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"

	"passbell/internal/corpus"
	"passbell/internal/reading"
	"passbell/internal/reading/learn"
)

// options were chosen by leaving out one night at a time.
var options = learn.Options{Rounds: 12, Rate: 0.12, Decay: 2e-5, Seed: 7}

func main() {
	try := flag.Bool("try", false, "leave out one night at a time and print what comes of it")
	show := flag.Bool("show", false, "with -try: print the messages that are read wrong")
	tuned := flag.String("tuned", "", "names of nights, with commas, that the rules were tuned on")
	out := flag.String("out", "internal/reading/intents.model", "the file to write")
	flag.Parse()
	if err := run(flag.Args(), *try, *show, strings.Split(*tuned, ","), *out); err != nil {
		fmt.Fprintln(os.Stderr, "train:", err)
		os.Exit(1)
	}
}

// night is a labelled night as examples.
type night struct {
	name     string
	examples []learn.Example
	rules    []int // what the rules alone make of each
	texts    []corpus.Message
}

func run(folders []string, try, show bool, tuned []string, out string) error {
	var nights []night
	for _, folder := range folders {
		for _, name := range corpus.Find(folder) {
			n, err := load(folder, name, slices.Contains(tuned, name))
			if err != nil {
				return err
			}
			nights = append(nights, n)
		}
	}
	if try {
		leaveOneOut(nights, show, tuned)
		return nil
	}
	var all []learn.Example
	for _, n := range nights {
		all = append(all, n.examples...)
	}
	model := learn.Train(all, len(reading.Classes()), options)
	return os.WriteFile(out, model.Bytes(), 0o600)
}

// load reads a night. Where the rules were tuned on it, what they make of its
// texts is no evidence and is left out.
func load(folder, name string, tuned bool) (night, error) {
	set, err := corpus.Load(folder, name)
	if err != nil {
		return night{}, err
	}
	run, err := corpus.NewRun(set.Night, set.Orders)
	if err != nil {
		return night{}, err
	}
	n := night{name: name}
	for _, m := range set.Messages {
		features, split, rule := reading.Features(m.Text, run.Context(m))
		run.Read(m)
		if m.Want == nil {
			continue
		}
		ex := learn.Example{Features: features, Class: class(reading.Intent(m.Want.Intent)), Weight: 1}
		if tuned {
			ex.Features = features[:split]
		}
		n.examples = append(n.examples, ex)
		n.rules = append(n.rules, class(rule))
		n.texts = append(n.texts, m)
	}
	return n, nil
}

func class(i reading.Intent) int { return slices.Index(reading.Classes(), i) }

func leaveOneOut(nights []night, show bool, tuned []string) {
	classes := reading.Classes()
	scores := make([]float32, len(classes))
	var sum, rules, learned, either int
	for i, left := range nights {
		if slices.Contains(tuned, left.name) {
			continue
		}
		var rest []learn.Example
		for j, n := range nights {
			if j != i {
				rest = append(rest, n.examples...)
			}
		}
		model := learn.Train(rest, len(classes), options)
		var r, l, e int
		for k, ex := range left.examples {
			model.Score(ex.Features, scores)
			best := slices.Index(scores, slices.Max(scores))
			if left.rules[k] == ex.Class {
				r++
			}
			if best == ex.Class {
				l++
			} else if show {
				fmt.Printf("%s %s want %s rules %s learned %s: %q\n", left.name, left.texts[k].ID, classes[ex.Class], classes[left.rules[k]], classes[best], left.texts[k].Text)
			}
			if best == ex.Class || left.rules[k] == ex.Class {
				e++
			}
		}
		n := len(left.examples)
		fmt.Printf("%-16s %4d texts  rules %.1f %%  learned %.1f %%  either %.1f %%\n", left.name, n, percent(r, n), percent(l, n), percent(e, n))
		sum, rules, learned, either = sum+n, rules+r, learned+l, either+e
	}
	fmt.Printf("%-16s %4d texts  rules %.1f %%  learned %.1f %%  either %.1f %%\n", "all", sum, percent(rules, sum), percent(learned, sum), percent(either, sum))
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }
