package store_test

import (
	"testing"

	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/store/storetest"
)

func TestEmbedded(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) *store.Store {
		t.Helper()
		return storetest.Fresh(t)
	})
}

func TestPostgreSQL(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t, "max_connections=600")
	storetest.Run(t, func(t *testing.T) *store.Store {
		t.Helper()
		return storetest.Opened(t, server.Database(t))
	})
}
