package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"passbell/internal/corpus"
	"passbell/internal/phone"
)

// currentNight hands the night that a single text is read against: from the
// database, or from files where they are named.
type currentNight func(ctx context.Context) (*corpus.Run, corpus.Night, error)

type readFlags struct {
	night, book, from, at string
	score                 bool
}

// newReadCmd builds `passbell read`. current may be nil: then a single text
// needs --night and --book.
func newReadCmd(current currentNight) *cobra.Command {
	var f readFlags
	cmd := &cobra.Command{
		Use:   "read [TEXT]",
		Short: "Show how a customer's text would be read, and why",
		Long: `Shows how passbell reads customers' texts: the intent, the car, the time and the order.

With a night and an order book it reads messages from standard input, one JSON object a line with
id, at, from and text, oldest first, and prints a line of JSON for each. It remembers earlier
messages of the same run and touches no database. With --score it compares the answers with the
labels in "want" and prints what came out differently.

With a text it explains how it reads that one, as if --from had sent it now.`,
		Example: `  passbell read --night friday.night.json --book friday.orders.csv < friday.messages.jsonl
  passbell read --score --night friday.night.json --book friday.orders.csv < friday.messages.jsonl
  passbell read "here in the grey golf lx19 kto" --from +447700900123`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				return readOne(cmd, current, f, args[0])
			}
			return readMany(cmd, f)
		},
	}
	cmd.Flags().StringVar(&f.night, "night", "", "`file` that describes the night (JSON)")
	cmd.Flags().StringVar(&f.book, "book", "", "`file` with the order book (CSV)")
	cmd.Flags().StringVar(&f.from, "from", "", "`number` that the text came from")
	cmd.Flags().StringVar(&f.at, "at", "", "`time` at which the text came, RFC 3339; now where left out")
	cmd.Flags().BoolVar(&f.score, "score", false, "compare with the labels in \"want\"")
	return cmd
}

func usage(format string, args ...any) error {
	return &usageError{fmt.Errorf(format, args...)}
}

// runFromFiles opens the night and the order book that the flags name.
func runFromFiles(f readFlags) (*corpus.Run, corpus.Night, error) {
	var n corpus.Night
	var orders []corpus.Order
	if f.night == "" || f.book == "" {
		return nil, n, usage("name the night with --night and the order book with --book")
	}
	for _, file := range []struct {
		path string
		read func(io.Reader) error
	}{
		{f.night, func(r io.Reader) (err error) { n, err = corpus.ReadNight(r); return err }},
		{f.book, func(r io.Reader) (err error) { orders, err = corpus.ReadOrders(r); return err }},
	} {
		if err := readFile(file.path, file.read); err != nil {
			return nil, n, err
		}
	}
	run, err := corpus.NewRun(n, orders)
	if err != nil {
		return nil, n, usage("%w", err)
	}
	return run, n, nil
}

func readFile(path string, read func(io.Reader) error) error {
	file, err := os.Open(path)
	if err != nil {
		return usage("%w", err)
	}
	defer file.Close()
	if err := read(file); err != nil {
		return usage("%s: %w", path, err)
	}
	return nil
}

// readMany reads messages from standard input.
func readMany(cmd *cobra.Command, f readFlags) error {
	run, _, err := runFromFiles(f)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(cmd.OutOrStdout())
	score := corpus.NewScore()
	lines := bufio.NewScanner(cmd.InOrStdin())
	lines.Buffer(make([]byte, 0, 64<<10), 1<<20)
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" {
			continue
		}
		var m corpus.Message
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			return errors.Join(usage("message line %d: %w", n, err), out.Flush())
		}
		answer := run.Read(m)
		if f.score {
			score.Add(m, answer)
			continue
		}
		if err := enc.Encode(answer); err != nil {
			return fmt.Errorf("the answer can't be written: %w", err)
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("the messages can't be read: %w", err)
	}
	if f.score {
		if err := score.Print(out); err != nil {
			return fmt.Errorf("the score can't be written: %w", err)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("the answers can't be written: %w", err)
	}
	return nil
}

// readOne explains how one text would be read.
func readOne(cmd *cobra.Command, current currentNight, f readFlags, text string) error {
	if f.score {
		return usage("--score reads labelled messages from standard input, not a single text")
	}
	load := current
	if f.night != "" || f.book != "" || load == nil {
		load = func(context.Context) (*corpus.Run, corpus.Night, error) { return runFromFiles(f) }
	}
	run, n, err := load(cmd.Context())
	if err != nil {
		return err
	}
	m := corpus.Message{ID: "text", At: time.Now(), Text: text}
	if f.at != "" {
		if m.At, err = time.Parse(time.RFC3339, f.at); err != nil {
			return usage("--at %q is not a time such as 2026-12-04T18:05:00Z", f.at)
		}
	}
	if f.from != "" {
		number, err := phone.Parse(f.from, n.Region)
		if err != nil {
			return usage("--from: %w", err)
		}
		m.From = number.E164
	}
	return explain(cmd.OutOrStdout(), run.Read(m))
}

// explain writes an answer in words, a line for each thing understood.
func explain(w io.Writer, a corpus.Answer) error {
	var b strings.Builder
	line := func(name, value string) {
		if value != "" {
			fmt.Fprintf(&b, "%-9s %s\n", name, value)
		}
	}
	line("intent", a.Intent+" ("+meanings[a.Intent]+")")
	line("car", strings.TrimSpace(strings.Join(strings.Fields(strings.Join(a.Colour, " or ")+" "+a.Make+" "+a.Model+" "+a.Body), " ")))
	line("plate", a.Plate)
	if a.PlatePart != "" {
		line("plate", "part of it: "+a.PlatePart)
	}
	line("due", a.Due)
	line("to", a.To)
	if a.Allergy {
		line("allergy", "mentioned")
	}
	switch {
	case len(a.Orders) == 0:
		line("orders", "none")
	case a.Auto:
		line("orders", strings.Join(a.Orders, ", "))
	default:
		line("orders", "perhaps "+strings.Join(a.Orders, ", "))
	}
	line("acts", map[bool]string{true: "without a person", false: "only once a person has said so"}[a.Auto])
	line("person", map[bool]string{true: "has to read it", false: "need not read it"}[a.Person])
	line("why", a.Why)
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("the answer can't be written: %w", err)
	}
	return nil
}

var meanings = map[string]string{
	"stop": "wants no more messages", "start": "wants messages again", "help": "wants help", "here": "somebody is at the collection point",
	"cancel": "wants the order cancelled", "move": "wants another time", "coming": "is on the way", "car": "tells which vehicle it will be",
	"problem": "something is wrong", "ask": "asks something", "thanks": "acknowledges or thanks", "other": "not about an order",
}
