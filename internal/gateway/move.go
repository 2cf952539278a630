package gateway

import (
	"context"
	"errors"

	"passbell/internal/store"
)

// Move copies everything from one database to another: files of the embedded
// one, or postgres:// URLs. It may be called again after an interruption.
func Move(ctx context.Context, from, to string, tell func(store.Moved)) (err error) {
	if from == to {
		return errors.New("both are the same database: name another one to move to")
	}
	source, err := store.Open(ctx, from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, source.Close()) }()
	target, err := store.Open(ctx, to)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, target.Close()) }()
	return store.Move(ctx, source, target, tell)
}
