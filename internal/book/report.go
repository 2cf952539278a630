package book

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"passbell/internal/night"
)

// WriteText prints the book for a person: what was read, what was left out and
// why, and what needs somebody's eye.
func (b Book) WriteText(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	var err error
	print := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(t, format, args...)
		}
	}
	print("%s\n\nColumns\n", b.Summary())
	for _, f := range slices.Sorted(maps.Keys(b.Columns)) {
		print("  %s\tfrom\t%s\n", f, b.Columns[f])
	}
	if len(b.Orders) > 0 {
		o := b.Orders[0]
		print("\nThe first order reads\n  order\t%s\n  name\t%s\n  phone\t%s\n  slot\t%s\n  items\t%s\n", o.Ref, o.Name, o.Phone, b.slotText(o), Items(o.Items))
		if o.Note != "" {
			print("  note\t%s\n", oneLine(o.Note))
		}
		if o.Allergy != "" {
			print("  ALLERGY\t%s\n", oneLine(o.Allergy))
		}
	}
	if len(b.LeftOut) > 0 {
		print("\nLeft out\n")
		for _, l := range b.LeftOut {
			print("  row %d\t%s\n", l.Row, oneLine(l.Why))
		}
	}
	for _, level := range []Level{Stop, Look} {
		title := "\nStop: can't be texted or placed until settled\n"
		if level == Look {
			title = "\nLook: read, but see for yourself\n"
		}
		for _, p := range b.Problems {
			if p.Level != level {
				continue
			}
			print("%s  row %d\t%s\t%s\t%s: %s\n", title, p.Row, p.Order, p.Field, oneLine(p.What), oneLine(p.Fix))
			title = ""
		}
	}
	if err == nil {
		err = t.Flush()
	}
	if err != nil {
		return fmt.Errorf("write the book: %w", err)
	}
	return nil
}

func (b Book) slotText(o night.Order) string {
	if b.Unplaced[o.Ref] && o.Slot == 0 {
		return ""
	}
	return o.Slot.String()
}

// Items writes items as an order book does: "2x Pork bao; 1x Slaw".
func Items(items []night.Item) string {
	parts := make([]string, len(items))
	for i, it := range items {
		parts[i] = fmt.Sprintf("%dx %s", it.Qty, it.Name)
	}
	return strings.Join(parts, "; ")
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
