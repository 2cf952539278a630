// Package fault turns a fault in the code into an error, where one piece of work
// must not take the night with it.
package fault

import (
	"fmt"
	"log/slog"
	"runtime/debug"
)

// Caught gives what recover gave, a panic, as an error, and puts where it happened
// on record. nil is none:
//
//	defer func() { err = errors.Join(err, fault.Caught(recover(), log)) }()
func Caught(fault any, log *slog.Logger) error {
	if fault == nil {
		return nil
	}
	log.Error("a fault in the program", "fault", fault, "stack", string(debug.Stack()))
	return fmt.Errorf("a fault in the program: %v", fault)
}
