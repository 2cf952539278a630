package smpp

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var friday = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)

func TestRepeats(t *testing.T) {
	t.Parallel()
	const window = 2 * time.Minute
	mark := fingerprint("447700900123", "447700900999", "HERE", "", "")
	tests := []struct {
		name  string
		acked time.Duration // after the first time; -1 for never
		lost  bool
		again time.Duration
		same  bool
	}{
		{name: "refused, again a moment later", acked: -1, again: time.Second, same: true},
		{name: "refused, again the next day", acked: -1, again: 24 * time.Hour, same: true},
		{name: "acknowledged, again at once", acked: time.Second, again: 2 * time.Second, same: true},
		{name: "acknowledged, written again ten minutes later", acked: time.Second, again: 10 * time.Minute},
		{name: "acknowledged just now, in the next slice of time", acked: 110 * time.Second, again: 130 * time.Second, same: true},
		{name: "the acknowledgement was lost with the connection", acked: time.Second, lost: true, again: time.Hour, same: true},
		{name: "next Friday", acked: time.Second, lost: true, again: 7 * 24 * time.Hour},
		{name: "refused for a week", acked: -1, again: 7 * 24 * time.Hour},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := newRepeats(window)
			first := r.id(friday, mark)
			if tt.acked >= 0 {
				r.acked(friday.Add(tt.acked), mark, func() bool { return tt.lost })
			}
			again := r.id(friday.Add(tt.again), mark)
			require.Equal(t, tt.same, first == again)
		})
	}
}

func TestRepeatsAfterARestart(t *testing.T) {
	t.Parallel()
	mark := fingerprint("447700900123", "447700900999", "HERE", "", "")
	require.Equal(t, newRepeats(2*time.Minute).id(friday, mark), newRepeats(2*time.Minute).id(friday.Add(time.Minute), mark),
		"within a slice of time the id needs no memory")
	other := fingerprint("447700900123", "447700900999HERE", "", "", "")
	require.NotEqual(t, mark, other, "fields do not run into each other")
}

func TestRepeatsInOneSliceOfTime(t *testing.T) {
	t.Parallel()
	r := newRepeats(2 * time.Minute)
	mark := fingerprint("a")
	first := r.id(friday, mark)
	r.acked(friday.Add(-3*time.Minute), mark, nil) // acknowledged long enough ago
	second := r.id(friday, mark)
	require.NotEqual(t, first, second)
	for i := range maxSeen + 10 {
		r.id(friday, fingerprint(fmt.Sprint(i)))
	}
	require.LessOrEqual(t, len(r.seen), maxSeen)
}
