package web

import (
	"bytes"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/live"
)

// Pages are made by no request of their own, so nobody else would catch what a fault
// in one of them throws.
func TestAFaultInAPageEndsNothingElse(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	s := &site{Config: Config{Now: time.Now, Live: &live.Hub{}, Log: slog.New(slog.NewTextHandler(&log, nil))}} // without a desk
	key := frameKey{to: "/"}
	for range 2 { // whoever comes next does not wait for it
		_, err := s.frames.of(key).now(t.Context(), s, key)
		require.ErrorContains(t, err, "fault")
	}
	assert.Contains(t, log.String(), "a fault in the program")
}
