package store_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/store/storetest"
)

func TestEmbedded(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) *store.Store {
		t.Helper()
		return opened(t, filepath.Join(t.TempDir(), "passbell.db"))
	})
}

func TestPostgreSQL(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t, "max_connections=600")
	storetest.Run(t, func(t *testing.T) *store.Store {
		t.Helper()
		return opened(t, server.Database(t))
	})
}

func opened(t *testing.T, place string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), place)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}
