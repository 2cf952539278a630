package gateway

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/live"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
)

// The other instances hear of a change at once, and of those that come just after
// it in one word.
func TestChangesThatComeCloseAreToldTogether(t *testing.T) {
	t.Parallel()
	s, err := store.Open(t.Context(), pgtest.Start(t).Database(t))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	ids, err := s.PutKitchens(t.Context(), night.Kitchen{Name: "Larkfield", Zone: time.UTC}, night.Kitchen{Name: "Another Kitchen", Zone: time.UTC})
	require.NoError(t, err)
	id, listens := ids[0], make(chan struct{}, 1000)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	heard := make(chan int64, 100)
	go s.Listen(ctx, func(kitchen int64) {
		if kitchen == id {
			heard <- kitchen
		} else {
			listens <- struct{}{}
		}
	})
	require.Eventually(t, func() bool {
		require.NoError(t, s.Kitchen(ids[1]).Announce(t.Context()))
		return len(listens) > 0
	}, 20*time.Second, 20*time.Millisecond)

	clock := clockwork.NewFakeClock()
	k := &kitchen{house: &House{Live: new(live.Hub), Clock: clock, rows: s.Kitchen(id), news: make(chan struct{}, 1), log: slog.New(slog.DiscardHandler)}}
	go k.tell(ctx)
	k.house.changed()
	require.NoError(t, clock.BlockUntilContext(t.Context(), 1))
	assert.Equal(t, id, <-heard)
	for range 5 {
		k.house.changed()
	}
	assert.Empty(t, heard)
	clock.Advance(breath)
	assert.Equal(t, id, <-heard)
	require.NoError(t, clock.BlockUntilContext(t.Context(), 1))
	clock.Advance(breath)
	assert.Empty(t, k.house.news, "one word told of all")
}
