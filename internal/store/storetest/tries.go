package storetest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// earlier: a message that is to be sent again, and then is not, stands by what
// its tries came to. What left the house is never forgotten, however the next try
// ends: called off before it began, stopped at the last look, or refused.
func earlier(t *testing.T, s *store.Store) {
	set := set(t, s, 50)
	type step func(on *retried)
	accepted := func(on *retried) { on.try(night.Sent, night.Accepted) }
	doubtful := func(on *retried) { on.try(night.InDoubt, string(adapters.Unknown)) }
	refused := func(on *retried) { on.try(night.Failed, string(adapters.Permanent)) }
	putOff := func(on *retried) { on.try(night.Due, string(adapters.Temporary)) }
	lost := func(on *retried) { on.lost() }
	again := func(on *retried) { on.again() }
	other := func(on *retried) { on.reroute() }
	for name, tt := range map[string]struct {
		before []step
		want   night.MessageState // Dropped, Missed or Failed where nothing ever left the house
		by     int                // the try by which the message stands
	}{
		"sent, and to go another way":              {[]step{accepted, other}, night.Sent, 1},
		"in doubt, and sent again":                 {[]step{doubtful, again}, night.InDoubt, 1},
		"lost by the network, and sent again":      {[]step{accepted, lost, again}, night.Failed, 1},
		"in doubt, then lost, and sent again":      {[]step{doubtful, again, accepted, lost, again}, night.InDoubt, 1},
		"in doubt twice":                           {[]step{doubtful, again, doubtful, again}, night.InDoubt, 2},
		"refused for now":                          {[]step{putOff}, "", 0},
		"refused for good, and sent again":         {[]step{refused, again}, "", 0},
		"refused, then in doubt, and sent again":   {[]step{putOff, doubtful, again}, night.InDoubt, 2},
		"in doubt, refused for now":                {[]step{doubtful, again, putOff}, night.InDoubt, 1},
		"lost by the network after it was refused": {[]step{putOff, accepted, lost, again}, night.Failed, 2},
	} {
		for end, called := range map[string]struct {
			step step
			none night.MessageState
		}{
			"withdrawn":                   {func(on *retried) { on.withdraw(night.Dropped) }, night.Dropped},
			"withdrawn as its time is up": {func(on *retried) { on.withdraw(night.Missed) }, night.Missed},
			"dropped at the last look":    {func(on *retried) { on.last(night.Dropped, night.NotSent) }, night.Dropped},
			"too late at the last look":   {func(on *retried) { on.last(night.Missed, night.NotSent) }, night.Missed},
			"refused for good":            {func(on *retried) { on.last(night.Failed, string(adapters.Permanent)) }, night.Failed},
		} {
			t.Run(name+", "+end, func(t *testing.T) {
				on := &retried{setting: set, t: t, order: set.orders[0], at: now}
				set.orders = set.orders[1:]
				on.id = on.add(t, on.message(on.order))
				for _, step := range tt.before {
					step(on)
				}
				m := on.get(t, on.id)
				require.Equal(t, night.Due, m.State)
				assert.Equal(t, tt.want, m.Earlier.State, "what it goes back to is known beforehand")
				called.step(on)

				m = on.get(t, on.id)
				want := tt.want
				if want == "" {
					want = called.none
				}
				assert.Equal(t, want, m.State)
				if want == night.Dropped {
					assert.Empty(t, m.Covers)
					on.id = on.add(t, on.message(on.order)) // it is planned anew
					on.withdraw(night.Dropped)
					return
				}
				assert.Len(t, m.Covers, 1, "it stays about its order")
				write(t, on.k, func(ctx context.Context, tx *store.Tx) {
					_, added, err := tx.AddMessage(ctx, on.message(on.order))
					require.NoError(t, err)
					assert.False(t, added, "and is not planned anew")
				})
				if tt.want != "" {
					assert.Equal(t, on.went[tt.by], m.SettledAt, "when it went out")
					assert.Equal(t, on.turns[tt.by], m.Turn, "before and after which others")
					assert.Equal(t, "texts", m.Adapter, "by which way")
					assert.Equal(t, "+447700900000", m.To, "to whom")
					assert.Equal(t, on.why[tt.by], m.Reason)
				}
			})
		}
	}
}

// untried: a message that was missed before any try says what was true then, also
// when somebody tells it by hand long after.
func untried(t *testing.T, s *store.Store) {
	set := set(t, s, 3)
	set.add(t, set.message(set.orders[0]))
	before := set.claim(t, now, 1)[0]
	id := set.add(t, set.message(set.orders[1]))
	settle := func(from, to night.MessageState) {
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			done, err := tx.SetMessageState(ctx, id, []night.MessageState{from}, to, "", now)
			require.NoError(t, err)
			require.True(t, done)
		})
	}
	settle(night.Due, night.Missed)
	set.add(t, set.message(set.orders[2]))
	after := set.claim(t, now, 1)[0]
	settle(night.Missed, night.ByHand)
	assert.Greater(t, set.get(t, id).Turn, before.Turn)
	assert.Greater(t, after.Turn, set.get(t, id).Turn)
}

