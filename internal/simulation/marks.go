package simulation

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// mark does what people do with the items of an order: they tick them off, note
// what is missing, split an order and join two.
func (s *sim) mark(ctx context.Context, in *instance, a act, b, other *booking) error {
	by, line := s.named(b.ref), desk.Line{Place: a.other % 2}
	lack := []desk.Lack{{Line: line, Pieces: 1}}
	if a.minutes > 10 {
		lack[0].Pieces = desk.AllOfIt
	}
	var err error
	switch a.what {
	case "tick":
		_, err = in.desk.Tick(ctx, by, line, true)
	case "tick all":
		for i := range 2 {
			if err == nil {
				_, err = in.desk.Tick(ctx, by, desk.Line{Place: i}, true)
			}
		}
	case "untick":
		_, err = in.desk.Tick(ctx, by, line, false)
	case "short":
		_, err = in.desk.Short(ctx, by, lack, true)
	case "short at the gate":
		_, err = in.desk.Short(ctx, by, lack, false)
	case "found":
		lack[0].Pieces = 0
		_, err = in.desk.Short(ctx, by, lack, a.minutes > 10)
	case "split":
		_, err = in.desk.Split(ctx, by, b.ref+"B", []int{a.other % 2})
	case "join":
		_, err = in.desk.Join(ctx, by, other.ref)
	case "split and join":
		if _, err = in.desk.Split(ctx, by, b.ref+"B", []int{a.other % 2}); err == nil {
			_, err = in.desk.Join(ctx, by, b.ref+"B")
		}
	}
	return err
}

// compareMarks checks that what people ticked off stays ticked, and that no text
// follows from it.
func (w *watch) compareMarks(v sight) {
	for _, id := range slices.Sorted(maps.Keys(v.orders)) {
		before, known := w.orders[id]
		if !known {
			continue
		}
		o := v.orders[id]
		switch was, is := len(before.Items), len(o.Items); {
		case is < was:
			w.split(before, o, v)
		case is > was:
			w.joined(before, o, v)
		default:
			w.ticked(before, o, v)
		}
	}
	for _, e := range v.events {
		if e.What == night.ItemTicked || e.What == night.ItemUnticked {
			w.nobodyIsTold(e, v)
		}
	}
}

// ticks gives how many lines of items are ticked.
func ticks(items []night.Item) (n int) {
	for _, it := range items {
		n += b2i(it.Ticked)
	}
	return n
}

// ticked checks that the ticks of an order are those before and what its events
// say: nothing else takes one back, but that all of a line is missing.
func (w *watch) ticked(before, o night.Order, v sight) {
	want := ticks(before.Items)
	for _, e := range v.events {
		switch {
		case e.OrderID != o.ID:
		case e.What == night.ItemTicked:
			want++
		case e.What == night.ItemUnticked:
			want--
		}
	}
	for i, it := range o.Items {
		want -= b2i(before.Items[i].Ticked && it.AllMissing() && !before.Items[i].AllMissing())
	}
	if have := ticks(o.Items); have != want {
		w.violate("order %s has %d ticks, by its events %d", o.Ref, have, want)
	}
}

// split checks that no item, tick or shortage of an order is lost or doubled that
// was split.
func (w *watch) split(before, o night.Order, v sight) {
	for id, part := range v.orders {
		if _, known := w.orders[id]; !known && strings.HasPrefix(part.Ref, o.Ref) {
			w.sameItems(before.Items, append(slices.Clone(o.Items), part.Items...), o.Ref, "split")
			return
		}
	}
	w.violate("order %s has %d items, before it was %d, and no other order has the rest", o.Ref, len(o.Items), len(before.Items))
}

// joined checks the same of two orders that were joined.
func (w *watch) joined(before, o night.Order, v sight) {
	for id, from := range w.orders {
		if id != o.ID && from.State != night.Cancelled && v.orders[id].State == night.Cancelled {
			w.sameItems(append(slices.Clone(before.Items), from.Items...), o.Items, o.Ref, "joined")
			return
		}
	}
	w.violate("order %s has %d items, before it was %d, and no other order is off for it", o.Ref, len(o.Items), len(before.Items))
}

func (w *watch) sameItems(before, after []night.Item, ref, what string) {
	said := func(items []night.Item) []string {
		var out []string
		for _, it := range items {
			out = append(out, fmt.Sprintf("%+v", it))
		}
		slices.Sort(out)
		return out
	}
	if was, is := said(before), said(after); !slices.Equal(was, is) {
		w.violate("order %s was %s: its items were %s, and are %s", ref, what, was, is)
	}
}

// nobodyIsTold checks that a tick leaves every text alone.
func (w *watch) nobodyIsTold(e night.Event, v sight) {
	if len(w.messages) != len(v.messages) {
		w.violate("event %d, a tick: there were %d texts, and are %d", e.ID, len(w.messages), len(v.messages))
	}
	for id, m := range w.messages {
		if n := v.messages[id]; n.State != m.State || n.Text != m.Text || !n.DueAt.Equal(m.DueAt) {
			w.violate("event %d, a tick: message %d, %s, was %s and is %s", e.ID, id, m.Kind, m.State, n.State)
		}
	}
}

// apologised checks a text that says what is missing: it is true, and the
// customer has not read just that before.
func (w *watch) apologised(c *call, m night.Message) {
	o := w.orders[m.Covers[0].OrderID]
	missing := night.Missing(o.Items)
	unsaid := func(it night.Item) bool {
		return !strings.Contains(c.text.Text, fmt.Sprintf("%d x %s", it.Short, it.Name))
	}
	if len(missing) == 0 || slices.ContainsFunc(missing, unsaid) {
		w.violate("call %s: order %s lacks %q, the text says %q", c.text.Key, o.Ref, night.MissingLine(o.Items), c.text.Text)
	}
	var last *call
	for id, before := range w.messages {
		if id == m.ID || before.Kind != night.Short || before.To != m.To || len(before.Covers) == 0 || before.Covers[0].OrderID != o.ID {
			continue
		}
		for _, old := range w.s.net.by[id] {
			if nothing := old.lost || old.answered && old.fate.nothingWent(); !nothing && (last == nil || old.at.After(last.at)) {
				last = old
			}
		}
	}
	if last != nil && last.text.Text == c.text.Text {
		w.violate("call %s: the customer of order %s may have been told already by %s that %s is missing", c.text.Key, o.Ref, last.text.Key, night.MissingLine(o.Items))
	}
}
