package plan

import (
	"time"

	"passbell/internal/night"
)

// updateServes is how long after an update no reminder goes out: the update has
// put the conversation back on top and has asked for the car.
const updateServes = time.Hour

// tells says whether a kind of message states an order's slot and place, or that
// there is none.
func tells(k night.MessageKind) bool {
	switch k {
	case night.Instructions, night.Reminder, night.Update, night.Resend, night.Cancellation:
		return true
	case night.Nudge, night.Delay, night.Reply, night.Confirmation, night.Short:
	}
	return false
}

// newer tells whether a went out after b, where both are about one order. One
// that is under way is the newest; of one kind it is the later revision; else it is
// the one with the later turn. A clock, which may be put back
// or differ from that of another instance, is asked last.
func newer(a, b night.Message) bool {
	if (a.State == night.Sending) != (b.State == night.Sending) {
		return a.State == night.Sending
	}
	if a.Kind == b.Kind && a.Revision != b.Revision {
		return a.Revision > b.Revision
	}
	if a.Turn != b.Turn && a.Turn > 0 && b.Turn > 0 {
		return a.Turn > b.Turn
	}
	if x, y := wentAt(a), wentAt(b); !x.Equal(y) {
		return x.After(y)
	}
	return a.ID > b.ID
}

// wentAt is the moment whose facts a message states. Where nobody knows when it
// went out, or a person told it by hand, that is when it was due at the latest:
// an answer that comes long after does not make an old slot the newest news.
func wentAt(msg night.Message) time.Time {
	switch msg.State {
	case night.InDoubt, night.ByHand:
		if msg.DueAt.Before(msg.SettledAt) {
			return msg.DueAt
		}
	case night.Due, night.Sending, night.Sent, night.Delivered, night.Failed, night.Missed, night.Dropped:
	}
	return msg.SettledAt
}

// latest gives the newest message past Due about an order that passes keep; nil
// for none.
func (m *maker) latest(order int64, keep func(night.Message) bool) *night.Message {
	var out *night.Message
	for i := range m.past[order] {
		msg := &m.past[order][i]
		if keep(*msg) && (out == nil || newer(*msg, *out)) {
			out = msg
		}
	}
	return out
}

// lastTold is the newest text that went out and told of the order, to any
// number.
func (m *maker) lastTold(order int64) *night.Message {
	return m.latest(order, func(msg night.Message) bool { return tells(msg.Kind) && msg.State.WentOut() })
}

// stale tells whether what the customer's phone says of an order is no longer
// true: another slot, another place, a cancellation that was taken back, or
// nothing because the number is a new one.
func (m *maker) stale(o *night.Order) bool {
	if m.lastTold(o.ID) == nil {
		return false
	}
	onPhone := func(msg night.Message) bool { return tells(msg.Kind) && msg.State.WentOut() && m.reaches(msg, o) }
	last := m.latest(o.ID, onPhone)
	if last == nil || last.Kind == night.Cancellation || quotedSlot(*last, o.ID) != o.Slot {
		return true
	}
	placed := m.latest(o.ID, func(msg night.Message) bool { return onPhone(msg) && msg.Place != "" })
	return placed != nil && !m.here(*placed)
}

// reaches tells whether a message went to where the order's customer reads now:
// the number, or the mail that a text fell back to.
func (m *maker) reaches(msg night.Message, o *night.Order) bool {
	return msg.To == m.address(o) || msg.Fallen && msg.To == o.Email
}

// here tells whether a message quotes the night's place, or none.
func (m *maker) here(msg night.Message) bool {
	return msg.Place == "" || m.in.Night.Place == "" || msg.Place == m.in.Night.Place
}

func quotedSlot(msg night.Message, order int64) night.Clock {
	for _, c := range msg.Covers {
		if c.OrderID == order {
			return c.Slot
		}
	}
	return -1
}

// updateFailed tells whether an update with just the present facts was tried and
// did not go out. It stands on the list of failed texts for a person; another
// one would fail the same way.
func (m *maker) updateFailed(o *night.Order) bool {
	var last *night.Message
	for i := range m.past[o.ID] {
		msg := &m.past[o.ID][i]
		if msg.Kind == night.Update && (last == nil || msg.Revision > last.Revision) {
			last = msg
		}
	}
	return last != nil && !last.State.WentOut() && m.reaches(*last, o) &&
		quotedSlot(*last, o.ID) == o.Slot && m.here(*last)
}

// highest gives the highest revision of a kind that is past Due for an order; -1
// for none.
func (m *maker) highest(order int64, kind night.MessageKind) int {
	out := -1
	for _, msg := range m.past[order] {
		if msg.Kind == kind {
			out = max(out, msg.Revision)
		}
	}
	return out
}

// nextRevision gives the revision that is new for every one of the orders, and
// at least first.
func (m *maker) nextRevision(orders []*night.Order, kind night.MessageKind, first int) int {
	for _, o := range orders {
		first = max(first, m.highest(o.ID, kind)+1)
	}
	return first
}

// served gives the reason why a reminder would add nothing for an order at its own time;
// "" where it would.
func (m *maker) served(o *night.Order) Reason {
	base := m.remindAt(o)
	if at, ok := m.moment(o, night.Instructions); ok && !base.After(at) {
		return InstructionsServe
	}
	if at, ok := m.moment(o, night.Update); ok && base.Before(at.Add(updateServes)) {
		return UpdateServes
	}
	return ""
}

// moment gives when the newest message of a kind for an order goes out or went
// out. What waits counts by the time that it has, however late it is: what has gone
// never counts for earlier than that, by whichever clock it went.
func (m *maker) moment(o *night.Order, kind night.MessageKind) (time.Time, bool) {
	if at, ok := m.wanted[about{o.ID, kind}]; ok {
		return at, true
	}
	last := m.latest(o.ID, func(msg night.Message) bool { return msg.Kind == kind && msg.State.WentOut() })
	if last == nil {
		return time.Time{}, false
	}
	return later(last.DueAt, last.SettledAt), true
}

// owedCancellation tells whether a called-off night still owes an order its
// cancellation. An order that was cancelled before is owed one only where its
// customer was told to come, or where somebody already asked for one.
func (m *maker) owedCancellation(o *night.Order) bool {
	last := m.lastTold(o.ID)
	switch o.State {
	case night.HandedOut, night.NotCollected:
		return false
	case night.Cancelled:
		asked := m.unreachable(o) == "" && m.row(night.Cancellation, []*night.Order{o}) != nil
		if last == nil && !asked {
			return false
		}
	case night.Booked, night.Told, night.Reminded, night.Arrived:
	}
	before := m.latest(o.ID, func(msg night.Message) bool { return msg.Kind == night.Cancellation })
	if before == nil {
		return true
	}
	// A second one only where they were told since that the night is on.
	return last != nil && last.Kind != night.Cancellation && newer(*last, *before)
}
