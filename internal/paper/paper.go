// Package paper is the night on paper, for when there is no signal: the order
// sheet, bag labels, a sheet of what changed, and the sign at the gate. Make
// decides what stands on it; PDF and the pages of internal/web draw it.
package paper

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"passbell/internal/night"
)

// Doc is the order sheet, or what changed of it.
type Doc struct {
	Kitchen string
	Date    night.Date
	Place   string
	MadeAt  time.Time // in the kitchen's zone
	Since   time.Time // zero for the whole sheet
	Groups  []Group   // by slot
	// Cancelled lists what the whole sheet leaves out, so that nobody looks for
	// it. A sheet of changes has a card for each instead.
	Cancelled []string
}

// Group is the cards of one slot.
type Group struct {
	Slot  night.Clock
	Cards []Card
}

// Cards counts the cards of a sheet.
func (d Doc) Cards() int {
	n := 0
	for _, g := range d.Groups {
		n += len(g.Cards)
	}
	return n
}

// Card is one order on paper. Nothing in it is shortened.
type Card struct {
	Big       string // bag number; before closing, when there is none, the reference
	Ref       string
	Slot      night.Clock
	Name      string
	Bags      []Bag
	Allergy   string
	Phone     string // as it is dialled
	Email     string // only where there is no number
	Note      string // "" where the allergy says all of it
	Vehicle   night.Vehicle
	Collector string
	State     night.State
	Packed    bool
	Changes   []Change // on a sheet of changes
}

// Bag is the items of one kind.
type Bag struct {
	Kind  night.Kind
	Items []night.Item
}

// Change is one line of what happened to an order.
type Change struct {
	At   time.Time // in the kitchen's zone
	What night.What
	From night.State // of a step
	To   night.State
	Why  string
}

// Facts is what a sheet is made of.
type Facts struct {
	Kitchen night.Kitchen
	Night   night.Night
	Orders  []night.Order
	Events  []night.Event // of the night; needed with Since only
	Now     time.Time
	// Since asks for changes only: orders that changed at that moment or later.
	Since time.Time
	// Number writes an order's number as it is dialled; nil for o.Phone.
	Number func(night.Order) string
}

// Make puts the orders on paper by slot and bag. It changes nothing: what a
// sheet shows as changed follows from the history and the time on the last one.
func Make(f Facts) Doc {
	zone := f.Kitchen.Zone
	d := Doc{Kitchen: f.Kitchen.Name, Date: f.Night.Date, Place: f.Night.Place, MadeAt: f.Now.In(zone)}
	changes := map[int64][]Change{}
	if !f.Since.IsZero() {
		d.Since = f.Since.In(zone)
		for _, e := range f.Events {
			if e.OrderID != 0 && !e.At.Before(f.Since) && onPaper(e) {
				changes[e.OrderID] = append(changes[e.OrderID], Change{e.At.In(zone), e.What, e.From, e.To, e.Why})
			}
		}
	}
	orders := slices.Clone(f.Orders)
	slices.SortStableFunc(orders, func(a, b night.Order) int {
		return cmp.Or(cmp.Compare(a.Slot, b.Slot), cmp.Compare(a.Bag, b.Bag), cmp.Compare(a.Ref, b.Ref))
	})
	for _, o := range orders {
		c := card(o, f.Number)
		c.Changes = changes[o.ID]
		switch {
		case !d.Since.IsZero() && len(c.Changes) == 0:
			continue
		case d.Since.IsZero() && o.State == night.Cancelled:
			d.Cancelled = append(d.Cancelled, strings.TrimSpace(o.Ref+" "+o.Name))
			continue
		}
		if n := len(d.Groups); n == 0 || d.Groups[n-1].Slot != o.Slot {
			d.Groups = append(d.Groups, Group{Slot: o.Slot})
		}
		g := &d.Groups[len(d.Groups)-1]
		g.Cards = append(g.Cards, c)
	}
	return d
}