// retried is a message with several tries.
type retried struct {
	setting
	t     *testing.T
	order int64
	id    int64
	n     int    // tries so far
	to    string // the address of the last
	at    time.Time
	went  map[int]time.Time
	turns map[int]int64
	why   map[int]string
}

// claim puts the next try on record.
func (r *retried) claim() {
	r.t.Helper()
	r.at, r.n = r.at.Add(time.Minute), r.n+1
	adapter := "texts"
	if r.get(r.t, r.id).Fallen {
		adapter = "mail"
	}
	got, err := r.k.Claim(r.t.Context(), adapter, r.at, r.at.Add(time.Minute), 1)
	require.NoError(r.t, err)
	require.Len(r.t, got, 1)
	require.Equal(r.t, r.id, got[0].ID)
	require.Equal(r.t, r.n, got[0].Attempt)
	if r.turns == nil {
		r.turns = map[int]int64{}
	}
	r.turns[r.n], r.to = got[0].Turn, got[0].To
	require.Greater(r.t, got[0].Turn, r.turns[r.n-1], "a later turn")
}

// try makes a try that the message is known by, and settles it.
func (r *retried) try(state night.MessageState, outcome string) {
	r.t.Helper()
	r.claim()
	if r.went == nil {
		r.went, r.why = map[int]time.Time{}, map[int]string{}
	}
	r.went[r.n], r.why[r.n] = r.at, fmt.Sprintf("answer %d", r.n)
	write(r.t, r.k, func(ctx context.Context, tx *store.Tx) {
		s := night.Settlement{
			MessageID: r.id, Attempt: r.n, Adapter: "texts", To: r.to, State: state, Outcome: outcome, Reason: r.why[r.n], RetryAt: r.at, At: r.at,
		}
		if outcome == night.Accepted {
			s.IDs = []string{fmt.Sprintf("p%d-%d", r.id, r.n)}
		}
		became, err := tx.Settle(ctx, []night.Settlement{s})
		require.NoError(r.t, err)
		require.Equal(r.t, []night.MessageState{state}, became)
	})
}

// last makes the last try, which reaches nobody.
func (r *retried) last(state night.MessageState, outcome string) {
	r.t.Helper()
	r.claim()
	write(r.t, r.k, func(ctx context.Context, tx *store.Tx) {
		became, err := tx.Settle(ctx, []night.Settlement{{MessageID: r.id, Attempt: r.n, To: r.to, State: state, Outcome: outcome, At: r.at}})
		require.NoError(r.t, err)
		m, err := tx.Message(ctx, r.id)
		require.NoError(r.t, err)
		require.Equal(r.t, []night.MessageState{m.State}, became, "the caller is told")
	})
}

// lost says that the network lost the last try's text.
func (r *retried) lost() {
	r.t.Helper()
	write(r.t, r.k, func(ctx context.Context, tx *store.Tx) {
		id := fmt.Sprintf("p%d-%d", r.id, r.n)
		r.why[r.n] = "the phone is off"
		require.NoError(r.t, tx.SetPart(ctx, "texts", night.Part{ProviderID: id, Fate: night.PartFailed, Reason: r.why[r.n]}, r.at))
		state, err := tx.Standing(ctx, r.id)
		require.NoError(r.t, err)
		changed, err := tx.ReceiptState(ctx, r.id, state, r.why[r.n])
		require.NoError(r.t, err)
		require.True(r.t, changed)
	})
}

func (r *retried) again() {
	r.t.Helper()
	write(r.t, r.k, func(ctx context.Context, tx *store.Tx) {
		ok, err := tx.SendAgain(ctx, r.id, now.Add(time.Hour))
		require.NoError(r.t, err)
		require.True(r.t, ok)
	})
}

func (r *retried) reroute() {
	r.t.Helper()
	write(r.t, r.k, func(ctx context.Context, tx *store.Tx) {
		ok, err := tx.Reroute(ctx, r.id, night.Fall{Adapter: "mail", To: "bethan@example.org"})
		require.NoError(r.t, err)
		require.True(r.t, ok)
	})
}

func (r *retried) withdraw(to night.MessageState) {
	r.t.Helper()
	write(r.t, r.k, func(ctx context.Context, tx *store.Tx) {
		gone, err := tx.Withdraw(ctx, r.id, to, "cancelled", r.at)
		require.NoError(r.t, err)
		require.True(r.t, gone)
	})
}

func sendAgain(t *testing.T, s *store.Store) {
	set := set(t, s, 1)
	id := set.add(t, set.message(set.orders[0]))
	again := func() bool {
		var ok bool
		write(t, set.k, func(ctx context.Context, tx *store.Tx) {
			var err error
			ok, err = tx.SendAgain(ctx, id, now.Add(time.Hour))
			require.NoError(t, err)
		})
		return ok
	}
	assert.False(t, again(), "it is due anyway")
	set.claim(t, now, 1)
	assert.False(t, again(), "it is under way")
	set.settle(t, night.Settlement{MessageID: id, Attempt: 1, State: night.InDoubt})
	assert.True(t, again())
	assert.Equal(t, 2, set.claim(t, now, 1)[0].Attempt)
}
