//go:build !race

package rehearsal

// raced is set where the race detector watches.
const raced = false
