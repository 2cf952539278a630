package wording

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"passbell/internal/night"
)

// Facts is what a text may name. Times and dates stand in the manner of the
// kitchen's region and the text's language, ready to be read.
type Facts struct {
	Kitchen    string       // the kitchen's name
	Name       string       // the customer's name as in the order book
	First      string       // how a greeting calls them; "" where nobody is known
	Orders     []OrderFacts // by slot, then reference
	OrderRefs  string       // "order K420", "orders K420 and K443"
	OrderTimes string       // "order K420 at 17:10", "orders K420 at 17:10 and K443 at 17:30"
	LaterTimes string       // OrderTimes with Minutes added to each slot
	Slot       string       // the earliest slot, "17:10" or "5:10 pm"
	Later      string       // Slot with Minutes added
	Minutes    int          // how late the kitchen runs
	Expected   string       // when the customer said to come; "" where not said
	Day        string       // "Friday 4 December"
	Date       string       // "Fri 4 Dec"
	Place      string
	Parking    string
	Number     string // the number that customers write to; "" where there is none
	Vehicle    string // the car as understood, "grey Volkswagen Golf LX19KTO"; "" for none
	CarWords   string // what to reply with on arrival, "car, colour and plate"
	Missing    string // what of the orders is missing, "2 x Pork dumplings and 1 x Chilli oil"; "" for nothing

	manner manner
	slots  []night.Clock
}

// OrderFacts is one order in a text.
type OrderFacts struct {
	Ref   string
	Slot  string
	Later string // Slot with Minutes added
	Bag   int    // 0 before closing
}

// Occasion is what all texts about one night have in common.
type Occasion struct {
	common Facts
	zone   *time.Location
}

// OccasionOf gathers what all texts about a night name.
func OccasionOf(k night.Kitchen, n night.Night, lang string) Occasion {
	m := mannerOf(k.Region, lang)
	return Occasion{zone: k.Zone, common: Facts{
		Kitchen:  clean(k.Name),
		Day:      m.day(n.Date),
		Date:     m.date(n.Date),
		Place:    unstopped(n.Place),
		Parking:  unstopped(n.Parking),
		Number:   k.Number,
		CarWords: m.carWords(),
		manner:   m,
	}}
}

// FactsFor gathers what a text to one customer names. The orders are theirs and
// all of them are named; none are needed for a text to somebody unknown. What
// came from an order book loses line breaks and typesetter's marks (see
// Straighten) that would raise the price of a text.
func FactsFor(k night.Kitchen, n night.Night, orders []night.Order, lang string) Facts {
	about := make([]*night.Order, len(orders))
	for i := range orders {
		about[i] = &orders[i]
	}
	return OccasionOf(k, n, lang).About(about)
}

// About gathers what a text to one customer names, as FactsFor does.
func (c Occasion) About(orders []*night.Order) Facts {
	f, m := c.common, c.common.manner
	orders = slices.Clone(orders)
	slices.SortStableFunc(orders, func(a, b *night.Order) int {
		return cmp.Or(cmp.Compare(a.Slot, b.Slot), strings.Compare(a.Ref, b.Ref))
	})
	var names, missing []string
	f.Orders, f.slots = make([]OrderFacts, 0, len(orders)), make([]night.Clock, 0, len(orders))
	for _, o := range orders {
		for _, it := range night.Missing(o.Items) {
			missing = append(missing, fmt.Sprintf("%d x %s", it.Short, clean(it.Name)))
		}
		slot := m.clock(o.Slot)
		f.Orders = append(f.Orders, OrderFacts{Ref: clean(o.Ref), Slot: slot, Later: slot, Bag: o.Bag})
		f.slots = append(f.slots, o.Slot)
		if name := greeting(o.Name); name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(orders) > 0 {
		f.Name = clean(orders[0].Name)
		f.Slot = f.Orders[0].Slot
	}
	for _, o := range orders {
		if f.Vehicle == "" {
			f = f.Seen(o.Vehicle)
		}
		if f.Expected == "" && !o.ExpectedAt.IsZero() {
			f = f.Expecting(night.ClockOf(o.ExpectedAt.In(c.zone)))
		}
	}
	f.First, f.Missing = m.list(names), m.list(missing)
	refs := f.refs()
	f.OrderRefs, f.OrderTimes = m.refs(refs), m.times(refs, f.slots)
	f.LaterTimes, f.Later = f.OrderTimes, f.Slot // until somebody says otherwise
	return f
}

// Delayed gives the facts of a kitchen that runs late by whole minutes.
func (f Facts) Delayed(minutes int) Facts {
	f.Minutes = minutes
	f.Orders = slices.Clone(f.Orders)
	later := make([]night.Clock, len(f.slots))
	for i, slot := range f.slots {
		later[i] = slot.Add(minutes)
		f.Orders[i].Later = f.manner.clock(later[i])
	}
	f.LaterTimes = f.manner.times(f.refs(), later)
	if len(f.Orders) > 0 {
		f.Later = f.Orders[0].Later
	}
	return f
}

// Seen gives the facts with a car as it was understood; FactsFor takes it from
// the orders.
func (f Facts) Seen(v night.Vehicle) Facts {
	var words []string
	if len(v.Colours) > 0 {
		words = append(words, clean(v.Colours[0])) // the others are other readings of it
	}
	for _, w := range []string{v.Make, v.Model, v.Body, cmp.Or(v.Plate, v.PlatePart)} {
		if w = clean(w); w != "" {
			words = append(words, w)
		}
	}
	f.Vehicle = strings.Join(words, " ")
	return f
}

// Expecting gives the facts with the time at which the customer said to come;
// FactsFor takes it from the orders.
func (f Facts) Expecting(c night.Clock) Facts {
	f.Expected = f.manner.clock(c)
	return f
}

func (f Facts) refs() []string {
	out := make([]string, len(f.Orders))
	for i, o := range f.Orders {
		out[i] = o.Ref
	}
	return out
}

// clean makes one line of a value and takes typesetter's marks out of it.
func clean(s string) string {
	if plain(s) {
		return s
	}
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, Straighten(s))
	return strings.Join(strings.Fields(s), " ")
}

// plain tells whether a text is a line as it should be: ASCII that can be printed,
// with one space between words. Most are.
func plain(s string) bool {
	before := byte(' ')
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == ' ' && before == ' ' {
			return false
		}
		before = s[i]
	}
	return s == "" || before != ' '
}

// unstopped also drops the full stop at the end, which the text sets itself.
func unstopped(s string) string { return strings.TrimRight(clean(s), ".,; ") }

// titles stand before a family name: such a name is a greeting as a whole.
const titles = " mr mrs ms miss mx dr prof rev sir sr sra srta don doña "

// greeting makes "Bethan" of "Bethan Cadwgan", of "Cadwgan, Bethan" and of
// "BETHAN CADWGAN"; "Mrs Bell" stays.
func greeting(name string) string {
	name = clean(name)
	if family, given, ok := strings.Cut(name, ","); ok && strings.TrimSpace(given) != "" {
		name = strings.TrimSpace(given) + " " + family
	}
	words := strings.Fields(name)
	if len(words) == 0 {
		return ""
	}
	first := words[0]
	if strings.Contains(titles, " "+strings.ToLower(strings.TrimRight(first, "."))+" ") {
		return name
	}
	if utf8.RuneCountInString(first) > 2 && first == strings.ToUpper(first) {
		head, size := utf8.DecodeRuneInString(first)
		first = string(head) + strings.ToLower(first[size:])
	}
	return first
}
