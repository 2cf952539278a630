package reading

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// everydayNames are first names that are everyday words as well; the matcher takes
// them for a name only where the words around say so.
const everydayNames = `al angel bill con corazon divine don first guy les long mark miss mo office reg rev roger see sister skip thu una will yer`

// TestNoFirstName keeps first names out of the phrases: one that stands there would
// count as an everyday word and no longer as a customer's name. The names are those of
// the labelled nights.
func TestNoFirstName(t *testing.T) {
	t.Parallel()
	words := map[string]bool{}
	for _, rows := range phraseTables {
		for _, row := range rows {
			for _, w := range strings.FieldsFunc(row.phrases, func(r rune) bool { return strings.ContainsRune(" |;!?+\n\t", r) }) {
				words[w] = true
			}
		}
	}
	books, err := filepath.Glob(filepath.Join("..", "..", "testdata", "*", "*.orders.csv"))
	require.NoError(t, err)
	require.NotEmpty(t, books)
	var found []string
	for _, path := range books {
		f, err := os.Open(path)
		require.NoError(t, err)
		rows, err := csv.NewReader(f).ReadAll()
		require.NoError(t, err)
		require.NoError(t, f.Close())
		at := slices.Index(rows[0], "name")
		for _, row := range rows[1:] {
			first, _, _ := strings.Cut(strings.TrimSpace(row[at]), " ")
			if w := Fold(first); words[w] && !slices.Contains(strings.Fields(everydayNames), w) && !slices.Contains(found, w) {
				found = append(found, w)
			}
		}
	}
	slices.Sort(found)
	require.Empty(t, found)
}
