package store

import (
	"testing"

	"github.com/stretchr/testify/assert"
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
