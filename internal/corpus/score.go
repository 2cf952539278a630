package corpus

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"passbell/internal/reading"
)

// Tally counts how one field or one intent came out.
type Tally struct {
	Right    int // wanted and read so
	Wrong    int // wanted, and something else read
	Missed   int // wanted, and nothing read
	Spurious int // read, and nothing wanted
}

// Recall is the share of the wanted that was read right, 1 where none was
// wanted.
func (t Tally) Recall() float64 { return ratio(t.Right, t.Right+t.Wrong+t.Missed) }

// Precision is the share of what was read that is right, 1 where none was read.
func (t Tally) Precision() float64 { return ratio(t.Right, t.Right+t.Wrong+t.Spurious) }

// F1 is the harmonic mean of recall and precision.
func (t Tally) F1() float64 {
	p, r := t.Precision(), t.Recall()
	if p+r == 0 {
		return 0
	}
	return 2 * p * r / (p + r)
}

func ratio(a, b int) float64 {
	if b == 0 {
		return 1
	}
	return float64(a) / float64(b)
}

// Score compares answers with labels.
type Score struct {
	Messages   int // with a label
	Intents    map[string]*Tally
	Fields     map[string]*Tally
	Confusion  map[[2]string]int // wanted, read
	Wrong      []WrongRow
	WrongAuto  int // acted on without a person, and the order is another
	FalsePlate int // a plate read where the text has none
	NoPlate    int // messages without a plate
}

// WrongRow is a message with at least one field that came out differently.
type WrongRow struct {
	Message Message
	Got     Answer
	Fields  []string
}

// fields in the order in which they are printed.
var fields = []string{"intent", "colour", "make", "model", "body", "plate", "plate_part", "due", "to", "orders", "auto", "person", "allergy"}

// NewScore makes an empty score.
func NewScore() *Score {
	s := &Score{Intents: make(map[string]*Tally), Fields: make(map[string]*Tally), Confusion: make(map[[2]string]int)}
	for _, f := range fields {
		s.Fields[f] = &Tally{}
	}
	for _, i := range reading.Intents() {
		s.Intents[string(i)] = &Tally{}
	}
	return s
}

// Add compares one answer with its label; a message without one is skipped.
func (s *Score) Add(m Message, got Answer) {
	if m.Want == nil {
		return
	}
	w := *m.Want
	s.Messages++
	s.Confusion[[2]string{w.Intent, got.Intent}]++
	s.intent(w.Intent, got.Intent)
	var bad []string
	text := func(field, want, read string) {
		if !s.Fields[field].add(want, read) {
			bad = append(bad, field)
		}
	}
	text("intent", w.Intent, got.Intent)
	if !s.colour(w.Colour, got.Colour) {
		bad = append(bad, "colour")
	}
	text("make", w.Make, got.Make)
	text("model", w.Model, got.Model)
	text("body", w.Body, got.Body)
	text("plate", w.Plate, got.Plate)
	text("plate_part", w.PlatePart, got.PlatePart)
	text("due", w.Due, got.Due)
	text("to", w.To, got.To)
	text("orders", list(w.Orders), list(got.Orders))
	text("auto", truth(w.Auto, "person"), truth(got.Auto, "person"))
	text("person", truth(w.Person, "nobody"), truth(got.Person, "nobody"))
	text("allergy", truth(w.Allergy, ""), truth(got.Allergy, ""))
	if w.Plate == "" {
		s.NoPlate++
		if got.Plate != "" {
			s.FalsePlate++
		}
	}
	if got.Auto && list(got.Orders) != list(w.Orders) && len(got.Orders) > 0 {
		s.WrongAuto++
	}
	if len(bad) > 0 {
		s.Wrong = append(s.Wrong, WrongRow{Message: m, Got: got, Fields: bad})
	}
}

func truth(b bool, no string) string {
	if b {
		return "true"
	}
	return no
}

func list(orders []string) string {
	if len(orders) == 0 {
		return "[]"
	}
	o := slices.Clone(orders)
	slices.Sort(o)
	return strings.Join(o, " ")
}

func (t *Tally) add(want, read string) bool {
	switch {
	case want == read:
		if want != "" {
			t.Right++
		}
		return true
	case want == "":
		t.Spurious++
	case read == "":
		t.Missed++
	default:
		t.Wrong++
	}
	return false
}

