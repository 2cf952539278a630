package desk_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
)

// end settles every text that is due now, as its try ended.
func (b *bench) end(state night.MessageState, outcome adapters.Outcome) {
	b.t.Helper()
	now := b.clock.Now()
	due, err := b.rows.Claim(b.t.Context(), "texts", now, now.Add(time.Minute), 1000)
	require.NoError(b.t, err)
	require.NoError(b.t, b.rows.Write(b.t.Context(), func(tx *store.Tx) error {
		for _, m := range due {
			s := night.Settlement{MessageID: m.ID, Attempt: m.Attempt, Adapter: "texts", State: state, Outcome: string(outcome), At: now}
			if _, err := tx.Settle(b.t.Context(), []night.Settlement{s}); err != nil {
				return err
			}
		}
		return nil
	}))
}

// doubt leaves every text that is due now in doubt.
func (b *bench) doubt() { b.t.Helper(); b.end(night.InDoubt, adapters.Unknown) }

// refuse leaves every text that is due now as one that the provider refused.
func (b *bench) refuse() { b.t.Helper(); b.end(night.Failed, adapters.Permanent) }

// covered gives the references of the orders that a text is about.
func (b *bench) covered(m night.Message) []string {
	b.t.Helper()
	var out []string
	require.NoError(b.t, b.rows.Read(b.t.Context(), func(tx *store.Tx) error {
		for _, c := range m.Covers {
			o, err := tx.Order(b.t.Context(), c.OrderID)
			if err != nil {
				return err
			}
			out = append(out, o.Ref)
		}
		return nil
	}))
	return out
}

// family is a night on which three orders share a number and their instructions
// ended somehow before the number of the last was mended.
func family(t *testing.T, end func(b *bench)) (b *bench, text night.Message) {
	t.Helper()
	const number = "+447700900101"
	b = newBench(t, order("K401", number, 17*60), order("K402", number, 18*60), order("K403", number, 19*60))
	b.close()
	end(b)
	_, err := b.SetNumber(t.Context(), b.act("K403"), "07700 900103")
	require.NoError(t, err)
	return b, b.messages("K401")[night.Instructions][0]
}

// again sends a text again by a person's word, and gives when it goes.
func (b *bench) again(id int64) time.Time {
	b.t.Helper()
	goes, err := b.SendAgain(b.t.Context(), id, "cook")
	require.NoError(b.t, err)
	return goes
}

func (b *bench) notAgain(id int64, why string) {
	b.t.Helper()
	_, err := b.SendAgain(b.t.Context(), id, "cook")
	require.ErrorContains(b.t, err, why)
}

// A reminder that failed and whose slot is a later one by now waits for its time.
func TestAReminderIsSentAgainAtItsTime(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 15*60))
	b.close()
	b.deliver()
	b.clock.Advance(b.night.SlotAt(10*60, time.UTC).Sub(b.clock.Now()))
	b.refuse()
	reminder := b.messages("K401")[night.Reminder][0]
	require.Equal(t, night.Failed, reminder.State)
	require.Zero(t, b.again(reminder.ID), "at once")
	b.refuse()
	_, err := b.Move(t.Context(), b.act("K401"), 19*60)
	require.NoError(t, err)
	goes := b.again(reminder.ID)
	reminder = b.messages("K401")[night.Reminder][0]
	assert.Equal(t, night.Due, reminder.State)
	assert.Contains(t, reminder.Text, "19:00")
	assert.Equal(t, b.night.SlotAt(19*60, time.UTC).Add(-b.night.RemindBefore), goes)
	assert.Equal(t, reminder.DueAt, goes)
}

