package book_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/book"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// large writes an order book of n invented orders, one in fifty with a trouble.
// The numbers are 555-01XX behind every area code in use, so that some customers
// order more than once.
func large(tb testing.TB, n int) []byte {
	tb.Helper()
	rng := rand.New(rand.NewPCG(7, 7))
	var areas []int
	for a := 201; a < 990; a++ {
		if n, err := phone.Parse(fmt.Sprintf("%d5550123", a), "US"); err == nil && n.Region == "US" && n.Line.TakesTexts() {
			areas = append(areas, a)
		}
	}
	first := []string{"Bethan", "Zoë", "Callum", "Priya", "Owen", "Mei-Ling", "Hana", "Ruth", "Kofi", "Kayleigh", "Daniel", "Ravi"}
	last := []string{"Cadwgan", "Hartigan", "Braithwaite", "Solanki", "O'Rourke", "Cheung", "Morikawa", "Appiah", "Mensah", "Stubbs", "Fairhurst"}
	items := []string{"2x Pork bao; 1x Slaw", "1x Mushroom gyoza; 1x Chilli oil", "3x Chicken gyoza", "1x Tofu bao; 2x Slaw; 1x Dipping sauce"}
	notes := []string{"", "", "", "nut allergy, carries an EpiPen", "Blue Golf, AB12 CDE", "Ring when there, the gate is stiff"}
	var b bytes.Buffer
	b.WriteString("order,name,phone,slot,items,note\n")
	for i := range n {
		area, line := areas[rng.IntN(len(areas))], rng.IntN(100)
		number := fmt.Sprintf("%d 555 01%02d", area, line)
		if i%50 == 7 {
			number = "2.0255E+09"
		}
		fmt.Fprintf(&b, "K%06d,%s %s,%s,%s,%s,%q\n", i, first[area%len(first)], last[line%len(last)], number,
			night.Clock(16*60+30).Add(10*rng.IntN(19)), items[rng.IntN(len(items))], notes[rng.IntN(len(notes))])
	}
	return b.Bytes()
}

func benchOptions() book.Options {
	return book.Options{
		Region: "US", Zone: time.UTC, Fiction: true,
		Night: night.Night{Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30, Every: 10},
	}
}

// BenchmarkRead reads 100,000 orders. Its measure is BenchmarkPlainCSV, which
// reads the same bytes with encoding/csv and keeps the cells.
func BenchmarkRead(b *testing.B) {
	data := large(b, 100_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		got, err := book.Read(bytes.NewReader(data), "large.csv", benchOptions())
		require.NoError(b, err)
		require.Len(b, got.Orders, 100_000)
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.HeapSys)/1e6, "MB-heap")
}

func BenchmarkPlainCSV(b *testing.B) {
	data := large(b, 100_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r := csv.NewReader(bytes.NewReader(data))
		var rows [][]string
		for {
			row, err := r.Read()
			if err == io.EOF {
				break
			}
			require.NoError(b, err)
			rows = append(rows, row)
		}
		require.Len(b, rows, 100_001)
	}
}
