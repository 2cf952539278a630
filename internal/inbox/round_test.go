package inbox_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/inbox"
	"passbell/internal/night"
	"passbell/internal/store"
)

// round has texts come in at once, each as "number: words".
func (b *bench) round(texts ...[2]string) {
	b.t.Helper()
	all := make([]adapters.Inbound, len(texts))
	for i, t := range texts {
		b.said++
		all[i] = adapters.Inbound{ID: fmt.Sprintf("in-%d", b.said), From: t[0], Text: t[1], At: b.clock.Now()}
	}
	for _, err := range b.TakeRound(b.t.Context(), "texts", all...) {
		require.NoError(b.t, err)
	}
}

// story gives what happened since the night was loaded, as "text: what".
func (b *bench) story() []string {
	b.t.Helper()
	var out []string
	require.NoError(b.t, b.rows.Read(b.t.Context(), func(tx *store.Tx) error {
		before, err := tx.Events(b.t.Context(), 0, 0, 1000) // a text that came is near no night yet
		if err != nil {
			return err
		}
		after, err := tx.Events(b.t.Context(), b.night.ID, 0, 1000)
		for _, e := range slices.Concat(before, after) {
			if e.InboundID != 0 {
				out = append(out, fmt.Sprintf("%d: %s", e.InboundID, e.What))
			}
		}
		return err
	}))
	return out
}

func (b *bench) fresh() []night.Inbound {
	b.t.Helper()
	var out []night.Inbound
	require.NoError(b.t, b.rows.Read(b.t.Context(), func(tx *store.Tx) (err error) {
		out, err = tx.InboundsIn(b.t.Context(), night.Fresh)
		return err
	}))
	return out
}

func TestASecondTextOfTheRoundCompletesTheFirst(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.round([2]string{"+447700900101", "here"}, [2]string{"+447700900103", "im outside"}, [2]string{"+447700900101", "black audi"})
	o := b.order("K401")
	assert.Equal(t, night.Arrived, o.State)
	assert.Equal(t, "Audi", o.Vehicle.Make)
	assert.Equal(t, night.Arrived, b.order("K403").State)
	assert.Empty(t, b.order("K403").Vehicle)
	assert.Equal(t, []string{
		"1: text came", "2: text came", "3: text came",
		"1: text read", "1: step", "2: text read", "2: step", "3: text read", "3: vehicle noted",
	}, b.story(), "in the order in which they came, each with what it did")
	assert.Len(t, b.replies("+447700900101"), 2, "one asks for the car, one has seen it")
	assert.Empty(t, b.fresh())
}

// What a text does to an order is in the book in memory when the next round is
// read, and so is what was done meanwhile by somebody else.
func TestARoundKnowsWhatWasDoneBefore(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.round([2]string{"+447700900101", "here, plate lx19 kto"})
	assert.True(t, b.InMemory())
	_, err := b.desk.Out(t.Context(), desk.Act{Night: b.night.ID, Ref: "K401", Who: "cook"})
	require.NoError(t, err)
	_, err = b.desk.SetNumber(t.Context(), desk.Act{Night: b.night.ID, Ref: "K402", Who: "cook"}, "+447700900222")
	require.NoError(t, err)
	b.round([2]string{"+447700900222", "here"}, [2]string{"+447700900102", "here"}, [2]string{"+447700900101", "here again"})
	assert.Equal(t, night.Arrived, b.order("K402").State)
	assert.Equal(t, night.HandedOut, b.order("K401").State)
	open := b.open()
	require.NotEmpty(t, open)
	assert.Equal(t, "+447700900102", open[0].From, "the old number is a stranger's")
}

func TestACopyInTheSameRoundHasNoEffect(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	one := adapters.Inbound{ID: "same", From: "+447700900101", Text: "here, blue van", At: evening}
	other := adapters.Inbound{ID: "other", From: "+447700900103", Text: "here", At: evening}
	for range 2 {
		for _, err := range b.TakeRound(t.Context(), "texts", one, other, one, one) {
			require.NoError(t, err)
		}
	}
	assert.Equal(t, []string{
		"1: text came", "2: text came", "1: text read", "1: vehicle noted", "1: step", "2: text read", "2: step",
	}, b.story())
	assert.Len(t, b.replies("+447700900101"), 1)
}

// failing is a desk that can't act on some texts.
type failing struct {
	*desk.Desk
	on func(night.Inbound) error
}

func (f *failing) ApplyIn(ctx context.Context, tx desk.Tx, now time.Time, b *desk.Book, texts []night.Inbound, decide desk.Decide) error {
	return f.Desk.ApplyIn(ctx, tx, now, b, texts, func(in night.Inbound) (desk.Decision, error) {
		dec, err := decide(in)
		if err == nil {
			err = f.on(in)
		}
		return dec, err
	})
}

