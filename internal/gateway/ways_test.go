package gateway

import (
	"context"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/practice"
	"passbell/internal/config"
	"passbell/internal/store"
	"passbell/internal/web"
)

// running starts a gateway on a practice network whose clock stands still: a
// receipt or an answer comes when the test turns it.
func running(t *testing.T) (ways, *practice.Network, *clockwork.FakeClock) {
	t.Helper()
	clock := clockwork.NewFakeClockAt(time.Date(2026, 12, 4, 16, 0, 0, 0, time.UTC))
	c := config.Default()
	c.Database, c.Listen = filepath.Join(t.TempDir(), "passbell.db"), "127.0.0.1:0"
	c.Kitchen.Name, c.Kitchen.Region, c.Kitchen.Zone = "Larkfield Dumpling Kitchen", "GB", "Europe/London"
	c.Adapter = []config.Adapter{{Name: "texts", Kind: "practice", Window: 4, PerSecond: 10, Timeout: adapters.Duration(time.Minute)}}
	log := slog.New(slog.DiscardHandler)
	h, err := Open(t.Context(), c.Alone(), Deps{Clock: clock, Log: log})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, h.Close()) })
	network, err := practice.New(practice.Config{Name: "texts"}, practice.Deps{Clock: clock, Log: log})
	require.NoError(t, err)
	g, err := New(h, network)
	require.NoError(t, err)
	require.NoError(t, g.Start(t.Context()))
	t.Cleanup(func() { require.NoError(t, g.Stop(context.WithoutCancel(t.Context()))) })
	return ways{g.kitchens[0]}, network, clock
}

const ownPhone = "+447700900456"

func TestATestTextGoesOverTheRunningAdapter(t *testing.T) {
	t.Parallel()
	s, network, clock := running(t)
	require.Equal(t, []web.Way{{Name: "texts", Kind: "practice", Practice: true, Receives: true, Probes: true, PerSecond: 10}}, s.Ways())
	found, err := s.Probe(t.Context(), "texts")
	require.NoError(t, err)
	require.NotEmpty(t, found)
	_, err = s.Probe(t.Context(), "none")
	require.Error(t, err)

	told := make(chan web.Trial, 10)
	var done sync.WaitGroup
	done.Go(func() { _ = s.Try(t.Context(), "texts", ownPhone, "a test", func(is web.Trial) { told <- is }) })
	require.Equal(t, web.Trial{Sent: true}, <-told)
	require.Equal(t, "a test", network.Texts(ownPhone)[0].Text)
	network.Say("+447700900999", "I'm here, blue polo")
	network.Say(ownPhone, "yes")
	require.Equal(t, web.Trial{Sent: true, Answered: true}, <-told, "somebody else's text is no answer")
	var now web.Trial
	for !now.Receipt {
		clock.Advance(time.Second)
		select {
		case now = <-told:
		default:
		}
	}
	require.Equal(t, web.Trial{Sent: true, Answered: true, Receipt: true, Arrived: true}, now)
	done.Wait()
}

func TestATestTextThatFails(t *testing.T) {
	t.Parallel()
	s, network, _ := running(t)
	network.Next(practice.Fate{Outcome: adapters.Permanent, Reason: "no credit is left"})
	var last web.Trial
	require.NoError(t, s.Try(t.Context(), "texts", ownPhone, "a test", func(is web.Trial) { last = is }))
	require.Equal(t, web.Trial{Wrong: "no credit is left"}, last)

	require.NoError(t, s.house.rows.Write(t.Context(), func(tx *store.Tx) error {
		_, err := tx.OptOut(t.Context(), ownPhone, s.house.Clock.Now())
		return err
	}))
	err := s.Try(t.Context(), "texts", ownPhone, "a test", func(web.Trial) {})
	require.ErrorContains(t, err, "asked for no more texts")
	require.Empty(t, network.Texts(ownPhone))
	require.Error(t, s.Try(t.Context(), "none", ownPhone, "a test", func(web.Trial) {}))
}
