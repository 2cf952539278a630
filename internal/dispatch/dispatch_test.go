package dispatch_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/storetest"
)

type rows struct{ *store.Kitchen }

func (s rows) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s rows) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

// carrier stands for the far side: it keeps what it was handed and answers as
// the test says.
type carrier struct {
	mu     sync.Mutex
	taken  []adapters.Message
	answer func(m adapters.Message) (adapters.Accepted, error)
}

func (c *carrier) Send(_ context.Context, m adapters.Message) (adapters.Accepted, error) {
	c.mu.Lock()
	c.taken = append(c.taken, m)
	answer := c.answer
	c.mu.Unlock()
	if answer != nil {
		return answer(m)
	}
	return adapters.Accepted{IDs: []string{"id-" + m.Key}}, nil
}

func (c *carrier) count() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.taken)
}

type replans struct {
	mu     sync.Mutex
	orders []int64
	plans  int // that had anybody in them
}

func (*replans) StillSays(context.Context, desk.Tx, night.Message) (bool, error) { return true, nil }

func (r *replans) ReplanIn(_ context.Context, _ desk.Tx, _ time.Time, about ...night.Message) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(about) > 0 {
		r.plans++
	}
	for _, m := range about {
		for _, c := range m.Covers {
			r.orders = append(r.orders, c.OrderID)
		}
	}
	return nil
}

type rig struct {
	*dispatch.Dispatcher
	t       *testing.T
	store   *store.Store
	k       *store.Kitchen
	clock   *clockwork.FakeClock
	carrier *carrier
	replans *replans
	night   int64
	orders  []int64
	config  dispatch.Config
}

func newRig(t *testing.T, texts int) *rig {
	t.Helper()
	return newRigAt(t, texts, storetest.FreshFile(t))
}

func newRigAt(t *testing.T, texts int, path string) *rig {
	t.Helper()
	s := storetest.Opened(t, path)
	kitchen := night.Kitchen{Name: "Larkfield Dumpling Kitchen", Region: "GB", Zone: time.UTC, Quiet: night.Quiet{From: 21 * 60, To: 8 * 60}}
	var err error
	kitchen.ID, err = s.PutKitchen(t.Context(), kitchen)
	require.NoError(t, err)
	r := &rig{
		t: t, store: s, k: s.Kitchen(kitchen.ID), carrier: &carrier{}, replans: &replans{},
		clock: clockwork.NewFakeClockAt(time.Date(2026, 12, 4, 12, 0, 0, 0, time.UTC)),
	}
	r.config = dispatch.Config{
		Store: rows{r.k}, Kitchen: kitchen, Adapter: "texts", Sender: r.carrier, Window: 4, PerSecond: 1000, Timeout: 30 * time.Second,
		Retry: dispatch.Retry{First: 5 * time.Second, Cap: time.Minute, Attempts: 3}, Replanner: r.replans,
		Now: r.clock.Now, Spread: func() float64 { return 0.5 }, Log: slog.New(slog.DiscardHandler),
	}
	r.restart()
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		ctx := t.Context()
		r.night, err = tx.AddNight(ctx, night.Night{Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16 * 60, Last: 19 * 60, Every: 10})
		require.NoError(t, err)
		for i := range texts {
			id, err := tx.AddOrder(ctx, night.Order{NightID: r.night, Ref: fmt.Sprintf("K%d", 401+i), Slot: 17 * 60, State: night.Booked})
			require.NoError(t, err)
			r.orders = append(r.orders, id)
			_, _, err = tx.AddMessage(ctx, night.Message{
				NightID: r.night, Kind: night.Instructions, To: fmt.Sprintf("+447700900%03d", i), Text: "come", Parts: 1,
				Covers: []night.Cover{{OrderID: id, Slot: 17 * 60}}, DueAt: r.clock.Now(), ExpiresAt: r.clock.Now().Add(5 * time.Hour),
			})
			require.NoError(t, err)
		}
		return nil
	}))
	return r
}

// restart makes a new dispatcher on the same database, as after a crash.
func (r *rig) restart() {
	r.t.Helper()
	var err error
	r.Dispatcher, err = dispatch.New(r.config)
	require.NoError(r.t, err)
}

func (r *rig) drain() {
	r.t.Helper()
	require.NoError(r.t, r.Drain(r.t.Context()))
}

func (r *rig) messages() []night.Message {
	r.t.Helper()
	var out []night.Message
	require.NoError(r.t, r.k.Read(r.t.Context(), func(tx *store.Tx) (err error) {
		out, err = tx.Messages(r.t.Context(), r.night)
		return err
	}))
	return out
}

