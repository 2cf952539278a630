package web

import (
	"context"
	"slices"
	"time"

	"passbell/internal/night"
)

// messagesPage is what goes out, what went out and what came in.
type messagesPage struct {
	Origin
	Open     bool // orders are not closed yet
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
	p := messagesPage{Origin: c.Origin, Open: n.ClosedAt.IsZero()}
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
	return view{Template: "messages", Live: true, Title: s.t("Messages"), Tab: "messages", Data: p}, nil
}

// moment is when a message was settled, or is due.
func moment(m night.Message) time.Time {
	if m.SettledAt.IsZero() {
		return m.DueAt
	}
	return m.SettledAt
}