func TestATextThatCantBeActedOnHoldsUpItsSenderOnly(t *testing.T) {
	t.Parallel()
	for name, fail := range map[string]func(){"an error": nil, "a fault in the code": func() { panic("boom") }} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			wrong := errors.New("boom")
			f := &failing{}
			b := newBenchWith(t, func(d *desk.Desk) inbox.Desk { f.Desk = d; return f })
			tries := 0
			f.on = func(in night.Inbound) error {
				if in.From != "+447700900101" || wrong == nil {
					return nil
				}
				if tries++; fail != nil && tries == 1 {
					fail()
				}
				return wrong
			}
			b.round([2]string{"+447700900103", "here"}, [2]string{"+447700900101", "here"}, [2]string{"+447700900101", "black audi"}, [2]string{"+447700900102", "here"})
			assert.Equal(t, night.Arrived, b.order("K403").State, "before it")
			assert.Equal(t, night.Arrived, b.order("K402").State, "behind it")
			assert.Equal(t, night.Booked, b.order("K401").State)
			assert.Len(t, b.fresh(), 2, "theirs wait, in order")
			require.ErrorIs(t, b.CatchUp(t.Context()), wrong)
			b.round([2]string{"+447700900104", "here"})
			assert.Equal(t, night.Arrived, b.order("K404").State, "who comes later does not wait")

			wrong = nil
			require.NoError(t, b.CatchUp(t.Context()))
			o := b.order("K401")
			assert.Equal(t, night.Arrived, o.State)
			assert.Equal(t, "Audi", o.Vehicle.Make)
			assert.Empty(t, b.fresh())
			reads := map[string]int{}
			for _, line := range b.story() {
				reads[line]++
			}
			for i := range b.said {
				assert.Equal(t, 1, reads[fmt.Sprintf("%d: text read", i+1)])
			}
			assert.Equal(t, 1, reads["2: step"])
		})
	}
}

func TestWhatIsInMemoryGoesAfterAWhile(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.say("+447700900101", "here")
	b.Rest()
	assert.True(t, b.InMemory())
	b.clock.Advance(2 * time.Minute)
	b.Rest()
	assert.False(t, b.InMemory())
}

// The clock's round asks while texts come in.
func TestAskingForRestDisturbsNoRound(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	over, rested := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(rested)
		for {
			select {
			case <-over:
				return
			default:
				b.Rest()
			}
		}
	}()
	for range 8 {
		b.say("+447700900101", "thanks")
	}
	close(over)
	<-rested
	assert.Empty(t, b.fresh())
	assert.True(t, b.InMemory())
}

func TestAFullHouseAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var all [][2]string
	for i := range 120 { // more than are acted on in one transaction
		all = append(all, [2]string{fmt.Sprintf("+4477009001%02d", 1+i%4), "thanks"})
	}
	b.round(all...)
	assert.Empty(t, b.fresh())
	read := 0
	for _, line := range b.story() {
		if line[len(line)-len("read"):] == "read" {
			read++
		}
	}
	assert.Equal(t, len(all), read)
}

// A kitchen whose round takes long keeps no other one waiting that uses the line.
func TestKitchensOnALineDoNotWaitForEachOther(t *testing.T) {
	t.Parallel()
	slow := make(chan struct{})
	in := inbox.NewIntake(func(_ context.Context, kitchens []int64, _ func(int64, inbox.Tx) error) error {
		if slices.Contains(kitchens, 1) {
			<-slow
		}
		return nil
	}, 0)
	for id := range int64(3) {
		b, err := inbox.New(inbox.Config{
			Store: struct{ inbox.Store }{}, Desk: struct{ inbox.Desk }{}, Now: time.Now, Log: slog.New(slog.DiscardHandler),
			Kitchen: night.Kitchen{ID: id + 1, Zone: time.UTC},
		})
		require.NoError(t, err)
		in.Add(b)
	}
	take := func(kitchens ...int64) error {
		var copies []night.Inbound
		for _, k := range kitchens {
			copies = append(copies, night.Inbound{KitchenID: k, Adapter: "texts", ProviderID: "in-1"})
		}
		return in.Take(t.Context(), evening, kitchens, copies...)
	}
	var held sync.WaitGroup
	held.Go(func() { assert.NoError(t, take(1)) })
	require.NoError(t, take(2))
	require.NoError(t, take(2, 3), "nor do texts that may be for several")
	close(slow)
	held.Wait()
}
