package main

import (
	"go/build"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A clock that a file can set is for the tests that kill the built binary: what
// a kitchen runs has no trace of it.
func TestNobodySetsTheClockOfANormalBuild(t *testing.T) {
	t.Parallel()
	in := build.Default
	normal, err := in.ImportDir(".", 0)
	require.NoError(t, err)
	assert.Contains(t, normal.GoFiles, "clock.go")
	assert.NotContains(t, normal.GoFiles, "clock_e2e.go")
	in.BuildTags = []string{"e2e"}
	set, err := in.ImportDir(".", 0)
	require.NoError(t, err)
	assert.Contains(t, set.GoFiles, "clock_e2e.go")
	assert.NotContains(t, set.GoFiles, "clock.go")
}
