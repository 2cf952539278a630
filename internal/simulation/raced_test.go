//go:build race

package simulation_test

// raced is set where the race detector watches.
const raced = true
