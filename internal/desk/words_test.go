package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/wording"
	"passbell/templates"
)

// wordsOf gives how a text now stands.
func (b *bench) wordsOf(name string) desk.Words {
	b.t.Helper()
	list, err := b.Words(b.t.Context())
	require.NoError(b.t, err)
	for _, w := range list {
		if w.Name == name {
			return w
		}
	}
	b.t.Fatalf("no text %s", name)
	return desk.Words{}
}

const shortReminder = "{{.First}}, {{.OrderTimes}} at {{.Place}}."

func TestSavedWordsRewriteWhatWaits(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 18*60))
	b.close()
	require.Equal(t, 2, b.deliver(), "the instructions")
	before := b.messages("K401")
	count, err := b.SaveWords(t.Context(), wording.Reminder, " "+shortReminder+"\r\n", "Sam")
	require.NoError(t, err)
	require.Equal(t, 2, count)
	after := b.messages("K401")
	assert.Equal(t, "Name, order K401 at 17:00 at 5 Mill Lane, Larkfield.", after[night.Reminder][0].Text)
	assert.Equal(t, 1, after[night.Reminder][0].Parts)
	was := before[night.Reminder][0]
	was.Text, was.Parts = after[night.Reminder][0].Text, after[night.Reminder][0].Parts
	assert.Equal(t, was, after[night.Reminder][0], "nothing else about it changed")
	assert.Equal(t, before[night.Instructions], after[night.Instructions], "what was sent stays")

	w := b.wordsOf(wording.Reminder)
	assert.Equal(t, desk.Saved, w.From)
	assert.Equal(t, desk.BuiltIn, w.Below)
	assert.Equal(t, shortReminder, w.Text)
	assert.Equal(t, "Sam", w.By)
	assert.Equal(t, closing, w.At)
	events, err := b.Events(t.Context(), b.night.ID, 0, 1000)
	require.NoError(t, err)
	last := events[len(events)-1]
	assert.Equal(t, night.WordsChanged, last.What)
	assert.Equal(t, "Sam", last.Who)
	assert.Contains(t, last.Why, "reminder")

	count, err = b.SaveWords(t.Context(), wording.Reminder, shortReminder, "cook")
	require.NoError(t, err)
	assert.Zero(t, count)
	again, err := b.Events(t.Context(), b.night.ID, 0, 1000)
	require.NoError(t, err)
	assert.Len(t, again, len(events), "the same words once more are no change")

	require.NoError(t, b.Replan(t.Context(), b.night.ID))
	assert.Equal(t, after, b.messages("K401"), "planning anew gives the same")
	moved, err := b.Move(t.Context(), b.act("K402"), 17*60+30)
	require.NoError(t, err)
	assert.Contains(t, b.messages(moved.Ref)[night.Reminder][0].Text, "Name, order K402 at 17:30", "what is planned later has them too")

	count, err = b.ResetWords(t.Context(), wording.Reminder, "cook")
	require.NoError(t, err)
	assert.Equal(t, 2, count)
	assert.Equal(t, before[night.Reminder], b.messages("K401")[night.Reminder])
	assert.Equal(t, desk.BuiltIn, b.wordsOf(wording.Reminder).From)
}

func TestATriedTextKeepsItsWords(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 18*60))
	b.close()
	tried, err := b.rows.Claim(t.Context(), "texts", closing, closing.Add(time.Minute), 1)
	require.NoError(t, err)
	require.Len(t, tried, 1)
	require.NoError(t, b.rows.Write(t.Context(), func(tx *store.Tx) error {
		_, err := tx.Settle(t.Context(), []night.Settlement{{MessageID: tried[0].ID, Attempt: 1, Adapter: "texts", State: night.Due, RetryAt: closing.Add(time.Hour), At: closing}})
		return err
	}))
	fresh, again, err := b.Waiting(t.Context(), wording.Instructions)
	require.NoError(t, err)
	require.Equal(t, []int{1, 1}, []int{fresh, again})
	count, err := b.SaveWords(t.Context(), wording.Instructions, "Come, {{.First}}: {{.OrderTimes}}.", "cook")
	require.NoError(t, err)
	require.Equal(t, 1, count)
	kept, err := b.Card(t.Context(), b.night.ID, "K401")
	require.NoError(t, err)
	other := b.messages("K402")[night.Instructions][0]
	assert.Equal(t, "Come, Name: order K402 at 18:00.", other.Text)
	for _, m := range kept.Messages {
		if m.ID == tried[0].ID {
			assert.Equal(t, tried[0].Text, m.Text)
			assert.Equal(t, night.Due, m.State)
		}
	}
}

// Whoever opted out gets no text because of other words (Privacy and Electronic
// Communications Regulations 2003, regulation 22, from memory).
func TestOtherWordsReachNobodyWhoOptedOut(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 18*60))
	b.close()
	b.deliver()
	require.NoError(t, b.rows.Write(t.Context(), func(tx *store.Tx) error {
		_, err := tx.OptOut(t.Context(), "+447700900101", closing)
		return err
	}))
	require.NoError(t, b.Replan(t.Context(), b.night.ID))
	require.Empty(t, b.messages("K401")[night.Reminder])
	count, err := b.SaveWords(t.Context(), wording.Reminder, shortReminder, "cook")
	require.NoError(t, err)
	assert.Equal(t, 1, count)
	assert.Empty(t, b.messages("K401")[night.Reminder])
}

func TestForeseeOtherWordsChangesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	b.close()
	before := b.messages("K401")
	got, err := b.Foresee(t.Context(), func(d *desk.Desk) error {
		_, err := d.SaveWords(t.Context(), wording.Reminder, shortReminder, "cook")
		return err
	})
	require.NoError(t, err)
	require.Len(t, got, 1)
	assert.Equal(t, night.MessageChanged, got[0].What)
	assert.Equal(t, before, b.messages("K401"))
	assert.Equal(t, desk.BuiltIn, b.wordsOf(wording.Reminder).From)
	require.NoError(t, b.Replan(t.Context(), b.night.ID))
	assert.Equal(t, before, b.messages("K401"), "tried words are not remembered")
}

func TestWordsThatCantBeUsedAreNotSaved(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	for name, words := range map[string]string{"unknown field": "{{.Sloth}}", "open": "{{.Slot", "empty": " \n "} {
		_, err := b.SaveWords(t.Context(), wording.Reminder, words, "cook")
		var wrong *wording.TextError
		require.ErrorAs(t, err, &wrong, name)
	}
	_, err := b.SaveWords(t.Context(), "poem", "roses", "cook")
	require.ErrorContains(t, err, "poem")
	_, err = b.ResetWords(t.Context(), "poem", "cook")
	require.ErrorContains(t, err, "poem")
	assert.Equal(t, desk.BuiltIn, b.wordsOf(wording.Reminder).From)
}

// A second process has a desk of its own on the same database.
func TestAnotherProcessSeesSavedWordsAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	configured, err := wording.Load(templates.Texts, map[string]string{wording.Help: "Ring us."}, "en")
	require.NoError(t, err)
	other, err := desk.New(desk.Config{Store: deskStore{b.rows}, Kitchen: b.Kitchen(), Texts: configured, Now: b.clock.Now})
	require.NoError(t, err)
	for _, words := range []string{"First: {{.OrderTimes}}", "Second: {{.OrderTimes}}"} {
		_, err = b.SaveWords(t.Context(), wording.Instructions, words, "cook")
		require.NoError(t, err)
		p, err := other.Preview(t.Context(), b.night.ID)
		require.NoError(t, err)
		assert.Equal(t, strings.Replace(words, "{{.OrderTimes}}", "order K401 at 17:00", 1), p.Messages[0].Text)
	}
	list, err := other.Words(t.Context())
	require.NoError(t, err)
	for _, w := range list {
		if w.Name == wording.Help {
			assert.Equal(t, desk.Words{Name: wording.Help, Text: "Ring us.", From: desk.Configured, Under: "Ring us.", Below: desk.Configured}, w)
		}
	}
	count, err := other.SaveWords(t.Context(), wording.Help, "Ring us.", "cook")
	require.NoError(t, err)
	assert.Zero(t, count)
	list, err = other.Words(t.Context())
	require.NoError(t, err)
	for _, w := range list {
		assert.False(t, w.Name == wording.Help && w.From == desk.Saved, "the words that lie there anyway are not saved over them")
	}
}

// Words that a later passbell can't use any more stop nothing: the text below
// them goes out, and the list says so.
func TestSavedWordsThatCantBeUsedAnyMore(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K401", "+447700900101", 17*60))
	require.NoError(t, b.rows.Write(t.Context(), func(tx *store.Tx) error {
		for name, words := range map[string]string{wording.Instructions: "{{.Gone}}", wording.Reminder: shortReminder} {
			if err := tx.SaveOwnText(t.Context(), night.OwnText{Name: name, Words: words, At: closing, By: "cook"}); err != nil {
				return err
			}
		}
		return nil
	}))
	b.close()
	m := b.messages("K401")
	assert.Contains(t, m[night.Instructions][0].Text, "5 Mill Lane, Larkfield")
	assert.Equal(t, "Name, order K401 at 17:00 at 5 Mill Lane, Larkfield.", m[night.Reminder][0].Text)
	require.ErrorContains(t, b.wordsOf(wording.Instructions).Wrong, "Gone")
	require.NoError(t, b.wordsOf(wording.Reminder).Wrong)
}

// A kitchen's own words may name the bag, whose number closing gives.
func TestThePlanNamesTheBagsAsClosingNumbersThem(t *testing.T) {
	t.Parallel()
	b := newBench(t, order("K402", "+447700900102", 18*60), order("K401", "+447700900101", 17*60))
	_, err := b.SaveWords(t.Context(), wording.Reminder, "{{range .Orders}}Bag {{.Bag}} is {{.Ref}}.{{end}}", "cook")
	require.NoError(t, err)
	pre, err := b.Preview(t.Context(), b.night.ID)
	require.NoError(t, err)
	got, err := b.Close(t.Context(), b.night.ID, "cook")
	require.NoError(t, err)
	assert.Equal(t, []int{1, 2}, []int{got.Orders[0].Bag, got.Orders[1].Bag})
	for ref, text := range map[string]string{"K401": "Bag 1 is K401.", "K402": "Bag 2 is K402."} {
		assert.Equal(t, text, b.messages(ref)[night.Reminder][0].Text)
		said := func(m night.Message) bool { return m.Text == text && m.Parts == 1 }
		assert.True(t, slices.ContainsFunc(pre.Messages, said), "shown before: %s", text)
		assert.True(t, slices.ContainsFunc(got.Messages, said), "and by closing: %s", text)
	}
}
