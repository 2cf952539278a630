package plates_test

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/reading/plates"
)

// row is a labelled message of a night.
type row struct {
	ID, Text string
	Want     struct {
		Plate string
		Part  string `json:"plate_part"`
	}
}

// readNight reads a labelled night with its region and order book, or skips
// where it is not there.
func readNight(t *testing.T, base string) (region string, rows []row, orders [][]string) {
	t.Helper()
	data, err := os.ReadFile(base + ".night.json")
	if os.IsNotExist(err) {
		t.Skipf("no labelled night at %s", filepath.Base(base))
	}
	require.NoError(t, err)
	var night struct{ Region string }
	require.NoError(t, json.Unmarshal(data, &night))
	f, err := os.Open(base + ".messages.jsonl")
	require.NoError(t, err)
	defer f.Close()
	for sc := bufio.NewScanner(f); sc.Scan(); {
		var r row
		require.NoError(t, json.Unmarshal(sc.Bytes(), &r))
		rows = append(rows, r)
	}
	o, err := os.Open(base + ".orders.csv")
	require.NoError(t, err)
	defer o.Close()
	orders, err = csv.NewReader(o).ReadAll()
	require.NoError(t, err)
	return night.Region, rows, orders[1:]
}

// TestNights holds plate recall and false plates on labelled nights to their
// floor. Plates of order notes and of earlier messages are known, as they are to
// the inbox. Set PASSBELL_ROWS to see the rows read wrong of the nights meant for
// developing.
func TestNights(t *testing.T) {
	t.Parallel()
	const shared, ours = "../../../../shared/corpus/", "../../../testdata/nights/"
	nights := []struct {
		base string
		show bool
	}{
		{shared + "gb-saturday", true},
		{shared + "us-friday", true},
		{ours + "ie-thursday", true},
		{ours + "us-wednesday", true},
		{ours + "au-sunday", false},
		{ours + "gb-friday", false},
	}
	for _, n := range nights {
		t.Run(filepath.Base(n.base), func(t *testing.T) {
			t.Parallel()
			region, rows, orders := readNight(t, n.base)
			opts := plates.Options{Refs: map[string]struct{}{}, Known: map[string]string{}}
			for _, o := range orders {
				opts.Refs[strings.ToUpper(o[0])] = struct{}{}
				for _, h := range plates.FindWith(o[5], region, opts) {
					if !h.Part {
						opts.Known[plates.Fold(h.Plate)] = h.Plate
					}
				}
			}
			var right, wrong, missed, spurious, without int
			for _, r := range rows {
				got, part := "", ""
				for _, h := range plates.FindWith(r.Text, region, opts) {
					if h.Part && part == "" {
						part = h.Plate
					}
					if !h.Part && got == "" {
						got = h.Plate
					}
				}
				if got != "" {
					opts.Known[plates.Fold(got)] = got
				}
				if r.Want.Plate == "" && r.Want.Part == "" {
					without++
				}
				if n.show && os.Getenv("PASSBELL_ROWS") != "" && (got != r.Want.Plate || part != r.Want.Part) {
					t.Logf("%s %q\n  want %q %q\n  got  %q %q", r.ID, r.Text, r.Want.Plate, r.Want.Part, got, part)
				}
				for _, p := range [2][2]string{{r.Want.Plate, got}, {r.Want.Part, part}} {
					switch {
					case p[0] == p[1] && p[0] != "":
						right++
					case p[0] == p[1]:
					case p[0] == "":
						spurious++
					case p[1] == "":
						missed++
					default:
						wrong++
					}
				}
			}
			t.Logf("plates right %d, wrong %d, missed %d, spurious %d in %d messages without one", right, wrong, missed, spurious, without)
			require.GreaterOrEqual(t, float64(right), 0.98*float64(right+wrong+missed), "exact")
			require.LessOrEqual(t, float64(spurious), 0.005*float64(without)+1, "false plates, one in hand on a short night")
		})
	}
}
