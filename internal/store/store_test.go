package store

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/jmoiron/sqlx"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Pragmas hold for one connection: each open one is asked, on both pools
// (opencodelists PR #2344: a wait setting in the wrong place never applied).
func TestSettingsHoldOnEveryConnection(t *testing.T) {
	t.Parallel()
	s := open(t)
	for name, db := range map[string]*sqlx.DB{"writer": s.writer, "reader": s.reader} {
		var conns []*sqlx.Conn
		for range db.Stats().MaxOpenConnections {
			c, err := db.Connx(t.Context())
			require.NoError(t, err)
			conns = append(conns, c)
		}
		for i, c := range conns {
			for pragma, want := range map[string]string{
				"busy_timeout": "5000", "journal_mode": "wal", "foreign_keys": "1", "synchronous": "2", // 2 is FULL
				"secure_delete": "1",
			} {
				var got string
				require.NoError(t, c.GetContext(t.Context(), &got, "PRAGMA "+pragma))
				assert.Equal(t, want, got, "%s connection %d, %s", name, i, pragma)
			}
			require.NoError(t, c.Close())
		}
	}
}

func TestEventsCannotBeChanged(t *testing.T) {
	t.Parallel()
	s := open(t)
	_, err := s.writer.Exec(`INSERT INTO events (kitchen_id, night_id, order_id, message_id, inbound_id, at, who, what, from_state, to_state, why)
		VALUES (1, 1, 0, 0, 0, 0, 'cook', 'step', '', '', '')`)
	require.NoError(t, err)
	_, err = s.writer.Exec(`UPDATE events SET who = 'nobody'`)
	require.ErrorContains(t, err, "append-only")
}

func TestOpenTwiceKeepsWhatIsThere(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "a kitchen #1?.db") // signs that mean something in the name of a database
	s, err := Open(t.Context(), path)
	require.NoError(t, err)
	_, err = s.writer.Exec(`INSERT INTO optouts (kitchen_id, address, at) VALUES (1, 'x', 1)`)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, s.Close(), "closing twice is fine")
	assert.FileExists(t, path)
	s, err = Open(t.Context(), path)
	require.NoError(t, err)
	var n int
	require.NoError(t, s.reader.Get(&n, `SELECT count(*) FROM optouts`))
	assert.Equal(t, 1, n)
	require.NoError(t, s.Close())
}

func TestOpenSaysWhatIsWrongWithThePlace(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for name, path := range map[string]string{
		"no such folder":      filepath.Join(t.TempDir(), "nowhere", "p.db"),
		"a file for a folder": filepath.Join(file, "p.db"),
	} {
		_, err := Open(t.Context(), path)
		require.ErrorContains(t, err, "database", name)
	}
}

func open(t *testing.T) *Store {
	t.Helper()
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "passbell.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// Every table of a kitchen moves with it.
func TestMovedNamesEveryTable(t *testing.T) {
	t.Parallel()
	s := open(t)
	var tables []string
	require.NoError(t, s.reader.Select(&tables, `
		SELECT m.name FROM sqlite_master m JOIN pragma_table_info(m.name) c ON c.name = 'kitchen_id' WHERE m.type = 'table' ORDER BY m.name`))
	names := []string{"changes"} // are counted anew, as the rows come in
	for _, table := range moved {
		names = append(names, table.name)
	}
	assert.ElementsMatch(t, tables, names)
}
