package match_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/match"
	"passbell/internal/night"
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

// TestDeniedIsNoClue asks a person where what a text names is what it does not mean.
func TestDeniedIsNoClue(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	for _, text := range []string{"here, not for Ama", "outside for all except Kofi's", "here, not L107", "I'm outside, not the second one", "here for everything but Ama's", "cancel it but not Kofi's"} {
		_, got := read(x, "+447700900106", text)
		require.False(t, got.Sure, text)
		require.NotEmpty(t, got.Orders, text)
	}
	for _, text := range []string{"here for Tess Hallow, not Sarah Okoro", "outside for L103 not L102"} {
		_, got := read(x, "+447700900999", text)
		require.False(t, got.Sure, text)
	}
	for _, text := range []string{"here for the 6pm one, not long to wait", "not far now, here for the 6.30 one, Ama's"} {
		_, got := read(x, "+447700900106", text)
		require.True(t, got.Sure, text)
	}
}

// TestApart asks a person where an earlier text was about one order of the number alone
// and this one names none: it may mean that one or the rest.
func TestApart(t *testing.T) {
	t.Parallel()
	const number = "+447700900106"
	for name, came := range map[string]func(x *match.Index, i int){
		"arrived":  func(x *match.Index, i int) { x.SetState(i, night.Arrived) },
		"expected": func(x *match.Index, i int) { x.Expect(i) },
	} {
		x := match.New(book())
		own := x.Of(number)
		came(x, own[0])
		for text, sure := range map[string]bool{"we're outside": false, "outside for both": true, "here for the two orders": true, "outside for Ama's": true, "thanks": true} {
			_, got := read(x, number, text)
			require.Equal(t, sure, got.Sure, "%s: %s: %s", name, text, got.Why)
		}
		came(x, own[1])
		_, got := read(x, number, "we're outside")
		require.True(t, got.Sure, name)
		require.Len(t, got.Orders, 2, name)
	}
}

// TestOnlySigned gives a person the arrivals of a number with two orders where only the
// writer's own name gives one of them. Common practice, no source.
func TestOnlySigned(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	for text, asks := range map[string]bool{
		"Kofi here, in the van":         true,
		"outside in the van. Kofi":      true,
		"outside for Kofi":              false,
		"here for Kofi's order":         false,
		"outside":                       false, // both
		"outside for the second one":    false,
		"Kofi here, only mine tonight":  false,
		"Kofi is outside for his":       false,
		"outside for Kofi's brother":    true, // it may be for the rest
		"waiting for Ama to park, here": true,
		"here for the 6pm one. Kofi":    false,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			_, got := read(x, "+447700900106", text)
			require.Equal(t, asks, !got.Sure, got.Why)
		})
	}
}

// TestCluesDisagree gives the texts of a number with two orders to a person where what
// they say points to both of them, or to one while the sender means another.
func TestCluesDisagree(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	for text, sure := range map[string]bool{
		"here for mine, Kofi comes later":        false,
		"here for Kofi's, the 6.30 one":          false, // Kofi's is at 6
		"outside for Ama's, the first one":       false, // Ama's is the second
		"both please, it's for Kofi":             false,
		"here for the veggie one":                false, // no clue says which
		"outside, here for my sister":            false,
		"getting my wife's order, I'm here":      false,
		"just mine tonight, my mum's is at 6":    false, // one set against another
		"leave hers for 6.30, I'm here for mine": false,
		"I'm here, will be back for Ama's":       false,
		"Ama's is for later, parked outside":     false,
		"outside, just the soup":                 false, // one of them, none named
		"been waiting outside since 6.30":        false, // a person reads it anyway, so they say which
		"here for my order":                      true,
		"here for the 6.30 one, Ama's":           true,
		"outside for Ama, the second one":        true,
		"here for Kofi and Ama":                  true,
		"here in Kofi's car":                     true, // for both
		"outside for the two orders, 6 o'clock":  true,
		"Kofi's and Ama's both please, outside":  true,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			_, got := read(x, "+447700900106", text)
			require.Equal(t, sure, got.Sure, got.Why)
			require.NotEmpty(t, got.Orders)
		})
	}
}

// TestOneWay keeps both orders where a time to come happens to be one's slot, or the
// writer counts them. Common practice, no source.
func TestOneWay(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	for _, text := range []string{"setting off now, with you about 6", "I have two orders tonight, can I fetch them together? Ama"} {
		_, got := read(x, "+447700900106", text)
		require.Len(t, got.Orders, 2, "%s: %s", text, got.Why)
	}
	_, got := read(x, "+447700900106", "setting off now for the 6 o'clock one")
	require.Len(t, got.Orders, 1, got.Why)
}

// TestSignedThanks is sure of no order by a signature alone: it may be thanks for all.
func TestSignedThanks(t *testing.T) {
	t.Parallel()
	_, got := read(match.New(book()), "+447700900106", "Got everything, many thanks. Ama")
	require.False(t, got.Sure, got.Why)
}
