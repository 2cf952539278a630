package store_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/store"
	"passbell/internal/store/storetest"
)

func TestEmbedded(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) *store.Store {
		t.Helper()
		s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "passbell.db"))
		require.NoError(t, err)
		t.Cleanup(func() { require.NoError(t, s.Close()) })
		return s
	})
}
