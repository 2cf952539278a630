// Package plan decides which message is due when, and why not. It is a pure
// function of the night, its orders, the messages so far and the time.
//
// The rules. One text a person: open orders under one number share their
// instructions, their reminder, an update and a cancellation. A message exists
// once for (order, kind, revision), for every order that it covers: what has
// left the state Due is never planned again, what is Dropped never counted.
// Nothing falls into quiet hours, or at or after the slot. A change that was
// taken back before a text about it went out leaves no text.
package plan

import (
	"cmp"
	"slices"
	"time"

	"passbell/internal/night"
)

// Input is all that a plan depends on. It may be a part of a night if it is whole
// for the people in it: with an order come all orders under its number and all
// messages that cover any of them, in every state; with a Due message come all
// orders that it covers, and theirs. What answers somebody may be left out.
type Input struct {
	Kitchen  night.Kitchen
	Night    night.Night
	Orders   []night.Order
	Messages []night.Message
	OptedOut map[string]bool // by address
	NoWay    map[string]bool // addresses that none of the kitchen's adapters reaches
	Mail     bool            // the kitchen can send mail to whoever gave no number
	Now      time.Time
}

// Plan is what should be waiting to go out.
type Plan struct {
	// Wanted holds every instructions, reminder, update and cancellation that
	// should stand as Due, by DueAt, but for those that are sent again though they
	// may have arrived: these stay as they are, or go. ID is that of the existing row that is to
	// be brought to this content, or 0 where a row is to be created. Text and
	// Parts are for wording to fill in. Whoever stores a plan drops first, then
	// takes the covers of the rows that change, then writes the new ones.
	Wanted []night.Message
	// Drop holds the Due messages that should not go, of any kind but Reply and
	// Confirmation, which answer somebody.
	Drop []Drop
	// LeftOut names each order and kind of message that is neither wanted nor
	// past Due, with the reason.
	LeftOut []LeftOut
}

// Drop is a Due message that should not go out.
type Drop struct {
	MessageID int64
	State     night.MessageState // what becomes of it: Dropped, or Missed where its time is past
	Why       Reason
}

// LeftOut is a message that an order does not get.
type LeftOut struct {
	OrderID int64
	Kind    night.MessageKind
	Why     Reason
}

// Ring tells whether a person should ring the customer, who will not otherwise
// know what they need to know.
func (l LeftOut) Ring() bool {
	if l.Kind == night.Reminder {
		return false
	}
	switch l.Why {
	case NoNumber, NoWay, OptedOut, TooLate, UpdateFailed:
		return true
	case SlotOver:
		return l.Kind == night.Update // what they were told is still wrong
	}
	return false
}

// Reason says why a message does not go out, in words for the cook.
type Reason string

// The reasons.
const (
	NoNumber          Reason = "there is no number to text"
	NoWay             Reason = "no adapter takes this number"
	OptedOut          Reason = "they asked for no more texts"
	Cancelled         Reason = "the order is cancelled"
	HandedOut         Reason = "the order is handed out"
	NotCollected      Reason = "the order was given up as not collected"
	Arrived           Reason = "they are here"
	SlotOver          Reason = "the slot is over"
	TooLate           Reason = "no time is left for it before the slot"
	NoReminder        Reason = "the night has no reminders"
	InstructionsServe Reason = "the instructions go out so late that they serve as the reminder"
	UpdateServes      Reason = "an update goes out so near to it that it serves as the reminder"
	UpdateFailed      Reason = "an update that says the same could not be sent"
	NightOff          Reason = "the night is called off"
	Joined            Reason = "another text to the same person says it"
	AsTold            Reason = "slot and place are as the customer was told"
	Gone              Reason = "the order is no longer in the night"
)

// Make plans a night. It may be run as often as one likes: on its own result it
// gives the same plan. A night whose orders are not yet closed is planned as
// well, for a preview.
func Make(in Input) Plan {
	m := newMaker(in)
	m.again()
	groups := m.groups()
	for _, group := range groups {
		if in.Night.CalledOff.IsZero() {
			m.instructions(group)
			m.update(group)
			m.reminder(group)
			continue
		}
		m.cancellation(group)
	}
	if in.Night.CalledOff.IsZero() {
		m.standingCancellations(groups)
	}
	m.drops()
	m.sort()
	return m.plan
}