// onPaper tells whether an event makes a printed card wrong. That a customer
// was told does not.
func onPaper(e night.Event) bool {
	switch e.What {
	case night.OrderAdded, night.OrderChanged, night.StepUndone, night.BagsPacked, night.BagsUnpacked, night.VehicleNoted, night.ArrivalExpected, night.ItemsShort:
		return true
	case night.StepTaken:
		return e.To != night.Told && e.To != night.Reminded
	}
	return false
}

func card(o night.Order, number func(night.Order) string) Card {
	c := Card{
		Big: o.Ref, Ref: o.Ref, Slot: o.Slot, Name: o.Name, Allergy: o.Allergy, Phone: o.Phone, Vehicle: o.Vehicle,
		Collector: o.Collector, State: o.State, Packed: !o.PackedAt.IsZero(),
	}
	if o.Bag > 0 {
		c.Big = strconv.Itoa(o.Bag)
	}
	if number != nil {
		c.Phone = number(o)
	}
	if c.Phone == "" {
		c.Email = o.Email
	}
	if note := strings.TrimSpace(o.Note); !strings.Contains(o.Allergy, note) {
		c.Note = note
	}
	for _, k := range []night.Kind{night.Hot, night.Cold, night.Extra} {
		b := Bag{Kind: k}
		for _, it := range o.Items {
			if it.Kind == k || k == night.Extra && it.Kind != night.Hot && it.Kind != night.Cold {
				b.Items = append(b.Items, it)
			}
		}
		if len(b.Items) > 0 {
			c.Bags = append(c.Bags, b)
		}
	}
	return c
}

// Tongue says what stands on paper in the language of the pages: their words are
// its too.
type Tongue interface {
	// T says a sentence of the catalogue, with its numbers and names filled in.
	T(sentence string, args ...any) string
	Day(d night.Date) string
	Slot(c night.Clock) string
	Kind(k night.Kind) string
	// State is a state that changes what is to be done with a bag; "" for others.
	State(s night.State) string
	Car(v night.Vehicle) string
	Change(c Change) string
}

// Label is what is stuck on one bag: hot and cold travel apart, extras with
// the first (common practice, no source).
type Label struct {
	Card // with the items of this bag
	Of   int
	Nth  int
}

// Labels gives a label for each bag of a sheet.
func (d Doc) Labels() []Label {
	var out []Label
	for _, g := range d.Groups {
		for _, c := range g.Cards {
			var bags [][]Bag
			for _, b := range c.Bags {
				if b.Kind == night.Extra && len(bags) > 0 {
					bags[0] = append(bags[0], b)
					continue
				}
				bags = append(bags, []Bag{b})
			}
			if len(bags) == 0 {
				bags = append(bags, nil)
			}
			for i, b := range bags {
				l := Label{Card: c, Of: len(bags), Nth: i + 1}
				l.Bags = b
				out = append(out, l)
			}
		}
	}
	return out
}

// SMS gives the address that opens a text to a number with a body, by RFC 5724.
func SMS(number, body string) string {
	return "sms:" + number + "?body=" + url.PathEscape(body)
}

// Arrived is how the text begins that the sign's code opens: the customer adds
// their order's number.
const Arrived = "I'm here, order "

// Since reads the time on a printed sheet: "16:20" for the last time that the
// kitchen's clock showed that, or "2026-12-03 16:20".
func Since(s string, now time.Time, zone *time.Location) (time.Time, error) {
	s = strings.Replace(strings.TrimSpace(s), "T", " ", 1)
	if t, err := time.Parse("2006-01-02 15:04", s); err == nil {
		at, _ := night.Instant(night.DateOf(t), night.ClockOf(t), zone)
		return at, nil
	}
	c, err := night.ParseClock(s)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is not the time on a sheet: write it like 16:20 or 2026-12-03 16:20", s)
	}
	today := night.DateOf(now.In(zone))
	at, _ := night.Instant(today, c, zone)
	if at.After(now) {
		at, _ = night.Instant(today.AddDays(-1), c, zone)
	}
	return at, nil
}
