//go:build e2e

package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The clock shows what it was set to, and what was measured goes on as if
// nothing had been: time.Time, "Monotonic Clocks" in the package's text.
func TestASetClock(t *testing.T) {
	file := filepath.Join(t.TempDir(), "clock")
	t.Setenv(clockFile, file)
	c := clock()
	for seconds, offset := range map[string]time.Duration{"-3600": -time.Hour, "600": 10 * time.Minute, "0": 0} {
		require.NoError(t, os.WriteFile(file, []byte(seconds), 0o600))
		before := time.Now()
		now := c.Now()
		after := time.Now()
		assert.False(t, now.Before(before), "measured")
		assert.False(t, now.After(after), "measured")
		wall := now.Round(0).Add(-offset)
		assert.False(t, wall.Before(before.Round(0)), "on the wall")
		assert.False(t, wall.After(after.Round(0)), "on the wall")
	}
}
