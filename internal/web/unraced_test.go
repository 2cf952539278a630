//go:build !race

package web_test

// raced is set where the race detector watches.
const raced = false
