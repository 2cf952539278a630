package adapterstest

import (
	"context"
	"sync"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

func acceptedArrives(b *bench) {
	short := b.message(1)
	accents := b.message(2)
	accents.Text = "Zoë, your \"2x char siu\" & {slaw} cost €18.50 / ready 17:10?\nReply HERE + car \\ plate"
	emoji := b.message(3)
	emoji.Text = "Bao 🥟 are steaming, see you at the gate"
	long := b.message(4)
	long.Text = ""
	for range 9 {
		long.Text += "Park by the green gate and reply with car, colour and plate. "
	}
	long.Text += "End."
	for _, m := range []adapters.Message{short, accents, emoji, long} {
		_, err := b.send(b.context(), m)
		require.NoError(b, err)
	}
	b.taken(short, accents, emoji, long)
}

func idsDiffer(b *bench) {
	seen := map[string]bool{}
	for i := range 3 {
		acc, err := b.send(b.context(), b.message(i))
		require.NoError(b, err)
		require.NotEmpty(b, acc.IDs, "an accepted text has an id")
		for _, id := range acc.IDs {
			require.NotEmpty(b, id)
			require.False(b, seen[id], "id %s was given twice", id)
			seen[id] = true
		}
	}
}

func refusedForNow(b *bench) {
	b.peer.Next(Temporary)
	m := b.message(1)
	_, err := b.send(b.context(), m)
	b.refused(err, adapters.Temporary)
	require.Empty(b, b.peer.Taken())

	_, err = b.send(b.context(), m)
	require.NoError(b, err, "the next try goes through")
	b.taken(m)
}

func refusedForGood(b *bench) {
	b.peer.Next(Permanent)
	bad, good := b.message(1), b.message(2)
	_, err := b.send(b.context(), bad)
	b.refused(err, adapters.Permanent)
	_, err = b.send(b.context(), good)
	require.NoError(b, err, "one bad number does not hold up the next customer")
	b.taken(good)
}

func throttled(b *bench) {
	b.peer.Next(Throttle)
	_, err := b.send(b.context(), b.message(1))
	se := b.refused(err, adapters.Throttled)
	if !b.rig.Lacks.Wait {
		require.Equal(b, ThrottleWait, se.Wait)
	}
	require.Empty(b, b.peer.Taken())
}

func unreachable(b *bench) {
	b.peer.Unreachable(true)
	m := b.message(1)
	_, err := b.send(b.context(), m)
	if adapters.OutcomeOf(err) == adapters.Unknown {
		// A standing connection may break under the first text's feet; the
		// adapter knows better from the second on.
		_, err = b.send(b.context(), m)
	}
	se := b.refused(err, adapters.Temporary)
	require.True(b, se.Account, "nothing will go out until the connection is back: Account says so")
	require.Empty(b, b.peer.Taken())
}

func reachableAgain(b *bench) {
	first, second := b.message(1), b.message(2)
	_, err := b.send(b.context(), first)
	require.NoError(b, err)
	b.peer.Unreachable(true)
	_, err = b.send(b.context(), second)
	require.Error(b, err)
	// The connection may have broken under the text's feet: then it is not
	// known, and that is a right answer too.
	require.Contains(b, []adapters.Outcome{adapters.Temporary, adapters.Unknown}, adapters.OutcomeOf(err))
	b.taken(first)
	b.peer.Unreachable(false)
	third := b.message(3)
	b.until("texts go out again once the far side is back", func() bool {
		_, err := b.send(b.context(), third)
		return err == nil
	})
	b.taken(first, third)
}

func silence(b *bench) {
	b.peer.Next(Silent)
	lost, next := b.message(1), b.message(2)
	ctx, cancel := context.WithCancel(b.context())
	defer cancel()
	go func() {
		look := time.NewTicker(2 * time.Millisecond)
		defer look.Stop()
		for ctx.Err() == nil {
			<-look.C
			if len(b.peer.Taken()) > 0 {
				cancel()
			}
		}
	}()
	_, err := b.send(ctx, lost)
	b.refused(err, adapters.Unknown)
	b.notRetried(lost, next)
}

func dropped(b *bench) {
	b.peer.Next(Drop)
	lost, next := b.message(1), b.message(2)
	_, err := b.send(b.context(), lost)
	b.refused(err, adapters.Unknown)
	b.notRetried(lost, next)
}

// notRetried sends another text: a retry inside the adapter would have arrived
// before it.
func (b *bench) notRetried(lost, next adapters.Message) {
	b.Helper()
	b.until("the next text goes out", func() bool {
		_, err := b.send(b.context(), next)
		if err != nil {
			require.NotEqual(b, adapters.Unknown, adapters.OutcomeOf(err), "the next text: %v", err)
		}
		return err == nil
	})
	b.taken(lost, next)
}

func cancelledBefore(b *bench) {
	ctx, cancel := context.WithCancel(b.context())
	cancel()
	_, err := b.send(ctx, b.message(1))
	b.refused(err, adapters.Temporary)
	require.ErrorIs(b, err, context.Canceled)
	require.Empty(b, b.peer.Taken())
}

func concurrent(b *bench) {
	const n = 24
	var (
		mu   sync.Mutex
		wg   sync.WaitGroup
		ids  = map[string]bool{}
		want []adapters.Message
		errs []error
	)
	total := 0
	ctx := b.context()
	for i := range n {
		m := b.message(i)
		want = append(want, m)
		wg.Go(func() {
			acc, err := b.fx.Adapter.Send(ctx, m)
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				errs = append(errs, err)
			}
			for _, id := range acc.IDs {
				ids[id] = true
				total++
			}
		})
	}
	wg.Wait()
	b.errs = append(b.errs, errs...)
	require.Empty(b, errs)
	b.taken(want...)
	require.Len(b, ids, total, "ids must differ")
}
