package book

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Names of OpenDocument 1.3, part 3.
const (
	odsTable  = "urn:oasis:names:tc:opendocument:xmlns:table:1.0"
	odsText   = "urn:oasis:names:tc:opendocument:xmlns:text:1.0"
	odsOffice = "urn:oasis:names:tc:opendocument:xmlns:office:1.0"
)

// odsTabs reads the sheets of an OpenDocument spreadsheet, every cell as text.
func odsTabs(z *zip.Reader) ([]tab, error) {
	for _, f := range z.File {
		if f.Name != "content.xml" {
			continue
		}
		data, err := unpack(f)
		if err != nil {
			return nil, err
		}
		return readODS(data)
	}
	return nil, errors.New("it has no content.xml")
}

// odsReader walks through content.xml.
type odsReader struct {
	d     *xml.Decoder
	tabs  []tab
	cells int
}

func readODS(data []byte) ([]tab, error) {
	r := odsReader{d: xml.NewDecoder(bytes.NewReader(data))}
	for {
		t, err := r.d.Token()
		if errors.Is(err, io.EOF) {
			return r.tabs, nil
		}
		if err != nil {
			return nil, err
		}
		start, ok := t.(xml.StartElement)
		if !ok || start.Name.Space != odsTable || start.Name.Local != "table" {
			continue
		}
		one := tab{name: attr(start, odsTable, "name")}
		if one.rows, err = r.table(); err != nil {
			return nil, err
		}
		r.tabs = append(r.tabs, one)
	}
}

// table reads the rows of one sheet, which may stand in groups.
func (r *odsReader) table() ([]row, error) {
	var rows []row
	num, depth := 0, 1
	for depth > 0 {
		t, err := r.d.Token()
		if err != nil {
			return nil, err
		}
		switch t := t.(type) {
		case xml.StartElement:
			if t.Name.Space != odsTable || t.Name.Local != "table-row" {
				depth++
				continue
			}
			times := repeat(t, "number-rows-repeated")
			cells, err := r.row()
			if err != nil {
				return nil, err
			}
			for range times {
				num++
				if cells == nil {
					num += times - 1
					break
				}
				if r.cells += len(cells); r.cells > maxCells {
					return nil, errTooLarge
				}
				rows = append(rows, row{num: num, cells: cells})
			}
		case xml.EndElement:
			depth--
		}
	}
	return rows, nil
}

// row reads the cells of one row; nil where nothing is in it.
func (r *odsReader) row() ([]string, error) {
	var cells []string
	used := 0
	for {
		t, err := r.d.Token()
		if err != nil {
			return nil, err
		}
		switch t := t.(type) {
		case xml.EndElement:
			if used == 0 {
				return nil, nil
			}
			return cells[:used], nil
		case xml.StartElement:
			text, err := r.cell(t)
			if err != nil {
				return nil, err
			}
			times := repeat(t, "number-columns-repeated")
			if text == "" && len(cells)+times > 1024 {
				continue // the empty rest of the sheet
			}
			if len(cells)+times > 16384 {
				return nil, errTooLarge
			}
			for range times {
				cells = append(cells, text)
			}
			if text != "" {
				used = len(cells)
			}
		}
	}
}

func repeat(e xml.StartElement, name string) int {
	n, err := strconv.Atoi(attr(e, odsTable, name))
	if err != nil || n < 1 {
		return 1
	}
	return min(n, 1<<20)
}

func attr(e xml.StartElement, space, local string) string {
	for _, a := range e.Attr {
		if a.Name.Space == space && a.Name.Local == local {
			return a.Value
		}
	}
	return ""
}

// cell reads one cell: its paragraphs, or its value where that says more.
func (r *odsReader) cell(e xml.StartElement) (string, error) {
	var paragraphs []string
	for {
		t, err := r.d.Token()
		if err != nil {
			return "", err
		}
		switch t := t.(type) {
		case xml.EndElement:
			return cell(odsValue(e, strings.Join(paragraphs, "\n"))), nil
		case xml.StartElement:
			if t.Name.Space == odsText && t.Name.Local == "p" {
				p, err := r.paragraph()
				if err != nil {
					return "", err
				}
				paragraphs = append(paragraphs, p)
				continue
			}
			if err := r.d.Skip(); err != nil { // a comment or a drawing
				return "", err
			}
		}
	}
}

func (r *odsReader) paragraph() (string, error) {
	var b strings.Builder
	depth := 1
	for depth > 0 {
		t, err := r.d.Token()
		if err != nil {
			return "", err
		}
		switch t := t.(type) {
		case xml.CharData:
			b.Write(t)
		case xml.StartElement:
			if depth++; depth > 64 {
				return "", errTooLarge
			}
			switch t.Name.Local {
			case "s":
				n, err := strconv.Atoi(attr(t, odsText, "c"))
				if err != nil {
					n = 1
				}
				b.WriteString(strings.Repeat(" ", max(1, min(n, 100))))
			case "tab":
				b.WriteByte('\t')
			case "line-break":
				b.WriteByte('\n')
			}
		case xml.EndElement:
			depth--
		}
	}
	return b.String(), nil
}

// odsValue takes dates and times in ISO form and numbers without the mask of
// their column, unless the mask adds digits that belong to them, as 007.
func odsValue(e xml.StartElement, shown string) string {
	switch attr(e, odsOffice, "value-type") {
	case "date":
		d, clock, _ := strings.Cut(attr(e, odsOffice, "date-value"), "T")
		if d == "" {
			return shown
		}
		if len(clock) >= 5 && clock[:5] != "00:00" {
			return d + " " + clock[:5]
		}
		return d
	case "time":
		if c, ok := duration(attr(e, odsOffice, "time-value")); ok {
			return c
		}
	case "float":
		v := attr(e, odsOffice, "value")
		if strings.HasPrefix(shown, "0") && strings.Trim(shown, "0123456789 ()-+/") == "" && shown != "0" {
			return shown
		}
		if f, err := strconv.ParseFloat(v, 64); err == nil {
			return plainDigits(v, f)
		}
	}
	return shown
}

// duration reads "PT16H30M00S" as a time of day.
func duration(s string) (string, bool) {
	var h, m int
	if n, err := fmt.Sscanf(s, "PT%dH%dM", &h, &m); err != nil || n != 2 || h > 23 || m > 59 || h < 0 || m < 0 {
		return "", false
	}
	return fmt.Sprintf("%02d:%02d", h, m), true
}
