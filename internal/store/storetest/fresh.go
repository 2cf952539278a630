package storetest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/store"
)

// Fresh opens an empty embedded database, up to date, that ends with the test.
// Making its tables takes longer than most tests do, above all while the race
// detector watches, so that is done once and copied.
func Fresh(t testing.TB) *store.Store {
	t.Helper()
	return Opened(t, FreshFile(t))
}

// FreshFile gives the file of an empty embedded database that is up to date.
func FreshFile(t testing.TB) string {
	t.Helper()
	b, err := empty()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "passbell.db")
	require.NoError(t, os.WriteFile(path, b, 0o600))
	return path
}

// Opened opens the database at place until the test ends.
func Opened(t testing.TB, place string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), place)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// empty gives the bytes of an empty database.
var empty = sync.OnceValues(func() (b []byte, err error) {
	dir, err := os.MkdirTemp("", "passbell")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	path := filepath.Join(dir, "passbell.db")
	s, err := store.Open(context.Background(), path)
	if err != nil {
		return nil, err
	}
	if err := s.Close(); err != nil { // brings the log into the file
		return nil, err
	}
	return os.ReadFile(path)
})
