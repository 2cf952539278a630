package desk

import (
	"context"

	"passbell/internal/night"
)

// Messages gives a night's messages in the order in which they are due.
func (d *Desk) Messages(ctx context.Context, nightID int64) ([]night.Message, error) {
	var out []night.Message
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		out, err = tx.Messages(ctx, nightID)
		return err
	})
	return out, err
}

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
