package web

import (
	"context"
	"fmt"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
)

type reportPage struct {
	desk.Report
	Orders   []count
	Texts    []stateCount
	In       int
	MeanWait string
	LongWait string
}

func (s *site) reportView(ctx context.Context, n night.Night) (view, error) {
	r, err := s.Desk.Report(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	p := reportPage{Report: r, In: r.Texts, MeanWait: minutes(r.MeanWait), LongWait: minutes(r.LongWait)}
	for _, st := range []night.State{night.HandedOut, night.Arrived, night.Reminded, night.Told, night.Booked, night.NotCollected, night.Cancelled} {
		if r.States[st] > 0 {
			p.Orders = append(p.Orders, count{stateWords(st), r.States[st]})
		}
	}
	for _, st := range messageStates {
		if r.Messages[st] > 0 {
			p.Texts = append(p.Texts, stateCount{st, r.Messages[st]})
		}
	}
	return view{Template: "report", Live: true, Title: "Report", Tab: "more", Data: p}, nil
}

// minutes writes a wait as minutes and seconds.
func minutes(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	return fmt.Sprintf("%d min %02d s", s/60, s%60)
}
