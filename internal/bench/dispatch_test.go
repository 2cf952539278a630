package bench

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store/pgtest"
)

// errand is a kind of text that is sent, and what follows from it.
type errand struct {
	kind     night.MessageKind
	sender   adapters.Sender
	parts    int    // that the provider numbers, of each text
	state    string // of the orders then
	events   int    // of each text
	followed string // for the table
}

var (
	// telling is what most texts are.
	telling = errand{night.Instructions, numbering{}, 1, "told", 2, "provider's number kept, order told, two events"}
	// nudging is as near as a text comes to a job of nothing: its attempt and its
	// event are on record, and nothing else follows.
	nudging = errand{night.Nudge, silent{}, 0, "booked", 1, "no number, order as it was, one event"}
)

// atOnce is how many kitchens share a server: it is what a server is for.
const atOnce = 16

// dispatchOnServer sends due messages through a provider that does nothing, from
// the claim until the last is settled, beside a general job queue on the same
// server that works as many jobs of nothing. Kitchens that share a server share
// its cores; one alone has its writes one after the other.
func dispatchOnServer(t *testing.T) []result {
	s := server(t)
	beside := riverOn(t, s, *texts)
	var out []result
	for _, kitchens := range []int{atOnce, 1} {
		for _, e := range []errand{telling, nudging} {
			ours := drain(t, onServer(t, s), *texts, kitchens, e)
			r := faster(fmt.Sprintf("dispatch, PostgreSQL, kitchens at once: %d; %s", kitchens, e.followed), ours, beside, "texts/s", "river, no-op jobs/s", 1.5)
			if kitchens == 1 {
				r.goal = "" // a server is there for many
			}
			out = append(out, r)
		}
	}
	return out
}

// dispatchEmbedded does the same on the embedded database beside a loop of
// transactions that change one row each.
func dispatchEmbedded(t *testing.T) []result {
	var out []result
	for _, e := range []errand{telling, nudging} {
		d := embedded(t)
		ours := drain(t, d, *texts/5, 1, e)
		out = append(out, faster("dispatch, embedded: "+e.followed, ours, oneByOne(t, d), "texts/s", "one-row transactions/s", 10))
	}
	return out
}

// drain gives the rate at which n due messages are sent, shared out among kitchens
// of which each has a dispatcher of its own.
func drain(t *testing.T, d *database, n, kitchens int, e errand) float64 {
	t.Helper()
	out := make([]*dispatch.Dispatcher, kitchens)
	for i := range out {
		out[i] = d.kitchen(t, fmt.Sprintf("Larkfield Dumpling Kitchen %d", i+1)).dispatcher(t, e.sender)
	}
	n = n / kitchens * kitchens
	d.fill(t, n/kitchens)
	d.due(t, e.kind)
	errs := make(chan error)
	began := time.Now()
	for _, o := range out {
		go func() { errs <- o.Drain(t.Context()) }()
	}
	for range out {
		require.NoError(t, <-errs)
	}
	took := time.Since(began)
	require.Equal(t, n, d.count(t, `SELECT count(*) FROM messages WHERE state = 'sent' AND attempt = 1`))
	require.Equal(t, n, d.count(t, `SELECT count(*) FROM attempts WHERE outcome = 'accepted'`))
	require.Equal(t, n*e.parts, d.count(t, `SELECT count(*) FROM parts`))
	require.Equal(t, n, d.count(t, `SELECT count(*) FROM orders WHERE state = '%s'`, e.state))
	require.Equal(t, n*e.events, d.count(t, `SELECT count(*) FROM events WHERE message_id > 0`))
	return float64(n) / took.Seconds()
}

// oneByOne gives the rate of transactions that change one message each.
func oneByOne(t *testing.T, d *database) float64 {
	t.Helper()
	const n = 1000
	change, err := d.raw.PrepareContext(t.Context(), `UPDATE messages SET parts = ? WHERE id = ?`)
	require.NoError(t, err)
	defer func() { require.NoError(t, change.Close()) }()
	began := time.Now()
	for i := range n {
		_, err := change.ExecContext(t.Context(), 2, i+1)
		require.NoError(t, err)
	}
	return n / time.Since(began).Seconds()
}

type nothing struct{}

func (nothing) Kind() string { return "nothing" }

type worker struct{ river.WorkerDefaults[nothing] }

func (worker) Work(context.Context, *river.Job[nothing]) error { return nil }

// riverOn gives the rate at which river works jobs of nothing, tuned as its own
// benchmark is: github.com/riverqueue/river, cmd/river/riverbench.
func riverOn(t *testing.T, s *pgtest.Server, n int) float64 {
	t.Helper()
	ctx := t.Context()
	config, err := pgxpool.ParseConfig(s.Database(t))
	require.NoError(t, err)
	config.MaxConns = 16 // as many as passbell opens
	pool, err := pgxpool.NewWithConfig(ctx, config)
	require.NoError(t, err)
	defer pool.Close()
	tables, err := rivermigrate.New[pgx.Tx](riverpgxv5.New(pool), nil)
	require.NoError(t, err)
	_, err = tables.Migrate(ctx, rivermigrate.DirectionUp, nil)
	require.NoError(t, err)
	workers := river.NewWorkers()
	river.AddWorker(workers, worker{})
	client, err := river.NewClient[pgx.Tx](riverpgxv5.New(pool), &river.Config{
		FetchCooldown: time.Millisecond, FetchPollInterval: 100 * time.Millisecond,
		Queues: map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 1000}}, Workers: workers,
	})
	require.NoError(t, err)
	for left := n; left > 0; left -= 5000 {
		jobs := make([]river.InsertManyParams, min(left, 5000))
		for i := range jobs {
			jobs[i].Args = nothing{}
		}
		_, err := client.InsertManyFast(ctx, jobs)
		require.NoError(t, err)
	}
	_, err = pool.Exec(ctx, `ANALYZE`)
	require.NoError(t, err)
	done, cancel := client.SubscribeConfig(&river.SubscribeConfig{ChanSize: n, Kinds: []river.EventKind{river.EventKindJobCompleted}})
	defer cancel()
	began := time.Now()
	require.NoError(t, client.Start(ctx))
	for range n {
		<-done // told once it is on record
	}
	took := time.Since(began)
	require.NoError(t, client.Stop(ctx))
	var completed int
	require.NoError(t, pool.QueryRow(ctx, `SELECT count(*) FROM river_job WHERE state = 'completed'`).Scan(&completed))
	require.Equal(t, n, completed)
	return float64(n) / took.Seconds()
}
