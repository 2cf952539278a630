package pace

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestPace(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	p := New(4, time.Second, nil, nil)
	for i := range 9 {
		require.Equal(t, now.Add(time.Duration(i)*250*time.Millisecond), p.book(now), "place %d", i)
	}
	later := now.Add(time.Minute)
	require.Equal(t, later, p.book(later), "what was not used is not saved up")
	require.Equal(t, later.Add(250*time.Millisecond), p.book(later))
	p.Pause(later.Add(5 * time.Second))
	require.Equal(t, later.Add(5*time.Second), p.book(later))

	free := New(0, time.Second, nil, nil)
	require.Equal(t, now, free.book(now))
	require.Equal(t, now, free.book(now))
}
