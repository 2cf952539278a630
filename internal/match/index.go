package match

import (
	"slices"
	"strings"

	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/reading/plates"
)

// Index is an order book made ready for matching. It is not safe for change
// while in use by others.
type Index struct {
	orders []Order
	names  [][]string // name parts of each order, folded
	// What tells an order from others under its number, nil where there are none: whom
	// its note says it is for, see tagsOf, and the words of its dishes.
	tags    [][]string
	dishes  []map[string]bool
	byPhone map[string][]int
	byRef   map[string]int
	byPart  map[string][]int // name part to orders
	byPlate map[string][]int
	refs    map[string]struct{}
	plates  map[string]string
}

// New makes an index of orders.
func New(orders []Order) *Index {
	x := &Index{
		orders:  slices.Clone(orders),
		names:   make([][]string, len(orders)),
		tags:    make([][]string, len(orders)),
		dishes:  make([]map[string]bool, len(orders)),
		byPhone: make(map[string][]int, len(orders)),
		byRef:   make(map[string]int, len(orders)),
		byPart:  make(map[string][]int, 3*len(orders)),
		byPlate: make(map[string][]int),
		refs:    make(map[string]struct{}, len(orders)),
		plates:  make(map[string]string),
	}
	for i := range x.orders {
		o := &x.orders[i]
		o.Vehicles = slices.Clone(o.Vehicles)
		if o.Phone != "" {
			x.byPhone[o.Phone] = append(x.byPhone[o.Phone], i)
		}
		if ref := reading.Fold(o.Ref); ref != "" {
			x.byRef[ref] = i
			x.refs[strings.ToUpper(ref)] = struct{}{}
		}
		x.names[i] = nameParts(o.Name)
		for _, p := range x.names[i] {
			x.byPart[p] = appendNew(x.byPart[p], i)
		}
		for _, v := range o.Vehicles {
			x.addPlate(i, v.Plate)
		}
	}
	for _, own := range x.byPhone {
		x.describe(own)
	}
	return x
}

// describe notes what tells orders under one number apart.
func (x *Index) describe(own []int) {
	if len(own) < 2 {
		return
	}
	for _, i := range own {
		o := &x.orders[i]
		x.tags[i], x.dishes[i] = tagsOf(o.Note), wordsOf(o.Dishes)
	}
}

// titles are no part of a name.
var titles = map[string]bool{"mr": true, "mrs": true, "ms": true, "miss": true, "mx": true, "dr": true, "sr": true, "sra": true, "jr": true, "prof": true, "rev": true, "fr": true, "sir": true, "and": true}

func nameParts(name string) []string {
	fields := strings.FieldsFunc(name, func(r rune) bool {
		return r == ' ' || r == '-' || r == ',' || r == '.' || r == '/' || r == '&' || r == '(' || r == ')' || r == '\u00a0' || r == '‑' || r == '–'
	})
	out := make([]string, 0, len(fields))
	for _, f := range fields {
		// A part that comes twice counts once: "Nguyen" alone must not pass for
		// the full name of Nguyen Nguyen.
		if p := reading.Fold(f); p != "" && !titles[p] && !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

// wordsOf gives the words of dishes' names, as tag writes them.
func wordsOf(dishes []string) map[string]bool {
	out := map[string]bool{}
	for _, d := range dishes {
		for _, t := range reading.Tokens(d) {
			if t.Kind == reading.Word && len(t.Text) >= 3 {
				out[tag(t.Text)] = true
			}
		}
	}
	return out
}

// Declare adds a vehicle that became known for the order at position i.
func (x *Index) Declare(i int, v night.Vehicle) {
	if v.IsZero() {
		return
	}
	x.orders[i].Vehicles = append(x.orders[i].Vehicles, v)
	x.addPlate(i, v.Plate)
}

// Update puts the order at position i as it is now. What finds it in the book must
// be as it was, its number, reference and name; where it is not, nothing is changed and
// the answer is no.
func (x *Index) Update(i int, o Order) bool {
	have := &x.orders[i]
	if have.ID != o.ID || have.Phone != o.Phone || have.Ref != o.Ref || have.Name != o.Name {
		return false
	}
	for _, v := range have.Vehicles {
		if v.Plate != "" {
			x.dropPlate(i, v.Plate)
		}
	}
	vehicles := o.Vehicles
	o.Vehicles = nil
	*have = o
	x.describe(x.byPhone[o.Phone])
	for _, v := range vehicles {
		x.Declare(i, v)
		slices.Sort(x.byPlate[plates.Fold(v.Plate)]) // as in a new one: in the order of the book
	}
	return true
}

// SetState notes how far the order at position i has come.
func (x *Index) SetState(i int, s night.State) { x.orders[i].State = s }

// Expect notes that somebody said when they come for the order at position i.
func (x *Index) Expect(i int) { x.orders[i].Expected = true }

// Order gives the order at position i.
func (x *Index) Order(i int) Order { return x.orders[i] }

// Of gives the positions of the orders under a number.
func (x *Index) Of(phone string) []int { return x.byPhone[phone] }

func (x *Index) addPlate(i int, plate string) {
	if plate != "" {
		key := plates.Fold(plate)
		x.byPlate[key] = appendNew(x.byPlate[key], i)
		x.plates[key] = plate
	}
}

func (x *Index) dropPlate(i int, plate string) {
	key := plates.Fold(plate)
	x.byPlate[key] = slices.DeleteFunc(x.byPlate[key], func(j int) bool { return j == i })
	if len(x.byPlate[key]) == 0 {
		delete(x.byPlate, key)
		delete(x.plates, key)
	}
}

func appendNew(list []int, i int) []int {
	if slices.Contains(list, i) {
		return list
	}
	return append(list, i)
}

// IsRef tells whether a folded word is an order reference.
func (x *Index) IsRef(w string) bool { _, ok := x.byRef[w]; return ok }

// IsName tells whether a folded word is part of a name in the book.
func (x *Index) IsName(w string) bool { _, ok := x.byPart[w]; return ok }

// Refs gives the references of the book, see reading.Book.
func (x *Index) Refs() map[string]struct{} { return x.refs }

// Plates gives the plates that are declared so far, see reading.Book.
func (x *Index) Plates() map[string]string { return x.plates }

var _ reading.Book = (*Index)(nil)
