package store

import (
	"database/sql"
	"path/filepath"
	"testing"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store/pgtest"
	"passbell/migrations"
)

func TestATryUnderWayOutlivesAnUpgrade(t *testing.T) {
	t.Parallel()
	for name, at := range map[string]struct {
		driver, folder string
		dialect        goose.Dialect
		place          func(t *testing.T) string
		enter          string
	}{
		"embedded": {"sqlite", "sqlite", goose.DialectSQLite3, func(t *testing.T) string { return filepath.Join(t.TempDir(), "passbell.db") }, `SELECT 1`},
		"PostgreSQL": {
			"postgres", "postgres", goose.DialectPostgres, func(t *testing.T) string { return pgtest.Start(t).Database(t) },
			`SELECT set_config('passbell.kitchen', '1', false)`,
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			place := at.place(t)
			server := place
			if IsURL(place) {
				a, err := serverAddress(place)
				require.NoError(t, err)
				server = a.dsn
			}
			old, err := sql.Open(at.driver, server)
			require.NoError(t, err)
			old.SetMaxOpenConns(1)
			files, err := goose.NewProvider(at.dialect, old, migrations.Dir(at.folder), goose.WithLogger(goose.NopLogger()))
			require.NoError(t, err)
			_, err = files.UpTo(t.Context(), 14)
			require.NoError(t, err)
			for _, q := range []string{
				at.enter,
				`INSERT INTO kitchens (id, name, region, zone, number, quiet_from, quiet_to) VALUES (1, 'Larkfield', 'GB', 'UTC', '', 0, 0)`,
				`INSERT INTO nights (id, kitchen_id, date, first_slot, last_slot, every, capacity, place, parking, closes_at, instruct_at, remind_before, remind_from)
					VALUES (1, 1, '2026-12-04', 0, 0, 1, 1, '', '', 0, 0, 0, 0)`,
				`INSERT INTO messages (id, kitchen_id, night_id, kind, revision, place, address, text, parts, due_at, next_at, expires_at, state, attempt, adapter, lease_until, turn)
					VALUES (1, 1, 1, 'reply', 0, '', '+447700900123', 'x', 1, 1, 1, 1, 'sending', 1, 'texts', 60000, 7),
						(2, 1, 1, 'nudge', 0, '', '+447700900124', 'x', 1, 1, 1, 1, 'due', 2, 'texts', 0, 3),
						(3, 1, 1, 'nudge', 1, '', '+447700900125', 'x', 1, 1, 90000, 1, 'due', 1, 'texts', 0, 2),
						(4, 1, 1, 'nudge', 2, '', '+447700900126', 'x', 1, 1, 1, 1, 'sent', 1, 'texts', 0, 1)`,
				`INSERT INTO attempts (message_id, attempt, kitchen_id, adapter, started_at, address, turn, settled_at)
					VALUES (1, 1, 1, 'texts', 1, '+447700900123', 7, 0), (2, 2, 1, 'texts', 1, '+447700900124', 9, 1), (3, 1, 1, 'texts', 1, '+447700900125', 2, 80000)`,
			} {
				_, err := old.ExecContext(t.Context(), q)
				require.NoError(t, err, q)
			}
			require.NoError(t, old.Close())

			s := openAt(t, place)
			k := s.Kitchen(1)
			got, err := k.Claim(t.Context(), "texts", time.UnixMilli(1000), time.UnixMilli(61000), 10)
			require.NoError(t, err)
			require.Len(t, got, 1)
			assert.EqualValues(t, 10, got[0].Turn, "after every try so far")
			require.NoError(t, k.Write(t.Context(), func(tx *Tx) error {
				stray, err := tx.Stray(t.Context())
				require.NoError(t, err)
				assert.Empty(t, stray)
				gone, err := tx.Abandoned(t.Context(), time.UnixMilli(60000))
				require.NoError(t, err)
				require.Len(t, gone, 1)
				assert.EqualValues(t, 1, gone[0].ID)
				assert.Equal(t, 1, gone[0].Attempt)
				assert.EqualValues(t, 7, gone[0].Turn)
				waiting, err := tx.Misdated(t.Context(), time.UnixMilli(79999))
				require.NoError(t, err)
				assert.Equal(t, []int64{3}, waiting)
				for _, word := range []night.Settlement{
					{State: night.InDoubt, Outcome: string(adapters.Unknown)}, {State: night.Sent, Outcome: night.Accepted},
				} {
					word.MessageID, word.Attempt, word.To, word.At = 1, 1, gone[0].To, time.UnixMilli(2000)
					became, err := tx.Settle(t.Context(), []night.Settlement{word})
					require.NoError(t, err)
					assert.Equal(t, []night.MessageState{word.State}, became)
				}
				best, err := tx.best(t.Context(), []int64{1})
				require.NoError(t, err)
				assert.Equal(t, night.Accepted, best[1].Outcome)
				assert.Equal(t, "+447700900123", best[1].Address)
				return nil
			}))
		})
	}
}
