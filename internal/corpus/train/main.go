// Command train makes the learned part of the reader from labelled nights.
//
//	go run ./internal/corpus/train [-try] FOLDER|FILE.tsv ...
//
// It writes internal/reading/intents.model, always the same from the same
// nights. With -try it writes nothing: it leaves out one night at a time, trains
// on the others, and prints how each would have been read.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"passbell/internal/corpus"
	domain "passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/reading/learn"
)

// options were chosen by leaving out one night at a time.
var options = learn.Options{Rounds: 16, Rate: 0.05, Decay: 1e-4, Drop: 0.1, Least: 2, Seed: 7}

// singleWeight is how much a text counts that stands by itself, beside one of a night:
// its moment is made up, and the easy texts are left out there.
const singleWeight = 0.4

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
		if strings.HasSuffix(folder, ".tsv") {
			n, err := single(folder, slices.Contains(tuned, filepath.Base(folder)))
			if err != nil {
				return err
			}
			nights = append(nights, n)
			continue
		}
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
	model := learn.Train(all, len(reading.Intents()), options)
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
		run.Follow(m)
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

// single reads texts that stand by themselves: the moment in which they came,
// the intent, the text.
func single(path string, tuned bool) (night, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return night{}, err
	}
	n := night{name: filepath.Base(path)}
	for i, line := range strings.Split(string(b), "\n") {
		row := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || len(row) != 3 {
			continue
		}
		c := class(reading.Intent(row[1]))
		if c < 0 {
			return n, fmt.Errorf("%s line %d: no intent %q", path, i+1, row[1])
		}
		ctx, err := moment(row[0])
		if err != nil {
			return n, fmt.Errorf("%s line %d: %w", path, i+1, err)
		}
		features, split, rule := reading.Features(row[2], ctx)
		if tuned {
			features = features[:split]
		}
		n.examples = append(n.examples, learn.Example{Features: features, Class: c, Weight: singleWeight})
		n.rules = append(n.rules, class(rule))
		n.texts = append(n.texts, corpus.Message{ID: fmt.Sprint(i + 1), Text: row[2]})
	}
	return n, nil
}

// moment gives the context of a text that stands by itself: when its sender
// writes, on an invented night, and what they did before.
func moment(when string) (reading.Context, error) {
	ctx := reading.Context{
		Region: "GB", Zone: time.UTC, Date: domain.Date{Year: 2026, Month: 12, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30,
		Known: true, Slots: []domain.Clock{18*60 + 10},
	}
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 12, day, hour, minute, 0, 0, time.UTC) }
	came := reading.Facts{Arrived: true, ArrivedAt: at(4, 18, 8)}
	switch when {
	case "ahead", "before":
		ctx.At = at(2, 18, 30)
	case "today", "day":
		ctx.At = at(4, 11, 0)
	case "due":
		ctx.At = at(4, 18, 0)
	case "stranger":
		ctx.At, ctx.Known, ctx.Slots = at(4, 18, 0), false, nil
	case "here", "there":
		ctx.At, ctx.Facts = at(4, 18, 12), came
	case "served":
		ctx.At, ctx.Facts = at(4, 18, 50), came
		ctx.Facts.Served = true
	default:
		return ctx, fmt.Errorf("no moment %q", when)
	}
	return ctx, nil
}

func class(i reading.Intent) int { return slices.Index(reading.Intents(), i) }

// tally counts how texts were read.
type tally struct {
	texts, rules, settled          int
	here, hereRight, hereWanted    int
	changedForBetter, changedWorse int
	sure, sureWrong                int // arrivals at which no person looks, and those among them that are none
}

func (t *tally) add(want, rule int, verdict reading.Verdict) {
	here, settled := class(reading.Here), class(verdict.Intent)
	t.texts++
	t.rules += count(rule == want)
	t.settled += count(settled == want)
	t.here += count(settled == here)
	t.hereWanted += count(want == here)
	t.hereRight += count(settled == here && want == here)
	t.sure += count(settled == here && !verdict.Doubt)
	t.sureWrong += count(settled == here && !verdict.Doubt && want != here)
	t.changedForBetter += count(settled == want && rule != want)
	t.changedWorse += count(settled != want && rule == want)
}

func (t *tally) plus(o tally) {
	t.texts += o.texts
	t.rules += o.rules
	t.settled += o.settled
	t.here += o.here
	t.hereRight += o.hereRight
	t.hereWanted += o.hereWanted
	t.sure += o.sure
	t.sureWrong += o.sureWrong
	t.changedForBetter += o.changedForBetter
	t.changedWorse += o.changedWorse
}

func (t *tally) print(name string) {
	fmt.Printf("%-16s %5d texts  rules %.1f %%  with the model %.1f %%  (%d better, %d worse)  here: recall %.1f %% precision %.1f %%, without a look %d, wrong %d\n", name, t.texts,
		percent(t.rules, t.texts), percent(t.settled, t.texts), t.changedForBetter, t.changedWorse,
		percent(t.hereRight, t.hereWanted), percent(t.hereRight, t.here), t.sure, t.sureWrong)
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

func leaveOneOut(nights []night, show bool, tuned []string) {
	classes := reading.Intents()
	var all, whole tally
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
		var t tally
		for k, ex := range left.examples {
			verdict := reading.Settle(model, ex.Features, classes[left.rules[k]])
			settled := class(verdict.Intent)
			t.add(ex.Class, left.rules[k], verdict)
			if show && settled != ex.Class {
				fmt.Printf("%s %s want %s rules %s settled %s: %q\n", left.name, left.texts[k].ID, classes[ex.Class], classes[left.rules[k]], classes[settled], left.texts[k].Text)
			}
		}
		t.print(left.name)
		all.plus(t)
		if !strings.HasSuffix(left.name, ".tsv") {
			whole.plus(t)
		}
	}
	whole.print("nights")
	all.print("all")
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }
