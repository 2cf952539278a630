package book_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/book"
)

// FuzzRead feeds the reader any bytes: text, JSON, spreadsheets and none of them.
func FuzzRead(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(booksDir, "*"))
	require.NoError(f, err)
	for _, file := range files {
		if filepath.Ext(file) == ".json" && filepath.Ext(file[:len(file)-5]) == ".want" {
			continue
		}
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := book.Read(bytes.NewReader(data), "fuzz", benchGB())
		if err != nil {
			var trouble *book.FileError
			require.ErrorAs(t, err, &trouble)
			return
		}
		checkBook(t, b)
	})
}

// FuzzExport checks that what was read can be written and read again.
func FuzzExport(f *testing.F) {
	f.Add([]byte("order,name,phone,slot,items,note\n1,Bethan,07700900123,16:30,2x Pork bao,=1+1\n"))
	f.Add([]byte("order;name;phone\n1;'=x;+447700900123\n2;\"a\nb\";'07\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := book.Read(bytes.NewReader(data), "fuzz", benchGB())
		if err != nil {
			return
		}
		var out bytes.Buffer
		require.NoError(t, book.WriteCSV(&out, b.Orders, b.Unplaced))
		if len(b.Orders) == 0 {
			return
		}
		again, err := book.Read(&out, "export.csv", benchGB())
		require.NoError(t, err)
		checkBook(t, again)
	})
}
