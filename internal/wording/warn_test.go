package wording_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/wording"
)

func TestWarnings(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text string
		kind wording.WarningKind
		at   string
		use  string
	}{
		{"We don’t mind", wording.OddCharacter, "’", "'"},
		{"“Mill Lane”", wording.OddCharacter, "“", `"`},
		{"16:30 – 19:30", wording.OddCharacter, "–", "-"},
		{"see you…", wording.OddCharacter, "…", "..."},
		{"4:30\u202fpm", wording.OddCharacter, "\u202f", " "},
		{"a\tb", wording.OddCharacter, "\t", " "},
		{"hello\u200b", wording.OddCharacter, "\u200b", ""},
		{"½ dozen", wording.OddCharacter, "½", "1/2"},
		{"Hello Zoë", wording.OddCharacter, "ë", ""},
		{"sábado", wording.OddCharacter, "á", ""},
		{"see you 🥟", wording.OddCharacter, "🥟", ""},
		{"look at https://example.org/a?b=c", wording.Link, "https://example.org/a?b=c", ""},
		{"www.example.org", wording.Link, "www.example.org", ""},
		{"map: example.test/x1", wording.Link, "example.test/x1", ""},
		{"our page larkfield.example.com has more", wording.Link, "example.com", ""},
		{"10% off on Friday", wording.Marketing, "10% off", ""},
		{"there is a discount", wording.Marketing, "discount", ""},
		{"nuestra oferta", wording.Marketing, "oferta", ""},
		{"URGENT: come", wording.Alarm, "URGENT", ""},
		{"come!!", wording.Alarm, "!!", ""},
		{"come now", wording.Fleeting, "now", ""},
		{"come tonight", wording.Fleeting, "tonight", ""},
		{"come in 5 hours", wording.Fleeting, "in 5 hours", ""},
		{"venga mañana", wording.Fleeting, "mañana", ""},
		{"it is nut-free", wording.FoodClaim, "nut-free", ""},
		{"free from gluten", wording.FoodClaim, "free from gluten", ""},
		{"sin gluten", wording.FoodClaim, "sin gluten", ""},
		{strings.Repeat("a", 460), wording.Long, "", ""},
		{strings.Repeat("a", 153*255+1), wording.TooLong, "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.at+" "+string(tt.kind), func(t *testing.T) {
			t.Parallel()
			var found []wording.Warning
			for _, w := range wording.Warnings(tt.text) {
				require.NotEmpty(t, w.Say)
				if w.Kind == tt.kind && w.At == tt.at {
					found = append(found, w)
				}
			}
			require.Len(t, found, 1)
			require.Equal(t, tt.use, found[0].Use)
		})
	}
}

func TestFitTextsWarnOfNothing(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"", "Please come for order K420 at 17:10 on Friday 4 December to 14 Mill Lane.",
		"Parking is free. Turn left at no. 5.Then stop.", "Feel free to park by the gate. We know the way.",
		"£4.50 or €5 [cash], bag 7/9", strings.Repeat("a", 459), "Snowdrop Cottage, Winford Lane", "la mesa sale a las 9",
		"Come at 17.10 to St. Mary's Hall, Mill Rd.",
	} {
		require.Empty(t, wording.Warnings(text), text)
	}
}

func TestTheSameCharacterWarnsOnce(t *testing.T) {
	t.Parallel()
	require.Len(t, wording.Warnings("don’t, won’t, can’t"), 1)
}

func TestStraighten(t *testing.T) {
	t.Parallel()
	tests := []struct{ in, want string }{
		{"don’t ‘quote’ “me” «here»", `don't 'quote' "me" "here"`},
		{"16:30–19:30 — or … later", "16:30-19:30 - or ... later"},
		{"a\u00a0b\u202fc\u2009d\te", "a b c d e"},
		{"a\u200bb\ufeffc\u00add", "abcd"},
		{"Zoë, José, ñ, 🚗", "Zoë, José, ñ, 🚗"}, // letters stay
		{"line\nbreak", "line\nbreak"},
	}
	for _, tt := range tests {
		require.Equal(t, tt.want, wording.Straighten(tt.in))
		require.Equal(t, tt.want, wording.Straighten(tt.want), "once is enough")
	}
}
