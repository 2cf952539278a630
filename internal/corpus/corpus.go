// Package corpus holds labelled nights: an order book and the messages that
// customers sent, each with what a person would have read from it. It runs a
// night through the reader and the matcher in memory, scores the answers, and
// writes a kitchen's own corrections in the same format with numbers and names
// masked.
package corpus

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"passbell/internal/match"
	"passbell/internal/night"
	"passbell/internal/phone"
	"passbell/internal/reading"
)

// Night is the file NAME.night.json.
type Night struct {
	Region    string      `json:"region"` // ISO 3166-1 alpha-2
	Timezone  string      `json:"timezone"`
	Date      night.Date  `json:"date"`
	FirstSlot night.Clock `json:"first_slot"`
	LastSlot  night.Clock `json:"last_slot"`
	Minutes   int         `json:"slot_minutes"`
}

// Order is a line of NAME.orders.csv.
type Order struct {
	Ref   string
	Name  string
	Phone string // as typed
	Slot  night.Clock
	Items string
	Note  string
}

// Message is a line of NAME.messages.jsonl.
type Message struct {
	ID   string    `json:"id"`
	At   time.Time `json:"at"`
	From string    `json:"from"` // E.164
	Text string    `json:"text"`
	Want *Want     `json:"want,omitempty"`
}

// Want is the label of a message: what a person reads from it.
type Want struct {
	Intent    string   `json:"intent"`
	Colour    Colours  `json:"colour,omitempty"`
	Make      string   `json:"make,omitempty"`
	Model     string   `json:"model,omitempty"`
	Body      string   `json:"body,omitempty"`
	Plate     string   `json:"plate,omitempty"`
	PlatePart string   `json:"plate_part,omitempty"`
	Due       string   `json:"due,omitempty"` // HH:MM
	To        string   `json:"to,omitempty"`  // HH:MM
	Orders    []string `json:"orders"`
	Auto      bool     `json:"auto"`
	Person    bool     `json:"person"`
	Allergy   bool     `json:"allergy,omitempty"`
}

// Colours is one colour, or a list where either is right. It is a string in
// JSON while it holds one.
type Colours []string

// MarshalJSON writes one colour as a string, more as a list.
func (c Colours) MarshalJSON() ([]byte, error) {
	if len(c) == 1 {
		return json.Marshal(c[0])
	}
	return json.Marshal([]string(c))
}

// UnmarshalJSON reads a string or a list.
func (c *Colours) UnmarshalJSON(b []byte) error {
	var one string
	if json.Unmarshal(b, &one) == nil {
		*c = Colours{one}
		return nil
	}
	var list []string
	if err := json.Unmarshal(b, &list); err != nil {
		return fmt.Errorf("a colour must be a word or a list of words: %w", err)
	}
	*c = list
	return nil
}

// Set is a whole labelled night.
type Set struct {
	Name     string
	Night    Night
	Orders   []Order
	Messages []Message
}

// Load reads NAME.night.json, NAME.orders.csv and NAME.messages.jsonl in dir.
func Load(dir, name string) (Set, error) {
	s := Set{Name: name}
	base := filepath.Join(dir, name)
	err := errors.Join(
		withFile(base+".night.json", func(r io.Reader) (err error) { s.Night, err = ReadNight(r); return err }),
		withFile(base+".orders.csv", func(r io.Reader) (err error) { s.Orders, err = ReadOrders(r); return err }),
		withFile(base+".messages.jsonl", func(r io.Reader) (err error) { s.Messages, err = ReadMessages(r); return err }),
	)
	return s, err
}

// Find lists the names of the labelled nights in dir, "" included where there
// are none.
func Find(dir string) []string {
	files, _ := filepath.Glob(filepath.Join(dir, "*.night.json"))
	names := make([]string, 0, len(files))
	for _, f := range files {
		names = append(names, strings.TrimSuffix(filepath.Base(f), ".night.json"))
	}
	return names
}

func withFile(path string, read func(io.Reader) error) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("labelled night: %w", err)
	}
	defer f.Close()
	if err := read(f); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// ReadNight reads a night.
func ReadNight(r io.Reader) (Night, error) {
	var n Night
	if err := json.NewDecoder(r).Decode(&n); err != nil {
		return Night{}, fmt.Errorf("the night can't be read: %w", err)
	}
	if n.Region == "" || n.Date.IsZero() {
		return Night{}, errors.New("the night needs at least its region and its date")
	}
	if _, err := time.LoadLocation(n.Timezone); err != nil {
		return Night{}, fmt.Errorf("the night's time zone: %w", err)
	}
	return n, nil
}

var orderHeader = []string{"order", "name", "phone", "slot", "items", "note"}

// ReadOrders reads an order book.
func ReadOrders(r io.Reader) ([]Order, error) {
	c := csv.NewReader(r)
	c.FieldsPerRecord = -1
	rows, err := c.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the order book can't be read: %w", err)
	}
	if len(rows) == 0 || strings.Join(rows[0], ",") != strings.Join(orderHeader, ",") {
		return nil, fmt.Errorf("the order book must begin with the line %s", strings.Join(orderHeader, ","))
	}
	out := make([]Order, 0, len(rows)-1)
	for i, row := range rows[1:] {
		for len(row) < len(orderHeader) {
			row = append(row, "")
		}
		slot, err := night.ParseClock(strings.TrimSpace(row[3]))
		if err != nil {
			return nil, fmt.Errorf("order book line %d: %w", i+2, err)
		}
		out = append(out, Order{Ref: row[0], Name: row[1], Phone: row[2], Slot: slot, Items: row[4], Note: row[5]})
	}
	return out, nil
}

// ReadMessages reads messages, one a line; empty lines are skipped.
func ReadMessages(r io.Reader) ([]Message, error) {
	var out []Message
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, 64<<10), 1<<20)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" {
			continue
		}
		var m Message
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			return nil, fmt.Errorf("message line %d: %w", n, err)
		}
		out = append(out, m)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("the messages can't be read: %w", err)
	}
	return out, nil
}

// MatchOrders turns an order book into what the matcher works on. A number that
// can't be read leaves its order without one.
func MatchOrders(region string, orders []Order) []match.Order {
	out := make([]match.Order, len(orders))
	for i, o := range orders {
		number := ""
		if p, err := phone.Parse(o.Phone, region); err == nil {
			number = p.E164
		}
		out[i] = match.Order{ID: int64(i + 1), Ref: o.Ref, Name: o.Name, Phone: number, Slot: o.Slot, State: night.Booked, Note: o.Note, Dishes: strings.Split(o.Items, ";")}
		if o.Note != "" {
			out[i].Vehicles = []night.Vehicle{reading.ReadByRules(o.Note, reading.Context{Region: region}).Vehicle}
		}
	}
	return out
}
