package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// firstLine ends the demo as soon as it tells of the night.
type firstLine struct {
	bytes.Buffer
	stop context.CancelFunc
}

func (w *firstLine) Write(b []byte) (int, error) {
	if strings.Contains(string(b), "has loaded the order book") {
		w.stop()
	}
	return w.Buffer.Write(b)
}

func TestDemo(t *testing.T) { // not parallel: it moves the folder for temporary files
	demo := func(t *testing.T, args ...string) (int, string, string) {
		t.Helper()
		t.Setenv("TMPDIR", t.TempDir())
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		out, errs := &firstLine{stop: cancel}, &bytes.Buffer{}
		code := run(ctx, append([]string{"demo"}, args...), std{in: strings.NewReader(""), out: out, err: errs})
		left, err := os.ReadDir(os.TempDir())
		require.NoError(t, err)
		require.Empty(t, left, "the folder of the demo is gone")
		return code, out.String(), errs.String()
	}

	t.Run("headless plays to the end and prints the report", func(t *testing.T) {
		code, out, errs := demo(t, "--headless", "--seed", "7")
		require.Equal(t, exitDone, code, "%s%s", out, errs)
		require.Empty(t, errs)
		require.Contains(t, out, "The night of Friday 4 December 2026")
		require.Regexp(t, `(?m)^orders +60 `, out)
		require.Contains(t, out, "seed 7: every order ended as its script says")
	})
	t.Run("Ctrl-C ends it with the report so far", func(t *testing.T) {
		code, out, errs := demo(t, "--no-browser")
		require.Equal(t, exitDone, code, "%s%s", out, errs)
		require.Contains(t, out, "The pass is open at http://127.0.0.1:")
		require.Contains(t, out, "The demo was ended early")
		require.Regexp(t, `(?m)^orders +59 +59 booked`, out)
	})
	for _, speed := range []string{"0", "-1", "NaN", "1e9"} {
		t.Run("a speed of "+speed+" is wrong use", func(t *testing.T) {
			code, _, errs := demo(t, "--speed="+speed)
			require.Equal(t, exitUsage, code)
			require.Contains(t, errs, "--speed")
		})
	}
}
