//go:build e2e && unix

package main

import (
	"database/sql"
	"flag"
	"math/rand/v2"
	"net/url"
	"strings"
	"testing"
	"time"

	_ "github.com/lib/pq" // the driver that connections are cut with
	"github.com/stretchr/testify/require"

	"passbell/internal/store/pgtest"
)

var (
	kills      = flag.Int("kills", 6, "how often TestKilledOnAServer kills an instance")
	killOrders = flag.Int("orders", 60, "how many orders its night has, up to 1000")
	killSeed   = flag.Uint64("seed", 1, "what it draws the instances and moments from")
)

// TestKilledOnAServer runs two instances of the built binary on one PostgreSQL
// through a night, and kills one or the other with SIGKILL all along, whatever
// it is doing. Every third time all connections to the database are cut as
// well, and in the middle of the night the server itself goes down without a
// checkpoint. Between the kills somebody sets the clock of one or the other an
// hour back, ten minutes forward, or right. In the end the same must hold as on
// the embedded database.
func TestKilledOnAServer(t *testing.T) {
	server := pgtest.Start(t, "fsync=on", "max_connections=200")
	place := server.Database(t)
	t.Setenv("PASSBELL_DATABASE", place)
	phase := time.Duration(*kills) * time.Second / 2 // how long instructions, arrivals and reminders each take
	k := newKillable(t, evening{
		orders: *killOrders, instances: 2, perSecond: max(1, float64(*killOrders)/phase.Seconds()/2),
		remindIn: phase*8/5 + 8*time.Second, pace: phase / time.Duration(*killOrders),
	})
	for _, i := range k.instances {
		i.start()
	}
	k.waitJournal(*killOrders / 10)
	posts := k.postArrivals()

	chance := rand.New(rand.NewPCG(*killSeed, 0))
	u, err := url.Parse(place)
	require.NoError(t, err)
	offsets := []time.Duration{-time.Hour, 0, 10 * time.Minute}
	for n := range *kills {
		wrong := k.instances[chance.IntN(len(k.instances))]
		wrong.set(offsets[chance.IntN(len(offsets))])
		// About two texts an order go out; the moment after is drawn, so that a
		// kill meets every step of a send and not always the same one.
		k.progress((n+1)*2**killOrders/(*kills+1), time.Duration(chance.IntN(120))*time.Millisecond)
		i := k.instances[chance.IntN(len(k.instances))]
		switch {
		case n == *kills/2:
			server.Kill(t)
			i.kill()
			server.Go(t)
		case n%3 == 1:
			cut(t, server, strings.TrimPrefix(u.Path, "/"))
			i.kill()
		default:
			i.kill()
		}
		i.start()
	}
	posts.wait()
	for _, i := range k.instances {
		i.set(0) // in the end the clocks are right, so that all is sent that waits
	}
	k.waitQuiet()
	for _, i := range k.instances {
		i.interrupt()
	}
	k.check()
}

// progress waits until so many texts went out, or nothing happens that would
// bring them, and then for the time after.
func (k *killable) progress(texts int, after time.Duration) {
	for began := time.Now(); len(k.sent()) < texts && time.Since(began) < 2*time.Second; {
		time.Sleep(5 * time.Millisecond)
	}
	time.Sleep(after)
}

// cut ends every connection to a database.
func cut(t *testing.T, server *pgtest.Server, database string) {
	t.Helper()
	db, err := sql.Open("postgres", server.Superuser())
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	_, err = db.Exec(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = $1`, database)
	require.NoError(t, err)
}
