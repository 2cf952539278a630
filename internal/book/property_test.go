package book_test

import (
	"bytes"
	"encoding/csv"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/internal/book"
	"passbell/internal/night"
)

// table is a CSV of testdata/books as cells, for the properties below.
func table(t testing.TB, name string) [][]string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(booksDir, name))
	require.NoError(t, err)
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	require.NoError(t, err)
	for i := range rows {
		for len(rows[i]) < len(rows[0]) {
			rows[i] = append(rows[i], "")
		}
	}
	return rows
}

func csvOf(t require.TestingT, rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	require.NoError(t, w.WriteAll(rows))
	return b.Bytes()
}

// essence is what must stay whatever the order of rows and columns: the orders
// with their items in any order.
func essence(b book.Book) []night.Order {
	out := slices.Clone(b.Orders)
	for i := range out {
		out[i].Items = slices.Clone(out[i].Items)
		slices.SortFunc(out[i].Items, func(x, y night.Item) int { return strings.Compare(x.Name, y.Name) })
	}
	slices.SortFunc(out, func(x, y night.Order) int { return strings.Compare(x.Ref, y.Ref) })
	return out
}

// shuffled are books in which every row names its order, so that rows can stand
// in any order.
var shuffled = []string{
	"01-plain.csv", "02-other-words.csv", "13-lines-repeated.csv", "14-lines-apart.csv", "16-product-columns.csv",
	"17-form-answers.csv", "20-billing-side.csv", "21-slots-am-pm.csv", "27-day-first.csv", "28-month-first.csv",
	"30-status.csv", "34-numbers.csv", "35-numbers-to-ask.csv", "36-allergies.csv", "37-allergy-column.csv", "47-from-to.csv",
}

func TestRowsAndColumnsInAnyOrder(t *testing.T) {
	t.Parallel()
	all := books(t)
	for _, name := range shuffled {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rows, opt := table(t, name), all[name].options(t)
			before, err := book.Read(bytes.NewReader(csvOf(t, rows)), name, opt)
			require.NoError(t, err)
			rng := rand.New(rand.NewPCG(5, 8))
			for range 15 {
				mixed := slices.Clone(rows)
				rng.Shuffle(len(mixed)-1, func(i, j int) { mixed[i+1], mixed[j+1] = mixed[j+1], mixed[i+1] })
				order := rng.Perm(len(rows[0]))
				for i, r := range mixed {
					turned := make([]string, len(order))
					for j, c := range order {
						turned[j] = r[c]
					}
					mixed[i] = turned
				}
				after, err := book.Read(bytes.NewReader(csvOf(t, mixed)), name, opt)
				require.NoError(t, err)
				require.Equal(t, essence(before), essence(after))
				require.Equal(t, before.Shape, after.Shape)
				require.Len(t, after.LeftOut, len(before.LeftOut))
			}
		})
	}
}

// Whatever stands in the cells, no row is dropped in silence, every problem
// says what to do, and every number is E.164.
func TestNothingIsDropped(t *testing.T) {
	t.Parallel()
	cells := rapid.OneOf(
		rapid.SampledFrom([]string{
			"", "", "07700 900123", "+447700900124", "7.7009E+09", "16:30", "4.40pm", "04/12/2026", "2x Pork bao; 1x Slaw",
			"Pork bao", "2", "-1", "refunded", "Total", "test", "Bethan Cadwgan", "Sarah", "nut allergy", "L101", "L102", "£7.50", "order", "-7.50",
		}),
		rapid.StringN(0, 12, 40),
	)
	heads := []string{"order", "name", "phone", "slot", "items", "note", "product", "qty", "status", "total", "date", "Pork bao", "refund"}
	rapid.Check(t, func(t *rapid.T) {
		head := rapid.SliceOfNDistinct(rapid.SampledFrom(heads), 3, 9, rapid.ID[string]).Draw(t, "head")
		rows := [][]string{head}
		for range rapid.IntRange(1, 12).Draw(t, "rows") {
			rows = append(rows, rapid.SliceOfN(cells, len(head), len(head)).Draw(t, "row"))
		}
		b, err := book.Read(bytes.NewReader(csvOf(t, rows)), "drawn.csv", benchGB())
		if err != nil {
			var trouble *book.FileError
			require.ErrorAs(t, err, &trouble)
			return
		}
		checkBook(t, b)
	})
}

func benchGB() book.Options {
	opt := benchOptions()
	opt.Region = "GB"
	return opt
}

// checkBook checks what holds for every book.
func checkBook(t require.TestingT, b book.Book) {
	seen := map[int]bool{}
	take := func(row int) {
		require.False(t, seen[row], "row %d twice", row)
		seen[row] = true
	}
	for _, l := range b.LeftOut {
		require.NotEmpty(t, l.Why)
		take(l.Row)
	}
	refs := map[string]bool{}
	for _, o := range b.Orders {
		require.NotEmpty(t, o.Ref)
		require.False(t, refs[o.Ref], "reference %s twice", o.Ref)
		refs[o.Ref] = true
		require.NotEmpty(t, b.From[o.Ref])
		for _, r := range b.From[o.Ref] {
			take(r)
		}
		if o.Phone != "" {
			require.Regexp(t, `^\+[1-9]\d{6,14}$`, o.Phone)
		}
		for _, it := range o.Items {
			require.Positive(t, it.Qty)
			require.NotEmpty(t, it.Name)
			require.Contains(t, []night.Kind{night.Hot, night.Cold, night.Extra}, it.Kind)
		}
	}
	require.Len(t, seen, b.Rows)
	for _, p := range b.Problems {
		require.NotEmpty(t, p.What)
		require.NotEmpty(t, p.Fix)
		require.Contains(t, []book.Level{book.Stop, book.Look}, p.Level)
		require.True(t, p.Order == "" || refs[p.Order], "a problem of no order: %+v", p)
	}
}

