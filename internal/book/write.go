package book

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"passbell/internal/night"
)

// WriteCSV exports orders so that any spreadsheet opens them, none takes a cell
// for a formula, and Read gives the same orders back. It is RFC 4180 with a
// byte-order mark, which spreadsheets need to see UTF-8. Unplaced holds the
// references of orders without a slot; it may be nil.
func WriteCSV(w io.Writer, orders []night.Order, unplaced map[string]bool) error {
	b := bufio.NewWriter(w)
	if _, err := b.WriteString("\ufefforder,name,phone,email,slot,items,note,allergy,status\r\n"); err != nil {
		return fmt.Errorf("write the order book: %w", err)
	}
	for _, o := range orders {
		number := o.Phone
		if number == "" {
			number = o.PhoneTyped
		}
		slot := o.Slot.String()
		if unplaced[o.Ref] && o.Slot == 0 {
			slot = ""
		}
		status := ""
		if o.State != night.Booked {
			status = string(o.State)
		}
		cells := []string{o.Ref, o.Name, number, o.Email, slot, itemsCell(o.Items), o.Note, o.Allergy, status}
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(',') //nolint:errcheck // Flush reports it
			}
			b.WriteString(quote(guard(c))) //nolint:errcheck // Flush reports it
		}
		b.WriteString("\r\n") //nolint:errcheck // Flush reports it
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("write the order book: %w", err)
	}
	return nil
}

// guard puts an apostrophe before what a spreadsheet might take for a formula,
// and before an apostrophe that would be taken off again when read.
func guard(s string) string {
	rest := strings.TrimLeft(s, "'")
	if rest == "" {
		return s
	}
	if risky(rest) || len(rest) < len(s) && rest[0] >= '0' && rest[0] <= '9' {
		return "'" + s
	}
	return s
}

func quote(s string) string {
	if !strings.ContainsAny(s, "\",;\t\r\n|'") && strings.TrimSpace(s) == s {
		return s
	}
	return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
}

// itemsCell writes items as people do; where that would not read back the same,
// as JSON.
func itemsCell(items []night.Item) string {
	if len(items) == 0 {
		return ""
	}
	text := Items(items)
	k := newKinds(nil)
	back := parseItems(text, itemStyle{})
	timed := false // a time in a name would be taken for the slot
	for i := range back {
		back[i].Kind = k.of(back[i].Name)
		timed = timed || len(findSpans(back[i].Name, loose)) > 0 || onlySlotWords(back[i].Name)
	}
	if !timed && slices.Equal(back, items) {
		return text
	}
	data, err := json.Marshal(items)
	if err != nil {
		return text
	}
	return string(data)
}
