package bench

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"runtime"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"passbell/adapters"
	"passbell/adapters/practice"
	"passbell/internal/config"
	"passbell/internal/gateway"
	"passbell/internal/night"
	"passbell/internal/store"
)

// growthOrders is how many orders each kitchen's night has.
const growthOrders = 100

// growth runs 1, 10, 100, … kitchens in one process on one server, with one
// adapter that all share: how soon they are served, how fast everybody's
// instructions go out when all are due at once, how fast customers' texts are
// acted on, and what is left to do when nothing happens.
func growth(t *testing.T) []result {
	s := server(t)
	var out []result
	for n := 1; n <= *kitchens; n *= 10 {
		d := onServer(t, s)
		grown := grow(t, d, n)
		out = append(out, result{work: fmt.Sprintf("growth, kitchens of %d orders: %d", growthOrders, n), ours: grown})
	}
	return out
}

func grow(t *testing.T, d *database, n int) string {
	c := hostOf(t, d.place, n)
	began := time.Now()
	loaded := open(t, c)
	var loading errgroup.Group
	loading.SetLimit(8)
	for _, h := range loaded.Houses {
		loading.Go(func() error { return tonight(t.Context(), h) })
	}
	require.NoError(t, loading.Wait())
	require.NoError(t, loaded.Close())
	load := time.Since(began)
	d.refresh(t)

	before := inUse()
	began = time.Now()
	host := open(t, c)
	network, err := practice.New(practice.Config{Name: "texts"}, practice.Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	g, err := gateway.New(host, hooked{Hooker: network})
	require.NoError(t, err)
	require.NoError(t, g.Start(t.Context()))
	started := time.Since(began)
	began = time.Now()
	for d.count(t, `SELECT count(*) FROM messages WHERE kind = 'instructions' AND state <> 'sent'`) > 0 {
		time.Sleep(time.Since(began) / 20) // to look is work too
	}
	sent := time.Since(began)
	assert.Equal(t, growthOrders*n, d.count(t, `SELECT count(*) FROM orders WHERE state = 'told'`))

	began = time.Now()
	post(t, *clients, func(i int) call {
		return call{g.Addr().String(), name(i % n), "/hook/texts/", text(i, number(i%n), number(i/n%growthOrders))}
	}, 0, *posts, 0)
	came := time.Since(began)

	looks := make([]store.Look, n)
	for i, h := range host.Houses {
		looks[i] = store.Look{Kitchen: h.Kitchen, Closes: true}
	}
	const idle = 20 * time.Second // a server counts what an idle connection did up to 10 s later (a value from memory)
	transactions := func() int {
		return d.count(t, `SELECT xact_commit + xact_rollback FROM pg_stat_database WHERE datname = current_database()`)
	}
	time.Sleep(idle)
	was := transactions()
	time.Sleep(idle)
	did := float64(transactions()-was) / idle.Seconds()
	held := inUse() - before
	var ticks []time.Duration
	for range 5 {
		began = time.Now()
		_, err := d.Astir(t.Context(), looks, time.Now())
		require.NoError(t, err)
		ticks = append(ticks, time.Since(began))
	}

	began = time.Now()
	require.NoError(t, g.Stop(context.WithoutCancel(t.Context())))
	stopped := time.Since(began)
	require.NoError(t, host.Close())
	return fmt.Sprintf("planned in %s; served after %s; %.0f texts/s out; %.0f texts/s in; %d MB; idle %.1f transactions/s, a tick %s; stopped in %s",
		short(load), short(started), float64(growthOrders*n)/sent.Seconds(), float64(*posts)/came.Seconds(), max(0, held)>>20, did, short(middle(ticks)), short(stopped))
}

// name is what the i-th kitchen is called.
func name(i int) string { return fmt.Sprintf("k%03d.localhost", i) }

// hostOf gives a host of so many kitchens, each with a number of its own.
func hostOf(t *testing.T, place string, n int) config.Host {
	t.Helper()
	shared := []config.Adapter{{
		Name: "texts", Kind: "practice", Window: 1000, PerSecond: 1e6, Timeout: adapters.Duration(time.Minute), From: config.OwnNumber, Shared: true,
	}}
	out := config.Host{Database: place, Listen: "127.0.0.1:0", Folder: t.TempDir(), Adapter: shared}
	zone := evening(t)
	for i := range n {
		c := config.Default()
		c.Database, c.Listen, c.Folder = "", "", out.Folder
		c.File, c.Host = fmt.Sprintf("k%03d", i), name(i)
		c.Kitchen.Name, c.Kitchen.Region, c.Kitchen.Number = fmt.Sprintf("Larkfield Dumpling Kitchen %d", i), "GB", number(i)
		c.Kitchen.Zone, c.Kitchen.QuietFrom, c.Kitchen.QuietTo = zone, 0, 0
		c.Night.Place = "5 Mill Lane, Larkfield"
		c.Adapter = shared
		out.Kitchens = append(out.Kitchens, c)
	}
	require.NoError(t, out.Validate())
	return out
}

func open(t *testing.T, c config.Host) *gateway.Host {
	t.Helper()
	h, err := gateway.Open(t.Context(), c, gateway.Deps{
		Clock: clockwork.NewRealClock(), Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError})),
	})
	require.NoError(t, err)
	return h
}

// tonight gives a kitchen a night that is now, with its orders, and closes it:
// everybody's instructions are due.
func tonight(ctx context.Context, h *gateway.House) error {
	n := h.Config.NightOn(night.DateOf(time.Now().In(h.Kitchen.Zone)), 16*60, 20*60, h.Kitchen.Zone)
	n.InstructAt = time.Now().Add(-time.Hour)
	n, err := h.Desk.AddNight(ctx, n, "cook")
	if err != nil {
		return err
	}
	if _, err = h.Desk.Load(ctx, n.ID, book(growthOrders), "cook"); err != nil {
		return err
	}
	_, err = h.Desk.Close(ctx, n.ID, "cook")
	return err
}

// inUse gives the memory that the process holds and could not give back.
func inUse() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc + m.StackInuse)
}
