package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestMoveDataFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05", "--place", "5 Mill Lane")
	s.run("book", "load", s.file("orders.csv", smallBook))
	to := filepath.Join(s.dir, "elsewhere.db")
	first := s.run("move-data", "--to", to)
	assert.Contains(t, first, "the same as here")
	assert.Equal(t, first, s.run("move-data", "--to", to), "moved already")
	s.run("close", "--yes")
	code, out := s.try("", "move-data", "--to", to)
	assert.NotZero(t, code)
	assert.Contains(t, out, "other records")
	code, _ = s.try("", "move-data")
	assert.Equal(t, exitUsage, code)
}
