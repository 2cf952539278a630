package web

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// changeShape is change for what makes other orders of one, or moves several.
func (s *site) changeShape(ctx context.Context, p *lookPage, a desk.Act, o night.Order, orders []night.Order, form url.Values) (func(d *desk.Desk) error, error) {
	switch p.Do {
	case "split":
		p.Title, p.Label = s.t("Split"), s.t("Split the order")
		ref, lines, err := s.splitOf(o, orders, form)
		if err != nil {
			return nil, err
		}
		var goes, stays []night.Item
		p.Fields = [][2]string{{"ref", ref}}
		for i, it := range o.Items {
			if slices.Contains(lines, i) {
				goes = append(goes, it)
				p.Fields = append(p.Fields, [2]string{"line", strconv.Itoa(i)}, [2]string{"name", it.Name})
			} else {
				stays = append(stays, it)
			}
		}
		p.What = s.t("%s gets: %s.", ref, itemWords(goes))
		p.Also = s.t("%s keeps: %s.", o.Ref, itemWords(stays))
		return func(d *desk.Desk) error { _, err := d.Split(ctx, a, ref, lines); return err }, nil
	case "join":
		p.Title, p.Label = s.t("Join"), s.t("Join the orders")
		other, ok := byRef(orders, form.Get("other"))
		if !ok {
			return nil, errors.New(s.t("there is no order “%s” on this night", tidy(form.Get("other"))))
		}
		p.What = s.t("%s takes in %s (%s): %s.", o.Ref, other.Ref, other.Name, itemWords(other.Items))
		if other.Phone != "" && other.Phone != o.Phone {
			p.Also = s.t("%s has another number, %s: no text tells them of it.", other.Ref, phone.National(other.Phone))
		}
		p.Fields = [][2]string{{"other", other.Ref}}
		return func(d *desk.Desk) error { _, err := d.Join(ctx, a, other.Ref); return err }, nil
	case "slot":
		p.Title = s.t("Move the whole slot")
		slot, err := night.ParseClock(form.Get("slot"))
		if err != nil {
			return nil, err
		}
		if slot == o.Slot {
			return nil, errors.New(s.t("%s is at %s already", o.Ref, s.slot(slot)))
		}
		var refs []string
		for _, other := range atSlot(orders, o.Slot) {
			refs = append(refs, other.Ref)
			p.Fields = append(p.Fields, [2]string{"with", other.Ref})
		}
		p.What, p.Label = s.t("%s instead of %s", s.slot(slot), s.slot(o.Slot)), s.t("Move %d orders", len(refs))
		p.Also = strings.Join(refs, ", ")
		p.Fields = append(p.Fields, [2]string{"from", o.Slot.String()}, [2]string{"slot", slot.String()})
		return func(d *desk.Desk) error { return d.MoveAll(ctx, a.Night, refs, slot, a.Who) }, nil
	}
	return nil, errNoPage
}

// splitOf reads which lines of an order go into one of their own, and its
// reference.
func (s *site) splitOf(o night.Order, orders []night.Order, form url.Values) (ref string, lines []int, err error) {
	ref = strings.TrimSpace(tidyTo(form.Get("ref"), 40))
	names := form["name"]
	for i, v := range form["line"] {
		place, err := strconv.Atoi(v)
		if err != nil {
			return "", nil, errNoPage
		}
		name := ""
		if i < len(names) { // as the page showed it
			name = names[i]
		}
		at, ok := night.FindItem(o.Items, place, name)
		if !ok {
			return "", nil, &desk.LineError{Ref: o.Ref, Line: desk.Line{Place: place, Name: name}}
		}
		lines = append(lines, at)
	}
	_, taken := byRef(orders, ref)
	switch {
	case ref == "":
		return "", nil, errors.New(s.t("give the new order a reference"))
	case taken:
		return "", nil, errors.New(s.t("there is an order %s already: choose another reference", ref))
	case len(lines) == 0 || len(lines) == len(o.Items):
		return "", nil, errors.New(s.t("leave at least one item in each of the two orders"))
	}
	return ref, lines, nil
}