// What leaves reads back unchanged, and no cell can be taken for a formula.
func TestExportReadsBack(t *testing.T) {
	t.Parallel()
	words := rapid.OneOf(
		rapid.SampledFrom([]string{"=1+1", "@cmd", "+44", "-no bag", "'tis", "''07", "a\nb", `say "hi"`, "a; b, c", "2x", "café", "=HYPERLINK(\"x\")", "|x", "%y", "nut allergy", "16:30", "Total"}),
		rapid.StringMatching(`[A-Za-z0-9 '"=+;,.\-@()]{0,20}`),
	)
	rapid.Check(t, func(t *rapid.T) {
		var orders []night.Order
		for i := range rapid.IntRange(1, 6).Draw(t, "orders") {
			o := night.Order{
				Ref: "L" + string(rune('A'+i)), State: night.Booked, Name: "Bethan Cadwgan",
				Phone: "+4477009001" + string(rune('0'+i)) + "0",
				Slot:  night.Clock(16*60 + 30 + 10*i), Note: strings.TrimSpace(words.Draw(t, "note")),
			}
			for range rapid.IntRange(1, 3).Draw(t, "items") {
				name := "x" + strings.Join(strings.Fields(words.Draw(t, "item")), " ")
				if !slices.ContainsFunc(o.Items, func(it night.Item) bool { return strings.EqualFold(it.Name, name) }) {
					o.Items = append(o.Items, night.Item{Qty: rapid.IntRange(1, 9).Draw(t, "qty"), Name: name, Kind: rapid.SampledFrom([]night.Kind{night.Hot, night.Cold, night.Extra}).Draw(t, "kind")})
				}
			}
			orders = append(orders, o)
		}
		var out bytes.Buffer
		require.NoError(t, book.WriteCSV(&out, orders, nil))
		rows, err := csv.NewReader(bytes.NewReader(out.Bytes()[3:])).ReadAll()
		require.NoError(t, err, "RFC 4180")
		for _, r := range rows {
			for _, c := range r {
				require.False(t, c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])), "%q may run as a formula", c)
			}
		}
		b, err := book.Read(&out, "export.csv", benchGB())
		require.NoError(t, err)
		d := diff(orders, b.Orders)
		require.Empty(t, d.New)
		require.Empty(t, d.Missing)
		for _, c := range d.Changed {
			// Words of an allergy that stood in a note become the flag.
			require.Equal(t, []string{"allergy"}, c.Fields, "%+v\n%+v", c.Before, c.After)
			require.Empty(t, c.Before.Allergy)
		}
	})
}

// Every book that was read, exported and read again is the same book.
func TestBooksExportAndReadBack(t *testing.T) {
	t.Parallel()
	for name, w := range books(t) {
		if w.Error != "" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(filepath.Join(booksDir, name))
			require.NoError(t, err)
			opt := w.options(t)
			b, err := book.Read(bytes.NewReader(data), name, opt)
			require.NoError(t, err)
			var out bytes.Buffer
			require.NoError(t, book.WriteCSV(&out, b.Orders, b.Unplaced))
			opt.Mapping = nil
			again, err := book.Read(&out, "export.csv", opt)
			require.NoError(t, err)
			d := diff(b.Orders, again.Orders)
			require.Empty(t, d.New)
			require.Empty(t, d.Missing)
			require.Empty(t, d.Changed)
			require.Empty(t, again.LeftOut)
		})
	}
}

// A spreadsheet program that opens a book and saves it in another format leaves
// the same orders.
func TestThroughASpreadsheet(t *testing.T) {
	office, err := exec.LookPath("soffice")
	if err != nil {
		t.Skip("LibreOffice is not installed")
	}
	all := books(t)
	for _, name := range []string{"13-lines-repeated.csv", "36-allergies.csv"} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			data, err := os.ReadFile(filepath.Join(booksDir, name))
			require.NoError(t, err)
			opt := all[name].options(t)
			before, err := book.Read(bytes.NewReader(data), name, opt)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "book.csv"), data, 0o600))
			convert := func(from, to, filter string) {
				args := []string{"-env:UserInstallation=file://" + filepath.Join(dir, "profile"), "--headless", "--convert-to", to + filter, "--outdir", dir}
				if strings.HasSuffix(from, ".csv") {
					args = append(args, "--infilter=CSV:44,34,76,1") // comma, quotation mark, UTF-8, from row 1
				}
				out, err := exec.CommandContext(t.Context(), office, append(args, filepath.Join(dir, from))...).CombinedOutput()
				require.NoError(t, err, string(out))
			}
			convert("book.csv", "xlsx", "")
			convert("book.csv", "ods", "")
			require.NoError(t, os.Rename(filepath.Join(dir, "book.xlsx"), filepath.Join(dir, "back.xlsx")))
			convert("back.xlsx", "csv", ":Text - txt - csv (StarCalc):59,34,76,1") // semicolons
			for _, file := range []string{"back.xlsx", "book.ods", "back.csv"} {
				f, err := os.Open(filepath.Join(dir, file))
				require.NoError(t, err)
				after, err := book.Read(f, file, opt)
				require.NoError(t, f.Close())
				require.NoError(t, err, file)
				d := diff(before.Orders, after.Orders)
				require.Empty(t, d.New, file)
				require.Empty(t, d.Missing, file)
				require.Empty(t, d.Changed, file)
			}
		})
	}
}
