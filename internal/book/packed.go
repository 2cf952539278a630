package book

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
)

// maxCells bounds what a spreadsheet may unfold to: a repeated row or cell costs
// a few bytes in the file.
const maxCells = 4 << 20

var errTooLarge = errors.New("it unfolds to more than a night's orders can be")

// openPacked reads the spreadsheets that are zip files.
func openPacked(data []byte, name string) (sheet, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return sheet{}, &FileError{Name: name, What: "the file is damaged", Fix: "download or save it again", Err: err}
	}
	var total uint64
	var kind string
	for _, f := range z.File {
		total += f.UncompressedSize64
		switch f.Name {
		case "xl/workbook.xml":
			kind = "xlsx"
		case "content.xml":
			kind = "ods"
		}
	}
	if total > MaxBytes {
		return sheet{}, &FileError{Name: name, What: "it unpacks to more than 128 MB", Fix: "export one night's orders only", Err: errTooLarge}
	}
	var tabs []tab
	switch kind {
	case "xlsx":
		tabs, err = xlsxTabs(data)
	case "ods":
		tabs, err = odsTabs(z)
	default:
		return sheet{}, &FileError{Name: name, What: "it is a packed file that is no spreadsheet", Fix: "unpack it, or save it as .xlsx, .ods or .csv"}
	}
	if err != nil {
		return sheet{}, &FileError{Name: name, What: "the spreadsheet could not be opened", Fix: "save it as .csv and try that", Err: err}
	}
	return bestTab(kind, tabs, name)
}

// tab is one sheet of a spreadsheet file.
type tab struct {
	name   string
	hidden bool
	rows   []row
}

// bestTab takes the sheet that looks most like an order book and mentions the
// others that hold something.
func bestTab(kind string, tabs []tab, name string) (sheet, error) {
	best, bestScore := -1, -1
	for i, t := range tabs {
		s := sheet{rows: t.rows}
		score := min(len(t.rows), 1000)
		if head := findHead(s); head >= 0 {
			fields := map[field]bool{}
			for _, c := range t.rows[head].cells {
				if h := readHeading(c); h.field != fUnknown && h.field != fOther {
					fields[h.field] = true
				}
			}
			score += 10_000 * len(fields)
		}
		if t.hidden {
			score -= 20_000
		}
		if len(t.rows) > 0 && score > bestScore {
			best, bestScore = i, score
		}
	}
	if best < 0 {
		return sheet{}, &FileError{Name: name, What: "every sheet in it is empty", Fix: "save it again with the orders in it"}
	}
	s := sheet{format: kind, rows: tabs[best].rows}
	for i, t := range tabs {
		if i != best && len(t.rows) > 1 && !t.hidden {
			s.notes = append(s.notes, Problem{
				Field: "file", Level: Look,
				What: fmt.Sprintf("the sheet %q with %d rows was not read, only %q was", t.name, len(t.rows), tabs[best].name),
				Fix:  "if it holds orders too, put them into one sheet or save it as a file of its own",
			})
		}
	}
	return s, nil
}

// unpack reads one file of a zip, no more of it than is allowed whatever its
// directory claims.
func unpack(f *zip.File) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err := errors.Join(err, r.Close()); err != nil {
		return nil, err
	}
	if len(data) > MaxBytes {
		return nil, errTooLarge
	}
	return data, nil
}
