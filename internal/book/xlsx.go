package book

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// xlsxTabs reads the sheets of an XLSX file, every cell as text.
func xlsxTabs(data []byte) (tabs []tab, err error) {
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{
		UnzipSizeLimit: MaxBytes, UnzipXMLSizeLimit: MaxBytes,
	})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	x := xlsx{file: f, formats: map[int]numFormat{}}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		x.from1904 = *props.Date1904
	}
	for _, name := range f.GetSheetList() {
		t := tab{name: name}
		if visible, err := f.GetSheetVisible(name); err == nil {
			t.hidden = !visible
		}
		if t.rows, err = x.rows(name); err != nil {
			return nil, err
		}
		tabs = append(tabs, t)
	}
	return tabs, nil
}

type xlsx struct {
	file     *excelize.File
	formats  map[int]numFormat // by style
	from1904 bool
	cells    int
}

// numFormat says how a number in a cell is meant.
type numFormat int

const (
	plainNumber numFormat = iota
	shownNumber           // its format adds digits or signs that belong to it, such as 000
	dateNumber
	timeNumber
	dateTimeNumber
)

func (x *xlsx) rows(name string) ([]row, error) {
	raw, err := x.file.GetRows(name, excelize.Options{RawCellValue: true})
	if err != nil {
		return nil, err
	}
	var out []row
	for i, cells := range raw {
		x.cells += len(cells)
		if x.cells > maxCells {
			return nil, errTooLarge
		}
		filled := false
		for c, v := range cells {
			if v == "" {
				continue
			}
			cells[c] = cell(x.text(name, c+1, i+1, v))
			filled = filled || cells[c] != ""
		}
		if filled {
			out = append(out, row{num: i + 1, cells: cells})
		}
	}
	return out, nil
}

// text gives a cell as a person means it: numbers without the mask of their
// column, dates and times in ISO form.
func (x *xlsx) text(name string, col, line int, raw string) string {
	value, err := strconv.ParseFloat(raw, 64)
	if err != nil {
		return raw
	}
	at, err := excelize.CoordinatesToCellName(col, line)
	if err != nil {
		return raw
	}
	kind, err := x.file.GetCellType(name, at)
	if err != nil || kind == excelize.CellTypeSharedString || kind == excelize.CellTypeInlineString {
		return raw
	}
	style, err := x.file.GetCellStyle(name, at)
	if err != nil {
		return plainDigits(raw, value)
	}
	switch x.format(style) {
	case shownNumber:
		if shown, err := x.file.GetCellValue(name, at); err == nil && !strings.ContainsAny(shown, "eE#") {
			return shown
		}
	case dateNumber, timeNumber, dateTimeNumber:
		if t, err := excelize.ExcelDateToTime(value, x.from1904); err == nil && value >= 0 {
			return serialText(t, value)
		}
	case plainNumber:
	}
	return plainDigits(raw, value)
}

// serialText writes a spreadsheet's date by what is in it: a time, a date or
// both.
func serialText(t time.Time, value float64) string {
	t = t.Round(time.Second)
	whole := math.Abs(value-math.Round(value)) < 1e-9
	switch {
	case value < 1:
		return t.Format("15:04")
	case whole:
		return t.Format("2006-01-02")
	}
	return t.Format("2006-01-02 15:04")
}

// plainDigits writes a whole number without a power of ten, as long as a float
// holds it exactly.
func plainDigits(raw string, value float64) string {
	if value == math.Trunc(value) && math.Abs(value) < 1<<53 && strings.ContainsAny(raw, "eE.") {
		return strconv.FormatFloat(value, 'f', -1, 64)
	}
	return raw
}

var (
	quotedFormat = pattern(`"[^"]*"|\\.|\[[^\]]*\]|_.|\*.`)
	zeroFormat   = pattern(`^[0 ()\-/+]*0[0 ()\-/+]*$`)
)

func (x *xlsx) format(style int) numFormat {
	if f, ok := x.formats[style]; ok {
		return f
	}
	f := plainNumber
	if s, err := x.file.GetStyle(style); err == nil && s != nil {
		code := ""
		if s.CustomNumFmt != nil {
			code = *s.CustomNumFmt
		}
		f = formatOf(s.NumFmt, code)
	}
	x.formats[style] = f
	return f
}

// formatOf knows the numbered formats of ECMA-376 part 1, 18.8.30, and reads
// others by their letters.
func formatOf(id int, code string) numFormat {
	if code == "" {
		switch {
		case id >= 14 && id <= 17, id >= 27 && id <= 31, id == 36, id >= 50 && id <= 58:
			return dateNumber
		case id >= 18 && id <= 21, id >= 32 && id <= 35, id >= 45 && id <= 47:
			return timeNumber
		case id == 22:
			return dateTimeNumber
		}
		return plainNumber
	}
	bare := strings.ToLower(quotedFormat().ReplaceAllString(code, ""))
	bare, _, _ = strings.Cut(bare, ";")
	date := strings.ContainsAny(bare, "yd")
	clock := strings.ContainsAny(bare, "hs") || strings.Contains(bare, "am/pm")
	switch {
	case strings.Contains(bare, "general"), strings.Contains(bare, "e+"):
		return plainNumber
	case date && clock:
		return dateTimeNumber
	case date || strings.Contains(bare, "mm"):
		return dateNumber
	case clock:
		return timeNumber
	case zeroFormat().MatchString(bare) && bare != "0":
		return shownNumber
	case strings.Contains(code, `"`) && strings.ContainsAny(bare, "0#"):
		return shownNumber
	}
	return plainNumber
}
