package match_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/match"
)

// TestDenied leaves out the order that a text says is not meant. Common practice, no
// source.
func TestDenied(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	_, got := read(x, "+447700900111", "outside for the 5.40 one, not the club's")
	require.True(t, got.Sure)
	require.Len(t, got.Orders, 1)
	require.Equal(t, "L111", book()[got.Orders[0]].Ref)
}

// TestOnlySigned shows a person the arrivals of a number with two orders that only the
// writer's own name gives to one of them. Common practice, no source.
func TestOnlySigned(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	for text, look := range map[string]bool{
		"Kofi here, in the van":        true,
		"outside in the van. Kofi":     true,
		"outside for Kofi":             false,
		"here for Kofi's order":        false,
		"outside":                      false, // both
		"outside for the second one":   false,
		"Kofi here, only mine tonight": false,
		"Kofi is outside for his":      false,
		"here for the 6pm one. Kofi":   false,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			_, got := read(x, "+447700900106", text)
			require.True(t, got.Sure)
			require.Equal(t, look, got.Look)
		})
	}
}

// TestCluesDisagree gives the texts of a number with two orders to a person where what
// they say points to both of them, or to one while the sender means another.
func TestCluesDisagree(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	for text, sure := range map[string]bool{
		"here for mine, Kofi comes later":       false,
		"here for Kofi's, the 6.30 one":         false, // Kofi's is at 6
		"outside for Ama's, the first one":      false, // Ama's is the second
		"both please, it's for Kofi":            false,
		"here for the veggie one":               false, // no clue says which
		"outside, here for my sister":           false,
		"getting my wife's order, I'm here":     false,
		"been waiting outside since 6.30":       true, // a time of day, not a slot: both
		"here for my order":                     true,
		"here for the 6.30 one, Ama's":          true,
		"outside for Ama, the second one":       true,
		"here for Kofi and Ama":                 true,
		"here in Kofi's car":                    true, // for both
		"outside for the two orders, 6 o'clock": true,
		"Kofi's and Ama's both please, outside": true,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			_, got := read(x, "+447700900106", text)
			require.Equal(t, sure, got.Sure, got.Why)
			require.NotEmpty(t, got.Orders)
		})
	}
}
