package plates

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// formats.csv holds a format a row: country and area (state, province), a name
// for people, shapes, how sure the shape alone makes it at home and abroad (0 to
// 1), and the name of a further rule. In a shape A is any letter, 9 any digit, 1
// a digit but 0, and any other sign itself.
//
// Sources: the tables of the kitchen's check values (DVLA INF104 for GB, Annex 2
// FZV for DE, state tables for US, Canada and Australia); shapes that those do
// not name are from memory.
//
//go:embed formats.csv
var formatsCSV string

// format is one shape of plate.
type format struct {
	country, name string
	areas         []string // states or provinces that issue it, none for the country
	shape         string
	home, abroad  float64
	rule          func([]byte) bool
}

// formatSet holds the formats by their length; compiled once, read only.
type formatSet struct {
	byCountry map[string]*[maxPlate + 1][]format
	abroad    [maxPlate + 1][]format
}

const (
	minPlate = 2
	maxPlate = 11 // IE: three digits, two letters, six digits
)

var formats = sync.OnceValue(func() *formatSet {
	set, err := loadFormats(formatsCSV)
	if err != nil {
		panic(err) // embedded at build time; the table test reads it first
	}
	return set
})

func loadFormats(text string) (*formatSet, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = 7
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("plate formats: %w", err)
	}
	set := &formatSet{byCountry: make(map[string]*[maxPlate + 1][]format)}
	for _, row := range rows[1:] {
		f := format{country: row[0], name: row[2]}
		if row[1] != "" {
			f.areas = []string{row[1]}
		}
		if f.home, err = strconv.ParseFloat(row[4], 64); err != nil {
			return nil, fmt.Errorf("plate formats: %s: %w", f.name, err)
		}
		if f.abroad, err = strconv.ParseFloat(row[5], 64); err != nil {
			return nil, fmt.Errorf("plate formats: %s: %w", f.name, err)
		}
		if row[6] != "" {
			if f.rule = rules(row[6]); f.rule == nil {
				return nil, fmt.Errorf("plate formats: %s: no rule %q", f.name, row[6])
			}
		}
		for shape := range strings.FieldsSeq(row[3]) {
			if len(shape) > maxPlate {
				return nil, fmt.Errorf("plate formats: %s: shape %s is too long", f.name, shape)
			}
			f.shape = shape
			of := set.byCountry[f.country]
			if of == nil {
				of = &[maxPlate + 1][]format{}
				set.byCountry[f.country] = of
			}
			of[len(shape)] = addFormat(of[len(shape)], f)
			if f.abroad > 0 {
				set.abroad[len(shape)] = addFormat(set.abroad[len(shape)], f)
			}
		}
	}
	return set, nil
}

// addFormat adds f to a list, joined with the same shape of another state.
func addFormat(list []format, f format) []format {
	for i := range list {
		if x := &list[i]; x.country == f.country && x.shape == f.shape && x.name == f.name && len(f.areas) > 0 {
			x.areas = append(slices.Clone(x.areas), f.areas...)
			x.home, x.abroad = max(x.home, f.home), max(x.abroad, f.abroad)
			return list
		}
	}
	return append(list, f)
}

func (f *format) issuedBy(area string) bool { return slices.Contains(f.areas, area) }

// noFit is the cost of a text that no slip turns into the shape.
const noFit = 99

// fit writes to dst what plate reads as in the shape and gives the slips put
// right: 1 for each O/0 or I/1, 2 for each S/5 or B/8, noFit where it does not fit.
func (f *format) fit(dst, plate []byte) int {
	cost := 0
	for i := range len(f.shape) {
		c, s := plate[i], f.shape[i]
		switch {
		case s == '9' || s == '1':
			if !isDigit(c) {
				d, n := asDigit(c)
				c, cost = d, cost+n
			}
			if s == '1' && c == '0' {
				return noFit
			}
		case isDigit(s):
			if c != s {
				return noFit
			}
		default:
			if isDigit(c) {
				l, n := asLetter(c)
				c, cost = l, cost+n
			}
			if s != 'A' && c != s {
				return noFit
			}
		}
		if cost >= noFit {
			return noFit
		}
		dst[i] = c
	}
	if f.rule != nil && !f.rule(dst[:len(f.shape)]) {
		return noFit
	}
	return cost
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func asDigit(c byte) (byte, int) {
	switch c {
	case 'O':
		return '0', 1
	case 'I':
		return '1', 1
	case 'S':
		return '5', 2
	case 'B':
		return '8', 2
	case 'L':
		return '1', 3
	}
	return c, noFit
}

func asLetter(c byte) (byte, int) {
	switch c {
	case '0':
		return 'O', 1
	case '1':
		return 'I', 1
	case '5':
		return 'S', 2
	case '8':
		return 'B', 2
	}
	return c, noFit
}
