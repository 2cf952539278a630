package gateway

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store/pgtest"
	"passbell/internal/store/storetest"
)

// However many rounds wait for something that does not come, stopping ends their
// waiting.
func TestStoppingEndsWhatWaits(t *testing.T) {
	t.Parallel()
	g := &Gateway{host: &Host{Clock: clockwork.NewRealClock()}}
	var begun, ended sync.WaitGroup
	var rounds []round
	for i := range 300 {
		begun.Add(1)
		ended.Add(1)
		rounds = append(rounds, round{fmt.Sprintf("round %d", i), wipeEvery, func(ctx context.Context) {
			begun.Done()
			<-ctx.Done() // as a transaction that waits for its turn
			ended.Done()
		}})
	}
	require.NoError(t, g.startRounds(t.Context(), rounds))
	begun.Wait()
	require.NoError(t, g.Stop(t.Context()))
	ended.Wait()
	assert.NoError(t, g.Stop(t.Context()), "twice is fine")
}

// What runs all night begins anew after a fault in it, and a round has its next turn.
func TestAFaultEndsNothingElse(t *testing.T) {
	t.Parallel()
	clock := clockwork.NewFakeClock()
	var log bytes.Buffer
	g := &Gateway{host: &Host{Clock: clock, log: slog.New(slog.NewTextHandler(&log, nil))}}
	turns := make(chan int)
	turn := 0
	g.keep(t.Context(), func() {
		turn++
		turns <- turn
		if turn < 3 {
			panic("index out of range")
		}
	})
	for want := 1; want <= 3; want++ {
		assert.Equal(t, want, <-turns)
		if want < 3 {
			require.NoError(t, clock.BlockUntilContext(t.Context(), 1))
			clock.Advance(tick)
		}
	}
	g.running.Wait()
	assert.Equal(t, 2, strings.Count(log.String(), "index out of range"))

	c := &chore{do: func(context.Context) error { panic("index out of range") }, fault: func(error) {}}
	for range 2 {
		c.begin(t.Context(), g)
		g.acting.Wait()
	}
	assert.Equal(t, 4, strings.Count(log.String(), "index out of range"), "it is begun again")
}

// One look finds what waits in any of the kitchens, and leaves alone those in
// which nothing does: they need not even have a lease.
func TestOneLookForAll(t *testing.T) {
	t.Parallel()
	for name, place := range map[string]func(testing.TB) string{
		"embedded": storetest.FreshFile,
		"server":   func(t testing.TB) string { return pgtest.Start(t).Database(t) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			kitchens := map[string]string{}
			for _, k := range []string{"larkfield", "millbank", "brook"} {
				kitchens[k] = aKitchen(t, k, "07700 900100", "close_by_itself = true\n")
			}
			r := openHost(t, hostFiles(t, place(t), kitchens))
			r.open("millbank", "Mill1")
			larkfield := r.house("larkfield")
			n := larkfield.Config.NightOn(night.DateOf(time.Now().In(larkfield.Kitchen.Zone)), 16*60, 20*60, larkfield.Kitchen.Zone)
			n.InstructAt, n.ClosesAt = time.Now().Add(-time.Hour), time.Now().Add(-time.Minute)
			n, err := larkfield.Desk.AddNight(t.Context(), n, "cook")
			require.NoError(t, err)
			brook := r.house("brook").Live.Wait()
			millbank := r.house("millbank").Live.Wait()
			r.look(t.Context())
			r.acting.Wait()
			events, err := larkfield.Desk.Events(t.Context(), n.ID, 0, 100)
			require.NoError(t, err)
			last := events[len(events)-1]
			assert.Equal(t, night.OrdersNotClosed, last.What, "the night has no order book, and that was said")
			select {
			case <-millbank:
			default:
				t.Error("millbank's pages were not told")
			}
			select {
			case <-brook:
				t.Error("nothing happened in brook")
			default:
			}
			terms := map[string]bool{}
			for _, k := range r.kitchens {
				terms[k.house.Config.File] = k.lead.Term() > 0
			}
			assert.Equal(t, map[string]bool{"larkfield": true, "millbank": false, "brook": false}, terms)

			// A night of brook's was kept long enough.
			old := r.house("brook")
			n = old.Config.NightOn(night.DateOf(time.Now().In(old.Kitchen.Zone)).AddDays(-old.Config.Kitchen.KeepDays-1), 16*60, 20*60, old.Kitchen.Zone)
			n, err = old.Desk.AddNight(t.Context(), n, "cook")
			require.NoError(t, err)
			_, err = old.Desk.Load(t.Context(), n.ID, []night.Order{{Ref: "B-1", Name: "Brook1", Phone: phones["Brook1"], Slot: 17 * 60, State: night.Booked}}, "cook")
			require.NoError(t, err)
			r.wipe(t.Context())
			orders, err := old.Desk.Orders(t.Context(), n.ID)
			require.NoError(t, err)
			assert.Empty(t, orders[0].Name)
			for _, k := range r.kitchens {
				assert.Equal(t, k.house.Config.File != "millbank", k.lead.Term() > 0, "nothing was to be wiped in millbank")
			}
		})
	}
}
