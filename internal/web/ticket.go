package web

import (
	"fmt"
	"html/template"
	"regexp"
	"slices"
	"strings"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// Origin says which page a button stands on and for which night it was drawn:
// a page left open since last week must not act on this week's order of the
// same reference.
type Origin struct {
	Back    string
	Night   int64
	Limited bool // for a helper: no full numbers, no sending
}

// act is one button with its form.
type act struct {
	Origin
	Path   string
	Label  string
	Aria   string // "" where the label says it all
	Class  string
	Fields [][2]string
}

// newAct makes a button; the words after class are what it is about, and pairs
// of hidden fields after that.
func newAct(o Origin, path, label, class, about string, fields ...string) act {
	a := act{Origin: o, Path: path, Label: label, Class: class}
	if about != "" {
		a.Aria = label + ", " + about
	}
	for i := 0; i+1 < len(fields); i += 2 {
		a.Fields = append(a.Fields, [2]string{fields[i], fields[i+1]})
	}
	return a
}

// bags is what leaves in one kind of bag.
type bags struct {
	Kind  night.Kind
	Count int // pieces in all, without those that are missing
	Items []bagItem
}

// bagItem is one line of an order and its place there.
type bagItem struct {
	night.Item
	Place int
}

// colour is one colour of a car, with the name of its swatch.
type colour struct{ Name, Swatch string }

// Ticket is an order as the pass shows it.
type Ticket struct {
	Origin
	ID      int64
	Ref     string
	Bag     int
	Name    string
	Slot    string
	State   night.State
	Bags    []bags
	Allergy string
	Note    string

	Colours   []colour
	Model     string // make, model and body
	Plate     string
	Part      string // of a plate
	Vehicle   night.Vehicle
	Spot      string
	Collector string // who comes instead of the customer
	Words     string // their latest text
	TextID    int64

	Since    int64 // when they came, Unix ms; 0 where they are not here
	Wait     string
	Long     string // "", "long" or "very" for how long they wait
	Packed   bool
	PackedIn string // how long the bags have stood
	Bagged   string // whether the bags are packed, in words
	DoneAt   string // when they were handed out, for the minutes in which that is easily undone
	Late     string // how long past their time
	Expected string // when they say they come; "" for the slot
	Said     string // the slot or when they say they come
	Tel      template.URL
	Number   string
	With     []string // references of other orders of the same number
	Settled  int      // lines that are in the bag or missing
	Lines    int
	Missing  string // what of the order is missing
	Unsaid   bool   // and nobody has said so to the customer
}

// AllIn tells whether every line is in the bag, so that all that is left is to
// say that the bags are packed.
func (t Ticket) AllIn() bool { return t.Lines > 0 && t.Settled == t.Lines }

// Takes are the bags that there is something in.
func (t Ticket) Takes() []bags {
	return slices.DeleteFunc(slices.Clone(t.Bags), func(b bags) bool { return b.Count == 0 })
}

// Place is the address of the order's page.
func (t Ticket) Place() string { return "/orders/" + escape(t.Ref) }

// About names the order for people who only hear the page.
func (t Ticket) About() string { return t.Ref + " " + t.Name }

// Away tells whether somebody has to come yet.
func (t Ticket) Away() bool { return t.State.Open() && t.State != night.Arrived }

const (
	// longWait and veryLongWait are when a wait at the gate is coloured
	// (common practice, no source).
	longWait     = 5 * time.Minute
	veryLongWait = 10 * time.Minute
)

// seen is what tickets are made from besides the order.
type seen struct {
	Origin
	night night.Night
	at    time.Time
	words map[int64]night.Inbound // the latest text about each order
	with  map[string][]string     // references by number
	// Orders of which something is missing and nobody said so.
	unsaid map[int64]bool
}

func (s *site) ticket(c seen, o night.Order) Ticket {
	t := Ticket{
		Origin: c.Origin, ID: o.ID, Ref: o.Ref, Bag: o.Bag, Name: o.Name, Slot: s.slot(o.Slot), State: o.State,
		Bags: bagsOf(o.Items), Allergy: o.Allergy, Note: noteBeside(o), Vehicle: o.Vehicle,
		Model: words(o.Vehicle.Make, o.Vehicle.Model, s.say(o.Vehicle.Body)),
		Plate: plateWords(s.Kitchen.Region, o.Vehicle.Plate), Part: o.Vehicle.PlatePart, Spot: o.Arrival.Spot,
		Packed: !o.PackedAt.IsZero(), Collector: o.Collector, Lines: len(o.Items), Missing: missingWords(o.Items), Unsaid: c.unsaid[o.ID],
	}
	for _, it := range o.Items {
		if it.Settled() {
			t.Settled++
		}
	}
	for _, name := range o.Vehicle.Colours {
		t.Colours = append(t.Colours, colour{s.say(name), swatch(name)})
	}
	if in, ok := c.words[o.ID]; ok {
		t.Words, t.TextID = in.Text, in.ID
	}
	if o.State == night.Arrived {
		wait := c.at.Sub(o.Arrival.At)
		t.Since, t.Wait = o.Arrival.At.UnixMilli(), s.span(wait)
		switch {
		case wait >= veryLongWait:
			t.Long = "very"
		case wait >= longWait:
			t.Long = "long"
		}
	}
	t.Bagged = s.t("not packed")
	if t.Packed {
		t.PackedIn = s.span(c.at.Sub(o.PackedAt))
		t.Bagged = s.t("packed %s ago", t.PackedIn)
	}
	t.Said = t.Slot
	if !o.ExpectedAt.IsZero() {
		t.Expected = s.clock(o.ExpectedAt)
		t.Said = t.Expected
	}
	if past := c.at.Sub(desk.Expected(o, c.night, s.Kitchen.Zone)); past > 0 && t.Away() {
		t.Late = s.span(past)
	}
	t.Tel, t.Number = s.tel(o)
	if c.Limited {
		t.limit()
	}
	for _, ref := range c.with[o.Phone] {
		if o.Phone != "" && ref != o.Ref {
			t.With = append(t.With, ref)
		}
	}
	return t
}

// longDigits finds what may be a number in somebody's own words.
var longDigits = regexp.MustCompile(`\+?\d(?:[\s().-]*\d){6,}`)

// limit takes out of a ticket what is not for a helper.
func (t *Ticket) limit() {
	t.Tel, t.Number = "", ""
	for _, words := range []*string{&t.Note, &t.Words, &t.Spot} {
		*words = longDigits.ReplaceAllStringFunc(*words, phone.Mask)
	}
}

// tel gives the address that rings an order's customer, and the number to show.
func (s *site) tel(o night.Order) (href template.URL, shown string) {
	if o.Phone != "" {
		return telURL(o.Phone), phone.National(o.Phone)
	}
	// A landline takes no texts and can still be rung.
	if n, err := phone.Parse(o.PhoneTyped, s.Kitchen.Region); err == nil {
		return telURL(n.E164), n.National
	}
	return "", o.PhoneTyped
}

// noteBeside is the note, unless the allergy line already says all of it.
func noteBeside(o night.Order) string {
	note := strings.TrimSpace(o.Note)
	if strings.Contains(o.Allergy, note) {
		return ""
	}
	return note
}

// bagsOf splits items as they leave the kitchen: hot, cold, extras.
func bagsOf(items []night.Item) []bags {
	var out []bags
	for _, k := range []night.Kind{night.Hot, night.Cold, night.Extra} {
		b := bags{Kind: k}
		for i, it := range items {
			if it.Kind == k || it.Kind == "" && k == night.Hot {
				b.Count += max(it.Qty, 1) - it.Short
				b.Items = append(b.Items, bagItem{it, i})
			}
		}
		if len(b.Items) > 0 {
			out = append(out, b)
		}
	}
	return out
}

// missingWords says what of an order is missing.
func missingWords(items []night.Item) string {
	var parts []string
	for _, it := range night.Missing(items) {
		parts = append(parts, fmt.Sprintf("%d × %s", it.Short, it.Name))
	}
	return strings.Join(parts, ", ")
}

func words(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), " ")
}

