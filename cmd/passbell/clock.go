//go:build !e2e

package main

import "github.com/jonboulle/clockwork"

// clock is the machine's.
func clock() clockwork.Clock { return clockwork.NewRealClock() }
