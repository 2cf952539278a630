package vehicles

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"

	"passbell/internal/reading/vehicles/words"
)

// vehicles.csv holds a make or model a row: make, model (empty for the make
// itself), the regions it is sold in, and its names as customers type them,
// apart by how much they say: `names` mean the car wherever they stand, `if_car`
// names are everyday words, people or places too and count only beside other
// signs of a car, `after_make` names count only with their make. A name that is
// used in some of the row's regions only has them after an @: caddy@US.
//
//go:embed vehicles.csv
var vehiclesCSV string

// words.csv holds the words about cars, a kind and language a row: colours and
// bodies with the label they are filed under, and the words that bind or part
// them. An empty language is English or everybody's.
//
//go:embed words.csv
var wordsCSV string

// trust says what a name needs before it counts.
type trust uint8

const (
	sure trust = iota
	ifCar
	afterMake
)

// name is one reading of a name: a make, or a model of a make.
type name struct {
	make, model string
	regions     regionSet
	trust       trust
}

type regionSet uint8

const (
	regionGB regionSet = 1 << iota
	regionIE
	regionUS
	regionAU
	regionEU
)

// market maps an ISO 3166-1 code to the market whose makers and words apply.
func market(region string) regionSet {
	switch strings.ToUpper(region) {
	case "GB", "IM", "JE", "GG":
		return regionGB
	case "IE":
		return regionIE
	case "US", "CA", "MX", "PR":
		return regionUS
	case "AU", "NZ":
		return regionAU
	}
	return regionEU
}

// role is what a word does in talk about cars; a word may have several.
type role uint32

const (
	roleColour   role = 1 << iota
	roleBody          // van, taxi, bike
	rolePickup        // "pick up" is mostly a verb here
	roleTruck         // a pickup in North America, a lorry elsewhere
	roleCar           // car, sedan, carro
	roleOne           // "the silver one"
	roleShade         // dark, pearl
	roleIsh           // coloured
	roleAdj           // little, company
	roleGlue          // is, in, which
	roleDet           // the, my, dad's
	roleIn            // in, driving
	roleLandmark      // behind, next to
	roleBy            // by: a landmark or a way of coming
	roleNot           // not, instead of
	roleFailed        // broke down, in the shop
	roleChange        // no wait, actually
	roleNoun          // coat, house, chile: a colour before it is not a car's
	rolePerson        // mr, for: what follows is a name
	roleUnit          // minutes: a number before it is not a model
	roleTrim          // gti, estate
)

// roleNamed gives the role of a kind of row, 0 where there is none.
func roleNamed(kind string) role {
	switch kind {
	case "colour":
		return roleColour
	case "body":
		return roleBody
	case "car":
		return roleCar
	case "one":
		return roleOne
	case "shade":
		return roleShade
	case "ish":
		return roleIsh
	case "adj":
		return roleAdj
	case "glue":
		return roleGlue
	case "det":
		return roleDet
	case "in":
		return roleIn
	case "landmark":
		return roleLandmark
	case "by":
		return roleBy
	case "not":
		return roleNot
	case "failed":
		return roleFailed
	case "change":
		return roleChange
	case "noun":
		return roleNoun
	case "name":
		return rolePerson
	case "unit":
		return roleUnit
	case "trim":
		return roleTrim
	}
	return 0
}

// lexeme is all that a word or phrase can mean.
type lexeme struct {
	roles   role
	colours []string
	body    string
	names   []name
	// cuts has bit n set where the phrase may be parted after n letters: "CR-V"
	// after two, "Range Rover" after five.
	cuts uint32
}

// lexicon is every word and phrase, by its letters and digits without blanks.
type lexicon struct {
	words map[string]*lexeme
	// slips are the names that a slip may stand for, by their first letter, which a slip
	// leaves as it is.
	slips [256][]slipKey
	// longest is how long a key may get whose first letters have this sum, see headSum.
	longest [256]uint8
}

// slipKey is a name that a slip may stand for, and the set of its letters.
type slipKey struct {
	key     string
	letters uint32
}

const headLen = 3

// headSum is a small figure of the first letters of a key, by which lookups of keys
// that can't exist are left out.
func headSum(key []byte) uint8 {
	var sum uint8
	for _, c := range key[:min(len(key), headLen)] {
		sum = sum*31 + c
	}
	return sum
}

// mayHold tells whether the lexicon may hold a key, or a longer one that begins so.
func (l *lexicon) mayHold(key []byte) bool {
	return len(key) < headLen || len(key) <= int(l.longest[headSum(key)])
}

