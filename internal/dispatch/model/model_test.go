// Package model_test has the model of the outbox checked.
package model_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestModel(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"bash", "spin", "gcc"} {
		if _, err := exec.LookPath(tool); err != nil {
			require.NotEqual(t, "true", os.Getenv("CI"), "%s is missing", tool)
			t.Skipf("no %s: the model is not checked", tool)
		}
	}
	if testing.Short() {
		t.Skip("the model takes a minute")
	}
	said, err := exec.CommandContext(t.Context(), "bash", filepath.Join("..", "..", "..", ".ci", "model")).CombinedOutput()
	t.Logf("%s", said)
	require.NoError(t, err)
}

// The functions that the model stands for must exist under the names it gives.
func TestTheModelNamesWhatThereIs(t *testing.T) {
	t.Parallel()
	model, err := os.ReadFile("claim.pml")
	require.NoError(t, err)
	source := map[string]string{}
	for _, folder := range []string{"dispatch", "store", "desk"} {
		files, err := filepath.Glob(filepath.Join("..", "..", folder, "*.go"))
		require.NoError(t, err)
		for _, f := range files {
			b, err := os.ReadFile(f)
			require.NoError(t, err)
			source[folder] += string(b)
		}
	}
	named := regexp.MustCompile(`(?:(store|desk)\.)?\(\*(\w+)\)\.(\w+)|dispatch\.([a-zA-Z]+)\b`).FindAllStringSubmatch(string(model), -1)
	require.Greater(t, len(named), 10)
	for _, n := range named {
		pattern, folder := `(func|type) `+n[4]+`\b`, "dispatch"
		if n[2] != "" {
			pattern = `func \(\w+ \*` + n[2] + `\) ` + n[3] + `\(`
		}
		if n[1] != "" {
			folder = n[1]
		}
		assert.True(t, regexp.MustCompile(pattern).MatchString(source[folder]), "%s is nowhere in %s", n[0], folder)
	}
}
