// Package vehicles finds the car that a text speaks of: colour, make, model and
// body, as people type and dictate them.
//
// It reads words by a table (vehicles.csv, words.csv) and weighs them by what
// stands beside them: "blue focus" is a car, "the focus is on taste" is none;
// "behind the white van" is somebody else's. Everything is pure and
// deterministic.
package vehicles

import (
	"passbell/internal/reading/vehicles/words"
)

// Found is the vehicle of a text; its zero value means that none was spoken of.
type Found struct {
	// Colours are labels of the corpus list, the likeliest first; more than one
	// where the text says two or the shade lies between two.
	Colours []string
	// Make and Model are as the maker writes them in plain letters. Make is ""
	// where a model could be several makers'.
	Make, Model string
	// Body is van, pickup, suv, motorbike, bicycle, taxi or foot, only where the
	// text says so in words.
	Body string
	// Spans are the byte spans of the words read, in the order of the text.
	Spans [][2]int
	// Ambiguous is true where the text speaks of two vehicles of theirs; the
	// first is given.
	Ambiguous bool
	// Why is one plain sentence for a person; "" where nothing was found.
	Why string
}

// Any tells whether anything was found.
func (f Found) Any() bool {
	return len(f.Colours) > 0 || f.Make != "" || f.Model != "" || f.Body != ""
}

// Find reads text for a vehicle. region is an ISO 3166-1 code; it settles whose
// a shared model name is and what a truck is.
func Find(text, region string) Found {
	return FindIn(words.Split(text), region)
}

// FindIn is Find on a text already cut into words.
func FindIn(ws []words.Word, region string) Found {
	r := reader{lex: lex(), words: ws, market: market(region), items: make([]item, 0, len(ws))}
	r.tag()
	if !r.any {
		return Found{}
	}
	r.settleBodies()
	r.settleNames()
	r.settleColours()
	r.clusters = r.gather(nil)
	f := r.merge()
	r.foot(&f)
	f.Why = why(f)
	return f
}

// kind is what an item was settled to be.
type kind uint8

const (
	other kind = iota
	isColour
	isName
	isBody
	isCar
)

// item is one word or phrase of the text.
type item struct {
	from, to int // words, to exclusive
	roles    role
	lex      *lexeme // nil for a word that the lexicon does not hold
	kind     kind
	name     name
	body     string
	slip     bool // read from a misspelling
	poss     bool // a possessive: "Cody's"
	spelled  bool // stands in a plate spelled out word by word
}

type reader struct {
	lex      *lexicon
	words    []words.Word
	market   regionSet
	items    []item
	clusters []cluster
	// any is set when some word can mean a vehicle, colour or way of coming.
	any bool
	// twoTone is set when a car of more than one colour is spoken of.
	twoTone bool
}

const vehicleRoles = roleColour | roleBody | rolePickup | roleTruck | roleCar

// tag cuts the words into items, the longest phrase first.
func (r *reader) tag() {
	for i := 0; i < len(r.words); {
		it := r.lookup(i)
		if it.roles&vehicleRoles != 0 || it.lex != nil && len(it.lex.names) > 0 {
			r.any = true
		}
		r.twoTone = r.twoTone || it.lex != nil && len(it.lex.colours) == 1 && it.lex.colours[0] == "multi"
		if w := r.words[i].Low; len(w) >= 4 && (w[:4] == "walk" || w == "foot" || w[:4] == "stro") ||
			w == "caminando" || w == "andando" || w == "pie" {
			r.any = true
		}
		r.items = append(r.items, it)
		i = it.to
	}
	r.markSpelled()
}

// markSpelled marks the items of a plate that is spelled out, so that its Golf
// and Sierra are letters: three spelling words in a row.
func (r *reader) markSpelled() {
	run := 0
	for i := 0; i <= len(r.items); i++ {
		if i < len(r.items) && r.items[i].to-r.items[i].from == 1 {
			w := r.words[r.items[i].from]
			_, ok := words.Spelling(w.Low)
			if ok || run > 0 && len(w.Low) == 1 {
				run++
				continue
			}
		}
		if run >= 3 {
			for j := i - run; j < i; j++ {
				r.items[j].spelled = true
			}
		}
		run = 0
	}
}

