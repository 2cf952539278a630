package desk

import (
	"context"

	"passbell/internal/night"
)

// Events gives a night's events with an id above after, at most limit of them,
// in the order in which they happened.
func (d *Desk) Events(ctx context.Context, nightID, after int64, limit int) ([]night.Event, error) {
	var out []night.Event
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		out, err = tx.Events(ctx, nightID, after, limit)
		return err
	})
	return out, err
}
