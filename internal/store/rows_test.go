package store

import (
	"database/sql/driver"
	"maps"
	"slices"
	"testing"

	"github.com/lib/pq"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// All rows go along, in their order, and on the embedded database in few sizes.
func TestParts(t *testing.T) {
	t.Parallel()
	for name, next := range map[string]func(int) int{"server": inOne, "embedded": inSome} {
		sizes := map[int]bool{}
		for _, n := range []int{0, 1, 2, 7, 15, 63, 100, 255, 999, 1000, 1001, 2500} {
			g := given{columns: []string{"of"}}
			for i := range n {
				g.rows = append(g.rows, []any{i})
			}
			var seen []any
			for some := range g.parts(next) {
				assert.Equal(t, g.columns, some.columns)
				sizes[len(some.rows)] = true
				for _, row := range some.rows {
					seen = append(seen, row[0])
				}
			}
			for i, v := range seen {
				assert.Equal(t, i, v)
			}
			assert.Len(t, seen, n)
		}
		if name == "embedded" {
			assert.LessOrEqual(t, len(sizes), 8)
		}
	}
}

// What goes along as an array is as the driver itself would write it.
func TestArrayOf(t *testing.T) {
	t.Parallel()
	texts := []string{"", "plain", `say "now"`, `a\b`, `\"`, "a,b", "{c}", "NULL", "first\nsecond", "ñ €"}
	numbers := []int64{0, -1, 420, 1 << 62, 7, 7, 7, 7, 7, 7}
	rows := make([][]any, len(texts))
	for i := range texts {
		rows[i] = []any{texts[i], numbers[i], night.State(texts[i])}
	}
	for column, want := range []driver.Valuer{pq.StringArray(texts), pq.Int64Array(numbers), pq.StringArray(texts)} {
		array, err := want.Value()
		require.NoError(t, err)
		assert.Equal(t, array, arrayOf(rows, column))
	}
}

func TestGivenRowsArriveAsTheyWere(t *testing.T) {
	t.Parallel()
	arrive(t, open(t))
}

// arrive asks for rows that were given, some of which have columns in common.
func arrive(t *testing.T, s *Store) {
	t.Helper()
	type row struct {
		A int64  `db:"a"`
		B int64  `db:"b"`
		C string `db:"c"`
		D string `db:"d"`
	}
	several := map[string][]row{
		"one":                 {{1, 2, "three", "4"}},
		"nothing in common":   {{1, 2, "", "4"}, {5, 0, "seven", ""}, {9, 10, `"`, "12"}},
		"some in common":      {{1, 0, "", `{"x"}`}, {5, 0, "seven", `{"x"}`}, {9, 0, "11", `{"x"}`}},
		"nothing but empty":   {{0, 0, "", ""}, {0, 0, "", ""}},
		"all in common":       {{7, 8, "nine", "ten"}, {7, 8, "nine", "ten"}, {7, 8, "nine", "ten"}},
		"the first in common": {{7, 1, "a", "d"}, {7, 2, "b", "d"}, {7, 3, "c", "d"}},
	}
	for name, rows := range maps.Clone(several) {
		several["many, "+name] = slices.Repeat(rows, 100)
	}
	for name, rows := range several {
		g := given{columns: []string{"a", "b", "c", "d"}}
		for _, r := range rows {
			g.rows = append(g.rows, []any{r.A, r.B, r.C, r.D})
		}
		require.NoError(t, s.Kitchen(1).Read(t.Context(), func(tx *Tx) error {
			got, err := listGiven[row](t.Context(), tx, "rows", `SELECT a, b, c, d FROM %s`, g, nil, nil)
			assert.Equal(t, rows, got, name)
			return err
		}))
	}
}
