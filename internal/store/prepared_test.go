package store

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/jmoiron/sqlx"
	"github.com/stretchr/testify/require"

	"passbell/internal/store/pgtest"
)

// Both databases, opened as the store opens them, on one connection.
func bothPrepared(t *testing.T) map[string]*sqlx.DB {
	file, err := openEmbedded(t.Context(), filepath.Join(t.TempDir(), "passbell.db"))
	require.NoError(t, err)
	server, err := openPostgres(t.Context(), pgtest.Start(t).Database(t))
	require.NoError(t, err)
	server.writer.SetMaxOpenConns(1)
	t.Cleanup(func() {
		require.NoError(t, file.Close())
		require.NoError(t, server.Close())
	})
	return map[string]*sqlx.DB{"embedded": file.writer, "server": server.writer}
}

func TestAStatementThatIsKeptFollowsItsTable(t *testing.T) {
	t.Parallel()
	for name, db := range bothPrepared(t) {
		t.Run(name, func(t *testing.T) {
			columns := func() (int, error) {
				rows, err := db.QueryContext(t.Context(), db.Rebind(`SELECT * FROM things WHERE id = ?`), 1)
				if err != nil {
					return 0, err
				}
				defer func() { require.NoError(t, rows.Close()) }()
				all, err := rows.Columns()
				return len(all), err
			}
			_, err := db.ExecContext(t.Context(), `CREATE TABLE things (id BIGINT)`)
			require.NoError(t, err)
			n, err := columns()
			require.NoError(t, err)
			require.Equal(t, 1, n)
			_, err = db.ExecContext(t.Context(), `ALTER TABLE things ADD COLUMN name TEXT`)
			require.NoError(t, err)
			n, err = columns()
			if err != nil { // a server says that the plan is out of date, once
				n, err = columns()
			}
			require.NoError(t, err)
			require.Equal(t, 2, n)
		})
	}
}

func TestAConnectionKeepsSoManyStatements(t *testing.T) {
	t.Parallel()
	for name, db := range bothPrepared(t) {
		t.Run(name, func(t *testing.T) {
			for i := range keep + 50 {
				for range 2 {
					var got int
					require.NoError(t, db.GetContext(t.Context(), &got, db.Rebind(fmt.Sprintf(`SELECT %d WHERE ? = 1`, i)), 1))
					require.Equal(t, i, got)
				}
			}
			require.ErrorContains(t, db.GetContext(t.Context(), new(int), db.Rebind(`SELECT nothing WHERE ? = 1`), 1), "nothing")
			conn, err := db.Conn(t.Context())
			require.NoError(t, err)
			defer func() { require.NoError(t, conn.Close()) }()
			require.NoError(t, conn.Raw(func(c any) error {
				require.Equal(t, keep, kept(c))
				return nil
			}))
		})
	}
}

// kept tells how many statements a connection keeps.
func kept(c any) int {
	k, ok := c.(interface{ count() int })
	if !ok {
		return -1
	}
	return k.count()
}

func (k *keeper) count() int { return len(k.kept) }

func TestAFailedTransactionCostsNoConnection(t *testing.T) {
	t.Parallel()
	for name, db := range bothPrepared(t) {
		t.Run(name, func(t *testing.T) {
			_, err := db.ExecContext(t.Context(), `CREATE TABLE things (id BIGINT UNIQUE)`)
			require.NoError(t, err)
			put := func(ctx context.Context, id int) error {
				tx, err := db.BeginTxx(ctx, &sql.TxOptions{})
				require.NoError(t, err)
				if _, err := tx.ExecContext(ctx, tx.Rebind(`INSERT INTO things VALUES (?)`), id); err != nil {
					require.NoError(t, tx.Rollback())
					return err
				}
				return tx.Commit()
			}
			require.NoError(t, put(t.Context(), 1))
			require.Error(t, put(t.Context(), 1))
			require.NoError(t, put(t.Context(), 2))
		})
	}
}
