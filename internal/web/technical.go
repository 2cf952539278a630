package web

import (
	"context"
	"errors"

	"passbell/internal/night"
)

// technical tells a failure of the database from what the desk worded for the
// cook: its words would help nobody at the gate, and what it means is that
// passbell itself has a problem.
func technical(err error) bool {
	var broken *night.StoreError
	return errors.As(err, &broken) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}
