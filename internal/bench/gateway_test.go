package bench

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/practice"
	"passbell/internal/config"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

// hooked takes every text at once and reports on none; its hook is the practice
// network's.
type hooked struct {
	numbering
	adapters.Hooker
}

// running starts a gateway of one kitchen, with a practice network, in the
// middle of a night of so many orders that is today.
func running(t *testing.T, place, name string, orders int) (*gateway.Gateway, *gateway.House, night.Night) {
	t.Helper()
	c := config.Default()
	c.Database, c.Listen, c.Folder = place, "127.0.0.1:0", t.TempDir()
	c.Kitchen.Name, c.Kitchen.Region, c.Kitchen.Number = name, "GB", "+447700900000"
	c.Kitchen.Zone, c.Kitchen.QuietFrom, c.Kitchen.QuietTo = evening(t), 0, 0
	c.Night.Place = "5 Mill Lane, Larkfield"
	c.Adapter = []config.Adapter{{Name: "texts", Kind: "practice", Window: 100, PerSecond: 1e6, Timeout: adapters.Duration(time.Minute)}}
	require.NoError(t, c.Validate())
	host, err := gateway.Open(t.Context(), c.Alone(), gateway.Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))})
	require.NoError(t, err)
	collectLikeServe(t, place)
	network, err := practice.New(practice.Config{Name: "texts"}, practice.Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	g, err := gateway.New(host, hooked{Hooker: network})
	require.NoError(t, err)
	require.NoError(t, g.Start(t.Context()))
	t.Cleanup(func() {
		require.NoError(t, g.Stop(context.WithoutCancel(t.Context())))
		require.NoError(t, host.Close())
	})
	h := host.Houses[0]
	n := h.Config.NightOn(night.DateOf(time.Now().In(h.Kitchen.Zone)), 16*60, 20*60, h.Kitchen.Zone)
	n.InstructAt = time.Now().Add(-time.Hour)
	n, err = h.Desk.AddNight(t.Context(), n, "cook")
	require.NoError(t, err)
	_, err = h.Desk.Load(t.Context(), n.ID, book(orders), "cook")
	require.NoError(t, err)
	_, err = h.Desk.Close(t.Context(), n.ID, "cook")
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		messages, err := h.Desk.Messages(t.Context(), n.ID)
		return err == nil && !slices.ContainsFunc(messages, func(m night.Message) bool {
			return m.Kind == night.Instructions && m.State != night.Sent
		})
	}, time.Minute, 100*time.Millisecond, "the instructions do not go out")
	return g, h, n
}

// evening names a zone in which it is past four in the afternoon whenever the
// measurement runs.
func evening(t *testing.T) string {
	t.Helper()
	offset := (time.Now().UTC().Hour()-16+36)%24 - 12 // Etc/GMT+1 is an hour west
	return fmt.Sprintf("Etc/GMT%+d", offset)
}

func book(orders int) []night.Order {
	var out []night.Order
	for i := range orders {
		out = append(out, night.Order{
			Ref: fmt.Sprintf("K%d", 401+i), Name: fmt.Sprintf("Bethan Cadwgan %d", i), Phone: number(i),
			Slot: night.Clock(17*60 + 10*(i%18)), State: night.Booked,
			Items: []night.Item{{Qty: 2, Name: "Pork bao", Kind: night.Hot}, {Qty: 1, Name: "Chilli oil", Kind: night.Extra}},
		})
	}
	return out
}

func number(i int) string { return fmt.Sprintf("+447700900%03d", i) }