// swatches are the colours that the stylesheet can paint.
var swatches = []string{
	"black", "white", "grey", "silver", "blue", "red", "green", "yellow", "orange", "brown", "beige", "gold", "purple", "pink", "turquoise",
}

// swatch gives the stylesheet's name of a colour; "" where it has none.
func swatch(name string) string {
	name = strings.ToLower(strings.TrimSpace(name))
	if name == "gray" {
		name = "grey"
	}
	for _, w := range swatches {
		if strings.Contains(name, w) {
			return w
		}
	}
	return ""
}

// colour gives the name that a colour is stored under, of the one in the
// language of the page.
func (w *tongue) colour(typed string) string {
	for _, name := range append(swatches[:len(swatches):len(swatches)], "bronze", "cream", "maroon", "multi") {
		if typed == w.say(name) {
			return name
		}
	}
	return typed
}

// carWords names a car.
func (w *tongue) carWords(v night.Vehicle) string {
	v.Colours = slices.Clone(v.Colours)
	for i, name := range v.Colours {
		v.Colours[i] = w.say(name)
	}
	v.Body = w.say(v.Body)
	return v.String()
}

// latest gives for each order the last text of its customer.
func latest(texts []night.Inbound) map[int64]night.Inbound {
	out := map[int64]night.Inbound{}
	for _, in := range texts {
		for _, id := range in.Orders {
			// A text that may be about several orders is no word on any of them.
			if in.State != night.Open || len(in.Orders) == 1 {
				out[id] = in
			}
		}
	}
	return out
}

// together gives the references of each number's orders.
func together(orders []night.Order) map[string][]string {
	out := map[string][]string{}
	for _, o := range orders {
		if o.Phone != "" && o.State != night.Cancelled {
			out[o.Phone] = append(out[o.Phone], o.Ref)
		}
	}
	return out
}
