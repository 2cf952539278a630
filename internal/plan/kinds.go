package plan

import (
	"cmp"
	"slices"
	"time"

	"passbell/internal/night"
)

// again keeps the Due rows that are sent again though they may have arrived, as
// long as every word of them is true. They are not brought to another content:
// what may be on the phone already is what they say.
func (m *maker) again() {
	for _, row := range m.due {
		switch row.Kind {
		case night.Nudge, night.Delay, night.Resend, night.Short, night.Reply, night.Confirmation:
			continue
		case night.Instructions, night.Reminder, night.Update, night.Cancellation:
		}
		if !row.Earlier.State.WentOut() || m.untrue(row) != "" {
			continue
		}
		m.used[row.ID] = true
		for _, c := range row.Covers {
			m.wanted[about{c.OrderID, row.Kind}] = row.DueAt
		}
	}
}

// untrue says why a text that was written before should not go out as it is; ""
// where it should.
func (m *maker) untrue(row night.Message) Reason {
	off := !m.in.Night.CalledOff.IsZero()
	if off && row.Kind != night.Cancellation {
		return NightOff
	}
	for _, c := range row.Covers {
		o, ok := m.orders[c.OrderID]
		if !ok {
			return Gone
		}
		if row.Kind == night.Cancellation {
			if why := m.unreachable(o); why != "" || !off && o.State != night.Cancelled {
				return cmp.Or(why, AsTold)
			}
			continue
		}
		if why := m.barred(o); why != "" {
			return why
		}
		if o.Slot != c.Slot || !m.here(row) || !m.reaches(row, o) {
			return Joined
		}
	}
	return ""
}

// instructions plans the one text with place and slot for a person's orders that
// have not had one.
func (m *maker) instructions(group []*night.Order) {
	var need []*night.Order
	for _, o := range group {
		if m.highest(o.ID, night.Instructions) >= 0 {
			continue
		}
		if why := m.barred(o); why != "" {
			m.leave(o, night.Instructions, why)
			continue
		}
		need = append(need, o)
	}
	for _, part := range m.parts(night.Instructions, need) {
		row := m.row(night.Instructions, part)
		at := m.dueAt(m.in.Night.InstructAt, row)
		if part = m.inTime(part, night.Instructions, at); len(part) > 0 {
			m.want(night.Instructions, 0, part, at, row)
		}
	}
}

// parts gives the orders of a person that one text tells about. A text that goes out
// again after a try of it was lost goes on for its own orders alone: taken back, it would
// stand on record for them as what it came to, and no other could take its place.
func (m *maker) parts(kind night.MessageKind, need []*night.Order) [][]*night.Order {
	var out [][]*night.Order
	for i := range m.due {
		r := &m.due[i]
		if r.Kind != kind || r.Earlier.State == "" || r.Earlier.State.WentOut() || m.used[r.ID] {
			continue
		}
		its := func(o *night.Order) bool { return covers(*r, o.ID) }
		if part := slices.DeleteFunc(slices.Clone(need), func(o *night.Order) bool { return !its(o) }); len(part) > 0 {
			out = append(out, part)
			need = slices.DeleteFunc(slices.Clone(need), its)
		}
	}
	if len(need) > 0 {
		out = append(out, need)
	}
	return out
}

// update plans one text for those of a person's orders whose slot, place or
// number is no longer what a text told them.
func (m *maker) update(group []*night.Order) {
	var need []*night.Order
	for _, o := range group {
		if _, comes := m.wanted[about{o.ID, night.Instructions}]; comes || !m.stale(o) {
			continue
		}
		why := m.barred(o)
		switch why {
		case "":
			if m.updateFailed(o) {
				m.leave(o, night.Update, UpdateFailed)
				continue
			}
			need = append(need, o)
		case NoNumber, OptedOut, SlotOver:
			m.leave(o, night.Update, why)
		}
	}
	for _, part := range m.parts(night.Update, need) {
		row := m.row(night.Update, part)
		at := m.dueAt(time.Time{}, row)
		if part = m.inTime(part, night.Update, at); len(part) > 0 {
			m.want(night.Update, m.nextRevision(part, night.Update, 1), part, at, row)
		}
	}
}

// reminder plans the one text on the day. Whether an order needs one is told by the time
// that its own would have, so that it is the same before and after the others' went out.
// The first of a person's orders that needs one sets the time, and the others are named
// in it, but for those whose instructions are still to come then: they get one after it.
func (m *maker) reminder(group []*night.Order) {
	var need []*night.Order
	for _, o := range group {
		if m.highest(o.ID, night.Reminder) >= 0 {
			continue
		}
		why := m.barred(o)
		if why == "" && m.in.Night.RemindBefore <= 0 {
			why = NoReminder
		}
		if why == "" {
			why = m.served(o)
		}
		if why != "" {
			m.leave(o, night.Reminder, why)
			continue
		}
		need = append(need, o)
	}
	for _, part := range m.parts(night.Reminder, need) {
		for len(part) > 0 {
			part = m.remind(part)
		}
	}
}

