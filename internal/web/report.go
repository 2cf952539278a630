package web

import (
	"context"
	"fmt"
	"slices"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
)

type reportPage struct {
	desk.Report
	Orders   []count
	Texts    []stateCount
	In, Out  int
	MeanWait string
	LongWait string
	Gone     string // since when names and numbers are wiped; "" where they are kept
}

func (s *site) reportView(ctx context.Context, n night.Night) (view, error) {
	r, err := s.Desk.Report(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	p := reportPage{Report: r, In: r.Texts, MeanWait: s.minutes(r.MeanWait), LongWait: s.minutes(r.LongWait)}
	for _, st := range []night.State{night.HandedOut, night.Arrived, night.Reminded, night.Told, night.Booked, night.NotCollected, night.Cancelled} {
		if r.States[st] > 0 {
			p.Orders = append(p.Orders, count{s.states(st, r.States[st]), r.States[st]})
		}
	}
	for _, st := range messageStates {
		if r.Messages[st] > 0 {
			p.Texts = append(p.Texts, stateCount{st, r.Messages[st]})
			p.Out += r.Messages[st]
		}
	}
	if r.Wiped != nil {
		p.Gone = s.date(night.DateOf(r.Wiped.In(s.Kitchen.Zone)))
	}
	p.FollowUps = slices.Clone(r.FollowUps)
	for i := range p.FollowUps {
		p.FollowUps[i].What = s.say(p.FollowUps[i].What)
	}
	return view{Template: "report", Live: true, Title: s.t("Report"), Tab: "more", Data: p}, nil
}

// minutes writes a wait as minutes and seconds.
func (w *tongue) minutes(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	return w.t("%d min %s s", s/60, fmt.Sprintf("%02d", s%60))
}
