package dispatch_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store"
)

// flaky is a database that takes no writing while something is wrong with it.
type flaky struct {
	rows
	wrong   error
	refused int
}

var errAway = &night.StoreError{Doing: "begin", Err: night.ErrAway}

func (f *flaky) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	if f.wrong != nil {
		f.refused++
		return f.wrong
	}
	return f.rows.Write(ctx, fn)
}

func TestAnAnswerIsKeptWhileTheDatabaseIsAway(t *testing.T) {
	t.Parallel()
	r := newRig(t, 6)
	database := &flaky{rows: rows{r.k}}
	r.config.Store = database
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		database.wrong = errAway
		return adapters.Accepted{IDs: []string{"id-" + m.Key}}, nil
	}
	r.config.Window = 1
	r.restart()
	require.ErrorIs(t, r.Drain(t.Context()), errAway)
	assert.Equal(t, map[night.MessageState]int{night.Sending: 1, night.Due: 5}, r.states())
	r.clock.Advance(time.Hour) // far past the lease
	require.ErrorIs(t, r.Drain(t.Context()), errAway)
	database.wrong = nil
	r.carrier.answer = nil
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 6}, r.states(), "what was known is not in doubt")
	assert.Equal(t, 6, r.carrier.count())
}

// Each write to a server that is silent waits for as long as its connection is
// given: four answers must not wait one after the other.
func TestADatabaseThatIsAwayIsAskedOnceForAllAnswers(t *testing.T) {
	t.Parallel()
	const tries = 3 // of one transaction
	for name, c := range map[string]struct {
		wrong   error
		refused int
	}{
		"away":                   {errAway, tries},
		"a row can't be written": {&night.StoreError{Doing: "change message", Err: errors.New("value out of range")}, tries * (1 + 4)},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 4)
			database := &flaky{rows: rows{r.k}, wrong: c.wrong}
			r.config.Store = database
			r.restart()
			require.ErrorIs(t, r.Drain(t.Context()), c.wrong)
			database.refused = 0 // all four answers have come now
			require.ErrorIs(t, r.Drain(t.Context()), c.wrong)
			assert.Equal(t, c.refused, database.refused)
			database.wrong = nil
			r.drain()
			assert.Equal(t, map[night.MessageState]int{night.Sent: 4}, r.states(), "all were kept")
			assert.Equal(t, 4, r.carrier.count())
		})
	}
}

// blemished is a database with which one message can't be settled, or looked at.
type blemished struct {
	rows
	settle, look func(messageID int64) error
}

func (b blemished) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	return b.rows.Write(ctx, func(tx dispatch.Tx) error { return fn(blemishedTx{tx, b}) })
}

func (b blemished) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	return b.rows.Read(ctx, func(tx dispatch.Tx) error { return fn(blemishedTx{tx, b}) })
}

type blemishedTx struct {
	dispatch.Tx
	of blemished
}

func (t blemishedTx) Settle(ctx context.Context, all []night.Settlement) ([]night.MessageState, error) {
	for _, s := range all {
		if err := t.of.settle(s.MessageID); err != nil {
			return nil, err
		}
	}
	return t.Tx.Settle(ctx, all)
}

func (t blemishedTx) Trials(ctx context.Context, ids []int64) ([]night.Trial, error) {
	for _, id := range ids {
		if err := t.of.look(id); err != nil {
			return nil, err
		}
	}
	return t.Tx.Trials(ctx, ids)
}

// Whatever is wrong with one text, and wherever it shows, the others go out and are
// recorded, with the same look and with every later one.
func TestATextThatCanNotBeDealtWithHoldsUpNoOther(t *testing.T) {
	t.Parallel()
	fine := func(int64) error { return nil }
	broken := func(id int64) error {
		if id == 2 {
			return &night.StoreError{Doing: "read message", Err: errors.New("a value is out of range")}
		}
		return nil
	}
	faulty := func(id int64) error {
		if id == 2 {
			panic("index out of range")
		}
		return nil
	}
	for name, c := range map[string]struct {
		settle, look func(int64) error
		sent         int
	}{
		"it can't be recorded":               {broken, fine, 6},
		"a fault shows when it is recorded":  {faulty, fine, 6},
		"it can't be looked at":              {fine, broken, 5},
		"a fault shows when it is looked at": {fine, faulty, 5},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, 6)
			r.config.Store = blemished{rows{r.k}, c.settle, c.look}
			r.config.Window = 2
			r.restart()
			for range 4 {
				require.Error(t, r.Drain(t.Context()), "it is told")
				assert.Equal(t, c.sent, r.carrier.count(), "at once, and once each")
				assert.Equal(t, 5, r.states()[night.Sent])
				r.clock.Advance(time.Minute)
			}
		})
	}
}

// Of several tries that nobody will settle, one that can't be given up keeps none of
// the others from being shown, nor what came no receipt for from going another way.
func TestATryThatCanNotBeGivenUpHidesNoOther(t *testing.T) {
	t.Parallel()
	r := newRig(t, 4)
	_, err := r.k.Claim(t.Context(), "texts", r.clock.Now(), r.clock.Now().Add(time.Minute), 3)
	require.NoError(t, err)
	r.drain()
	r.config.FallUnconfirmed = 10 * time.Minute
	r.config.Next = func(m night.Message, _ []night.Order) (night.Fall, bool) {
		return night.Fall{Adapter: "mail", To: "x@y.test"}, !m.Fallen
	}
	r.config.Store = blemished{rows{r.k}, func(id int64) error {
		if id == 2 {
			panic("index out of range")
		}
		return nil
	}, func(int64) error { return nil }}
	r.restart()
	r.clock.Advance(time.Hour)
	require.Error(t, r.Drain(t.Context()))
	assert.Equal(t, map[night.MessageState]int{night.InDoubt: 2, night.Sending: 1, night.Due: 1}, r.states())
}

