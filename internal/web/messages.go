package web

import (
	"context"
	"html/template"
	"slices"
	"time"

	"passbell/internal/night"
)

// messagesPage is what goes out, what went out and what came in.
type messagesPage struct {
	Origin
	Plan     *planned // before closing
	Counts   []stateCount
	Trouble  []sentText
	Log      []sentText
	Texts    []inboundLine
	Doubtful int
}

type stateCount struct {
	State night.MessageState
	N     int
}

type planned struct {
	Summary string
	Texts   []sentText
	LeftOut []leftOut
}

type leftOut struct {
	Ref, Name, Kind, Why, Number string

	Tel template.URL
}

type inboundLine struct {
	text
	State night.InboundState
	About string
}

func (s *site) messagesView(ctx context.Context, n night.Night) (view, error) {
	c, orders, err := s.sight(ctx, n, "/messages")
	if err != nil {
		return view{}, err
	}
	messages, err := s.Desk.Messages(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	texts, err := s.Desk.Inbounds(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	p := messagesPage{Origin: c.Origin}
	if n.ClosedAt.IsZero() {
		if p.Plan, err = s.planned(ctx, c, orders); err != nil {
			return view{}, err
		}
	}
	names := namesByID(orders)
	counts := map[night.MessageState]int{}
	slices.SortStableFunc(messages, func(a, b night.Message) int { return moment(b).Compare(moment(a)) })
	for _, m := range messages {
		counts[m.State]++
		t := s.sentText(c, m, names)
		if t.Again {
			p.Trouble = append(p.Trouble, t)
			continue
		}
		p.Log = append(p.Log, t)
	}
	p.Doubtful = counts[night.InDoubt]
	for _, st := range messageStates {
		if counts[st] > 0 {
			p.Counts = append(p.Counts, stateCount{st, counts[st]})
		}
	}
	for _, in := range slices.Backward(texts) {
		l := inboundLine{text: s.text(c, in, orders), State: in.State}
		for i, id := range in.Orders {
			if i > 0 {
				l.About += ", "
			}
			l.About += names[id]
		}
		p.Texts = append(p.Texts, l)
	}
	return view{Template: "messages", Live: true, Title: "Messages", Tab: "messages", Data: p}, nil
}

// moment is when a message was settled, or is due.
func moment(m night.Message) time.Time {
	if m.SettledAt.IsZero() {
		return m.DueAt
	}
	return m.SettledAt
}

// planned is who would get what, and who is left out, if orders closed now.
func (s *site) planned(ctx context.Context, c seen, orders []night.Order) (*planned, error) {
	pre, err := s.Desk.Preview(ctx, c.night.ID)
	if err != nil {
		return nil, err
	}
	p := &planned{Summary: pre.Summary()}
	names := namesByID(orders)
	for _, m := range pre.Messages {
		p.Texts = append(p.Texts, s.sentText(c, m, names))
	}
	byID := map[int64]night.Order{}
	for _, o := range orders {
		byID[o.ID] = o
	}
	for _, l := range pre.LeftOut {
		o := byID[l.OrderID]
		out := leftOut{Ref: o.Ref, Name: o.Name, Kind: kindWords(l.Kind), Why: string(l.Why)}
		out.Tel, out.Number = s.tel(o)
		p.LeftOut = append(p.LeftOut, out)
	}
	return p, nil
}
