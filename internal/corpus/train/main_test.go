package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

// The weights that stand in the program are those that the labelled nights give:
// training again changes nothing. Processors that fuse a multiplication with an
// addition round otherwise, so this holds where the weights were made.
func TestTrainingAgainGivesTheSameWeights(t *testing.T) {
	t.Parallel()
	if runtime.GOARCH != "amd64" {
		t.Skip("the weights were made on amd64")
	}
	root, err := filepath.Abs(filepath.Join("..", "..", ".."))
	require.NoError(t, err)
	out := filepath.Join(t.TempDir(), "intents.model")
	cmd := exec.CommandContext(t.Context(), "make", "-s", "train", "OUT="+out)
	cmd.Dir = root
	said, err := cmd.CombinedOutput()
	require.NoError(t, err, string(said))
	want, err := os.ReadFile(filepath.Join(root, "internal", "reading", "intents.model"))
	require.NoError(t, err)
	got, err := os.ReadFile(out)
	require.NoError(t, err)
	require.True(t, bytes.Equal(want, got), "run `make train` and commit what it writes")
}
