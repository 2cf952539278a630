package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// newHost writes the configuration of two kitchens that share an adapter.
func newHost(t *testing.T) *shell {
	t.Helper()
	s := &shell{t: t, dir: t.TempDir()}
	require.NoError(t, os.Mkdir(filepath.Join(s.dir, "kitchens"), 0o700))
	s.file("passbell.toml", `
listen = "127.0.0.1:0"
kitchens = "kitchens"
[[adapter]]
name = "texts"
kind = "practice"
from = "{number}"
`)
	for name, number := range map[string]string{"larkfield": "07700 900100", "millbank": "07700 900200"} {
		s.file("kitchens/"+name+".toml", `
host = "`+name+`.localhost"
[kitchen]
name = "`+name+` kitchen"
region = "GB"
zone = "Europe/London"
number = "`+number+`"
[night]
place = "5 Mill Lane"
[[adapter]]
name = "own"
kind = "practice"
`)
	}
	return s
}

func TestSeveralKitchensFromTheShell(t *testing.T) {
	t.Parallel()
	s := newHost(t)
	code, out := s.try("", "night", "list")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, out, "--kitchen: larkfield, millbank")
	code, out = s.try("", "--kitchen", "brook", "night", "list")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, out, `no kitchen "brook"`)

	book := s.file("orders.csv", smallBook)
	s.run("--kitchen", "larkfield", "night", "add", "2031-12-05")
	s.run("--kitchen", "larkfield", "book", "load", book)
	plan := s.run("--kitchen", "larkfield", "close", "--dry-run")
	assert.Contains(t, plan, "K401")
	assert.Contains(t, s.run("--kitchen", "larkfield", "book", "show"), "Bethan Cadwgan")
	s.run("--kitchen", "millbank", "night", "add", "2031-12-05")
	assert.NotContains(t, s.run("--kitchen", "millbank", "book", "show"), "Bethan Cadwgan")
	assert.FileExists(t, filepath.Join(s.dir, "passbell.db"), "one database, beside the host's file")

	checked := s.run("check")
	assert.Equal(t, 1, strings.Count(checked, "texts (practice) of larkfield, millbank"), checked)
	assert.Contains(t, checked, "own (practice) of millbank")
	checked = s.run("--kitchen", "larkfield", "check")
	assert.Contains(t, checked, "own (practice) of larkfield")
	assert.NotContains(t, checked, "millbank")
	code, out = s.try("", "check", "--to", "07700900456")
	assert.Equal(t, exitUsage, code, out)

	moved := s.run("move-data", "--to", filepath.Join(s.dir, "other.db"))
	assert.Contains(t, moved, "rows are there")
	code, out = s.try("", "--config", filepath.Join(s.dir, "kitchens", "larkfield.toml"), "night", "list")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "--kitchen")
}

// TestServeSeveralKitchens runs the command until it is told to stop.
func TestServeSeveralKitchens(t *testing.T) {
	t.Parallel()
	s := newHost(t)
	ctx, stop := context.WithCancel(t.Context())
	read, write := io.Pipe()
	var said bytes.Buffer
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"--config", filepath.Join(s.dir, "passbell.toml"), "serve"}, std{in: strings.NewReader(""), out: write, err: &said})
	}()
	lines := bufio.NewScanner(read)
	var out []string
	for len(out) < 4 && lines.Scan() {
		out = append(out, lines.Text())
	}
	require.Len(t, out, 4)
	assert.Contains(t, out[0], "127.0.0.1:")
	assert.Equal(t, "  larkfield.localhost  larkfield kitchen", out[1])
	assert.Equal(t, "  millbank.localhost  millbank kitchen", out[2])
	stop()
	select {
	case got := <-code:
		assert.Equal(t, exitDone, got, said.String())
	case <-time.After(time.Minute):
		t.Fatal("it did not stop")
	}
}

// TestInitSeveralKitchens sets up one kitchen after the other, and is refused
// what can't be: then nothing is left of it.
func TestInitSeveralKitchens(t *testing.T) {
	t.Parallel()
	s := &shell{t: t, dir: t.TempDir()}
	add := func(host, name string, more ...string) (int, string) {
		return s.try("", append([]string{
			"init", "--host", host, "--kitchen", name, "--number", "07700 900100", "--place", "5 Mill Lane", "--no-input",
		}, more...)...)
	}
	files := func() (out []string) {
		all, err := filepath.Glob(filepath.Join(s.dir, "*", "*"))
		require.NoError(t, err)
		for _, path := range all {
			out = append(out, filepath.Base(path))
		}
		return out
	}
	code, out := add("larkfield.example", "Larkfield Dumpling Kitchen")
	assert.Equal(t, exitUsage, code, "open to others without a passphrase")
	assert.Contains(t, out, "passphrase")
	left, err := os.ReadDir(s.dir)
	require.NoError(t, err)
	assert.Empty(t, left)

	code, out = add("Larkfield.localhost", "Larkfield Dumpling Kitchen", "--provider", "practice")
	require.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "passbell --kitchen larkfield night add")
	shared, err := os.ReadFile(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	assert.Contains(t, string(shared), "from = '{number}'")
	s.file("words", "correct horse battery\n")
	code, out = add("millbank.example", "Millbank Bakery", "--passphrase-file", filepath.Join(s.dir, "words"))
	require.Equal(t, exitDone, code, out)
	assert.Equal(t, []string{"larkfield.toml", "millbank.toml"}, files())
	mine, err := os.ReadFile(filepath.Join(s.dir, "kitchens", "larkfield.toml"))
	require.NoError(t, err)
	for _, word := range []string{"database", "listen", "adapter"} {
		assert.NotContains(t, string(mine), word)
	}
	s.run("--kitchen", "millbank", "night", "add", "2031-12-05")
	assert.NotContains(t, s.run("--kitchen", "larkfield", "night", "list"), "2031")

	for name, c := range map[string]struct {
		host, kitchen string
		more          []string
		code          int
		says          string
	}{
		"the same file":       {"larkfield.localhost", "Another", nil, exitFailed, "left as it is"},
		"the same name":       {"brook.localhost", "Millbank Bakery", nil, exitUsage, "is the name of"},
		"what all share":      {"brook.localhost", "Brook", []string{"--provider", "webapi"}, exitUsage, "for all kitchens"},
		"an address":          {"https://brook.localhost/", "Brook", nil, exitUsage, "without https://"},
		"no name":             {".", "Brook", nil, exitUsage, "larkfield.example"},
		"a folder":            {"more/brook.localhost", "Brook", nil, exitUsage, "without https://"},
		"without --host":      {"", "Brook", nil, exitFailed, "--host"},
		"a path as the name":  {"../brook", "Brook", nil, exitUsage, "larkfield.example"},
		"an absent password":  {"brook.example", "Brook", []string{"--passphrase-file", "nowhere"}, exitFailed, "read the passphrase"},
		"a zone that is none": {"brook.localhost", "Brook", []string{"--zone", "Middle/Earth"}, exitUsage, "kitchen.zone"},
	} {
		code, out := add(c.host, c.kitchen, c.more...)
		assert.Equal(t, c.code, code, "%s: %s", name, out)
		assert.Contains(t, out, c.says, name)
		assert.Equal(t, []string{"larkfield.toml", "millbank.toml"}, files(), name)
	}
	after, err := os.ReadFile(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	assert.Equal(t, string(shared), string(after), "what all share is left as it is")

	alone := newShell(t)
	code, out = alone.try("", "init", "--host", "brook.localhost", "--no-input")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "kitchens/NAME.toml")
}