// Whoever shared a text that is sent again and has another number meanwhile gets
// one of their own in the same breath, and the old number is not told of theirs.
func TestATextIsSentAgainToThoseWhomItIsStillAbout(t *testing.T) {
	t.Parallel()
	b, failed := family(t, (*bench).refuse)
	require.Equal(t, night.Failed, failed.State)
	require.Len(t, failed.Covers, 3)

	b.again(failed.ID)
	again, own := b.messages("K401")[night.Instructions], b.messages("K403")[night.Instructions]
	require.Len(t, again, 1)
	assert.Equal(t, failed.ID, again[0].ID)
	assert.Equal(t, night.Due, again[0].State)
	assert.Equal(t, "+447700900101", again[0].To)
	assert.ElementsMatch(t, []string{"K401", "K402"}, b.covered(again[0]))
	assert.NotContains(t, again[0].Text, "19:00")
	require.Len(t, own, 1)
	assert.Equal(t, night.Due, own[0].State)
	assert.Equal(t, "+447700900103", own[0].To)
	assert.Equal(t, []string{"K403"}, b.covered(own[0]))
	assert.Equal(t, 2, b.deliver(), "both go at once")
}

// A text that may be on a phone already is sent again word for word or not at all.
func TestWhatMayHaveArrivedIsSentAgainAsItIsOrNotAtAll(t *testing.T) {
	t.Parallel()
	b, doubtful := family(t, (*bench).doubt)
	b.notAgain(doubtful.ID, "so this text is not sent again")
	sent, err := b.SendDoubtfulAgain(t.Context(), b.night.ID, "cook")
	require.NoError(t, err)
	assert.Zero(t, sent)
	assert.Equal(t, doubtful, b.messages("K401")[night.Instructions][0], "it stands as it did")

	_, err = b.SetNumber(t.Context(), b.act("K403"), "07700 900101")
	require.NoError(t, err)
	b.again(doubtful.ID)
	again := b.messages("K401")[night.Instructions][0]
	assert.Equal(t, night.Due, again.State)
	assert.Equal(t, doubtful.Text, again.Text)
	assert.Equal(t, doubtful.Covers, again.Covers)
}

// Somebody who was told by a call what a failed text said, and whose slot is
// another one by now, is told of that at once.
func TestToldByHandWhatIsNoLongerTrue(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	b.refuse()
	_, err := b.Move(t.Context(), b.act("K401"), 18*60)
	require.NoError(t, err)
	require.Empty(t, b.messages("K401")[night.Update])

	require.NoError(t, b.ByHand(t.Context(), b.messages("K401")[night.Instructions][0].ID, "cook"))
	updates := b.messages("K401")[night.Update]
	require.Len(t, updates, 1)
	assert.Equal(t, night.Due, updates[0].State)
	assert.Contains(t, updates[0].Text, "18:00")
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

	b.notAgain(reminders[0].ID, "slot")
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
	b.again(m.ID)
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

// Texts of several nights that end together are planned anew each for its own night.
func TestSeveralNightsArePlannedAnew(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 18*60))
	b.close()
	other := *b
	next := b.night
	next.ID, next.Date.Day = 0, next.Date.Day+7
	var err error
	other.night, err = b.AddNight(t.Context(), next, "cook")
	require.NoError(t, err)
	_, err = b.Load(t.Context(), other.night.ID, []night.Order{order("K401", "+447700900101", 17*60)}, "cook")
	require.NoError(t, err)
	other.close()
	about := append(b.messages("K401")[night.Instructions], other.messages("K401")[night.Instructions]...)
	require.Len(t, about, 2)
	require.NoError(t, b.rows.Write(t.Context(), func(tx *store.Tx) error {
		for _, n := range []int64{b.night.ID, other.night.ID} { // the orders change, and nothing is planned
			orders, err := tx.Orders(t.Context(), n)
			for i := range orders {
				orders[i].State = night.Cancelled
			}
			require.NoError(t, err)
			require.NoError(t, tx.SaveOrders(t.Context(), orders))
		}
		require.NoError(t, b.ReplanIn(t.Context(), tx, b.clock.Now()))
		return b.ReplanIn(t.Context(), tx, b.clock.Now(), about...)
	}))
	assert.Empty(t, b.messages("K401"))
	assert.Empty(t, other.messages("K401"))
	assert.NotEmpty(t, b.messages("K402"), "none of those texts is about it")
}
