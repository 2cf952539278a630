package store

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/lib/pq"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func local(string) string { return "" }

// sissbruecker/linkding #679, WiseLibs/better-sqlite3 #1155: a write-ahead log on
// a network share, or on a folder lent to a container, fails later and in riddles.
func TestANetworkShareIsRefused(t *testing.T) {
	t.Parallel()
	disk, away := t.TempDir(), t.TempDir()
	on := func(folder string) string {
		if folder == away {
			return "NFS"
		}
		return ""
	}
	require.NoError(t, checkPlace(filepath.Join(disk, "p.db"), on))
	err := checkPlace(filepath.Join(away, "p.db"), on)
	require.ErrorContains(t, err, "network share (NFS)")
	require.ErrorContains(t, err, "put it on a disk of this machine")

	require.NoError(t, os.WriteFile(filepath.Join(away, "real.db"), nil, 0o600))
	link := filepath.Join(disk, "linked.db")
	if err := os.Symlink(filepath.Join(away, "real.db"), link); err != nil {
		t.Skipf("no links here: %v", err)
	}
	require.ErrorContains(t, checkPlace(link, on), "NFS", "a link on this disk leads there")
}

func TestThisDiskIsNoShare(t *testing.T) {
	t.Parallel()
	assert.Empty(t, networkShare(t.TempDir()), "tests run on a disk of this machine")
}

func TestAPlaceThatCanNotBeWrittenIsRefused(t *testing.T) {
	t.Parallel()
	if os.Geteuid() == 0 {
		t.Skip("root may write everywhere")
	}
	folder := t.TempDir()
	require.NoError(t, os.Chmod(folder, 0o500))
	t.Cleanup(func() { _ = os.Chmod(folder, 0o700) })
	require.ErrorContains(t, checkPlace(filepath.Join(folder, "p.db"), local), "may not write")

	file := filepath.Join(t.TempDir(), "p.db")
	require.NoError(t, os.WriteFile(file, nil, 0o400))
	require.ErrorContains(t, checkPlace(file, local), "may not write")
}

func TestLookingAtAPlaceLeavesNothingThere(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	require.NoError(t, checkPlace(filepath.Join(folder, "p.db"), local))
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// What a server without room says is worded as the file's full disk is, and
// nothing else is.
func TestAFullDiskOfAServerHasTheSameWords(t *testing.T) {
	t.Parallel()
	err := worded(&night.StoreError{Doing: "commit", Err: &pq.Error{Code: "53100", Message: "could not extend file"}})
	require.ErrorIs(t, err, night.ErrNoRoom)
	var broken *night.StoreError
	require.ErrorAs(t, err, &broken)
	err = worded(&pq.Error{Code: "53200", Message: "out of memory"})
	require.NotErrorIs(t, err, night.ErrNoRoom)
}