func (s *Score) intent(want, read string) {
	if s.Intents[want] == nil {
		s.Intents[want] = &Tally{}
	}
	if s.Intents[read] == nil {
		s.Intents[read] = &Tally{}
	}
	if want == read {
		s.Intents[want].Right++
		return
	}
	s.Intents[want].Missed++
	s.Intents[read].Spurious++
}

// colour takes any of the listed colours where the label has several, and any
// of those read.
func (s *Score) colour(want, read Colours) bool {
	t := s.Fields["colour"]
	for _, c := range want {
		if slices.Contains(read, c) {
			t.Right++
			return true
		}
	}
	switch {
	case len(want) == 0 && len(read) == 0:
		return true
	case len(want) == 0:
		t.Spurious++
	case len(read) == 0:
		t.Missed++
	default:
		t.Wrong++
	}
	return false
}

// Accuracy is the share of messages whose intent is right.
func (s *Score) Accuracy() float64 { return ratio(s.Fields["intent"].Right, s.Messages) }

// FalsePlates counts plates read per 100 messages that have none.
func (s *Score) FalsePlates() float64 {
	if s.NoPlate == 0 {
		return 0
	}
	return 100 * float64(s.FalsePlate) / float64(s.NoPlate)
}

// Print writes the score as tables and the wrong rows.
func (s *Score) Print(w io.Writer) error {
	p := &printer{w: w}
	p.f("%d messages, intent right in %.1f %%; a wrong order acted on without a person: %d; plates read where there is none: %.2f per 100\n\n", s.Messages, 100*s.Accuracy(), s.WrongAuto, s.FalsePlates())
	const head = "%-11s %6s %6s %7s %9s %10s %8s %8s\n"
	const row = "%-11s %6d %6d %7d %9d %9.1f%% %7.1f%% %7.1f%%\n"
	line := func(name string, t *Tally) {
		p.f(row, name, t.Right, t.Wrong, t.Missed, t.Spurious, 100*t.Precision(), 100*t.Recall(), 100*t.F1())
	}
	p.f(head, "field", "right", "wrong", "missed", "spurious", "precision", "recall", "F1")
	for _, f := range fields {
		line(f, s.Fields[f])
	}
	p.f("\n"+head, "intent", "right", "wrong", "missed", "spurious", "precision", "recall", "F1")
	for _, i := range reading.Intents() {
		line(string(i), s.Intents[string(i)])
	}
	p.f("\nwanted \\ read")
	for _, i := range reading.Intents() {
		p.f(" %8s", i)
	}
	p.f("\n")
	for _, want := range reading.Intents() {
		p.f("%-13s", want)
		for _, read := range reading.Intents() {
			if n := s.Confusion[[2]string{string(want), string(read)}]; n > 0 {
				p.f(" %8d", n)
			} else {
				p.f(" %8s", "·")
			}
		}
		p.f("\n")
	}
	if len(s.Wrong) > 0 {
		p.f("\nwrong rows\n")
	}
	for _, r := range s.Wrong {
		p.f("%s %q\n", r.Message.ID, r.Message.Text)
		for _, f := range r.Fields {
			p.f("    %-10s wanted %-24s read %s\n", f, quote(r.Message.Want.field(f)), quote(r.Got.field(f)))
		}
		p.f("    why        %s\n", r.Got.Why)
	}
	return p.err
}

func quote(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

// field gives a field of a label by its name in the format.
func (w *Want) field(name string) string {
	switch name {
	case "intent":
		return w.Intent
	case "colour":
		return strings.Join(w.Colour, " or ")
	case "make":
		return w.Make
	case "model":
		return w.Model
	case "body":
		return w.Body
	case "plate":
		return w.Plate
	case "plate_part":
		return w.PlatePart
	case "due":
		return w.Due
	case "to":
		return w.To
	case "orders":
		return list(w.Orders)
	case "auto":
		return fmt.Sprint(w.Auto)
	case "person":
		return fmt.Sprint(w.Person)
	case "allergy":
		return fmt.Sprint(w.Allergy)
	}
	return ""
}

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) f(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}
