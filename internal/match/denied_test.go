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
	x := match.New("GB", book())
	_, got := read(x, "+447700900111", "outside for the 5.40 one, not the club's")
	require.True(t, got.Sure)
	require.Len(t, got.Orders, 1)
	require.Equal(t, "L111", book()[got.Orders[0]].Ref)
}

// TestOnlySigned shows a person the arrivals of a number with two orders that only the
// writer's own name gives to one of them. Common practice, no source.
func TestOnlySigned(t *testing.T) {
	t.Parallel()
	x := match.New("GB", book())
	for text, look := range map[string]bool{
		"Kofi here, in the van":           true,
		"outside in the van. Kofi":        true,
		"outside for Kofi":                false,
		"here for Kofi's order":           false,
		"outside":                         false, // both
		"outside for the second one":      false,
		"Kofi here, only mine tonight":    false,
		"here for mine, Kofi comes later": false,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			_, got := read(x, "+447700900106", text)
			require.True(t, got.Sure)
			require.Equal(t, look, got.Look)
		})
	}
}
