package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/internal/night"
)

// Board is the night as the kitchen needs to see it at one moment.
type Board struct {
	Night    night.Night
	At       time.Time
	Event    int64 // the last event that it shows
	Sentence string
	Gate     []night.Order // at the collection point, longest wait first
	Pack     []night.Order // to be packed now, the most urgent first
	Next     []night.Order // still to come, by expected time
	Late     []night.Order // past their time by LateAfter and not here, longest first
	Untold   []night.Order // no text can tell them when and where: to be rung
	Trouble  []Trouble     // texts that did not reach a customer for sure
	Texts    []night.Inbound
	Orders   []night.Order  // all, by slot
	Unsaid   map[int64]bool // orders of which something is missing and nobody said so yet
	Counts   map[night.State]int
	// Overdue says that orders should have been closed and are not, so that no
	// text goes out; NotClosed why they did not close by themselves, where they
	// should have.
	Overdue   bool
	NotClosed string
}

// Trouble is a text that a person has to see to, and the order it is about.
type Trouble struct {
	Message night.Message
	Order   night.Order
}

const (
	// PackBefore is how long before its slot an order is assembled (common
	// practice, no source).
	PackBefore = 5 * time.Minute
	// LateAfter is how long after the expected time a customer counts as late
	// (common practice, no source: ten to fifteen minutes).
	LateAfter = 10 * time.Minute
)

// Board gives the board of a night.
func (d *Desk) Board(ctx context.Context, nightID int64) (Board, error) {
	s := Sight{At: d.now().UTC(), Zone: d.kitchen.Zone}
	var last int64
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		if last, err = tx.LastEvent(ctx); err != nil {
			return err
		}
		if s.Night, err = tx.Night(ctx, nightID); err != nil {
			return err
		}
		if s.Orders, err = tx.Orders(ctx, nightID); err != nil {
			return err
		}
		if s.Messages, err = tx.Messages(ctx, nightID); err != nil {
			return err
		}
		if s.Texts, err = tx.InboundsIn(ctx, night.Open); err != nil || !s.Night.Overdue(s.At, s.Zone) {
			return err
		}
		events, err := tx.Events(ctx, nightID, 0, allEvents)
		s.NotClosed = notClosed(events)
		return err
	})
	if err != nil {
		return Board{}, err
	}
	b := MakeBoard(s)
	b.Event = last
	return b, nil
}

// Sight is all that a board is made of.
type Sight struct {
	Night    night.Night
	Orders   []night.Order
	Messages []night.Message
	Texts    []night.Inbound // those that wait for a person
	At       time.Time
	Zone     *time.Location
	// NotClosed is why orders did not close by themselves, where they should.
	NotClosed string
}

// MakeBoard sorts a night into what has to be done now.
func MakeBoard(s Sight) Board {
	b := Board{Night: s.Night, At: s.At, Orders: s.Orders, Texts: s.Texts, Counts: map[night.State]int{}, Unsaid: map[int64]bool{}}
	expected := func(o night.Order) time.Time { return Expected(o, s.Night, s.Zone) }
	byTime := func(x, y night.Order) int { return cmp.Or(expected(x).Compare(expected(y)), cmp.Compare(x.Bag, y.Bag)) }
	for _, o := range s.Orders {
		b.Counts[o.State]++
		if Unsaid(o, s.Messages) {
			b.Unsaid[o.ID] = true
		}
		if !o.State.Open() {
			continue
		}
		here := o.State == night.Arrived
		if here {
			b.Gate = append(b.Gate, o)
		}
		if o.PackedAt.IsZero() && (here || !s.At.Before(expected(o).Add(-PackBefore))) {
			b.Pack = append(b.Pack, o)
		}
		switch {
		case here:
		case s.At.Sub(expected(o)) >= LateAfter:
			b.Late = append(b.Late, o)
		default:
			b.Next = append(b.Next, o)
		}
	}
	slices.SortStableFunc(b.Gate, func(x, y night.Order) int { return x.Arrival.At.Compare(y.Arrival.At) })
	slices.SortStableFunc(b.Pack, func(x, y night.Order) int { // whoever waits outside comes first
		if wx, wy := x.State == night.Arrived, y.State == night.Arrived; wx != wy {
			if wx {
				return -1
			}
			return 1
		}
		return byTime(x, y)
	})
	slices.SortStableFunc(b.Next, byTime)
	slices.SortStableFunc(b.Late, byTime)
	b.Trouble = troubles(s)
	b.Untold = untold(s)
	if b.Overdue = s.Night.Overdue(s.At, s.Zone); b.Overdue {
		b.NotClosed = s.NotClosed
	}
	b.Sentence = sentence(b, s)
	return b
}

