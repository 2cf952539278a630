package vehicles

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestTables checks the embedded tables as a whole: they load, no make and model
// stands twice, and colours are of the corpus list.
func TestTables(t *testing.T) {
	t.Parallel()

	rows, err := readTable(vehiclesCSV, 6)
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, r := range rows {
		key := r[0] + "/" + r[1]
		require.False(t, seen[key], "twice: %s", key)
		seen[key] = true
		require.NotEmpty(t, r[3]+r[4]+r[5], "no name: %s", key)
	}
	const list = "beige black blue bronze brown cream gold green grey maroon orange pink purple red silver turquoise white yellow multi"
	rows, err = readTable(wordsCSV, 4)
	require.NoError(t, err)
	for _, r := range rows {
		if r[0] != "colour" {
			continue
		}
		for _, c := range strings.Split(r[1], "|") {
			require.Contains(t, strings.Fields(list), c)
		}
	}
}

func TestTablesRefuse(t *testing.T) {
	t.Parallel()
	l := &lexicon{words: map[string]*lexeme{}}
	require.ErrorContains(t, l.loadWords("kind,value,language,words\nnothing,,,a\n"), "no kind")
	require.ErrorContains(t, l.loadVehicles("make,model,regions,names,if_car,after_make\nFord,Ka,,ka,,\n"), "no region")
	require.Error(t, l.loadVehicles("make,model\nFord,Ka\n"))
}

func TestDistance(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		a, b string
		want int
	}{ // counted by hand
		{"fiesta", "fiesta", 0},
		{"feista", "fiesta", 1},
		{"fiest", "fiesta", 1},
		{"octvaia", "octavia", 1},
		{"qashqia", "qashqai", 1},
		{"volkswagon", "volkswagen", 1},
		{"mitsibushi", "mitsubishi", 2},
	} {
		require.Equal(t, tt.want, distance(tt.a, tt.b, 2), "%s %s", tt.a, tt.b)
	}
	require.Greater(t, distance("place", "polo", 1), 1)
}