// maker holds one run of Make.
type maker struct {
	in     Input
	now    time.Time
	orders map[int64]*night.Order
	due    []night.Message           // rows in state Due, by ID
	dueFor map[about][]int           // places in due, by what they tell about
	past   map[int64][]night.Message // rows past Due by the order they cover, by ID
	used   map[int64]bool            // Due rows that a wanted message has taken
	wanted map[about]time.Time       // when what is wanted goes out
	left   map[about]Reason
	plan   Plan
}

// perOrder is how many messages an order has as a rule, instructions and a
// reminder: there is room for them from the start.
const perOrder = 2

// about is an order and a kind of message.
type about struct {
	order int64
	kind  night.MessageKind
}

func newMaker(in Input) *maker {
	m := &maker{
		in:     in,
		now:    in.Now.UTC().Truncate(time.Millisecond), // instants are stored in milliseconds
		orders: make(map[int64]*night.Order, len(in.Orders)),
		dueFor: map[about][]int{},
		past:   map[int64][]night.Message{},
		used:   map[int64]bool{},
		wanted: make(map[about]time.Time, perOrder*len(in.Orders)),
		left:   map[about]Reason{},
	}
	m.plan.Wanted = make([]night.Message, 0, perOrder*len(in.Orders))
	for i := range in.Orders {
		m.orders[in.Orders[i].ID] = &in.Orders[i]
	}
	messages := slices.Clone(in.Messages)
	slices.SortFunc(messages, func(a, b night.Message) int { return cmp.Compare(a.ID, b.ID) })
	for _, msg := range messages {
		switch msg.State {
		case night.Due:
			for _, c := range msg.Covers {
				a := about{c.OrderID, msg.Kind}
				m.dueFor[a] = append(m.dueFor[a], len(m.due))
			}
			m.due = append(m.due, msg)
			if msg.Earlier.State.WentOut() { // then it is behind its orders, whether it goes again or not
				msg.State, msg.SettledAt, msg.Turn = msg.Earlier.State, msg.Earlier.At, msg.Earlier.Turn
				m.behind(msg)
			}
		case night.Dropped:
		default:
			m.behind(msg)
		}
	}
	return m
}

// behind notes a message past Due.
func (m *maker) behind(msg night.Message) {
	for _, c := range msg.Covers {
		m.past[c.OrderID] = append(m.past[c.OrderID], msg)
	}
}

// groups gives the orders of each person, by slot and reference. Orders without
// a number stand alone.
func (m *maker) groups() [][]*night.Order {
	orders := make([]*night.Order, len(m.in.Orders))
	for i := range m.in.Orders {
		orders[i] = &m.in.Orders[i]
	}
	slices.SortFunc(orders, func(a, b *night.Order) int {
		return cmp.Or(cmp.Compare(a.Slot, b.Slot), cmp.Compare(a.Ref, b.Ref), cmp.Compare(a.ID, b.ID))
	})
	out := make([][]*night.Order, 0, len(orders))
	index := make(map[string]int, len(orders))
	for _, o := range orders {
		address := m.address(o)
		i, known := index[address]
		if address == "" || !known {
			i = len(out)
			out = append(out, nil)
			index[address] = i
		}
		out[i] = append(out[i], o)
	}
	return out
}

// barred gives the reason why nothing at all is sent about an order while the
// night stands; "" where there is none.
func (m *maker) barred(o *night.Order) Reason {
	switch o.State {
	case night.Cancelled:
		return Cancelled
	case night.HandedOut:
		return HandedOut
	case night.NotCollected:
		return NotCollected
	case night.Arrived:
		return Arrived
	case night.Booked, night.Told, night.Reminded:
	}
	return m.unreachable(o)
}

// unreachable gives the reason why a customer can't be sent anything in time.
func (m *maker) unreachable(o *night.Order) Reason {
	switch {
	case m.address(o) == "":
		return NoNumber
	case m.in.NoWay[m.address(o)]:
		return NoWay
	case m.in.OptedOut[m.address(o)]:
		return OptedOut
	case !m.now.Before(m.slotAt(o)):
		return SlotOver
	}
	return ""
}

func (m *maker) address(o *night.Order) string { return o.Address(m.in.Mail) }

func (m *maker) slotAt(o *night.Order) time.Time {
	return m.in.Night.SlotAt(o.Slot, m.in.Kitchen.Zone)
}

func (m *maker) leave(o *night.Order, kind night.MessageKind, why Reason) {
	m.left[about{o.ID, kind}] = why
}

// want puts a message for orders, which are by slot and reference, into the
// plan. The row, where there is one, is brought to its content.
func (m *maker) want(kind night.MessageKind, revision int, orders []*night.Order, dueAt time.Time, row *night.Message) {
	w := night.Message{
		KitchenID: m.in.Kitchen.ID,
		NightID:   m.in.Night.ID,
		Kind:      kind,
		Revision:  revision,
		To:        m.address(orders[0]),
		DueAt:     dueAt.UTC(),
		AtOnce:    !dueAt.After(m.now),
		ExpiresAt: m.slotAt(orders[0]).UTC(),
		State:     night.Due,
	}
	if row != nil && m.reaches(*row, orders[0]) {
		w.To = row.To // it may take another way than the plan's
	}
	if kind != night.Cancellation {
		w.Place = m.in.Night.Place
	}
	if row != nil {
		w.ID, w.Attempt, w.Adapter, w.Fallen, w.Reason = row.ID, row.Attempt, row.Adapter, row.Fallen, row.Reason
		if w.DueAt.Equal(row.DueAt) {
			w.AtOnce = row.AtOnce
		}
		m.used[row.ID] = true
	}
	w.Covers = make([]night.Cover, 0, len(orders))
	for _, o := range orders {
		w.Covers = append(w.Covers, night.Cover{OrderID: o.ID, Slot: o.Slot})
		m.wanted[about{o.ID, kind}] = dueAt
	}
	m.plan.Wanted = append(m.plan.Wanted, w)
}

// row picks the Due row of a kind that fits the orders best: the one that covers
// their lead, then the one that covers most of them, then the oldest. Nil where
// none covers any.
func (m *maker) row(kind night.MessageKind, orders []*night.Order) *night.Message {
	var places []int
	for _, o := range orders {
		places = append(places, m.dueFor[about{o.ID, kind}]...)
	}
	slices.Sort(places)
	var best *night.Message
	bestLead, bestCount := false, 0
	for _, i := range slices.Compact(places) {
		r := &m.due[i]
		if m.used[r.ID] || r.Earlier.State.WentOut() {
			continue
		}
		lead, count := false, 0
		for j, o := range orders {
			if covers(*r, o.ID) {
				count++
				lead = lead || j == 0
			}
		}
		better := lead && !bestLead || lead == bestLead && count > bestCount
		if count > 0 && (best == nil || better) {
			best, bestLead, bestCount = r, lead, count
		}
	}
	return best
}

func covers(msg night.Message, order int64) bool {
	return slices.ContainsFunc(msg.Covers, func(c night.Cover) bool { return c.OrderID == order })
}

// sort puts the plan in an order that depends on its content alone.
func (m *maker) sort() {
	for a, why := range m.left {
		m.plan.LeftOut = append(m.plan.LeftOut, LeftOut{OrderID: a.order, Kind: a.kind, Why: why})
	}
	slices.SortFunc(m.plan.LeftOut, func(a, b LeftOut) int {
		return cmp.Or(cmp.Compare(a.OrderID, b.OrderID), cmp.Compare(a.Kind, b.Kind))
	})
	slices.SortFunc(m.plan.Wanted, func(a, b night.Message) int {
		return cmp.Or(a.DueAt.Compare(b.DueAt), a.ExpiresAt.Compare(b.ExpiresAt),
			cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Covers[0].OrderID, b.Covers[0].OrderID))
	})
	slices.SortFunc(m.plan.Drop, func(a, b Drop) int { return cmp.Compare(a.MessageID, b.MessageID) })
}
