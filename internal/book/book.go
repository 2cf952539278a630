// Package book reads order books: the lists of orders that come out of shops,
// forms, spreadsheets and notebooks. It reads them as a careful person would,
// asks where such a person would ask, and accounts for every row.
package book

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"time"

	"passbell/internal/night"
)

// Options say what the reader has to know besides the file.
type Options struct {
	Region string         // ISO 3166-1 alpha-2, for numbers and the order of day and month
	Zone   *time.Location // the kitchen's zone, for moments with an offset; nil for UTC
	Night  night.Night    // its date and slots; a zero date takes any date
	// Mapping overrides what is guessed from the headings. Keys are the fields
	// of Fields, values the heading as it stands in the file, several joined by
	// " + ". The keys hot, cold and extra take words that decide an item's kind,
	// "day order" takes dmy or mdy, and ignore takes headings to leave alone.
	Mapping map[string]string
	// Fiction takes numbers that are reserved for fiction as if they were real;
	// for practice, where nothing can reach a phone.
	Fiction bool
	// Progress, where set, is told from time to time how many rows of how many
	// are done.
	Progress func(done, total int)
}

// Book is an order book as it was read.
type Book struct {
	Orders   []night.Order // in the order of their first rows
	LeftOut  []LeftOut
	Problems []Problem
	Columns  map[string]string // field to the heading it was read from
	Headings []string          // all of the file's, from left to right
	Shape    string            // the same for every file with these headings
	Rows     int               // rows with something in them, headings not counted
	// From gives the row numbers of each order by its reference. Rows of orders
	// and rows left out together are all rows.
	From map[string][]int
	// Held gives, by reference, the clean E.164 number of orders whose Phone is
	// empty because the number takes no texts, is foreign or is fiction: it can
	// be rung, or texted once a person says yes.
	Held map[string]string
	// Unplaced holds the references of orders whose slot could not be read.
	Unplaced map[string]bool
}

// LeftOut is a row that became no part of an order.
type LeftOut struct {
	Row int    `json:"row"` // as a spreadsheet counts: the heading is row 1
	Why string `json:"why"`
}

// Level says how bad a problem is.
type Level string

// Stop: that order can't be texted or placed until somebody settles it. Look:
// the order stands, but a person should see this.
const (
	Stop Level = "stop"
	Look Level = "look"
)

// Problem is one thing that a person has to settle or see.
type Problem struct {
	Row   int    `json:"row"`   // 0 where the whole file is meant
	Order string `json:"order"` // reference; "" where no order is meant
	Field string `json:"field"`
	What  string `json:"what"`
	Fix   string `json:"fix"`
	Level Level  `json:"level"`
}

// A FileError says that the file could not be read at all, in words for the
// cook.
type FileError struct {
	Name string
	What string
	Fix  string
	Err  error
}

func (e *FileError) Error() string {
	s := fmt.Sprintf("%s could not be read: %s", e.Name, e.What)
	if e.Fix != "" {
		s += "; " + e.Fix
	}
	return s
}

// Unwrap gives the cause, where there is one.
func (e *FileError) Unwrap() error { return e.Err }

// MaxBytes is the largest file that is read, packed or unpacked. A night's book
// is a thousandth of it.
const MaxBytes = 128 << 20

// Read reads an order book. The name serves messages only: the format is known
// by content. The error is a *FileError when the file is no order book.
func Read(r io.Reader, name string, opt Options) (Book, error) {
	if opt.Zone == nil {
		opt.Zone = time.UTC
	}
	data, err := readAll(r)
	if err != nil {
		return Book{}, fmt.Errorf("read %s: %w", name, err)
	}
	if len(data) > MaxBytes {
		return Book{}, &FileError{Name: name, What: "it is larger than 128 MB", Fix: "export one night's orders only"}
	}
	s, err := open(data, name)
	if err != nil {
		return Book{}, err
	}
	return assemble(s, name, opt)
}

// readAll reads up to one byte more than is allowed, in one piece where the
// reader knows how much there is.
func readAll(r io.Reader) ([]byte, error) {
	var b bytes.Buffer
	if sized, ok := r.(interface{ Len() int }); ok {
		b.Grow(min(sized.Len(), MaxBytes) + bytes.MinRead)
	} else if f, ok := r.(interface{ Stat() (fs.FileInfo, error) }); ok {
		if info, err := f.Stat(); err == nil {
			b.Grow(int(min(max(info.Size(), 0), MaxBytes)) + bytes.MinRead)
		}
	}
	_, err := b.ReadFrom(io.LimitReader(r, MaxBytes+1))
	return b.Bytes(), err
}

// sheet is a file as rows of text, whatever its format.
type sheet struct {
	format string
	rows   []row
	notes  []Problem // what was odd about the file itself
}

// row is one row that has something in it.
type row struct {
	num   int // as a spreadsheet counts
	cells []string
}

func (r row) at(i int) string {
	if i < 0 || i >= len(r.cells) {
		return ""
	}
	return r.cells[i]
}
