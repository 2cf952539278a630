package night

import (
	"strings"
	"time"
)

// Order is one customer's order for one night: what is in the bags, when it is
// collected and how far it has come.
type Order struct {
	ID         int64
	KitchenID  int64
	NightID    int64
	Ref        string // the reference in the order book, such as "K401"
	Bag        int    // bag number of the night, counted by slot; 0 before closing
	Name       string
	Phone      string // E.164; "" where the customer can't be texted
	PhoneTyped string // the number as it stood in the order book
	Email      string // "" where none was given
	Collector  string // who comes instead of the customer; "" where they come themselves
	Slot       Clock
	Items      []Item
	Note       string
	Allergy    string // the words that name an allergy or diet, whole; "" for none
	State      State
	PackedAt   time.Time // zero while not packed
	ExpectedAt time.Time // when the customer last said to come; zero for the slot
	Behind     int       // minutes after the slot that the kitchen asked them to come, as it runs late
	Vehicle    Vehicle   // as announced or as seen at the gate
	Arrival    Arrival
	Revision   int // counts changes; an update names the one it saw
}

// Address gives where texts about the order go: the number, or the e-mail
// address where the kitchen has a way to send mail and no number is known.
func (o Order) Address(mail bool) string {
	if o.Phone == "" && mail {
		return o.Email
	}
	return o.Phone
}

// Item is one line of an order.
type Item struct {
	Qty  int    `json:"qty"`
	Name string `json:"name"`
	Kind Kind   `json:"kind"`
	// What the kitchen marks on the night. An order book gives none of it.
	Ticked bool `json:"ticked,omitempty"`  // it is in the bag
	Short  int  `json:"short,omitempty"`   // pieces that are missing, at most Qty
	AtGate bool `json:"at_gate,omitempty"` // no text tells of what is missing: it is said at the gate
}

// Kind says in which bag an item travels. Hot and cold leave in separate bags
// (common practice, no source).
type Kind string

// The three kinds of item.
const (
	Hot   Kind = "hot"
	Cold  Kind = "cold"
	Extra Kind = "extra"
)

// Vehicle is what is known of a customer's car. Every field may be empty.
type Vehicle struct {
	Colours   []string `json:"colours,omitempty"`
	Make      string   `json:"make,omitempty"`
	Model     string   `json:"model,omitempty"`
	Body      string   `json:"body,omitempty"`
	Plate     string   `json:"plate,omitempty"`
	PlatePart string   `json:"plate_part,omitempty"`
}

// IsZero tells whether nothing at all is known.
func (v Vehicle) IsZero() bool {
	return len(v.Colours) == 0 && v.Make == "" && v.Model == "" && v.Body == "" && v.Plate == "" && v.PlatePart == ""
}

// Merge adds what a later text says: what it names replaces what was known,
// what it leaves out stays. A make without a model drops the model of another
// make.
func (v Vehicle) Merge(later Vehicle) Vehicle {
	if len(later.Colours) > 0 {
		v.Colours = later.Colours
	}
	if later.Make != "" && later.Make != v.Make {
		v.Make, v.Model = later.Make, later.Model
	}
	if later.Model != "" {
		v.Model = later.Model
	}
	if later.Body != "" {
		v.Body = later.Body
	}
	if later.Plate != "" {
		v.Plate, v.PlatePart = later.Plate, ""
	}
	if later.PlatePart != "" && v.Plate == "" {
		v.PlatePart = later.PlatePart
	}
	return v
}

// Arrival says since when a customer is at the collection point and where they
// stand.
type Arrival struct {
	At   time.Time // zero while nobody has come
	Spot string    // where they stand, in their own words; "" where not said
}

// String describes the vehicle in a few words: "grey Volkswagen Golf, LX19KTO".
func (v Vehicle) String() string {
	var words []string
	for _, w := range []string{strings.Join(v.Colours, " or "), v.Make, v.Model, v.Body} {
		if w != "" {
			words = append(words, w)
		}
	}
	s := strings.Join(words, " ")
	plate := v.Plate
	if plate == "" && v.PlatePart != "" {
		plate = "…" + v.PlatePart
	}
	switch {
	case plate == "":
		return s
	case s == "":
		return plate
	}
	return s + ", " + plate
}

// Stage is how far an order is.
type Stage struct {
	OrderID  int64
	NightID  int64
	Ref      string
	Slot     Clock
	State    State
	Revision int
}
