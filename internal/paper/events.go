package paper

import (
	"context"

	"passbell/internal/night"
)

// History gives a night's events in portions.
type History interface {
	Events(ctx context.Context, nightID, after int64, limit int) ([]night.Event, error)
}

// AllEvents reads a night's whole history.
func AllEvents(ctx context.Context, h History, nightID int64) ([]night.Event, error) {
	const portion = 1000
	var out []night.Event
	for after := int64(0); ; {
		part, err := h.Events(ctx, nightID, after, portion)
		if err != nil {
			return nil, err
		}
		out = append(out, part...)
		if len(part) < portion {
			return out, nil
		}
		after = part[len(part)-1].ID
	}
}
