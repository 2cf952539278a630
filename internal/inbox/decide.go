package inbox

import (
	"passbell/internal/desk"
	"passbell/internal/night"
)

// Situation is all that a text is read against.
type Situation struct {
	Inbound  night.Inbound
	Kitchen  night.Kitchen
	Night    night.Night // zero where the kitchen has no night at all
	Orders   []night.Order
	Earlier  []night.Inbound // the sender's texts about this night, oldest first
	OptedOut bool
	Placed   string // the reference of the order that a person says it is about
}

// Decide reads a text, matches it to orders and says what to do. It is a pure
// function.
func Decide(s Situation) desk.Decision {
	return desk.Decision{Night: s.Night, Intent: desk.Other, Person: true, Why: "not read"}
}
