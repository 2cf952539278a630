package web

import (
	"context"
	"errors"

	"github.com/danielgtaylor/huma/v2"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// apiPart names a line of an order and, where that is asked, how many pieces of
// it.
type apiPart struct {
	Place  int    `json:"place" minimum:"1" doc:"Its place in the order, from 1"`
	Name   string `json:"name,omitempty" maxLength:"200" doc:"As it was read: where the order has changed since, the name decides"`
	Pieces *int   `json:"pieces,omitempty" minimum:"0" maximum:"999" doc:"For short: how many are missing, 0 for none after all; left out, all of them"`
}

func (p apiPart) line() desk.Line { return desk.Line{Place: p.Place - 1, Name: p.Name} }

func (s *site) apiTick(ctx context.Context, a desk.Act, before night.Order, in actBody) (night.Order, error) {
	if len(in.Items) == 0 {
		return before, huma.Error422UnprocessableEntity("say which lines: {\"items\": [{\"place\": 1}]}")
	}
	o := before
	for _, p := range in.Items {
		var err error
		if o, err = s.Desk.Tick(ctx, a, p.line(), in.Ticked == nil || *in.Ticked); err != nil {
			return o, lineError(err)
		}
	}
	return o, nil
}

func (s *site) apiShort(ctx context.Context, a desk.Act, before night.Order, in actBody) (night.Order, error) {
	if len(in.Items) == 0 {
		return before, huma.Error422UnprocessableEntity("say which lines: {\"items\": [{\"place\": 1, \"pieces\": 2}]}")
	}
	var lacks []desk.Lack
	for _, p := range in.Items {
		l := desk.Lack{Line: p.line(), Pieces: desk.AllOfIt}
		if p.Pieces != nil {
			l.Pieces = *p.Pieces
		}
		lacks = append(lacks, l)
	}
	o, err := s.Desk.Short(ctx, a, lacks, in.Text)
	return o, lineError(err)
}

// lineError gives a refusal that names the order or its lines its status.
func lineError(err error) error {
	var line *desk.LineError
	switch {
	case err == nil, technical(err), errors.Is(err, night.ErrNotFound), errors.Is(err, night.ErrChanged):
		return err
	case errors.As(err, &line):
		return huma.Error422UnprocessableEntity(err.Error())
	}
	return huma.Error409Conflict(err.Error())
}
