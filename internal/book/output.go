package book

import (
	"encoding/json"
	"fmt"
	"io"

	"passbell/internal/night"
)

// entry is an order as the check prints it.
type entry struct {
	Ref     string       `json:"ref"`
	Name    string       `json:"name"`
	Phone   string       `json:"phone,omitempty"`
	Slot    string       `json:"slot,omitempty"`
	Items   []night.Item `json:"items"`
	Note    string       `json:"note"`
	Allergy string       `json:"allergy"`
}

// WriteJSON prints the book for machines. The phone is E.164, and absent where
// none could be read; a number that is read but held shows with its problem.
func (b Book) WriteJSON(w io.Writer) error {
	out := struct {
		Orders   []entry           `json:"orders"`
		LeftOut  []LeftOut         `json:"left_out"`
		Problems []Problem         `json:"problems"`
		Columns  map[string]string `json:"columns"`
	}{
		Orders: make([]entry, len(b.Orders)), LeftOut: append([]LeftOut{}, b.LeftOut...),
		Problems: append([]Problem{}, b.Problems...), Columns: b.Columns,
	}
	for i, o := range b.Orders {
		e := entry{Ref: o.Ref, Name: o.Name, Phone: o.Phone, Items: append([]night.Item{}, o.Items...), Note: o.Note, Allergy: o.Allergy}
		if e.Phone == "" {
			e.Phone = b.Held[o.Ref]
		}
		if !b.Unplaced[o.Ref] || o.Slot != 0 {
			e.Slot = o.Slot.String()
		}
		out.Orders[i] = e
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(out); err != nil {
		return fmt.Errorf("write the book: %w", err)
	}
	return nil
}

// Summary says in one line what became of the rows.
func (b Book) Summary() string {
	s := fmt.Sprintf("%d rows: %d orders", b.Rows, len(b.Orders))
	if b.Rows == 1 {
		s = fmt.Sprintf("1 row: %d orders", len(b.Orders))
	}
	if n := len(b.LeftOut); n > 0 {
		s += fmt.Sprintf(", %d rows left out", n)
	}
	return s
}

// Stops tells whether any order can't be texted or placed.
func (b Book) Stops() bool {
	for _, p := range b.Problems {
		if p.Level == Stop {
			return true
		}
	}
	return false
}
