package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestItemsFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05")
	s.run("book", "load", s.file("orders.csv", smallBook))
	s.run("close", "--yes")

	s.run("order", "tick", "K401", "1", "2")
	s.run("order", "tick", "K401", "1", "--off")
	assert.Equal(t, 1, strings.Count(s.run("order", "show", "K401"), ", in the bag"))

	out := s.run("order", "short", "K401", "2", "--dry-run")
	assert.Contains(t, out, "send    short to …101")
	assert.Contains(t, out, "this is missing: 1 x Slaw.")
	assert.NotContains(t, s.run("order", "show", "K401"), "MISSING")
	assert.Contains(t, s.run("order", "short", "K401", "1=1", "--at-gate"), "MISSING: 1 x Pork bao")
	assert.Contains(t, s.run("order", "show", "K401"), "1 MISSING (to be said at the gate)")
	assert.Contains(t, s.run("order", "short", "K401", "2"), "MISSING: 1 x Pork bao, 1 x Slaw")
	assert.Contains(t, s.run("order", "short", "K401", "2", "--dry-run"), "no text would be sent", "it is on its way")
	assert.Contains(t, s.run("report"), "to refund or make good: 1 x Pork bao, 1 x Slaw")
	assert.NotContains(t, s.run("order", "short", "K401", "1=0", "2=0", "--at-gate"), "MISSING")

	for _, args := range [][]string{{"tick", "K401", "bao"}, {"short", "K401", "1=x"}, {"short", "K401", "0"}} {
		code, _ := s.try("", append([]string{"order"}, args...)...)
		assert.Equal(t, exitUsage, code, args)
	}
	code, out := s.try("", "order", "short", "K401", "7")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "no item 7")
}