func (r *rig) states() map[night.MessageState]int {
	out := map[night.MessageState]int{}
	for _, m := range r.messages() {
		out[m.State]++
	}
	return out
}

func (r *rig) order(i int) night.Order {
	r.t.Helper()
	var o night.Order
	require.NoError(r.t, r.k.Read(r.t.Context(), func(tx *store.Tx) (err error) {
		o, err = tx.Order(r.t.Context(), r.orders[i])
		return err
	}))
	return o
}

func TestEachTextGoesOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t, 60)
	r.drain()
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 60}, r.states())
	keys := map[string]bool{}
	for _, m := range r.carrier.taken {
		keys[m.Key] = true
	}
	assert.Len(t, keys, 60)
	assert.Equal(t, 60, r.carrier.count())
	assert.Equal(t, night.Told, r.order(0).State)
}

// softonic/axios-retry #66: a POST tried again after a time-out went out twice.
func TestALostAnswerIsShownAndNotSentAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, &adapters.SendError{Outcome: adapters.Unknown, Reason: "no answer"}
	}
	r.drain()
	r.clock.Advance(time.Hour)
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
	assert.Equal(t, map[night.MessageState]int{night.InDoubt: 1}, r.states())
	assert.Equal(t, night.Booked, r.order(0).State, "nobody knows whether the customer was told")
}

// A fault in an adapter's code is one text's, and not the night's.
func TestAFaultInAnAdapterEndsNothingElse(t *testing.T) {
	t.Parallel()
	r := newRig(t, 3)
	var first sync.Once
	r.carrier.answer = func(m adapters.Message) (_ adapters.Accepted, err error) {
		first.Do(func() { panic("index out of range") })
		return adapters.Accepted{IDs: []string{m.Key}}, nil
	}
	r.drain()
	r.clock.Advance(time.Hour)
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.InDoubt: 1, night.Sent: 2}, r.states())
	assert.Equal(t, 3, r.carrier.count(), "nobody knows whether the first went out")
}

// agronholm/apscheduler #296: a job two seconds late was dropped without a word.
func TestAProviderThatIsDownForFiveMinutes(t *testing.T) {
	t.Parallel()
	r := newRig(t, 3)
	r.config.Retry.Attempts = 10
	r.restart()
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, &adapters.SendError{Outcome: adapters.Temporary, Reason: "down"}
	}
	for range 60 {
		r.drain()
		r.clock.Advance(5 * time.Second)
	}
	assert.Equal(t, map[night.MessageState]int{night.Due: 3}, r.states())
	r.carrier.answer = nil
	r.clock.Advance(time.Minute)
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 3}, r.states())
}

func TestWhatSleptPastItsTimeIsShownAsMissed(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.clock.Advance(6 * time.Hour)
	r.drain()
	assert.Zero(t, r.carrier.count())
	assert.Equal(t, map[night.MessageState]int{night.Missed: 1}, r.states())
}

// Claimed one by one, as for a modem, and none of them goes out.
func TestAllThatIsDueIsSeenToAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t, 6)
	r.config.Window = 1
	r.restart()
	r.clock.Advance(48 * time.Hour)
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Missed: 6}, r.states())
	assert.Zero(t, r.carrier.count())
}

// rq/rq #2292: a job cancelled between pick-up and execution was executed.
func TestCancelledBetweenPickUpAndSend(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.config.Store = cancels{rows{r.k}, r.orders[0]}
	r.restart()
	r.drain()
	assert.Zero(t, r.carrier.count())
	assert.Equal(t, map[night.MessageState]int{night.Dropped: 1}, r.states())
	assert.Equal(t, r.orders, r.replans.orders)
}

// cancels cancels an order in the moment after its text was claimed.
type cancels struct {
	rows
	order int64
}

func (c cancels) Claim(ctx context.Context, adapter string, now, lease time.Time, limit int) ([]night.Message, error) {
	out, err := c.rows.Claim(ctx, adapter, now, lease, limit)
	if err != nil || len(out) == 0 {
		return out, err
	}
	return out, c.Kitchen.Write(ctx, func(tx *store.Tx) error {
		o, err := tx.Order(ctx, c.order)
		if err != nil {
			return err
		}
		o.State = night.Cancelled
		return tx.SaveOrder(ctx, o)
	})
}

// thunderbird/thunderbird-android #9558: sent or not, unknown, without a word.
func TestACrashWhileSendingEndsInDoubt(t *testing.T) {
	t.Parallel()
	r := newRig(t, 2)
	// A process that dies between its claim and the provider's answer.
	_, err := r.k.Claim(t.Context(), "texts", r.clock.Now(), r.clock.Now().Add(time.Minute), 1)
	require.NoError(t, err)
	r.restart()
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sending: 1, night.Sent: 1}, r.states(), "the lease still runs")
	r.clock.Advance(time.Minute)
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.InDoubt: 1, night.Sent: 1}, r.states())
	assert.Equal(t, 1, r.carrier.count())
}

