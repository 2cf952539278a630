package gateway

import (
	"context"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/config"
	"passbell/internal/night"
	"passbell/internal/store/pgtest"
)

func closesItself(c *config.Config) { c.Night.CloseByItself = true }

// closeNow lets the moment come at which a night's orders close.
func closeNow(t *testing.T, g alone, n night.Night) {
	t.Helper()
	n.ClosesAt = time.Now()
	require.NoError(t, g.house.Desk.ChangeNight(context.WithoutCancel(t.Context()), n, "cook"))
}

// instancesClose has instances close nights at their time: one after the lease of
// another that died, one that leads while a second stands by, and that second
// one when the first stops at the moment.
func instancesClose(t *testing.T, server *pgtest.Server) {
	provider := &counter{took: map[string]int{}, to: map[string]int{}}
	place := server.Database(t)
	dead := instance(t, place, provider)
	require.NoError(t, dead.Stop(context.WithoutCancel(t.Context())))
	_, ok, err := dead.house.rows.Grant(t.Context(), "an instance that died", time.Second)
	require.NoError(t, err)
	require.True(t, ok, "what was stopped gave its lease back")
	one := instance(t, place, provider, closesItself)
	first := openNight(t, one, 2, 30)
	closeNow(t, one, first)
	closedOnce(t, one, first, 30)

	other := instance(t, place, provider, closesItself)
	second := openNight(t, one, 9, 30)
	closeNow(t, other, second)
	closedOnce(t, other, second, 30)

	third := openNight(t, other, 16, 30)
	stopped := make(chan error)
	go func() { stopped <- one.Stop(context.WithoutCancel(t.Context())) }()
	closeNow(t, other, third)
	require.NoError(t, <-stopped)
	closedOnce(t, other, third, 30)
	for number, times := range provider.to {
		assert.Equal(t, 3, times, "one text a night: %s", number)
	}
}

// closedOnce waits until a night is closed and told, and looks for doubles.
func closedOnce(t *testing.T, g alone, n night.Night, orders int) {
	t.Helper()
	require.Eventually(t, func() bool { return states(t, g, n)[night.Sent] == orders }, 30*time.Second, 20*time.Millisecond)
	events, err := g.house.Desk.Events(t.Context(), n.ID, 0, 10_000)
	require.NoError(t, err)
	closed := 0
	for _, e := range events {
		if e.What == night.OrdersClosed {
			closed++
			assert.Equal(t, "clock", e.Who)
		}
		assert.NotEqual(t, night.OrdersNotClosed, e.What, e.Why)
	}
	assert.Equal(t, 1, closed)
	messages, err := g.house.Desk.Messages(t.Context(), n.ID)
	require.NoError(t, err)
	planned := map[night.MessageKind]int{}
	for _, m := range messages {
		planned[m.Kind]++
	}
	assert.Equal(t, map[night.MessageKind]int{night.Instructions: orders, night.Reminder: orders}, planned)
}

// Orders stay open where the kitchen has not asked for more, and the pass says
// what that means.
func TestOrdersStayOpenUnlessTheKitchenWantsThemClosed(t *testing.T) {
	t.Parallel()
	provider := &counter{took: map[string]int{}, to: map[string]int{}}
	g := asleep(t, filepath.Join(t.TempDir(), "passbell.db"), provider, slog.New(slog.DiscardHandler))
	n := openNight(t, g, 2, 3)
	closeNow(t, g, n)
	g.look(t.Context())
	g.wipe(t.Context())
	g.acting.Wait()
	b, err := g.house.Desk.Board(t.Context(), n.ID)
	require.NoError(t, err)
	assert.True(t, b.Night.ClosedAt.IsZero())
	assert.Contains(t, b.Sentence, "orders should have been closed")
	assert.Zero(t, provider.sent())
}