// lookup reads the phrase at word i.
func (r *reader) lookup(i int) item {
	var key [64]byte
	n := 0
	var cuts uint32
	best := item{from: i, to: i + 1}
	for j := i; j < len(r.words) && j < i+maxPhrase; j++ {
		w := &r.words[j]
		if j > i {
			if w.Before > words.Slash || n > 31 {
				break
			}
			cuts |= 1 << n
		}
		if n+len(w.Low) > len(key) {
			break
		}
		n += copy(key[n:], w.Low)
		if !r.lex.mayHold(key[:n]) {
			break // nor any longer one
		}
		x := r.lex.words[string(key[:n])]
		if x != nil && (x.cuts&cuts == cuts || j == i+1 && best.lex == nil && x.torn(&r.words[i], w, n)) {
			best.lex, best.roles, best.to = x, x.roles, j+1
		}
	}
	w := &r.words[i]
	if w.Poss && !contraction(w.Stem) {
		if best.lex == nil || best.to == i+1 && best.roles == 0 && len(best.lex.names) == 0 {
			best.lex = r.lex.words[w.Stem]
			if best.lex != nil {
				best.roles = best.lex.roles
			}
			if best.roles&vehicleRoles == 0 && (best.lex == nil || len(best.lex.names) == 0) {
				best.roles, best.poss = best.roles|roleDet, true
			}
		}
	}
	if best.lex == nil && !best.poss {
		if x := r.lex.words[squeezed(w.Low, key[:0])]; x != nil && w.Class == words.Letters {
			best.lex, best.roles = x, x.roles
		} else if x := r.lex.slip(w); x != nil {
			best.lex, best.roles, best.slip = x, x.roles, true
		}
	}
	return best
}

// torn tells whether a sure name may have been dictated in two words: "pa jero".
func (x *lexeme) torn(a, b *words.Word, n int) bool {
	return n >= 6 && len(a.Low) >= 2 && len(b.Low) >= 2 && b.Before == words.Space && a.Class == words.Letters && b.Class == words.Letters &&
		len(x.names) > 0 && x.names[0].trust == sure && !(words.Common(a.Low) && words.Common(b.Low))
}

// squeezed writes letters that are drawn out once: "redddd" is red. It gives ""
// for a word without any.
func squeezed(low string, buf []byte) string {
	if len(low) < 5 || len(low) > cap(buf) {
		return ""
	}
	long := false
	for i := range len(low) {
		if n := len(buf); n > 0 && buf[n-1] == low[i] {
			long = long || i > 1 && low[i-2] == low[i]
			continue
		}
		buf = append(buf, low[i])
	}
	if !long {
		return ""
	}
	return string(buf)
}

// contraction tells whether 's after the word is short for "is" rather than a
// possessive.
func contraction(stem string) bool {
	switch stem {
	case "there", "it", "that", "he", "she", "what", "who", "where", "here", "how", "let", "when", "this", "name", "everything":
		return true
	}
	return false
}

func (r *reader) first(i int) *words.Word { return &r.words[r.items[i].from] }

// sep is what stands before item i.
func (r *reader) sep(i int) words.Sep { return r.words[r.items[i].from].Before }

// has tells whether item i exists and has any of the roles.
func (r *reader) has(i int, roles role) bool {
	return i >= 0 && i < len(r.items) && r.items[i].roles&roles != 0
}

// near tells whether item i stands in the same clause as the one before it.
func (r *reader) near(i int) bool {
	return i > 0 && i < len(r.items) && r.sep(i) <= words.Slash
}

// named tells whether item i can be a make or model.
func (r *reader) named(i int) bool {
	return i >= 0 && i < len(r.items) && r.items[i].lex != nil && len(r.items[i].lex.names) > 0
}

// vehicle tells whether item i was settled as part of a vehicle other than its
// colour.
func (r *reader) vehicle(i int) bool {
	return i >= 0 && i < len(r.items) && r.items[i].kind >= isName
}