// What another left behind is found with a tick, also by who runs already; a change
// alone is no reason to look for it.
func TestATickFindsWhatIsOverdue(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	ctx, cancel := context.WithCancel(t.Context())
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()
	running.Go(func() { r.Run(ctx) })
	reaches := func(want map[night.MessageState]int) {
		t.Helper()
		require.Eventually(t, func() bool { return maps.Equal(want, r.states()) }, 20*time.Second, time.Millisecond)
	}
	reaches(map[night.MessageState]int{night.Sent: 1})
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		_, _, err := tx.AddMessage(t.Context(), night.Message{
			NightID: r.night, Kind: night.Nudge, To: "+447700900900", Text: "come", Parts: 1,
			DueAt: r.clock.Now(), ExpiresAt: r.clock.Now().Add(5 * time.Hour),
		})
		return err
	}))
	_, err := r.k.Claim(t.Context(), "texts", r.clock.Now(), r.clock.Now().Add(time.Minute), 1) // by an instance that dies
	require.NoError(t, err)
	r.clock.Advance(time.Minute)
	r.Tick()
	reaches(map[night.MessageState]int{night.Sent: 1, night.InDoubt: 1})
}

// timgit/pg-boss #555: an expired job ran on while its retry had started.
func TestASlowProviderPastTheLease(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	other, err := dispatch.New(r.config)
	require.NoError(t, err)
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		r.carrier.answer = nil
		r.clock.Advance(2 * time.Hour) // this send outlives its lease by far
		assert.NoError(t, other.Drain(t.Context()))
		return adapters.Accepted{IDs: []string{"late"}}, nil
	}
	r.drain()
	assert.Equal(t, 1, r.carrier.count(), "one text, though another worker was alive")
	assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states(), "the late answer is believed")
}

// What ends together is planned anew together: where a provider turns two hundred texts
// away, the pass must not wait for two hundred plans.
func TestPlannedAnewTogether(t *testing.T) {
	t.Parallel()
	r := newRig(t, 4)
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		orders, err := tx.Orders(t.Context(), r.night)
		for i := range orders {
			orders[i].State = night.Cancelled
		}
		require.NoError(t, err)
		return tx.SaveOrders(t.Context(), orders)
	}))
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Dropped: 4}, r.states())
	assert.ElementsMatch(t, r.orders, r.replans.orders)
	assert.Equal(t, 1, r.replans.plans)
}

func TestThrottledPausesEverything(t *testing.T) {
	t.Parallel()
	r := newRig(t, 10)
	r.config.Window = 1
	r.restart()
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, &adapters.SendError{Outcome: adapters.Throttled, Wait: time.Minute, Reason: "too fast"}
	}
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
	r.carrier.answer = nil
	r.clock.Advance(59 * time.Second)
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
	r.clock.Advance(time.Second)
	r.drain()
	assert.Equal(t, 11, r.carrier.count())
}

func TestThePaceIsKept(t *testing.T) {
	t.Parallel()
	r := newRig(t, 10)
	r.config.PerSecond = 2
	r.restart()
	r.drain()
	assert.Equal(t, 2, r.carrier.count())
	r.clock.Advance(time.Second)
	r.drain()
	assert.Equal(t, 4, r.carrier.count())
}

func TestTwoTextsToOneNumberKeepTheirGap(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		m := r.messages()[0]
		m.ID, m.Kind = 0, night.Reminder
		_, added, err := tx.AddMessage(t.Context(), m)
		assert.True(t, added)
		return err
	}))
	r.config.Gap = 10 * time.Second
	r.restart()
	r.drain()
	r.clock.Advance(9 * time.Second)
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
	r.clock.Advance(time.Second)
	r.drain()
	assert.Equal(t, 2, r.carrier.count())
}

func TestReceipts(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		// The network is faster than the answer to the send.
		early := adapters.Receipt{ID: "two", Status: adapters.Delivered, At: r.clock.Now()}
		return adapters.Accepted{IDs: []string{"one", "two"}}, errors.Join(r.Receipt(t.Context(), early))
	}
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states(), "one of two parts")
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "one", Status: adapters.Delivered}))
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "one", Status: adapters.OnTheWay}), "late")
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "of another", Status: adapters.Failed}))
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 1}, r.states())
}

