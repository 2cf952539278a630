package gateway

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/config"
	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/store/pgtest"
)

// counter is a provider that takes every text and counts.
type counter struct {
	mu   sync.Mutex
	took map[string]int // by the text's key
	to   map[string]int // by number
	hold chan struct{}  // a send waits until it closes; nil for none
}

func (c *counter) Send(_ context.Context, m adapters.Message) (adapters.Accepted, error) {
	if c.hold != nil {
		<-c.hold
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.took[m.Key]++
	c.to[m.To]++
	return adapters.Accepted{IDs: []string{m.Key}}, nil
}

func (c *counter) sent() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.took)
}

// alone is a gateway with its only kitchen.
type alone struct {
	*Gateway
	house *House
}

// instance opens one of several instances of a kitchen on one server.
func instance(t *testing.T, place string, provider adapters.Sender, with ...func(*config.Config)) alone {
	t.Helper()
	return instanceWith(t, place, provider, slog.New(slog.DiscardHandler), with...)
}

func instanceWith(t *testing.T, place string, provider adapters.Sender, log *slog.Logger, with ...func(*config.Config)) alone {
	t.Helper()
	g := asleep(t, place, provider, log, with...)
	require.NoError(t, g.Start(t.Context()))
	return g
}

// asleep is an instance that does nothing yet.
func asleep(t *testing.T, place string, provider adapters.Sender, log *slog.Logger, with ...func(*config.Config)) alone {
	t.Helper()
	c := config.Default()
	c.Database, c.Listen, c.Folder = place, "127.0.0.1:0", t.TempDir()
	c.Kitchen.Name, c.Kitchen.Region, c.Kitchen.Zone = "Larkfield Dumpling Kitchen", "GB", "Europe/London"
	c.Kitchen.QuietFrom, c.Kitchen.QuietTo = 0, 0
	c.Night.Place = "5 Mill Lane, Larkfield"
	c.Adapter = []config.Adapter{{Name: "texts", Kind: "practice", Window: 3, PerSecond: 1000, Timeout: adapters.Duration(time.Minute)}}
	for _, change := range with {
		change(&c)
	}
	require.NoError(t, c.Validate())
	h, err := Open(t.Context(), c.Alone(), Deps{Clock: clockwork.NewRealClock(), Log: log})
	require.NoError(t, err)
	g, err := New(h, provider)
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, g.Stop(context.WithoutCancel(t.Context())))
		require.NoError(t, h.Close())
	})
	return alone{g, h.Houses[0]}
}

// closedNight gives a night with so many orders that is closed, so that everybody's
// instructions are due.
func closedNight(t *testing.T, g alone, orders int) night.Night {
	t.Helper()
	n := openNight(t, g, 2, orders)
	_, err := g.house.Desk.Close(t.Context(), n.ID, "cook")
	require.NoError(t, err)
	return n
}

// openNight gives a night some days ahead with so many orders, which are to be
// closed tomorrow.
func openNight(t *testing.T, g alone, days, orders int) night.Night {
	t.Helper()
	h := g.house
	date := night.DateOf(time.Now().In(h.Kitchen.Zone)).AddDays(days)
	n := h.Config.NightOn(date, 16*60, 20*60, h.Kitchen.Zone)
	n.InstructAt, n.ClosesAt = time.Now().Add(-time.Hour), time.Now().Add(24*time.Hour)
	n, err := h.Desk.AddNight(t.Context(), n, "cook")
	require.NoError(t, err)
	var book []night.Order
	for i := range orders {
		book = append(book, night.Order{
			Ref: fmt.Sprintf("K%d", 401+i), Name: fmt.Sprintf("Guest %d", i), Phone: fmt.Sprintf("+447700900%03d", i),
			Slot: night.Clock(16*60 + 10*(i%24)), State: night.Booked, Items: []night.Item{{Qty: 1, Name: "Pork bao", Kind: night.Hot}},
		})
	}
	_, err = h.Desk.Load(t.Context(), n.ID, book, "cook")
	require.NoError(t, err)
	return n
}

func TestInstances(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t)
	t.Run("share the texts and hear of each other", func(t *testing.T) { instancesShare(t, server) })
	t.Run("go on after the database was away", instancesRecover)
	t.Run("close a night once", func(t *testing.T) { instancesClose(t, server) })
}

func instancesShare(t *testing.T, server *pgtest.Server) {
	provider := &counter{took: map[string]int{}, to: map[string]int{}}
	place := server.Database(t)
	one, other := instance(t, place, provider), instance(t, place, provider)
	n := closedNight(t, one, 60)
	require.Eventually(t, func() bool { return provider.sent() == 60 && states(t, other, n)[night.Sent] == 60 }, 30*time.Second, 20*time.Millisecond)
	for number, times := range provider.to {
		assert.Equal(t, 1, times, number)
	}
	changed := other.house.Live.Wait()
	_, err := one.house.Desk.Here(t.Context(), desk.Act{Night: n.ID, Ref: "K407", Who: "cook"})
	require.NoError(t, err)
	select {
	case <-changed:
	case <-time.After(20 * time.Second):
		t.Fatal("the other instance's pages heard of nothing")
	}
	orders, err := other.house.Desk.Orders(t.Context(), n.ID)
	require.NoError(t, err)
	for _, o := range orders {
		if o.Ref == "K407" {
			assert.Equal(t, night.Arrived, o.State)
		}
	}
}

// instancesRecover kills the database in the middle of a sending and starts it
// again: what had gone out and could not be recorded then is recorded after,
// the rest goes out, and nothing goes out twice (graphile/worker #449,
// taskforcesh/bullmq #4729, timgit/pg-boss #850: jobs stuck until a restart).
func instancesRecover(t *testing.T) {
	server := pgtest.Start(t, "fsync=on")
	provider := &counter{took: map[string]int{}, to: map[string]int{}, hold: make(chan struct{})}
	place := server.Database(t)
	one, other := instance(t, place, provider), instance(t, place, provider)
	n := closedNight(t, one, 30)
	require.Eventually(t, func() bool { return states(t, other, n)[night.Sending] >= 3 }, 20*time.Second, 20*time.Millisecond)
	server.Kill(t)
	close(provider.hold) // the provider answers while nobody can write that down
	server.Go(t)
	require.Eventually(t, func() bool { return states(t, other, n)[night.Sent] == 30 }, 30*time.Second, 50*time.Millisecond)
	for number, times := range provider.to {
		assert.Equal(t, 1, times, number)
	}
}

// states counts the night's texts by state; nothing while the database is away.
func states(t *testing.T, g alone, n night.Night) map[night.MessageState]int {
	t.Helper()
	out := map[night.MessageState]int{}
	messages, err := g.house.Desk.Messages(t.Context(), n.ID)
	if err != nil {
		return out
	}
	for _, m := range messages {
		if m.Kind == night.Instructions {
			out[m.State]++
		}
	}
	return out
}
