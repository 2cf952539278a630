package desk_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
)

func TestLoadAgain(t *testing.T) {
	t.Parallel()
	first := []night.Order{order("K401", "+447700900101", 17*60), order("K402", "+447700900102", 18*60), order("007", "+447700900103", 18*60)}
	b := newBench(t, first...)

	l, err := b.Load(t.Context(), b.night.ID, first, "cook")
	require.NoError(t, err)
	assert.Equal(t, desk.Loaded{Unchanged: []string{"K401", "K402", "007"}}, l, "the same book twice adds nothing")

	second := []night.Order{first[0], first[1], order("K404", "", 19*60)}
	second[0].Slot, second[0].Allergy = 17*60+10, "nut allergy"
	l, err = b.Load(t.Context(), b.night.ID, second, "cook")
	require.NoError(t, err)
	assert.Equal(t, desk.Loaded{
		New: []string{"K404"}, Unchanged: []string{"K402"}, Missing: []string{"007"},
		Changed: []desk.Change{{Ref: "K401", What: []string{"slot 17:10, was 17:00", "allergy: nut allergy"}}},
	}, l)
	assert.Equal(t, night.Booked, b.state("007"), "gone from the book is asked, never cancelled")
}

// google/libphonenumber #1999: the same number in another spelling looked changed.
func TestTheSameNumberInAnotherSpellingIsNoChange(t *testing.T) {
	t.Parallel()
	book := []night.Order{order("K401", "+447700900101", 17*60)}
	b := newBench(t, book...)
	book[0].PhoneTyped = "07700 900 101"
	l, err := b.Load(t.Context(), b.night.ID, book, "cook")
	require.NoError(t, err)
	assert.Equal(t, []string{"K401"}, l.Unchanged)
}

func TestLoadKeepsWhatAPersonDid(t *testing.T) {
	t.Parallel()
	book := []night.Order{order("K401", "+447700900101", 17*60)}
	book[0].Allergy = "nuts"
	b := newBench(t, book...)
	_, err := b.Move(t.Context(), b.act("K401"), 18*60)
	require.NoError(t, err)
	_, err = b.Packed(t.Context(), b.act("K401"), true)
	require.NoError(t, err)

	book[0].Name, book[0].Allergy = "Another Name", ""
	l, err := b.Load(t.Context(), b.night.ID, book, "cook")
	require.NoError(t, err)
	require.Len(t, l.Changed, 1)
	c, err := b.Card(t.Context(), b.night.ID, "K401")
	require.NoError(t, err)
	assert.Equal(t, night.Clock(18*60), c.Order.Slot, "the person's move stands: the book did not change there")
	assert.Equal(t, "Another Name", c.Order.Name)
	assert.False(t, c.Order.PackedAt.IsZero())
	assert.Equal(t, "nuts", c.Order.Allergy, "an allergy that a later book lost is still true")

	book[0].Slot = 19 * 60
	_, err = b.Load(t.Context(), b.night.ID, book, "cook")
	require.NoError(t, err)
	c, err = b.Card(t.Context(), b.night.ID, "K401")
	require.NoError(t, err)
	assert.Equal(t, night.Clock(19*60), c.Order.Slot, "here the book itself changed")
}

func TestANewNumberTakesNobodysTextAway(t *testing.T) {
	t.Parallel()
	book := []night.Order{order("K420", "+447700900564", 17*60), order("K443", "+447700900564", 17*60+30)}
	b := newBench(t, book...)
	b.close()
	book[0].Phone, book[0].PhoneTyped = "+447700900565", "+447700900565"
	_, err := b.Load(t.Context(), b.night.ID, book, "cook")
	require.NoError(t, err)
	for ref, to := range map[string]string{"K420": "+447700900565", "K443": "+447700900564"} {
		m := b.messages(ref)
		for _, kind := range []night.MessageKind{night.Instructions, night.Reminder} {
			require.Len(t, m[kind], 1, "%s %s", ref, kind)
			assert.Equal(t, to, m[kind][0].To)
			assert.Len(t, m[kind][0].Covers, 1)
		}
	}
}