// remind plans the reminder of the first of some orders and those that share it, and
// gives the others.
func (m *maker) remind(need []*night.Order) (rest []*night.Order) {
	base := m.remindAt(need[0])
	members := make([]*night.Order, 0, len(need))
	for _, o := range need {
		if at, come := m.wanted[about{o.ID, night.Instructions}]; come && !base.After(at) {
			rest = append(rest, o)
			continue
		}
		members = append(members, o)
	}
	row := m.row(night.Reminder, members)
	at := m.dueAt(base, row)
	if !at.Before(m.slotAt(need[0])) {
		m.leave(need[0], night.Reminder, TooLate)
		return need[1:]
	}
	m.want(night.Reminder, 0, members, at, row)
	return rest
}

// cancellation plans the one text that a called-off night owes each person who
// has an order or was told of one.
func (m *maker) cancellation(group []*night.Order) {
	var need []*night.Order
	for _, o := range group {
		if !m.owedCancellation(o) {
			continue
		}
		if why := m.unreachable(o); why != "" {
			m.leave(o, night.Cancellation, why)
			continue
		}
		need = append(need, o)
	}
	for _, part := range m.parts(night.Cancellation, need) {
		row := m.row(night.Cancellation, part)
		at := m.dueAt(m.in.Night.CalledOff, row)
		if part = m.inTime(part, night.Cancellation, at); len(part) > 0 {
			m.want(night.Cancellation, m.nextRevision(part, night.Cancellation, 0), part, at, row)
		}
	}
}

// standingCancellations keeps the cancellations of single orders that somebody
// else asked for, as long as the order stays cancelled.
func (m *maker) standingCancellations(groups [][]*night.Order) {
	for i := range m.due {
		row := &m.due[i]
		if row.Kind != night.Cancellation || row.Earlier.State.WentOut() || m.in.OptedOut[row.To] {
			continue
		}
		var orders []*night.Order
		for _, group := range groups {
			for _, o := range group {
				if covers(*row, o.ID) && o.State == night.Cancelled {
					orders = append(orders, o)
				}
			}
		}
		at := m.dueAt(row.DueAt, row)
		if orders = m.inTime(orders, night.Cancellation, at); len(orders) > 0 {
			m.want(night.Cancellation, row.Revision, orders, at, row)
			m.plan.Wanted[len(m.plan.Wanted)-1].To = row.To
		}
	}
}

// inTime leaves out the orders whose slot would have begun, or has while the text waited.
func (m *maker) inTime(orders []*night.Order, kind night.MessageKind, at time.Time) []*night.Order {
	return slices.DeleteFunc(orders, func(o *night.Order) bool {
		late := !later(at, m.now).Before(m.slotAt(o))
		if late {
			m.leave(o, kind, TooLate)
		}
		return late
	})
}

// drops names the Due rows that nothing wanted has taken.
func (m *maker) drops() {
	for _, row := range m.due {
		if m.used[row.ID] {
			continue
		}
		why := m.dropReason(row)
		if why == "" {
			continue
		}
		state := night.Dropped
		if (why == SlotOver || why == TooLate) && !m.takenOver(row) {
			state = night.Missed
		}
		m.plan.Drop = append(m.plan.Drop, Drop{MessageID: row.ID, State: state, Why: why})
	}
}

// takenOver tells whether another message tells about one of a row's orders: on
// record as Missed the row would stay about it, and that one could not be stored.
func (m *maker) takenOver(row night.Message) bool {
	return slices.ContainsFunc(row.Covers, func(c night.Cover) bool {
		_, ok := m.wanted[about{c.OrderID, row.Kind}]
		return ok
	})
}

// dropReason says why a Due row should not go; "" where it should.
func (m *maker) dropReason(row night.Message) Reason {
	off := !m.in.Night.CalledOff.IsZero()
	switch row.Kind {
	case night.Reply, night.Confirmation:
		return ""
	case night.Nudge, night.Delay, night.Resend, night.Short:
		switch {
		case m.in.OptedOut[row.To]:
			return OptedOut
		case off:
			return NightOff
		}
		return m.pointless(row)
	case night.Instructions, night.Reminder, night.Update, night.Cancellation:
	}
	if row.Earlier.State.WentOut() {
		return m.untrue(row)
	}
	if off && row.Kind != night.Cancellation {
		return NightOff
	}
	for _, c := range row.Covers {
		o, ok := m.orders[c.OrderID]
		if !ok {
			return Gone
		}
		if why, ok := m.left[about{c.OrderID, row.Kind}]; ok {
			return why
		}
		if row.Kind == night.Update {
			if why := m.barred(o); why != "" {
				return why
			}
		}
	}
	switch {
	case m.in.OptedOut[row.To]:
		return OptedOut
	case row.Kind == night.Update || row.Kind == night.Cancellation:
		return AsTold
	}
	return Joined
}

// pointless says why a text that a person or the clock asked for has lost its
// point: none of its orders waits for its customer any longer. The instructions
// may still be sent again to somebody who is here, and what is missing said.
func (m *maker) pointless(row night.Message) Reason {
	why := Gone
	for _, c := range row.Covers {
		o, ok := m.orders[c.OrderID]
		if !ok {
			continue
		}
		switch o.State {
		case night.Booked, night.Told, night.Reminded:
			return ""
		case night.Arrived:
			if row.Kind == night.Resend || row.Kind == night.Short {
				return ""
			}
			why = Arrived
		case night.HandedOut:
			why = HandedOut
		case night.Cancelled:
			why = Cancelled
		case night.NotCollected:
			why = NotCollected
		}
	}
	return why
}
