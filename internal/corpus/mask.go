package corpus

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"passbell/internal/reading"
)

// Mask replaces every number and every name of a set by an invented one, the
// same everywhere: in the order book, in its notes and in the texts. Numbers
// come from ranges that regulators reserve for fiction. What is read of a text
// stays the same: a name becomes a name, and plates and vehicles are left as
// they are.
func Mask(s Set) Set {
	m := masker{region: s.Night.Region, numbers: map[string]string{}, parts: map[string]string{}}
	out := Set{Name: s.Name, Night: s.Night, Orders: make([]Order, len(s.Orders)), Messages: make([]Message, len(s.Messages))}
	typed := MatchOrders(s.Night.Region, s.Orders)
	for i, o := range s.Orders {
		out.Orders[i] = o
		out.Orders[i].Name = m.name(o.Name)
		if typed[i].Phone != "" {
			out.Orders[i].Phone = m.number(typed[i].Phone)
		} else {
			out.Orders[i].Phone = ""
		}
	}
	for i := range out.Orders {
		out.Orders[i].Note = m.text(out.Orders[i].Note)
	}
	for i, msg := range s.Messages {
		msg.From = m.number(msg.From)
		msg.Text = m.text(msg.Text)
		out.Messages[i] = msg
	}
	return out
}

type masker struct {
	region  string
	numbers map[string]string
	parts   map[string]string // folded name part to its invented one
}

// number maps an E.164 number into the region's range for fiction.
func (m *masker) number(e164 string) string {
	if n, ok := m.numbers[e164]; ok {
		return n
	}
	n := fiction(m.region, len(m.numbers))
	m.numbers[e164] = n
	return n
}

// fiction gives the k-th number of a range for drama: Ofcom's mobile range,
// ComReg's 020 91, the 555-0100 to 0199 lines of North America (an area code
// more for every hundred), ACMA's (0x) 5550 range.
func fiction(region string, k int) string {
	switch region {
	case "GB", "GG", "JE", "IM":
		if k < 1000 {
			return fmt.Sprintf("+447700900%03d", k)
		}
		return fmt.Sprintf("+441632960%03d", k%1000)
	case "IE":
		return fmt.Sprintf("+3532091%05d", k%100000)
	case "AU":
		return fmt.Sprintf("+612%d", 55500000+k%10000)
	}
	return fmt.Sprintf("+1%d5550%03d", 201+2*(k/100%300), 100+k%100)
}

// name masks each part of a name and keeps what stands between.
func (m *masker) name(name string) string {
	var b strings.Builder
	word := func(w string) {
		if w != "" {
			b.WriteString(m.part(w))
		}
	}
	start := 0
	for i, r := range name {
		if r == ' ' || r == '-' || r == ',' || r == '.' {
			word(name[start:i])
			b.WriteRune(r)
			start = i + len(string(r))
		}
	}
	word(name[start:])
	return b.String()
}

func (m *masker) part(w string) string {
	key := reading.Fold(w)
	if key == "" || maskTitles[key] {
		return w
	}
	if n, ok := m.parts[key]; ok {
		return n
	}
	n := invented(len(m.parts))
	m.parts[key] = n
	return n
}

var maskTitles = map[string]bool{"mr": true, "mrs": true, "ms": true, "miss": true, "dr": true, "sr": true, "sra": true}

// invented builds the k-th made-up name of syllables, "Belvano" and the like:
// none is an everyday word of the tables.
func invented(k int) string {
	heads := []string{"Bel", "Cor", "Dal", "Fen", "Gar", "Hol", "Jor", "Kel", "Lom", "Mar", "Nor", "Pel", "Quin", "Ros", "Sel", "Tor", "Ul", "Ver", "Wen", "Yar"}
	mids := []string{"va", "ne", "li", "do", "mu", "ta", "re", "si", "po", "ku"}
	tails := []string{"no", "rik", "sta", "mond", "vel", "quist", "dra", "lum", "thi", "zen"}
	return heads[k%len(heads)] + mids[k/len(heads)%len(mids)] + tails[(k+k/(len(heads)*len(mids)))%len(tails)]
}

// text masks the names of the book and whatever looks like a number of a
// telephone, and keeps the rest to the letter.
func (m *masker) text(s string) string {
	toks := reading.Tokens(s)
	var b strings.Builder
	at := 0
	for i := 0; i < len(toks); i++ {
		t := toks[i]
		if t.Start < at {
			continue
		}
		if end, ok := phoneAt(s, toks, i); ok {
			b.WriteString(s[at:t.Start])
			b.WriteString(m.number("text " + s[t.Start:end]))
			at = end
			continue
		}
		if t.Kind != reading.Word {
			continue
		}
		if n, ok := m.parts[t.Text]; ok {
			b.WriteString(s[at:t.Start])
			b.WriteString(like(n, s[t.Start:t.End]))
			if t.Possessive {
				b.WriteString("'s")
			}
			at = t.End
		}
	}
	b.WriteString(s[at:])
	return b.String()
}

// like writes an invented name in the letters' case of the word it stands for.
func like(name, word string) string {
	switch {
	case word == strings.ToLower(word):
		return strings.ToLower(name)
	case word == strings.ToUpper(word) && len(word) > 1:
		return strings.ToUpper(name)
	}
	return name
}

// phoneAt finds a run of digits, spaces and dashes with nine digits or more.
func phoneAt(s string, toks []reading.Token, i int) (int, bool) {
	digits, end := 0, 0
	for j := i; j < len(toks); j++ {
		t := toks[j]
		switch {
		case t.Kind == reading.Number && t.Min < 0, t.Kind == reading.Word && strings.Trim(t.Text, "0123456789") == "":
			digits += t.End - t.Start
			end = t.End
		case t.Kind == reading.Dash:
			continue
		default:
			return end, digits >= 9
		}
		if j+1 < len(toks) && toks[j+1].Start-t.End > 2 {
			break
		}
	}
	return end, digits >= 9
}

// Save writes a set as three files in dir.
func Save(dir string, s Set) error {
	base := filepath.Join(dir, s.Name)
	for _, f := range []struct {
		path  string
		write func(io.Writer) error
	}{
		{base + ".night.json", func(w io.Writer) error { return json.NewEncoder(w).Encode(s.Night) }},
		{base + ".orders.csv", func(w io.Writer) error { return writeOrders(w, s.Orders) }},
		{base + ".messages.jsonl", func(w io.Writer) error { return WriteMessages(w, s.Messages) }},
	} {
		if err := saveFile(f.path, f.write); err != nil {
			return err
		}
	}
	return nil
}

func saveFile(path string, write func(io.Writer) error) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("the labelled night can't be written: %w", err)
	}
	defer func() {
		if cerr := f.Close(); err == nil && cerr != nil {
			err = fmt.Errorf("%s: %w", path, cerr)
		}
	}()
	if err := write(f); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

func writeOrders(w io.Writer, orders []Order) error {
	c := csv.NewWriter(w)
	rows := [][]string{orderHeader}
	for _, o := range orders {
		rows = append(rows, []string{o.Ref, o.Name, o.Phone, o.Slot.String(), o.Items, o.Note})
	}
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("the order book can't be written: %w", err)
	}
	return nil
}

// WriteMessages writes messages one a line, letters as they are.
func WriteMessages(w io.Writer, messages []Message) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	for _, m := range messages {
		if err := e.Encode(m); err != nil {
			return fmt.Errorf("message %s can't be written: %w", m.ID, err)
		}
	}
	return nil
}