// Where nothing can be recorded, as good as nothing goes out: each would be in doubt.
// Where nothing can be read, as good as nothing is claimed.
func TestWhereNothingCanBeDealtWithSendingStops(t *testing.T) {
	t.Parallel()
	fine := func(int64) error { return nil }
	never := func(int64) error { return errors.New("a value is out of range") }
	r := newRig(t, 20)
	r.config.Window = 2
	r.config.Store = blemished{rows{r.k}, never, fine}
	r.restart()
	for range 10 {
		require.Error(t, r.Drain(t.Context()))
	}
	assert.LessOrEqual(t, r.carrier.count(), 5+2)

	r = newRig(t, 20)
	r.config.Window = 2
	putOff := 0
	r.config.Store = blemished{rows{r.k}, func(int64) error { putOff++; return nil }, never}
	r.restart()
	require.Error(t, r.Drain(t.Context()))
	assert.Zero(t, r.carrier.count())
	assert.LessOrEqual(t, putOff, 5+2)
}

// sleeps lets the machine sleep in the moment after a claim.
type sleeps struct {
	rows
	sleep func()
}

func (s sleeps) Claim(ctx context.Context, adapter string, now, lease time.Time, limit int) ([]night.Message, error) {
	out, err := s.rows.Claim(ctx, adapter, now, lease, limit)
	if len(out) > 0 {
		s.sleep()
	}
	return out, err
}

func TestWhoSleptPastTheLeaseDoesNotSendWhatAnotherHas(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	other, err := dispatch.New(r.config)
	require.NoError(t, err)
	r.config.Store = sleeps{rows{r.k}, func() {
		r.clock.Advance(2 * time.Minute)
		assert.NoError(t, other.Drain(t.Context()))                         // gives the attempt up
		assert.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error { // a person sends it again
			_, err := tx.SendAgain(t.Context(), r.messages()[0].ID, r.clock.Now().Add(time.Hour))
			return err
		}))
		assert.NoError(t, other.Drain(t.Context()))
	}}
	r.restart()
	r.drain()
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
	assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states())
}

// A try is given up, so that nobody's change reaches its text any more, and then turns
// out not to have been made: what waits again is planned for.
func TestATryThatWasGivenUpAndNotMadeIsPlannedFor(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	other, err := dispatch.New(r.config)
	require.NoError(t, err)
	r.config.Store = sleeps{rows{r.k}, sync.OnceFunc(func() {
		r.clock.Advance(2 * time.Minute)
		assert.NoError(t, other.Drain(t.Context()))
		assert.Equal(t, map[night.MessageState]int{night.InDoubt: 1}, r.states())
		r.replans.orders = nil
	})}
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		assert.Equal(t, []int64{r.order(0).ID}, r.replans.orders, "before it is tried again")
		return adapters.Accepted{IDs: []string{m.Key}}, nil
	}
	r.restart()
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states())
	assert.Equal(t, 1, r.carrier.count())
}

func TestWhoSleptIntoTheQuietHoursWaits(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		m := r.messages()[0]
		m.ExpiresAt = r.clock.Now().Add(48 * time.Hour)
		_, err := tx.Reword(t.Context(), m)
		return err
	}))
	r.config.Store = sleeps{rows{r.k}, func() { r.clock.Advance(10 * time.Hour) }}
	r.restart()
	r.drain()
	assert.Zero(t, r.carrier.count())
	assert.Equal(t, map[night.MessageState]int{night.Due: 1}, r.states())
}

// fails is a replanner whose plan can't be stored.
type fails struct{}

func (fails) StillSays(context.Context, desk.Tx, night.Message) (bool, error) { return false, errAway }

func (fails) ReplanIn(_ context.Context, _ desk.Tx, _ time.Time, about ...night.Message) error {
	if len(about) == 0 {
		return nil
	}
	return errAway
}

// Whoever shared a text that was dropped gets theirs however soon after it the
// power fails: both are one transaction.
func TestADroppedTextAndThePlanForTheOthersAreOne(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.config.Store = cancels{rows{r.k}, r.orders[0]}
	r.config.Replanner = fails{}
	r.restart()
	require.ErrorIs(t, r.Drain(t.Context()), errAway)
	assert.Equal(t, map[night.MessageState]int{night.Sending: 1}, r.states())
	assert.Zero(t, r.carrier.count())
}

// A person sends a text again whose fate is in doubt, and only then the report
// comes that the phone has it: it is not sent a second time.
func TestAReportThatComesBeforeTheSecondTry(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.drain()
	id := r.messages()[0].ID
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Failed, Reason: "the phone is off"}))
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		_, err := tx.SendAgain(t.Context(), id, r.clock.Now().Add(time.Hour))
		return err
	}))
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-m1-1", Status: adapters.Delivered}))
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 1}, r.states())
}

// A slow answer does not make a text newer than what went out meanwhile.
func TestATextWentOutWhenTheProviderWasCalled(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	called := r.clock.Now()
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		r.clock.Advance(3 * time.Minute)
		return adapters.Accepted{}, nil
	}
	r.drain()
	assert.Equal(t, night.Sent, r.messages()[0].State)
	assert.Equal(t, called, r.messages()[0].SettledAt)
}
