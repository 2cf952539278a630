package web

import (
	"context"
	"fmt"
	"html/template"
	"slices"

	"passbell/internal/night"
	"passbell/internal/wording"
)

// byHandPage is who a person texts from a phone of their own.
type byHandPage struct {
	Origin
	Now   []hand
	Later []hand // whom passbell texts by itself
}

// hand is one customer to be told by hand.
type hand struct {
	Origin
	ID     string
	About  string // names and references
	Name   string
	Kind   string
	Number string
	At     string
	Text   string
	Why    string
	SMS    template.URL // opens the phone's own messages; "" where only a call helps
	Tel    template.URL
	Tick   string // the address that writes down that it was done
}

// byHandView lists one line a customer: the text that did not reach them, or
// the next that is due.
func (s *site) byHandView(ctx context.Context, n night.Night) (view, error) {
	b, err := s.Desk.Board(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	messages, err := s.Desk.Messages(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	c := seen{Origin: Origin{Back: "/by-hand", Night: n.ID}, night: n, at: b.At}
	p := byHandPage{Origin: c.Origin}
	names := namesByID(b.Orders)
	listed := map[string]bool{}
	for _, t := range b.Trouble {
		h := s.hand(c, t.Message, names, t.Order.Name)
		h.Why = s.fate(t.Message.State)
		if t.Message.Reason != "" {
			h.Why += ": " + s.say(t.Message.Reason)
		}
		listed[t.Message.To] = true
		p.Now = append(p.Now, h)
	}
	for _, o := range b.Untold {
		t := s.ticket(c, o)
		p.Now = append(p.Now, hand{
			Origin: c.Origin, ID: fmt.Sprintf("o%d", o.ID), About: o.Name + " " + o.Ref, Name: o.Name, Kind: s.t("for %s", t.Slot),
			Number: t.Number, Tel: t.Tel, Why: s.t("no text can tell them: ring them"), Tick: t.Place() + "/told",
		})
	}
	byID := map[int64]night.Order{}
	for _, o := range b.Orders {
		byID[o.ID] = o
	}
	slices.SortStableFunc(messages, func(a, b night.Message) int { return a.DueAt.Compare(b.DueAt) })
	for _, m := range messages {
		answer := m.Kind == night.Reply || m.Kind == night.Confirmation
		if m.State != night.Due || answer || listed[m.To] || len(m.Covers) == 0 {
			continue
		}
		listed[m.To] = true
		p.Later = append(p.Later, s.hand(c, m, names, byID[m.Covers[0].OrderID].Name))
	}
	return view{Template: "by-hand", Live: true, Title: s.t("Text by hand"), Tab: "more", Event: b.Event, Data: p}, nil
}

func (s *site) hand(c seen, m night.Message, names map[int64]string, name string) hand {
	t := s.sentText(c, m, names)
	return hand{
		Origin: c.Origin, ID: fmt.Sprintf("m%d", m.ID), About: t.About, Name: name, Kind: t.Kind, Number: t.Number,
		At: s.when(c.night, m.DueAt), Text: m.Text, SMS: smsURL(m.To, m.Text), Tel: t.Tel, Tick: fmt.Sprintf("/messages/%d/told", m.ID),
	}
}

// smsURL is the address that opens a phone's own messages. All of it but the
// number is percent-encoded, so nothing in a text can reach out of it.
func smsURL(to, text string) template.URL {
	if !isNumber(to) {
		return ""
	}
	return template.URL(wording.SMSLink(to, text)) //nolint:gosec // a number and percent-encoded text
}
