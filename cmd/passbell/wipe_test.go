package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"passbell/internal/night"
)

func TestWipeFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2026-01-09")
	s.run("book", "load", s.file("orders.csv", smallBook))
	before := s.run("report", "--night", "2026-01-09")
	assert.Contains(t, before, "Bethan")
	assert.Contains(t, s.run("wipe", "--before", "2026-01-09"), "Of no night before 2026-01-09")
	count := s.run("wipe", "--before", "2026-01-10", "--dry-run")
	assert.Contains(t, count, "2026-01-09  2 orders, 0 texts to customers, 0 texts from customers, ")
	code, out := s.try("no\n", "wipe", "--before", "2026-01-10")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "for good?")
	assert.Contains(t, out, "nothing was wiped")
	assert.Equal(t, before, s.run("report", "--night", "2026-01-09"))

	out = s.run("wipe", "--before", "2026-01-10", "--yes")
	assert.Contains(t, out, count)
	assert.Contains(t, out, "Backups")
	after := s.run("report", "--night", "2026-01-09")
	assert.NotContains(t, after, "Bethan")
	assert.Contains(t, after, "K401")
	assert.Contains(t, after, "names, numbers and texts are gone since")
	assert.NotContains(t, s.run("order", "show", "K401", "--night", "2026-01-09"), "101")
	assert.Contains(t, s.run("wipe", "--before", "2026-01-10", "--json"), "[]")

	code, out = s.try("", "wipe", "--before", night.DateOf(time.Now()).AddDays(2).String())
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "still to come")
	code, _ = s.try("", "wipe")
	assert.Equal(t, exitUsage, code)
}

func TestOrdersThatShouldBeClosedFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05", "--closes", "2026-01-02 18:00")
	s.run("book", "load", s.file("orders.csv", smallBook))
	for _, say := range [][]string{{"night", "show"}, {"night", "list"}, {"arrivals", "--once"}} {
		out := s.run(say...)
		assert.Contains(t, out, "should have been closed", say)
		assert.Contains(t, out, "no text goes out until somebody closes them", say)
	}
	s.run("close", "--yes")
	assert.NotContains(t, s.run("arrivals", "--once"), "should have been")
}
