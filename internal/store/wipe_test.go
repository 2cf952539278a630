package store_test

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/store/storetest"
)

// words are what storetest.Fill writes of a customer and a helper.
var words = []string{"Bethan", "Cadwgan", "900123", "by the gate", "nuts", "Pork bao", "here 🚗", "Sam"}

// TestAWipedDatabaseHoldsNobody reads every cell of every table, and every byte
// of the embedded database's files, and moves what is left there and back.
func TestAWipedDatabaseHoldsNobody(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	file, server := filepath.Join(folder, "passbell.db"), pgtest.Start(t).Database(t)
	one, other := storetest.Opened(t, file), storetest.Opened(t, server)
	for kind, s := range map[string]*store.Store{"sqlite": one, "postgres": other} {
		k := storetest.Fill(t, s, "Larkfield Dumpling Kitchen")
		place := map[string]string{"sqlite": file, "postgres": server}[kind]
		require.NotEmpty(t, names(t, kind, place), "the test sees them")
		late := time.Now().AddDate(1, 0, 0)
		require.NoError(t, k.Kitchen.Write(t.Context(), func(tx *store.Tx) error {
			_, err := tx.Wipe(t.Context(), k.Night, late)
			return err
		}))
		require.NoError(t, k.Kitchen.CleanUp(t.Context(), late))
		assert.Empty(t, names(t, kind, place), kind)
	}
	assert.Empty(t, bytesWith(t, folder))
	require.NoError(t, one.Close())
	assert.Empty(t, bytesWith(t, folder))

	one = storetest.Opened(t, file)
	there, back := storetest.Opened(t, pgtest.Start(t).Database(t)), storetest.Opened(t, filepath.Join(t.TempDir(), "passbell.db"))
	moved := 0
	count := func(m store.Moved) { moved += m.Rows }
	require.NoError(t, store.Move(t.Context(), one, there, count))
	require.NoError(t, store.Move(t.Context(), there, back, count))
	require.NoError(t, store.Move(t.Context(), one, back, count), "the same as was there")
	assert.Positive(t, moved)
}

// raw is a place as the driver wants it, without what the store adds.
func raw(place string) string {
	if store.IsURL(place) {
		return place + "?sslmode=disable"
	}
	return place
}

// names gives the cells that name somebody.
func names(t *testing.T, kind, place string) (found []string) {
	t.Helper()
	tables := `SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'`
	if kind == "postgres" {
		tables = `SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace`
	}
	db, err := sql.Open(kind, raw(place))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	db.SetMaxOpenConns(1)
	if kind == "postgres" {
		_, err := db.Exec(`SELECT set_config('passbell.kitchen', '1', false)`)
		require.NoError(t, err)
	}
	var list []string
	each(t, db, tables, func(cells []any) { list = append(list, fmt.Sprintf("%s", cells[0])) })
	require.Greater(t, len(list), 15)
	for _, table := range list {
		each(t, db, `SELECT * FROM `+table, func(cells []any) {
			for _, c := range cells {
				text := fmt.Sprintf("%s", c)
				for _, w := range words {
					if strings.Contains(text, w) {
						found = append(found, table+": "+text)
					}
				}
			}
		})
	}
	return found
}

func each(t *testing.T, db *sql.DB, query string, do func(cells []any)) {
	t.Helper()
	rows, err := db.Query(query)
	require.NoError(t, err)
	defer func() { require.NoError(t, rows.Close()) }()
	columns, err := rows.Columns()
	require.NoError(t, err)
	for rows.Next() {
		cells, to := make([]any, len(columns)), make([]any, len(columns))
		for i := range cells {
			to[i] = &cells[i]
		}
		require.NoError(t, rows.Scan(to...))
		do(cells)
	}
	require.NoError(t, rows.Err())
}

// bytesWith gives the files of a folder in which somebody's words stand.
func bytesWith(t *testing.T, folder string) (found []string) {
	t.Helper()
	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, f := range files {
		data, err := os.ReadFile(filepath.Join(folder, f.Name()))
		require.NoError(t, err)
		for _, w := range words {
			if strings.Contains(string(data), w) {
				found = append(found, f.Name()+": "+w)
			}
		}
	}
	return found
}

// TestEventsLoseOnlyTheirWords tries what else might be done to them.
func TestEventsLoseOnlyTheirWords(t *testing.T) {
	t.Parallel()
	file, server := filepath.Join(t.TempDir(), "passbell.db"), pgtest.Start(t).Database(t)
	for kind, place := range map[string]string{"sqlite": file, "postgres": server} {
		s := storetest.Opened(t, place)
		id, err := s.PutKitchen(t.Context(), night.Kitchen{Name: "Larkfield", Zone: time.UTC})
		require.NoError(t, err)
		require.NoError(t, s.Kitchen(id).Write(t.Context(), func(tx *store.Tx) error {
			return tx.Log(t.Context(), night.Event{NightID: 1, At: time.UnixMilli(5), Who: "Sam", What: night.StepTaken, From: night.Booked, To: night.Told, Why: "told Bethan"})
		}))
		db, err := sql.Open(kind, raw(place))
		require.NoError(t, err)
		db.SetMaxOpenConns(1)
		if kind == "postgres" {
			_, err := db.Exec(`SELECT set_config('passbell.kitchen', '1', false)`)
			require.NoError(t, err)
		}
		for _, change := range []string{
			`why = 'other words'`, `who = 'cook'`, `what = ''`, `from_state = ''`, `to_state = 'arrived'`, `at = at + 1`, `id = id + 1`,
			`order_id = 7`, `message_id = 7`, `inbound_id = 7`, `night_id = 7`, `why = '', at = 0`, `why = who`,
		} {
			_, err := db.Exec(`UPDATE events SET ` + change)
			require.ErrorContains(t, err, "append-only", kind+": "+change)
		}
		for _, change := range []string{`why = why`, `why = ''`, `why = '', who = ''`} {
			_, err := db.Exec(`UPDATE events SET ` + change)
			require.NoError(t, err, kind+": "+change)
		}
		require.NoError(t, db.Close())
	}
}
