package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/corpus"
	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

// shell runs command lines in a folder of their own.
type shell struct {
	t   *testing.T
	dir string
}

func newShell(t *testing.T) *shell {
	t.Helper()
	s := &shell{t: t, dir: t.TempDir()}
	s.run("init", "--kitchen", "Larkfield Dumpling Kitchen", "--region", "GB", "--zone", "Europe/London", "--place", "5 Mill Lane", "--provider", "practice", "--no-input")
	return s
}

// try runs a command line and gives its exit code and what it printed.
func (s *shell) try(in string, args ...string) (int, string) {
	s.t.Helper()
	var out bytes.Buffer
	args = append([]string{"--config", filepath.Join(s.dir, "passbell.toml")}, args...)
	code := run(s.t.Context(), args, std{in: strings.NewReader(in), out: &out, err: &out})
	return code, out.String()
}

func (s *shell) run(args ...string) string {
	s.t.Helper()
	code, out := s.try("", args...)
	require.Equal(s.t, exitDone, code, "%v\n%s", args, out)
	return out
}

func (s *shell) file(name, content string) string {
	s.t.Helper()
	path := filepath.Join(s.dir, name)
	require.NoError(s.t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// house opens the folder's kitchen beside the commands.
func (s *shell) house(fn func(h *gateway.House, n night.Night)) {
	s.t.Helper()
	a := &app{configPath: filepath.Join(s.dir, "passbell.toml"), std: std{in: strings.NewReader(""), out: &bytes.Buffer{}, err: &bytes.Buffer{}}}
	require.NoError(s.t, a.onNight(s.t.Context(), "", func(h *gateway.House, n night.Night) error {
		fn(h, n)
		return nil
	}))
}

const smallBook = "order,name,phone,slot,items,note\n" +
	"K401,Bethan Cadwgan,07700 900101,17:00,2x Pork bao; 1x Slaw,nut allergy\n" +
	"K402,Sarah Bell,07700900102,17:10,1x Pork bao,\n"

func TestCorrectionsBecomeALabelledNight(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2026-12-04")
	s.run("book", "load", s.file("orders.csv", smallBook))
	at := time.Date(2026, 12, 4, 17, 2, 0, 0, time.UTC)
	s.house(func(h *gateway.House, n night.Night) {
		for i, text := range []string{"here, Bethan in the blue van", "its Sarah, im outside"} {
			from := []string{"+447700900101", "+447700900777"}[i]
			require.NoError(t, h.Inbox.Take(t.Context(), "texts", adapters.Inbound{ID: fmt.Sprint(i), From: from, Text: text, At: at}))
		}
		texts, err := h.Desk.Inbounds(t.Context(), n.ID)
		require.NoError(t, err)
		require.Len(t, texts, 2)
		_, err = h.Desk.CorrectVehicle(t.Context(), desk.Act{Night: n.ID, Ref: "K401", Who: "cook"},
			night.Vehicle{Colours: []string{"green"}, Body: "van"}, texts[0].ID, []byte(`{"vehicle":{"colours":["green"],"body":"van"}}`))
		require.NoError(t, err)
		require.NoError(t, h.Inbox.Place(t.Context(), texts[1].ID, "K402", "cook"))
	})
	out := filepath.Join(s.dir, "corrections")
	s.run("read", "--export", out)

	set, err := corpus.Load(out, "gb-2026-12-04")
	require.NoError(t, err)
	require.Len(t, set.Messages, 2)
	require.NotNil(t, set.Messages[0].Want)
	assert.Equal(t, corpus.Colours{"green"}, set.Messages[0].Want.Colour)
	assert.Equal(t, "here", set.Messages[0].Want.Intent)
	assert.Equal(t, []string{"K402"}, set.Messages[1].Want.Orders)
	for _, name := range []string{"gb-2026-12-04.messages.jsonl", "gb-2026-12-04.orders.csv"} {
		b, err := os.ReadFile(filepath.Join(out, name))
		require.NoError(t, err)
		for _, secret := range []string{"Bethan", "Cadwgan", "Sarah", "Bell", "900101", "900777", "900 101"} {
			assert.NotContains(t, string(b), secret, name)
		}
	}
}
