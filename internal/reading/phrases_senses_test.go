package reading

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestArrivalSenses tells arrivals from the same words in another sense. Common
// practice, no source.
func TestArrivalSenses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, when, text string
		intent           Intent
	}{
		{"tells the kitchen's help", "due", "tell Dave I'm outside", Here},
		{"an Irish perfect", "due", "I'm after arriving", Here},
		{"was there, comes back", "due", "was outside at 5.40, back at twenty to", Coming},
		{"somebody else at a time", "due", "I'm not here today, my son is coming, he is there at 18:20", Coming},
		{"goes for it in a car", "due", "she's gone for it in my Polo, there in 10", Coming},
		{"should be by", "due", "my sister should be by shortly", Coming},
		{"first of two received", "due", "got the second one, cheers", Thanks},
		{"the count is short", "served", "there is three not four", Problem},
		{"an order that must stay", "due", "running late, please don't give ours away", Coming},
		{"no more reminders, the food stays", "day", "please cancel the reminders", Stop},
		{"back on, after a text gone astray", "day", "wrong chat sorry. unstop", Start},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, situation(t, tt.when))
			require.Equal(t, tt.intent, got.Intent, got.Why)
		})
	}
}

// TestHourless reads times that name no hour; sent at 18:00, slot 18:10. Common
// practice, no source.
func TestHourless(t *testing.T) {
	t.Parallel()
	for text, due := range map[string]string{
		"be there by twenty to at the latest":      "18:40",
		"be there on the hour":                     "18:00",
		"heading to the shop, back at half":        "18:30",
		"late again sorry, ten more minutes":       "18:10",
		"leaving town now, sat nav says 6.25":      "18:25",
		"be there for ten to, five to at the most": "18:55",
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			got := Read(text, situation(t, "due"))
			require.Equal(t, Coming, got.Intent, got.Why)
			require.NotNil(t, got.Due, got.Why)
			require.Equal(t, due, got.Due.String())
		})
	}
}

func TestPromisedWithout(t *testing.T) {
	t.Parallel()
	require.True(t, Read("you told me there was no sesame", situation(t, "served")).Allergy)
	require.True(t, Read("I was promised it had no egg", situation(t, "served")).Allergy)
}