func (s *site) split(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	orders, err := s.Desk.Orders(ctx, a.Night)
	if err != nil {
		return notice{}, err
	}
	ref, lines, err := s.splitOf(before, orders, form)
	if err != nil {
		return notice{}, err
	}
	part, err := s.Desk.Split(ctx, a, ref, lines)
	return done(before, s.t("split: %s is an order of its own now", part.Ref)), err
}

func (s *site) join(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	card, err := s.Desk.Card(ctx, a.Night, form.Get("other"))
	if err != nil {
		return notice{}, err
	}
	other := card.Order
	if _, err := other.State.After(night.Cancel); err != nil {
		return notice{Bad: true, Text: s.t("%s %s is %s, so “%s” was not done. %s", other.Ref, other.Name, s.state(other.State), s.t("join"), s.t("Take that back first if it is wrong."))}, nil
	}
	o, err := s.Desk.Join(ctx, a, other.Ref)
	return done(o, s.t("holds what was in %s", other.Ref)), err
}

// moveSlot moves the orders that the page showed, as far as they are still to
// come at that slot.
func (s *site) moveSlot(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	from, err := night.ParseClock(form.Get("from"))
	if err != nil {
		return notice{}, err
	}
	to, err := night.ParseClock(form.Get("slot"))
	if err != nil {
		return notice{}, err
	}
	orders, err := s.Desk.Orders(ctx, a.Night)
	if err != nil {
		return notice{}, err
	}
	var refs []string
	for _, o := range atSlot(orders, from) {
		if slices.Contains(form["with"], o.Ref) {
			refs = append(refs, o.Ref)
		}
	}
	if len(refs) == 0 {
		return notice{Text: s.t("Nobody of them is at %s any more, so nothing was changed.", s.slot(from))}, nil
	}
	if err := s.Desk.MoveAll(ctx, a.Night, refs, to, a.Who); err != nil {
		return notice{}, err
	}
	return notice{Text: s.t("%d orders moved to %s.", len(refs), s.slot(to))}, nil
}

// atSlot gives the orders of a slot whose customers are still to come.
func atSlot(orders []night.Order, slot night.Clock) []night.Order {
	var out []night.Order
	for _, o := range orders {
		if o.Slot == slot && o.State.Open() && o.State != night.Arrived {
			out = append(out, o)
		}
	}
	return out
}

// joinable gives the orders that can be joined into one, those of the same
// number first.
func (s *site) joinable(c seen, orders []night.Order, o night.Order) []Ticket {
	var same, others []night.Order
	for _, other := range orders {
		if _, err := other.State.After(night.Cancel); err != nil || other.ID == o.ID {
			continue
		}
		if o.Phone != "" && other.Phone == o.Phone {
			same = append(same, other)
		} else {
			others = append(others, other)
		}
	}
	return s.tickets(c, append(same, others...))
}

func byRef(orders []night.Order, ref string) (night.Order, bool) {
	i := slices.IndexFunc(orders, func(o night.Order) bool { return strings.EqualFold(o.Ref, strings.TrimSpace(ref)) })
	if i < 0 {
		return night.Order{}, false
	}
	return orders[i], true
}

// newRef is a free reference for what is split off an order: "K401-2".
func newRef(orders []night.Order, o night.Order) string {
	for n := 2; ; n++ {
		ref := fmt.Sprintf("%s-%d", o.Ref, n)
		if _, taken := byRef(orders, ref); !taken {
			return ref
		}
	}
}

func itemsOf(o night.Order) []bagItem {
	out := make([]bagItem, len(o.Items))
	for i, it := range o.Items {
		out[i] = bagItem{it, i}
	}
	return out
}

func itemWords(items []night.Item) string {
	parts := make([]string, len(items))
	for i, it := range items {
		parts[i] = fmt.Sprintf("%d × %s", it.Qty, it.Name)
	}
	return strings.Join(parts, ", ")
}
