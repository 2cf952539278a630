package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/wording"
)

// planPage is who gets what if orders close now, and who is left out.
type planPage struct {
	Origin
	Closed   string // since when orders are closed; "" while they are open
	Orders   int
	Kinds    []planKind
	Texts    int
	Parts    int
	Cost     string
	LeftOut  []leftOut
	Print    string // names the plan, so that what is confirmed is what was seen
	Warnings []string
}

// planKind is the texts of one kind.
type planKind struct {
	Kind  string
	Name  string // of the kind, in no language
	First string // when the first goes
	Last  string // when the last goes; "" where all go at once
	Texts []sentText
	Parts int
}

type leftOut struct {
	Ref, Name, Kind, Why, Number string

	Tel   template.URL
	Place string
}

func (s *site) planView(ctx context.Context, n night.Night) (view, error) {
	pre, err := s.Desk.Preview(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	c, _, err := s.sight(ctx, n, "/plan")
	if err != nil {
		return view{}, err
	}
	p := planPage{Origin: c.Origin, Orders: len(pre.Orders), Texts: len(pre.Messages), Parts: pre.Parts, Print: fingerprint(pre)}
	if pre.Closed {
		p.Closed = s.when(n, n.ClosedAt)
	}
	if s.Price.PerPart > 0 {
		p.Cost = wording.Money(s.Price.Cost(pre.Parts), s.Price.Currency)
	}
	names := namesByID(pre.Orders)
	seenWarning := map[string]bool{}
	for _, k := range []night.MessageKind{night.Instructions, night.Reminder, night.Update, night.Cancellation} {
		g := planKind{Kind: capital(s.kind(k)), Name: string(k)}
		for _, m := range pre.Messages { // in the order of sending
			if m.Kind != k {
				continue
			}
			t := s.sentText(c, m, names)
			t.At = s.when(n, m.DueAt)
			if g.First == "" {
				g.First = t.At
			}
			g.Last, g.Parts = t.At, g.Parts+m.Parts
			g.Texts = append(g.Texts, t)
			for _, w := range wording.Warnings(m.Text) {
				if words := g.Kind + ": " + s.say(w.Say); !seenWarning[words] {
					seenWarning[words] = true
					p.Warnings = append(p.Warnings, words)
				}
			}
		}
		if g.Last == g.First {
			g.Last = ""
		}
		if len(g.Texts) > 0 {
			p.Kinds = append(p.Kinds, g)
		}
	}
	byID := map[int64]night.Order{}
	for _, o := range pre.Orders {
		byID[o.ID] = o
	}
	for _, l := range pre.LeftOut {
		o := byID[l.OrderID]
		out := leftOut{Ref: o.Ref, Name: o.Name, Kind: s.kind(l.Kind), Why: s.say(string(l.Why)), Place: "/orders/" + escape(o.Ref)}
		out.Tel, out.Number = s.tel(o)
		p.LeftOut = append(p.LeftOut, out)
	}
	return view{Template: "plan", Live: true, Title: s.t("The plan"), Tab: "messages", Data: p}, nil
}

// fingerprint names a plan by what customers would get.
func fingerprint(p desk.Preview) string {
	h := sha256.New()
	for _, m := range p.Messages {
		fmt.Fprintf(h, "%s\x1f%s\x1f%s\x1e", m.Kind, m.To, m.Text)
	}
	fmt.Fprintf(h, "%d", len(p.LeftOut))
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// closeOrders closes orders, if the plan still is the one that was looked at.
func (s *site) closeOrders(ctx context.Context, nightID int64, who, seen string) (notice, error) {
	s.acting.Lock()
	defer s.acting.Unlock()
	pre, err := s.Desk.Preview(ctx, nightID)
	if err != nil {
		return notice{}, err
	}
	switch {
	case pre.Closed:
		return notice{Text: s.t("Orders are closed already. Nothing was done twice.")}, nil
	case seen != fingerprint(pre):
		return notice{Bad: true, Text: s.t("Something changed since you looked, so orders are still open. This is the plan as it is now.")}, nil
	}
	if pre, err = s.Desk.Close(ctx, nightID, who); err != nil {
		return notice{}, err
	}
	return notice{Text: s.t("Orders are closed.") + " " + s.summary(pre)}, nil
}

// summary says in a line what goes out.
func (s *site) summary(p desk.Preview) string {
	if len(p.Messages) == 0 {
		return s.t("Nothing is to be sent.")
	}
	return s.t("%d texts go out, each at its time, in %s.", len(p.Messages), s.t("%d parts", p.Parts))
}

// morePage lists the pages that have no place in the menu.
type morePage struct {
	Open bool
}

func (s *site) moreView(n night.Night) (view, error) {
	return view{Template: "more", Title: s.t("More"), Tab: "more", Data: morePage{Open: n.ClosedAt.IsZero()}}, nil
}
