package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestSheetFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05", "--place", "5 Mill Lane")
	s.run("book", "load", s.file("orders.csv", smallBook))
	s.run("close", "--yes")
	for name, flags := range map[string][]string{"sheet": nil, "labels": {"--labels"}, "changes": {"--changes", "--since", "2026-01-01 09:00"}} {
		path := filepath.Join(s.dir, name+".pdf")
		assert.Contains(t, s.run(append([]string{"sheet", "-o", path}, flags...)...), "ready to print")
		pdf, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, "%PDF-", string(pdf[:5]), name)
	}
	for name, args := range map[string][]string{
		"changes since when": {"sheet", "--changes"}, "since without changes": {"sheet", "--since", "16:20"}, "no time": {"sheet", "--changes", "--since", "soon"},
	} {
		code, out := s.try("", args...)
		assert.Equal(t, exitUsage, code, name)
		assert.Contains(t, out, "--since", name)
	}
	code, out := s.try("", "sheet", "--labels", "--sign")
	assert.NotZero(t, code)
	assert.Contains(t, out, "labels")
}
