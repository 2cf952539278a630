package desk_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// doubt leaves every text that is due now in doubt.
func (b *bench) doubt() {
	b.t.Helper()
	now := b.clock.Now()
	due, err := b.rows.Claim(b.t.Context(), "texts", now, now.Add(time.Minute), 1000)
	require.NoError(b.t, err)
	require.NoError(b.t, b.rows.Write(b.t.Context(), func(tx *store.Tx) error {
		for _, m := range due {
			if _, err := tx.Settle(b.t.Context(), []night.Settlement{{MessageID: m.ID, Attempt: m.Attempt, Adapter: "texts", State: night.InDoubt, At: now}}); err != nil {
				return err
			}
		}
		return nil
	}))
}

// No reminder goes out after its slot, also not by a person's word: it would
// only confuse. The others that are in doubt are sent all the same.
func TestAReminderIsNotSentAgainAfterItsSlot(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 19*60))
	b.close()
	b.deliver()
	b.clock.Advance(b.night.SlotAt(14*60, time.UTC).Sub(b.clock.Now()))
	b.doubt()
	reminders := []night.Message{b.messages("K401")[night.Reminder][0], b.messages("K402")[night.Reminder][0]}
	require.Equal(t, night.InDoubt, reminders[0].State)
	b.clock.Advance(b.night.SlotAt(17*60, time.UTC).Sub(b.clock.Now()))

	require.ErrorContains(t, b.SendAgain(t.Context(), reminders[0].ID, "cook"), "slot")
	sent, err := b.SendDoubtfulAgain(t.Context(), b.night.ID, "cook")
	require.NoError(t, err)
	assert.Equal(t, 1, sent)
	assert.Equal(t, night.InDoubt, b.messages("K401")[night.Reminder][0].State)
	again := b.messages("K402")[night.Reminder][0]
	assert.Equal(t, night.Due, again.State)
	assert.Equal(t, b.night.SlotAt(19*60, time.UTC), again.ExpiresAt, "not after its slot either")
}

// A text that was tried is never dropped without a word in the history, also
// not when the whole night is planned anew.
func TestWhatWasTriedIsDroppedWithAWord(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.doubt()
	m := b.messages("K401")[night.Instructions][0]
	require.NoError(t, b.SendAgain(t.Context(), m.ID, "cook"))
	require.NoError(t, b.CallOff(t.Context(), b.night.ID, "cook", "the oven broke"))
	events, err := b.Events(t.Context(), b.night.ID, 0, 1000)
	require.NoError(t, err)
	var words []string
	for _, e := range events {
		if e.MessageID == m.ID && e.What == night.MessageWithdrawn {
			words = append(words, e.Why)
		}
	}
	assert.Equal(t, []string{"the night is called off"}, words)
}
