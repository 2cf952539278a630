package match_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/match"
)

// TestDoubtful gives a person the texts of a number with two orders that hold a word which
// may tell one from the other and did not pick it: who has two orders writes of the one,
// the other or both in more ways than anybody lists. Common practice, no source.
func TestDoubtful(t *testing.T) {
	t.Parallel()
	const two, club = "+447700900106", "+447700900111"
	for _, tt := range []struct {
		from, text string
		sure       bool
	}{
		{two, "outside, red Fiesta", true},
		{two, "here for both, mine and hers", true},
		{two, "on my way, 10 minutes", true},
		{two, "here for the 6 oclock one", true},
		{two, "only ten minutes away", true},
		{two, "thanks so much", true},
		{two, "here for the 6, red Fiesta", false}, // the hour, or six of something
		{two, "the prawn ones please, I'm outside", false},
		{two, "outside for the har gow", false},
		{two, "got the early one, thank you", false},
		{two, "got mine, thanks", false},
		{two, "Ama's bag is fine but mine you forgot", false},
		{two, "my nephew is outside now", false},
		{two, "grandads there now in his Shogun", false},
		{two, "Ama has hers now", false},
		{two, "number two is for Ama, I'm here for that", true},
		{two, "the first of the two please, I'm outside", true},
		{two, "on my way for number two", true},
		{two, "I'll get Ama's with mine, red Fiesta", false},
		{two, "Got Kofi's. I'll be back for the rest", false},
		{two, "see you later for the other", false},
		{two, "here for the 6 oclock one, back at 6.30 for the other", false},
		{two, "Kofi has done his back in so a neighbour is driving us, red Fiesta", false},
		{club, "June here, just the rolls this trip, the bowls club one is at 6.20", false},
		{club, "here for the bowls club", true},
		{club, "got the club one, back at 6.20 for the rest", false},
		{club, "we are the bowls lot, outside", true},
	} {
		t.Run(tt.text, func(t *testing.T) {
			t.Parallel()
			_, got := read(match.New(book()), tt.from, tt.text)
			require.Equal(t, tt.sure, got.Sure, got.Why)
			require.NotEmpty(t, got.Orders)
		})
	}
}
