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
