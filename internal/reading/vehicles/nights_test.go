package vehicles_test

import (
	"bufio"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/reading/vehicles"
)

// row is a labelled message of a night.
type row struct {
	ID, Text string
	Want     struct {
		Colour      any
		Make, Model string
		Body        string
	}
}

// readNight reads a labelled night with its region, or skips where it is not
// there.
func readNight(t *testing.T, base string) (string, []row) {
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
	var rows []row
	for sc := bufio.NewScanner(f); sc.Scan(); {
		var r row
		require.NoError(t, json.Unmarshal(sc.Bytes(), &r))
		rows = append(rows, r)
	}
	return night.Region, rows
}

func (r row) colours() []string {
	switch c := r.Want.Colour.(type) {
	case string:
		return []string{c}
	case []any:
		var out []string
		for _, v := range c {
			out = append(out, v.(string))
		}
		return out
	}
	return nil
}

// tally counts one field.
type tally struct{ right, wrong, missed, spurious int }

func (y *tally) add(want []string, got string) bool {
	switch {
	case len(want) == 0 && got == "":
		return true
	case len(want) == 0:
		y.spurious++
	case got == "":
		y.missed++
	case slices.ContainsFunc(want, func(w string) bool { return strings.EqualFold(w, got) }):
		y.right++
		return true
	default:
		y.wrong++
	}
	return false
}

func (y *tally) f1() float64 {
	if y.right == 0 {
		return 0
	}
	return 2 * float64(y.right) / float64(2*y.right+2*y.wrong+y.missed+y.spurious)
}

// TestNights holds the figures on labelled nights above their floor. Set
// PASSBELL_ROWS to see the rows read wrong of the nights meant for developing.
func TestNights(t *testing.T) {
	t.Parallel()
	const shared, ours = "../../../../shared/corpus/", "../../../testdata/nights/"
	nights := []struct {
		base  string
		show  bool    // a night for developing; the others' rows are not read
		floor float64 // of F1
	}{
		{shared + "gb-saturday", true, 0.98},
		{shared + "us-friday", true, 0.98},
		{ours + "ie-thursday", true, 0.98},
		{ours + "us-wednesday", true, 0.98},
		{ours + "au-sunday", false, 0.9},
		{ours + "gb-friday", false, 0.9},
	}
	for _, n := range nights {
		t.Run(filepath.Base(n.base), func(t *testing.T) {
			t.Parallel()
			region, rows := readNight(t, n.base)
			var colour, mk, model, body tally
			one := func(s string) []string {
				if s == "" {
					return nil
				}
				return []string{s}
			}
			for _, r := range rows {
				f := vehicles.Find(r.Text, region)
				first := ""
				if len(f.Colours) > 0 {
					first = f.Colours[0]
				}
				ok := colour.add(r.colours(), first)
				ok = mk.add(one(r.Want.Make), f.Make) && ok
				ok = model.add(one(r.Want.Model), f.Model) && ok
				ok = body.add(one(r.Want.Body), f.Body) && ok
				if !ok && n.show && os.Getenv("PASSBELL_ROWS") != "" {
					t.Logf("%s %q\n  want %v %q %q %q\n  got  %v %q %q %q", r.ID, r.Text,
						r.colours(), r.Want.Make, r.Want.Model, r.Want.Body, f.Colours, f.Make, f.Model, f.Body)
				}
			}
			t.Logf("F1 colour %.3f %+v, make %.3f %+v, model %.3f %+v, body %.3f %+v",
				colour.f1(), colour, mk.f1(), mk, model.f1(), model, body.f1(), body)
			for what, y := range map[string]*tally{"colour": &colour, "make": &mk, "model": &model} {
				require.GreaterOrEqual(t, y.f1(), n.floor, what)
			}
		})
	}
}
