package dispatch_test

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store"
)

// sharing gives dispatchers of so many kitchens for one adapter, each with texts
// that are due. They keep to one pace.
func sharing(t *testing.T, kitchens, texts, window int, perSecond float64, gap time.Duration, with ...func(*dispatch.Config)) (*rig, []*dispatch.Dispatcher) {
	t.Helper()
	first := newRig(t, 0)
	pace := dispatch.NewPace(window, perSecond, gap)
	var all []*dispatch.Dispatcher
	for i := range kitchens {
		k := night.Kitchen{Name: fmt.Sprintf("Kitchen %d", i), Region: "GB", Zone: time.UTC}
		var err error
		k.ID, err = first.store.PutKitchen(t.Context(), k)
		require.NoError(t, err)
		mine := first.store.Kitchen(k.ID)
		require.NoError(t, mine.Write(t.Context(), func(tx *store.Tx) error {
			id, err := tx.AddNight(t.Context(), night.Night{Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16 * 60, Last: 19 * 60, Every: 10})
			require.NoError(t, err)
			for n := range texts {
				order, err := tx.AddOrder(t.Context(), night.Order{NightID: id, Ref: fmt.Sprint(n), Slot: 17 * 60, State: night.Booked})
				require.NoError(t, err)
				_, _, err = tx.AddMessage(t.Context(), night.Message{
					NightID: id, Kind: night.Instructions, To: fmt.Sprintf("+4477009009%02d", n), Text: k.Name, Parts: 1,
					Covers: []night.Cover{{OrderID: order, Slot: 17 * 60}}, DueAt: first.clock.Now(), ExpiresAt: first.clock.Now().Add(5 * time.Hour),
				})
				require.NoError(t, err)
			}
			return nil
		}))
		c := first.config
		c.Store, c.Kitchen, c.Pace, c.Window = rows{mine}, k, pace, window
		for _, change := range with {
			change(&c)
		}
		d, err := dispatch.New(c)
		require.NoError(t, err)
		all = append(all, d)
	}
	return first, all
}

// TestOnePaceForAllKitchens lets three kitchens send twenty texts each, four a
// second in all: one of them begins, and none waits for another's last text.
func TestOnePaceForAllKitchens(t *testing.T) {
	t.Parallel()
	const kitchens, texts, perSecond = 3, 20, 4
	r, all := sharing(t, kitchens, texts, perSecond, perSecond, 0)
	for second := range kitchens * texts / perSecond {
		for range 3 { // whoever was refused a place is woken, and asks once more
			for _, d := range all {
				require.NoError(t, d.Drain(t.Context()))
			}
		}
		require.Equal(t, perSecond*(second+1), r.carrier.count(), "in second %d", second)
		by := map[string]int{}
		for _, m := range r.carrier.taken {
			by[m.Text]++
		}
		if second > 2 && second < 12 {
			for name, n := range by {
				assert.InDelta(t, r.carrier.count()/kitchens, n, 2*perSecond, "%s in second %d", name, second)
			}
		}
		r.clock.Advance(time.Second)
	}
}

// TestOneWindowForAllKitchens holds every send: never are more under way than
// the window allows, and a place that is freed goes to who waits for longer.
func TestOneWindowForAllKitchens(t *testing.T) {
	t.Parallel()
	r, all := sharing(t, 3, 4, 2, 1000, 0)
	var mu sync.Mutex
	underway, most := 0, 0
	release := make(chan struct{})
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		mu.Lock()
		underway++
		most = max(most, underway)
		mu.Unlock()
		<-release
		mu.Lock()
		underway--
		mu.Unlock()
		return adapters.Accepted{IDs: []string{m.Key}}, nil
	}
	var done sync.WaitGroup
	for _, d := range all {
		done.Go(func() { d.Run(t.Context()) })
		d.Wake()
	}
	require.Eventually(t, func() bool {
		mu.Lock()
		defer mu.Unlock()
		return most == 2
	}, 20*time.Second, time.Millisecond)
	close(release)
	require.Eventually(t, func() bool {
		for _, d := range all {
			d.Wake()
		}
		mu.Lock()
		defer mu.Unlock()
		return r.carrier.count() == 12 && underway == 0
	}, 20*time.Second, 5*time.Millisecond)
	assert.Equal(t, 2, most)
}