// Expected is when an order's customer is expected: when they last said, or
// their slot and as much later as the kitchen runs late.
func Expected(o night.Order, n night.Night, zone *time.Location) time.Time {
	if !o.ExpectedAt.IsZero() {
		return o.ExpectedAt
	}
	return n.SlotAt(o.Slot, zone).Add(time.Duration(o.Behind) * time.Minute)
}

// untold gives the orders of a closed night that nobody was told of and no text
// is about: their customers have no number that takes texts, or want none.
func untold(s Sight) []night.Order {
	if s.Night.ClosedAt.IsZero() || !s.Night.CalledOff.IsZero() {
		return nil
	}
	covered := map[int64]bool{}
	for _, m := range s.Messages {
		for _, c := range m.Covers {
			covered[c.OrderID] = covered[c.OrderID] || tellsWhere(m.Kind)
		}
	}
	var out []night.Order
	for _, o := range s.Orders {
		if o.State == night.Booked && !covered[o.ID] {
			out = append(out, o)
		}
	}
	return out
}

func tellsWhere(k night.MessageKind) bool {
	switch k {
	case night.Instructions, night.Reminder, night.Update, night.Resend:
		return true
	case night.Cancellation, night.Nudge, night.Delay, night.Reply, night.Confirmation, night.Short:
	}
	return false
}

func troubles(s Sight) []Trouble {
	byID := make(map[int64]night.Order, len(s.Orders))
	for _, o := range s.Orders {
		byID[o.ID] = o
	}
	var out []Trouble
	for _, m := range s.Messages {
		switch m.State {
		case night.Failed, night.InDoubt, night.Missed:
			o := byID[lead(m)]
			// Once the bags are out, or the order is off, nobody needs the text.
			if o.ID == 0 || o.State.Open() && o.State != night.Arrived {
				out = append(out, Trouble{m, o})
			}
		case night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Dropped:
		}
	}
	return out
}

// sentence says the night in a line.
func sentence(b Board, s Sight) string {
	told, ring := 0, map[int64]bool{}
	for _, o := range s.Orders {
		if o.State.Open() && o.State != night.Booked {
			told++
		}
	}
	for _, t := range b.Trouble {
		ring[t.Order.ID] = true
	}
	for _, o := range b.Untold {
		ring[o.ID] = true
	}
	var parts []string
	add := func(n int, words string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, words))
		}
	}
	if b.Overdue {
		parts = append(parts, fmt.Sprintf("orders should have been closed %s, and no text goes out until somebody closes them", s.Night.ClosesAt.In(s.Zone).Format("Mon 2 Jan 15:04")))
	}
	add(told, "told")
	add(len(ring), plural(len(ring), "needs a call", "need a call"))
	if len(b.Gate) > 0 {
		wait := int(s.At.Sub(b.Gate[0].Arrival.At).Minutes())
		parts = append(parts, fmt.Sprintf("%d here, longest wait %d min", len(b.Gate), wait))
	}
	add(len(b.Late), "late")
	add(len(b.Texts), plural(len(b.Texts), "text to read", "texts to read"))
	add(b.Counts[night.HandedOut], "handed out")
	if len(parts) == 0 {
		return fmt.Sprintf("%d orders, nothing to do yet", len(s.Orders))
	}
	return strings.Join(parts, " · ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
