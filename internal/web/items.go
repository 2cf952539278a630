package web

import (
	"context"
	"errors"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// tick marks one line of an order as being in the bag. The page shows that where
// it was tapped and needs no words for it.
func (s *site) tick(ticked bool) func(context.Context, desk.Act, night.Order, url.Values) (notice, error) {
	return func(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
		place, err := strconv.Atoi(form.Get("item"))
		if err != nil {
			return notice{}, errNoPage
		}
		_, err = s.Desk.Tick(ctx, a, desk.Line{Place: place, Name: form.Get("name")}, ticked)
		var gone *desk.LineError
		if errors.As(err, &gone) { // tapping again would not help
			return notice{Bad: true, Text: s.t("%s %s has no “%s” any more, so nothing was ticked. See what is in it now.", before.Ref, before.Name, form.Get("name"))}, nil
		}
		return notice{Quiet: true}, err
	}
}

// shortPage is where the kitchen says what of an order is missing, with the text
// that the customer would get.
type shortPage struct {
	Ticket
	Items []shortItem
	Says  string // what would be missing; "" for nothing
	Wrong string // why no text can go
	Known bool   // the customer has this text already, or it is on its way
	follows
}

// shortButton is a button that notes what is missing.
type shortButton struct {
	shortPage
	Label, Way, Class string
}

func newShortButton(p shortPage, label, way, class string) shortButton {
	return shortButton{p, label, way, class}
}

// shortItem is one line of an order and how many of it are to count as missing.
type shortItem struct {
	night.Item
	Pieces  int
	Choices []int
}

// shortView shows what the choices in an address mean. They are no more than
// numbers of pieces, so that they may stand there.
func (s *site) shortView(ctx context.Context, n night.Night, ref string, q url.Values) (view, error) {
	card, err := s.Desk.Card(ctx, n.ID, ref)
	if err != nil {
		return view{}, err
	}
	o := card.Order
	back := "/orders/" + escape(o.Ref)
	if q.Has("back") { // to the pass, where the line was tapped
		back = safeBack(q.Get("back"))
	}
	c, orders, err := s.sight(ctx, n, back)
	if err != nil {
		return view{}, err
	}
	c.unsaid = map[int64]bool{o.ID: desk.Unsaid(o, card.Messages)}
	p := shortPage{Ticket: s.ticket(c, o), Items: shortItems(o, q)}
	v := view{Template: "short", Title: s.t("Something is missing") + ", " + o.Ref, Tab: "orders", Path: p.Place() + "/short"}
	after := slices.Clone(o.Items)
	var lacks []desk.Lack
	for i, it := range p.Items {
		after[i].Short = it.Pieces
		lacks = append(lacks, desk.Lack{Line: desk.Line{Place: i, Name: it.Name}, Pieces: it.Pieces})
	}
	p.Says = missingWords(after)
	if p.Says != "" {
		a := desk.Act{Night: n.ID, Ref: o.Ref, Who: cook}
		p.follows, err = s.foresee(ctx, c, orders, func(d *desk.Desk) error {
			_, err := d.Short(ctx, a, lacks, true)
			return err
		})
		if technical(err) {
			return view{}, err
		}
		if err != nil {
			p.Wrong = strings.TrimPrefix(s.sorry(o, s.t("something is missing"), err).Text, s.t("Not done:")+" ")
		}
		p.Known = err == nil && p.Sends == 0
	}
	v.Data = p
	return v, nil
}

// shortItems gives the lines of an order with what an address says of them: all
// of one line, or how many of each; else what is on record.
func shortItems(o night.Order, q url.Values) []shortItem {
	out := make([]shortItem, len(o.Items))
	pieces := q["pieces"]
	for i, it := range o.Items {
		all := max(it.Qty, 1)
		out[i] = shortItem{Item: it, Pieces: it.Short}
		for n := range all + 1 {
			out[i].Choices = append(out[i].Choices, n)
		}
		if i < len(pieces) {
			if n, err := strconv.Atoi(pieces[i]); err == nil {
				out[i].Pieces = min(max(n, 0), all)
			}
		}
		if q.Get("item") == strconv.Itoa(i) {
			out[i].Pieces = all
		}
	}
	return out
}

// short notes what is missing, and tells the customer where that was chosen.
func (s *site) short(ctx context.Context, a desk.Act, _ night.Order, form url.Values) (notice, error) {
	names, pieces := form["name"], form["pieces"]
	if len(names) == 0 || len(names) != len(pieces) {
		return notice{}, errNoPage
	}
	var lacks []desk.Lack
	for i, name := range names {
		n, err := strconv.Atoi(pieces[i])
		if err != nil || n < 0 {
			return notice{}, errNoPage
		}
		lacks = append(lacks, desk.Lack{Line: desk.Line{Place: i, Name: name}, Pieces: n})
	}
	text := form.Get("way") == "text"
	o, err := s.Desk.Short(ctx, a, lacks, text)
	if err != nil {
		return notice{}, err
	}
	switch missing := missingWords(o.Items); {
	case missing == "":
		return done(o, s.t("nothing is missing after all")), nil
	case text:
		return done(o, s.t("missing %s; a text tells them", missing)), nil
	default:
		return done(o, s.t("missing %s; say it at the gate", missing)), nil
	}
}
