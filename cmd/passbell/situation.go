package main

import (
	"context"

	"passbell/internal/corpus"
	"passbell/internal/gateway"
	"passbell/internal/inbox"
	"passbell/internal/match"
	"passbell/internal/night"
)

// situation gives the current night of the database, to read a text against.
func (a *app) situation(ctx context.Context) (*corpus.Run, corpus.Night, error) {
	var run *corpus.Run
	var described corpus.Night
	err := a.onNight(ctx, "", func(h *gateway.House, n night.Night) error {
		described = corpus.Night{
			Region: h.Kitchen.Region, Timezone: h.Kitchen.Zone.String(), Date: n.Date,
			FirstSlot: n.First, LastSlot: n.Last, Minutes: n.Every,
		}
		orders, err := h.Desk.Orders(ctx, n.ID)
		if err != nil {
			return err
		}
		run, err = corpus.NewRunOn(described, match.New(inbox.Candidates(orders)))
		return err
	})
	return run, described, err
}
