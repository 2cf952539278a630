// Package plates finds vehicle registrations in a text: typed, spaced, dashed,
// spelled out, with a state's name, or only in part.
//
// A shape that a country issues is found where nothing speaks against it; a word
// or number that merely could be a plate needs a cause beside it, such as "plate
// is" or "reg". Postcodes, order references, times, numbers of telephones and
// models of cars are not plates. Everything is pure and deterministic.
package plates

import (
	"cmp"
	"slices"
	"strings"

	"passbell/internal/reading/vehicles"
	"passbell/internal/reading/vehicles/words"
)

// Hit is one registration found.
type Hit struct {
	// Plate is in canonical form: upper case letters and digits, as the customer
	// meant it.
	Plate string
	// Part is true where the text gives only some of it ("ends KTD").
	Part bool
	// Start and End are the byte span in the text.
	Start, End int
	// Format names the format that it fits, such as "GB current" or "US vanity".
	Format string
	// Score says from 0 to 1 how sure the reading is, on form and on what stands
	// beside it. Find gives none under 0.5.
	Score float64
	// Why is one plain sentence for a person.
	Why string
}

// Options is what a caller knows beside the text.
type Options struct {
	// Refs are the night's order references, which are never plates, in upper
	// case. A set, since it is asked about every word.
	Refs map[string]struct{}
	// Known maps the folded form (see Fold) of plates that were declared earlier
	// to how they were declared. Such a plate needs no other cause.
	Known map[string]string
	// Vehicle is what vehicles.Find read in the same text, nil to have it read.
	Vehicle *vehicles.Found
}

// Find reads text for registrations, the surest first. region is an ISO 3166-1
// code.
func Find(text, region string) []Hit { return FindWith(text, region, Options{}) }

// minScore is the score under which nothing is called a plate.
const minScore = 0.5

// FindWith is Find for a caller who knows more.
func FindWith(text, region string, opts Options) []Hit {
	return FindIn(text, words.Split(text), region, opts)
}

// FindIn is FindWith on a text already cut into words.
func FindIn(text string, ws []words.Word, region string, opts Options) []Hit {
	f := finder{text: text, words: ws, region: strings.ToUpper(region), opts: opts, marks: make([]mark, 0, len(ws)), formats: formats()}
	f.home = f.formats.byCountry[f.region]
	f.mark()
	if !f.worth {
		return nil
	}
	f.spelled()
	f.parts()
	f.windows()
	return f.best()
}

// Fold maps the signs that plates draw alike to one: O to 0 and I to 1 (common
// practice; UK law's own type face draws them alike).
func Fold(plate string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case 'O', 'o':
			return '0'
		case 'I', 'i':
			return '1'
		}
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, plate)
}

// Canonical keeps the letters and digits of a plate, in upper case.
func Canonical(typed string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z':
			return r - 'a' + 'A'
		case r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == 'Ä', r == 'Ö', r == 'Ü':
			return r
		case r == 'ä', r == 'ö', r == 'ü':
			return r - 'ä' + 'Ä'
		}
		return -1
	}, typed)
}

type finder struct {
	text   string
	words  []words.Word
	region string
	home   *[maxPlate + 1][]format
	// foreign is the country, other than the region, that the text names.
	foreign string
	formats *formatSet
	opts    Options
	marks   []mark
	hits    []Hit
	// worth is set when a word has a digit, or something says that a plate is
	// spoken of.
	worth   bool
	caps    bool // the whole text is in capitals
	scratch scratch
}

// scratch is what match works on.
type scratch struct {
	tmp, fixed [maxPlate]byte
	best       *format
	rank       int
	plate      [maxPlate + 1]byte
}

// add keeps a hit that is sure enough.
func (f *finder) add(h Hit) {
	if h.Score < minScore || len(h.Plate) < minPlate {
		return
	}
	h.Score = min(h.Score, 0.99)
	f.hits = append(f.hits, h)
}

// best sorts the hits, the surest first, and leaves out what overlaps a surer one.
func (f *finder) best() []Hit {
	if len(f.hits) < 2 {
		return f.hits
	}
	slices.SortStableFunc(f.hits, func(a, b Hit) int {
		if c := cmp.Compare(b.Score, a.Score); c != 0 {
			return c
		}
		if c := cmp.Compare(b.End-b.Start, a.End-a.Start); c != 0 {
			return c
		}
		return cmp.Compare(a.Start, b.Start)
	})
	kept := f.hits[:0]
	for _, h := range f.hits {
		if !slices.ContainsFunc(kept, func(k Hit) bool { return h.Start < k.End && k.Start < h.End }) {
			kept = append(kept, h)
		}
	}
	return kept
}
