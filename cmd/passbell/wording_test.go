package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/wording"
)

func TestWordingFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05", "--place", "5 Mill Lane")
	s.run("book", "load", s.file("orders.csv", smallBook))
	s.run("close", "--yes")
	builtIn := s.run("wording", "show", "reminder")
	assert.Contains(t, builtIn, "{{")

	words := s.file("reminder.txt", "Come at {{.Slot}}, {{.First}}’s order.\n")
	trial := s.run("wording", "set", "reminder", words, "--dry-run")
	assert.Contains(t, trial, "Come at 17:00")
	assert.Contains(t, trial, "MIND", "a curly quote")
	assert.Equal(t, builtIn, s.run("wording", "show", "reminder"), "nothing was saved")

	assert.Contains(t, s.run("wording", "set", "reminder", words), "written anew")
	assert.Equal(t, "Come at {{.Slot}}, {{.First}}’s order.\n", s.run("wording", "show", "reminder"), "another run of the program sees it")
	assert.Contains(t, s.run("wording", "list"), "by cook")
	var list []wordsJSON
	require.NoError(t, json.Unmarshal([]byte(s.run("wording", "list", "--json")), &list))
	require.Len(t, list, len(wording.Names()))
	for _, w := range list {
		assert.Equal(t, w.Name == "reminder", w.From == "saved", w.Name)
	}
	code, out := s.try("{{.Sloth}}", "wording", "set", "reminder", "-")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "does not exist")
	code, out = s.try("", "wording", "show", "poem")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, out, "reminder")
	assert.Contains(t, s.run("wording", "reset", "reminder"), "written anew")
	assert.Equal(t, strings.TrimSpace(builtIn), strings.TrimSpace(s.run("wording", "show", "reminder")))
}