// TestWhoWaitsForAPlaceTakesItAtOnce has kitchens that rest for long after all was
// sent: who only waits for a place has not sent all.
func TestWhoWaitsForAPlaceTakesItAtOnce(t *testing.T) {
	t.Parallel()
	r, all := sharing(t, 3, 4, 2, 1000, 0, func(c *dispatch.Config) { c.Breath = time.Hour })
	for _, d := range all {
		go d.Run(t.Context())
	}
	require.Eventually(t, func() bool { return r.carrier.count() == 12 }, 20*time.Second, time.Millisecond)
}

// TestAPauseIsForAllKitchens has the provider ask one kitchen to slow down.
func TestAPauseIsForAllKitchens(t *testing.T) {
	t.Parallel()
	r, all := sharing(t, 2, 1, 4, 1000, 0)
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, &adapters.SendError{Outcome: adapters.Throttled, Wait: time.Minute}
	}
	require.NoError(t, all[0].Drain(t.Context()))
	require.Equal(t, 1, r.carrier.count())
	require.NoError(t, all[1].Drain(t.Context()))
	require.Equal(t, 1, r.carrier.count(), "the other kitchen waits as well")
	r.clock.Advance(2 * time.Minute)
	r.carrier.answer = nil
	for range 2 { // the second waited for longer, and is first
		for _, d := range all {
			require.NoError(t, d.Drain(t.Context()))
		}
	}
	require.Equal(t, 3, r.carrier.count())
}

// claims counts the claims that found something.
type claims struct {
	rows
	found *int
}

func (c claims) Claim(ctx context.Context, adapter string, now, leaseUntil time.Time, limit int) ([]night.Message, error) {
	out, err := c.rows.Claim(ctx, adapter, now, leaseUntil, limit)
	if len(out) > 0 {
		*c.found++
	}
	return out, err
}

// TestManyKitchensClaimManyAtATime has more kitchens wait than there are places:
// each then sends all it has together, and not one text a transaction.
func TestManyKitchensClaimManyAtATime(t *testing.T) {
	t.Parallel()
	const kitchens, texts = 12, 5
	found := 0
	r, all := sharing(t, kitchens, texts, 10, 1000, 0, func(c *dispatch.Config) { c.Store = claims{c.Store.(rows), &found} })
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, &adapters.SendError{Outcome: adapters.Throttled, Wait: time.Minute}
	}
	for _, d := range all { // everybody is in the line
		require.NoError(t, d.Drain(t.Context()))
	}
	r.clock.Advance(10 * time.Minute)
	r.carrier.answer, r.carrier.taken, found = nil, nil, 0
	for range 2 {
		for _, d := range all {
			require.NoError(t, d.Drain(t.Context()))
		}
	}
	assert.Equal(t, kitchens*texts, r.carrier.count())
	assert.Equal(t, kitchens, found)
}

// TestAGapIsForAllKitchens has two kitchens text one phone.
func TestAGapIsForAllKitchens(t *testing.T) {
	t.Parallel()
	r, all := sharing(t, 2, 1, 4, 1000, 10*time.Second)
	for _, d := range all {
		require.NoError(t, d.Drain(t.Context()))
	}
	require.Equal(t, 1, r.carrier.count())
	r.clock.Advance(10 * time.Second)
	for range 2 {
		for _, d := range all {
			require.NoError(t, d.Drain(t.Context()))
		}
	}
	require.Equal(t, 2, r.carrier.count())
}