// maxPhrase is the most words that one phrase may have.
const maxPhrase = 4

// lex is compiled once and never changed.
var lex = sync.OnceValue(func() *lexicon {
	l := &lexicon{words: make(map[string]*lexeme, 4000)}
	if err := l.loadWords(wordsCSV); err != nil {
		panic(err) // embedded at build time; the table test reads it first
	}
	if err := l.loadVehicles(vehiclesCSV); err != nil {
		panic(err)
	}
	return l
})

func (l *lexicon) add(phrase string) *lexeme {
	key, cuts := phraseKey(phrase)
	x := l.words[key]
	if x == nil {
		x = &lexeme{}
		l.words[key] = x
		sum := headSum([]byte(key))
		l.longest[sum] = max(l.longest[sum], uint8(len(key)))
	}
	x.cuts |= cuts
	return x
}

// phraseKey joins a phrase as typed in a table to its key and the places where
// it may be parted: at blanks and hyphens, between letters and digits, and at
// every Han sign.
func phraseKey(phrase string) (string, uint32) {
	var key []byte
	var cuts uint32
	var prev rune
	for _, r := range phrase {
		if strings.ContainsRune(" -./&:#", r) {
			cuts |= 1 << len(key)
			prev = 0
			continue
		}
		if prev != 0 && (unicode.IsDigit(prev) != unicode.IsDigit(r) || unicode.Is(unicode.Han, r)) {
			cuts |= 1 << len(key)
		}
		n := len(key)
		key = words.AppendFold(key, string(r))
		if len(key) > n {
			prev = r
		}
	}
	return string(key), cuts
}

func readTable(text string, columns int) ([][]string, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = columns
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("vehicle table: %w", err)
	}
	return rows[1:], nil
}

func (l *lexicon) loadWords(text string) error {
	rows, err := readTable(text, 4)
	if err != nil {
		return err
	}
	for _, row := range rows {
		kind, value := row[0], row[1]
		as := roleNamed(kind)
		if as == 0 {
			return fmt.Errorf("vehicle words: no kind %q", kind)
		}
		for _, phrase := range strings.Split(row[3], "|") {
			x := l.add(phrase)
			switch {
			case kind == "colour":
				x.colours = strings.Split(value, "|")
			case value == "pickup?":
				x.roles |= rolePickup
				continue
			case value == "truck":
				x.roles |= roleTruck
				continue
			case kind == "body":
				x.body = value
			}
			x.roles |= as
			if kind == "colour" && value != "multi" && (row[2] == "" || row[2] == "es") {
				l.addSlips(phrase)
			}
		}
	}
	return nil
}

func (l *lexicon) loadVehicles(text string) error {
	rows, err := readTable(text, 6)
	if err != nil {
		return err
	}
	for _, row := range rows {
		n := name{make: row[0], model: row[1], regions: regionsOf(row[2])}
		if n.regions == 0 {
			return fmt.Errorf("vehicle table: %s %s has no region", row[0], row[1])
		}
		for t, cell := range []string{row[3], row[4], row[5]} {
			n.trust = trust(t)
			for _, phrase := range strings.Split(cell, "|") {
				if phrase == "" {
					continue
				}
				n := n
				if at := strings.IndexByte(phrase, '@'); at >= 0 {
					n.regions = regionsOf(strings.ReplaceAll(phrase[at+1:], "+", "|"))
					phrase = phrase[:at]
				}
				x := l.add(phrase)
				x.names = append(x.names, n)
				if n.trust == sure {
					l.addSlips(phrase)
				}
			}
		}
	}
	return nil
}

func regionsOf(cell string) regionSet {
	var set regionSet
	for _, r := range strings.Split(cell, "|") {
		switch r {
		case "GB":
			set |= regionGB
		case "IE":
			set |= regionIE
		case "US":
			set |= regionUS
		case "AU":
			set |= regionAU
		case "EU":
			set |= regionEU
		}
	}
	return set
}

// addSlips lets slips of a name be found.
func (l *lexicon) addSlips(phrase string) {
	key, _ := phraseKey(phrase)
	if len(key) < minSlip || strings.ContainsAny(key, "0123456789") {
		return
	}
	list := &l.slips[key[0]]
	if !slices.ContainsFunc(*list, func(k slipKey) bool { return k.key == key }) {
		*list = append(*list, slipKey{key, lettersOf(key)})
	}
}
