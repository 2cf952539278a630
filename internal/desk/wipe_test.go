package desk_test

import (
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/store"
)

// servedNight is a night that is over, with everything that a report counts.
func servedNight(t *testing.T) *bench {
	t.Helper()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 17*60), order("K403", "", 18*60), order("K404", "+447700900104", 18*60))
	b.close()
	require.Equal(t, 3, b.deliver())
	b.clock.Advance(3*24*time.Hour - time.Hour) // Friday 17:00
	b.text("+447700900101", "here in the grey golf lx19 kto")
	for _, ref := range []string{"K401", "K402"} {
		_, err := b.Here(t.Context(), b.act(ref))
		require.NoError(t, err)
		b.clock.Advance(4 * time.Minute)
		_, err = b.Out(t.Context(), desk.Act{Night: b.night.ID, Ref: ref, Who: "Sam"})
		require.NoError(t, err)
	}
	_, err := b.Absent(t.Context(), b.act("K404"))
	require.NoError(t, err)
	return b
}

// text stores a text from a customer that a person has to read.
func (b *bench) text(from, words string) {
	b.t.Helper()
	var in night.Inbound
	require.NoError(b.t, b.rows.Write(b.t.Context(), func(tx *store.Tx) error {
		id, _, err := tx.AddInbound(b.t.Context(), night.Inbound{Adapter: "texts", ProviderID: words, From: from, Text: words, At: b.clock.Now()})
		if err != nil {
			return err
		}
		in, err = tx.Inbound(b.t.Context(), id)
		return err
	}))
	dec := desk.Decision{Intent: reading.Ask, Person: true, Reading: []byte(`{}`), Why: "the number is that of order K401"}
	require.NoError(b.t, b.rows.Write(b.t.Context(), func(tx *store.Tx) error {
		var book desk.Book
		if err := book.Refresh(b.t.Context(), tx, b.night); err != nil {
			return err
		}
		return b.ApplyIn(b.t.Context(), tx, b.clock.Now(), &book, []night.Inbound{in}, func(night.Inbound) (desk.Decision, error) { return dec, nil })
	}))
}

func TestAWipedNightStillCounts(t *testing.T) {
	t.Parallel()
	b := servedNight(t)
	friday := b.night.Date
	got, err := b.Wipeable(t.Context(), friday)
	require.NoError(t, err)
	assert.Empty(t, got)
	_, err = b.Wipe(t.Context(), friday.AddDays(1), "cook")
	require.ErrorContains(t, err, "still to come")
	b.clock.Advance(8 * time.Hour) // Saturday 01:00, and the last are still at the door
	got, err = b.Wipe(t.Context(), friday.AddDays(1), "cook")
	require.NoError(t, err)
	assert.Empty(t, got, "the night is not over")

	b.clock.Advance(3 * time.Hour)
	was, err := b.Report(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.Equal(t, 2, was.Waits)
	want := night.Personal{Orders: 4, Messages: 3, Texts: 1}
	got, err = b.Wipeable(t.Context(), friday.AddDays(1))
	require.NoError(t, err)
	require.Len(t, got, 1)
	want.Events = got[0].Events
	assert.Equal(t, want, got[0].Personal)
	assert.Positive(t, want.Events)

	// Two that think that they lead do it at once.
	var mu sync.Mutex
	var done []desk.Wiped
	var both sync.WaitGroup
	for range 4 {
		both.Go(func() {
			got, err := b.Wipe(t.Context(), friday.AddDays(1), "clock")
			assert.NoError(t, err)
			mu.Lock()
			defer mu.Unlock()
			done = append(done, got...)
		})
	}
	both.Wait()
	require.Len(t, done, 1)
	assert.Equal(t, want, done[0].Personal)
	assert.Equal(t, friday, done[0].Date)
	assert.Equal(t, []string{"4 orders, 3 texts to customers, 1 texts from customers, 9 lines of history"}, b.happened(night.NightWiped))

	is, err := b.Report(t.Context(), b.night.ID)
	require.NoError(t, err)
	require.NotNil(t, is.Wiped)
	assert.Equal(t, b.clock.Now().UTC(), *is.Wiped)
	assert.Equal(t, []desk.FollowUp{{Ref: "K403", What: "still waiting: nobody marked what became of it"}, {Ref: "K404", What: "not collected"}}, is.FollowUps)
	was.FollowUps, was.Wiped, is.FollowUps, is.Wiped = nil, nil, nil, nil
	assert.Equal(t, was, is)
}

// A text that comes long after the last night is kept as long as any other.
func TestALateTextIsKeptAsLong(t *testing.T) {
	t.Parallel()
	b := servedNight(t)
	b.clock.Advance(90 * 24 * time.Hour)
	b.text("+447700900101", "when are you back?")
	today := night.DateOf(b.clock.Now())
	done, err := b.Wipe(t.Context(), today.AddDays(-30), "clock")
	require.NoError(t, err)
	require.Len(t, done, 1)
	require.Len(t, b.board().Texts, 1, "it still stands on the pass")
	assert.Equal(t, "when are you back?", b.board().Texts[0].Text)
	b.clock.Advance(31 * 24 * time.Hour)
	done, err = b.Wipe(t.Context(), today.AddDays(1), "clock")
	require.NoError(t, err)
	require.Len(t, done, 1)
	assert.Equal(t, 1, done[0].Texts)
	assert.Zero(t, done[0].Orders)
	assert.Empty(t, b.board().Texts)
}
