package web

import (
	"context"
	"slices"

	"passbell/internal/night"
)

// runnerPage is for the one who carries bags out: only who is here.
type runnerPage struct {
	Origin
	Gate []Ticket
	Here int
}

// wallPage is read from two metres: what is next, and who is here.
type wallPage struct {
	Origin
	Next []Ticket
	Gate []Ticket
	More int // here and not shown
	Here int
	At   string
	Off  bool
}

const (
	// wallNext is how many bags the wall shows, wallGate how many customers.
	wallNext = 3
	wallGate = 6
)

func (s *site) runnerView(ctx context.Context, n night.Night, limited bool) (view, error) {
	b, err := s.Desk.Board(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	recent, err := s.recent(ctx, b)
	if err != nil {
		return view{}, err
	}
	c := seen{Origin: Origin{Back: "/runner", Night: n.ID, Limited: limited}, night: n, at: b.At, with: together(b.Orders), unsaid: b.Unsaid}
	p := runnerPage{Origin: c.Origin, Gate: s.gate(c, b, recent), Here: len(b.Gate)}
	return view{Template: "runner", Live: true, Title: s.t("Runner"), Tab: "runner", Event: b.Event, Data: p}, nil
}

func (s *site) wallView(ctx context.Context, n night.Night) (view, error) {
	b, err := s.Desk.Board(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	c := seen{Origin: Origin{Back: "/wall", Night: n.ID}, night: n, at: b.At}
	next := slices.Clone(b.Pack)
	for _, o := range b.Next {
		if o.PackedAt.IsZero() && !slices.ContainsFunc(next, func(x night.Order) bool { return x.ID == o.ID }) {
			next = append(next, o)
		}
	}
	p := wallPage{Origin: c.Origin, Here: len(b.Gate), At: s.clock(b.At), Off: !n.CalledOff.IsZero()}
	p.Next = s.tickets(c, next[:min(len(next), wallNext)])
	p.Gate = s.tickets(c, b.Gate[:min(len(b.Gate), wallGate)])
	p.More = len(b.Gate) - len(p.Gate)
	return view{Template: "wall", Live: true, Bare: true, Title: s.t("Wall"), Tab: "wall", Event: b.Event, Data: p}, nil
}
