package words_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/reading/vehicles/words"
)

func TestSplit(t *testing.T) {
	t.Parallel()

	low := func(text string) []string {
		var out []string
		for _, w := range words.Split(text) {
			out = append(out, w.Low)
		}
		return out
	}
	for _, tt := range []struct {
		name, text string
		want       []string
	}{
		{"plain", "Here in the RED car", []string{"here", "in", "the", "red", "car"}},
		{"accents", "Škoda Citroën Mégane", []string{"skoda", "citroen", "megane"}},
		{"combining accents", "Me\u0301gane", []string{"megane"}},
		{"full width", "ＡＢ１２", []string{"ab12"}},
		{"apostrophes", "I’m in dad's", []string{"im", "in", "dads"}},
		{"Han sign by sign", "白色特斯拉 ok", []string{"白", "色", "特", "斯", "拉", "ok"}},
		{"nothing", "🚗 … !", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, low(tt.text))
		})
	}
}

func TestSplitMarks(t *testing.T) {
	t.Parallel()
	ws := words.Split("CR-V, blue. Cody's #5 £3 AB12 a/b x - y")
	require.Equal(t, words.Join, ws[1].Before)
	require.Equal(t, words.Comma, ws[2].Before)
	require.Equal(t, words.Stop, ws[3].Before)
	require.True(t, ws[3].Poss)
	require.Equal(t, "cody", ws[3].Stem)
	require.True(t, ws[4].Hash)
	require.True(t, ws[5].Money)
	require.Equal(t, words.Mixed, ws[6].Class)
	require.True(t, ws[6].Upper)
	require.Equal(t, words.Slash, ws[8].Before)
	require.Equal(t, words.Comma, ws[10].Before)
}

// TestSpelling checks the ICAO alphabet. Source: ICAO Annex 10, Volume II, 5.2.1.3.
func TestSpelling(t *testing.T) {
	t.Parallel()
	for i, w := range []string{
		"alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliett", "kilo", "lima", "mike",
		"november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor", "whiskey", "xray", "yankee", "zulu",
	} {
		s, ok := words.Spelling(w)
		require.True(t, ok, w)
		require.Equal(t, string(rune('A'+i)), s)
	}
	s, ok := words.LetterName("kay")
	require.True(t, ok)
	require.Equal(t, "K", s)
	require.True(t, words.Common("please"))
	require.False(t, words.Common("qashqai"))
}

// FuzzSplit checks that spans lie in order within the text.
func FuzzSplit(f *testing.F) {
	for _, s := range []string{"", "a'b's", "\xff\xfe", "ﬁ Ⅷ ٣", "I'm  -- x", "é́"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		at := 0
		for _, w := range words.Split(text) {
			require.True(t, at <= w.Start && w.Start < w.End && w.End <= len(text))
			require.NotEmpty(t, w.Low)
			at = w.End
		}
	})
}
