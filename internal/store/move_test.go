package store_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/store/storetest"
)

// TestMoveThereAndBack moves a filled database to a server and back to a file:
// what comes back is what was there, and both count on.
func TestMoveThereAndBack(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t)
	start := storetest.Fresh(t)
	storetest.Fill(t, start, "Larkfield Dumpling Kitchen")
	storetest.Fill(t, start, "Another Kitchen")
	there, back := storetest.Opened(t, server.Database(t)), storetest.Fresh(t)

	sums := func(from, to *store.Store) map[string]store.Moved {
		out := map[string]store.Moved{}
		require.NoError(t, store.Move(t.Context(), from, to, func(m store.Moved) { out[m.Kitchen+" "+m.Table] = m }))
		return out
	}
	first := sums(start, there)
	for table, m := range first {
		assert.NotZero(t, m.Rows, "the test fills every table: %s", table)
	}
	assert.Equal(t, first, sums(start, there), "moved already: nothing is doubled")
	assert.Equal(t, first, sums(there, back))
	assert.Equal(t, first, sums(start, back))

	storetest.Fill(t, there, "A Third Kitchen") // ids count on
	err := store.Move(t.Context(), there, back, func(store.Moved) {})
	require.NoError(t, err, "what is there already is left alone, the third kitchen is added")
}

func TestMoveRefusesWhatIsNotItsOwn(t *testing.T) {
	t.Parallel()
	one, other := storetest.Fresh(t), storetest.Fresh(t)
	storetest.Fill(t, one, "Larkfield Dumpling Kitchen")
	storetest.Fill(t, other, "Another Kitchen")
	require.ErrorContains(t, store.Move(t.Context(), one, other, func(store.Moved) {}), "another kitchen in its place")

	third := storetest.Fresh(t)
	require.NoError(t, store.Move(t.Context(), one, third, func(store.Moved) {}))
	require.NoError(t, third.Kitchen(1).Write(t.Context(), func(tx *store.Tx) error {
		return tx.Log(t.Context(), night.Event{NightID: 1, Who: "cook", What: night.NightChanged})
	}))
	require.ErrorContains(t, store.Move(t.Context(), one, third, func(store.Moved) {}), "with other records (events)")
}
