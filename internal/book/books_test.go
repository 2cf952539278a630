package book_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/book"
	"passbell/internal/night"
)

const booksDir = "../../testdata/books"

// want is what a careful person reads in a book of testdata/books. It was
// written by hand beside each book, from what stands in it.
type want struct {
	About string `json:"about"`
	Night struct {
		Region   string      `json:"region"`
		Timezone string      `json:"timezone"`
		Date     night.Date  `json:"date"`
		First    night.Clock `json:"first_slot"`
		Last     night.Clock `json:"last_slot"`
		Every    int         `json:"slot_minutes"`
	} `json:"night"`
	Mapping  map[string]string `json:"mapping"`
	Columns  map[string]string `json:"columns"`
	Error    string            `json:"error"`
	Orders   []wantOrder       `json:"orders"`
	LeftOut  []book.LeftOut    `json:"left_out"`
	Problems []wantProblem     `json:"problems"`
}

type wantOrder struct {
	Ref     string       `json:"ref"`
	Name    string       `json:"name"`
	Phone   string       `json:"phone"`
	Slot    string       `json:"slot"`
	Items   []night.Item `json:"items"`
	Note    string       `json:"note"`
	Allergy string       `json:"allergy"`
}

type wantProblem struct {
	Row   *int       `json:"row"`
	Order string     `json:"order"`
	Field string     `json:"field"`
	What  string     `json:"what"` // words that have to be in it
	Level book.Level `json:"level"`
}

func (w want) options(t testing.TB) book.Options {
	t.Helper()
	zone, err := time.LoadLocation(w.Night.Timezone)
	require.NoError(t, err)
	return book.Options{
		Region: w.Night.Region, Zone: zone, Mapping: w.Mapping, Fiction: true,
		Night: night.Night{Date: w.Night.Date, First: w.Night.First, Last: w.Night.Last, Every: w.Night.Every},
	}
}

// books lists the books and what is wanted of each.
func books(t testing.TB) map[string]want {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(booksDir, "*.want.json"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 40)
	out := map[string]want{}
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		var w want
		require.NoError(t, json.Unmarshal(data, &w), f)
		out[strings.TrimSuffix(filepath.Base(f), ".want.json")] = w
	}
	return out
}

// printed is a book as WriteJSON prints it.
type printed struct {
	Orders   []wantOrder       `json:"orders"`
	LeftOut  []book.LeftOut    `json:"left_out"`
	Problems []book.Problem    `json:"problems"`
	Columns  map[string]string `json:"columns"`
}

func readPrinted(t testing.TB, data []byte, name string, opt book.Options) (book.Book, printed) {
	t.Helper()
	b, err := book.Read(bytes.NewReader(data), name, opt)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, b.WriteJSON(&out))
	var p printed
	require.NoError(t, json.Unmarshal(out.Bytes(), &p))
	return b, p
}

func TestBooks(t *testing.T) {
	t.Parallel()
	for name, w := range books(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(filepath.Join(booksDir, name))
			require.NoError(t, err)
			opt := w.options(t)
			if w.Error != "" {
				_, err := book.Read(bytes.NewReader(data), name, opt)
				var trouble *book.FileError
				require.ErrorAs(t, err, &trouble)
				require.Contains(t, err.Error(), w.Error)
				return
			}
			b, p := readPrinted(t, data, name, opt)
			require.Equal(t, w.Orders, p.Orders, w.About)
			require.Len(t, p.LeftOut, len(w.LeftOut), "%v", p.LeftOut)
			for i, l := range w.LeftOut {
				require.Equal(t, l.Row, p.LeftOut[i].Row)
				require.Contains(t, p.LeftOut[i].Why, l.Why)
			}
			checkProblems(t, w.Problems, p.Problems)
			for f, title := range w.Columns {
				require.Equal(t, title, p.Columns[f])
			}
			requireAccounted(t, b)
		})
	}
}

func checkProblems(t *testing.T, wanted []wantProblem, got []book.Problem) {
	t.Helper()
	left := append([]book.Problem{}, got...)
	for _, w := range wanted {
		found := -1
		for i, p := range left {
			if p.Order == w.Order && p.Field == w.Field && p.Level == w.Level && strings.Contains(p.What, w.What) && (w.Row == nil || *w.Row == p.Row) {
				found = i
				break
			}
		}
		require.GreaterOrEqual(t, found, 0, "no problem %+v among %+v", w, left)
		left = append(left[:found], left[found+1:]...)
	}
	require.Empty(t, left, "problems that nobody expects")
	for _, p := range got {
		require.NotEmpty(t, p.What)
		require.NotEmpty(t, p.Fix)
	}
}

// requireAccounted checks that every row became part of an order or was left
// out with a reason, and none of them twice.
func requireAccounted(t testing.TB, b book.Book) {
	t.Helper()
	seen := map[int]bool{}
	for _, l := range b.LeftOut {
		require.NotEmpty(t, l.Why)
		require.False(t, seen[l.Row], "row %d twice", l.Row)
		seen[l.Row] = true
	}
	for _, o := range b.Orders {
		require.NotEmpty(t, b.From[o.Ref], o.Ref)
		for _, r := range b.From[o.Ref] {
			require.False(t, seen[r], "row %d twice", r)
			seen[r] = true
		}
	}
	require.Len(t, seen, b.Rows, "rows = orders' rows + rows left out")
}