func TestARetryInQuietHoursWaitsForTheMorning(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	require.NoError(t, r.k.Write(t.Context(), func(tx *store.Tx) error {
		m := r.messages()[0]
		m.ExpiresAt = r.clock.Now().Add(48 * time.Hour)
		_, err := tx.Reword(t.Context(), m)
		return err
	}))
	r.clock.Advance(9 * time.Hour) // 21:00
	r.drain()
	assert.Zero(t, r.carrier.count())
	r.clock.Advance(11*time.Hour - time.Second)
	r.drain()
	assert.Zero(t, r.carrier.count())
	r.clock.Advance(time.Second)
	r.drain()
	assert.Equal(t, 1, r.carrier.count())
}

func TestWhatFailsTakesTheNextWayOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	mail := &carrier{}
	r.config.Next = func(m night.Message, orders []night.Order) (night.Fall, bool) {
		assert.Equal(t, "K401", orders[0].Ref)
		return night.Fall{Adapter: "mail", To: "bethan@kitchen.test"}, !m.Fallen
	}
	r.restart()
	other := r.config
	other.Adapter, other.Sender = "mail", mail
	second, err := dispatch.New(other)
	require.NoError(t, err)

	r.drain()
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-" + r.carrier.taken[0].Key, Status: adapters.Failed, Reason: "no such number"}))
	assert.Equal(t, map[night.MessageState]int{night.Due: 1}, r.states())
	assert.Equal(t, r.orders, r.replans.orders, "its orders may have changed since it was written")
	r.drain()
	assert.Equal(t, 1, r.carrier.count(), "never both")
	require.NoError(t, second.Drain(t.Context()))
	require.Equal(t, 1, mail.count())
	assert.Equal(t, "bethan@kitchen.test", mail.taken[0].To)
	assert.Equal(t, "mail", r.messages()[0].Adapter)
	require.NoError(t, second.Receipt(t.Context(), adapters.Receipt{ID: "id-" + mail.taken[0].Key, Status: adapters.Failed}))
	assert.Equal(t, map[night.MessageState]int{night.Failed: 1}, r.states(), "once")
}

func TestSilencePastItsTimeTakesTheNextWay(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	r.config.Retry.Attempts, r.config.FallAfter = 100, 3*time.Minute
	r.config.Next = func(m night.Message, _ []night.Order) (night.Fall, bool) {
		return night.Fall{Adapter: "mail", To: "x@y.test"}, !m.Fallen
	}
	r.restart()
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, &adapters.SendError{Outcome: adapters.Temporary, Account: true, Reason: "sign-in refused"}
	}
	r.drain()
	assert.False(t, r.messages()[0].Fallen)
	for range 4 {
		r.clock.Advance(2 * time.Minute)
		r.drain()
	}
	assert.True(t, r.messages()[0].Fallen)
	assert.Equal(t, "mail", r.messages()[0].Adapter)
}

func TestNoReceiptTakesTheNextWayOnlyWhereTheKitchenSaysSo(t *testing.T) {
	t.Parallel()
	r := newRig(t, 2)
	r.config.Next = func(m night.Message, _ []night.Order) (night.Fall, bool) {
		return night.Fall{Adapter: "mail", To: "x@y.test"}, !m.Fallen
	}
	r.restart()
	r.drain()
	r.clock.Advance(time.Hour)
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Sent: 2}, r.states(), "by default silence changes nothing")
	r.config.FallUnconfirmed = 10 * time.Minute
	r.restart()
	require.NoError(t, r.Receipt(t.Context(), adapters.Receipt{ID: "id-" + r.carrier.taken[0].Key, Status: adapters.Delivered}))
	r.drain()
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 1, night.Due: 1}, r.states())
	assert.Equal(t, 2, r.carrier.count(), "this adapter sends neither again")
	fell := r.replans.orders
	require.Len(t, fell, 1, "its order may have changed since it was written")

	// The other way answers nothing: the text stands as what it was, and what it would
	// have served is planned for.
	r.replans.orders = nil
	r.config.Adapter = "mail"
	r.restart()
	r.carrier.answer = func(adapters.Message) (adapters.Accepted, error) {
		return adapters.Accepted{}, errors.New("connection reset")
	}
	r.drain()
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 1, night.Sent: 1}, r.states())
	assert.Equal(t, fell, r.replans.orders)
}

func TestShutdownSettlesWhatIsUnderWay(t *testing.T) {
	t.Parallel()
	r := newRig(t, 1)
	ctx, cancel := context.WithCancel(t.Context())
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		cancel()
		return adapters.Accepted{IDs: []string{"x"}}, nil
	}
	r.Wake()
	r.Run(ctx)
	assert.Equal(t, map[night.MessageState]int{night.Sent: 1}, r.states())
}
