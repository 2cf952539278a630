package simulation

import (
	"context"
	"maps"
	"slices"
	"strings"

	"passbell/internal/night"
)

// compareMessages checks that no message is lost, doubled, or in a state that
// it can't have come to.
func (w *watch) compareMessages(v sight) {
	once := map[onceKey]int64{}
	for _, id := range slices.Sorted(maps.Keys(v.messages)) {
		m := v.messages[id]
		for _, c := range m.Covers {
			key := onceKey{c.OrderID, m.Kind, m.Revision}
			if other, twice := once[key]; twice {
				w.violate("messages %d and %d are both the %s, revision %d, of order %d", other, id, m.Kind, m.Revision, c.OrderID)
			}
			once[key] = id
		}
		before, known := w.messages[id]
		if !known {
			before = m
			before.State = night.Due
		}
		w.moved(before, m, v)
		w.atOnce(m, v)
		w.theirs(m, v)
		w.truth(m)
		if m.Attempt > before.Attempt || !known && m.Attempt > 0 {
			w.claimed[id] = w.s.out.Steps
		}
	}
	for id, m := range w.messages {
		if _, ok := v.messages[id]; !ok && (m.State != night.Due || m.Attempt > 0) {
			w.violate("message %d, %s, was %s after %d attempts and is gone without a word", id, m.Kind, m.State, m.Attempt)
		}
	}
}

// everybodyTold checks that whoever waits for the instructions has them, or a
// message that says what became of them. Somebody waits from the closing of orders
// on, while their order is as it was booked, the night is on, they can be texted,
// and the text could still come before their slot. Whoever cancelled or came before
// that needs none: then it is the order that says why.
func (w *watch) everybodyTold(v sight) {
	if now := w.s.latest(); now.After(w.latest) { // what was too late once is not planned when a clock is put back
		w.latest = now
	}
	if v.night.ClosedAt.IsZero() || !v.night.CalledOff.IsZero() {
		return
	}
	told := map[int64]bool{}
	for _, m := range v.messages {
		for _, c := range m.Covers {
			told[c.OrderID] = told[c.OrderID] || m.Kind == night.Instructions
		}
	}
	at := v.night.InstructAt
	if at.Before(w.latest) {
		at = w.latest
	}
	at = w.s.k.Quiet.Allowed(at, w.s.k.Zone)
	for _, id := range slices.Sorted(maps.Keys(v.orders)) {
		o := v.orders[id]
		waits := o.State == night.Booked && o.Phone != "" && !v.optedOut[o.Phone] && at.Before(v.night.SlotAt(o.Slot, w.s.k.Zone))
		if waits && !told[id] {
			w.violate("nobody was told of order %s, and no message says why", o.Ref)
		}
	}
}

// atOnce checks that what answers somebody, or what a person asked for, waits for
// no clock: its instance's may be wrong.
func (w *watch) atOnce(m night.Message, v sight) {
	asked := false // since the last that happened to it
	for _, e := range v.events {
		if e.MessageID == m.ID {
			asked = strings.Contains(e.Why, "sent again by hand")
		}
	}
	switch m.Kind {
	case night.Reply, night.Confirmation, night.Resend, night.Delay, night.Short:
		asked = asked || m.Attempt == 0
	case night.Instructions, night.Reminder, night.Update, night.Nudge, night.Cancellation:
	}
	if m.State == night.Due && asked && !m.AtOnce {
		w.violate("message %d, %s, waits for a clock", m.ID, m.Kind)
	}
}

// theirs checks that what waits goes to where the customers of its orders read now.
func (w *watch) theirs(m night.Message, v sight) {
	switch m.Kind {
	case night.Instructions, night.Reminder, night.Update:
	case night.Cancellation, night.Nudge, night.Delay, night.Resend, night.Short, night.Reply, night.Confirmation:
		return
	}
	for _, c := range m.Covers {
		if o := v.orders[c.OrderID]; m.State == night.Due && m.To != o.Phone && (m.To != o.Email || !m.Fallen && o.Phone != "") {
			w.violate("message %d, %s, waits to tell a stranger of order %s", m.ID, m.Kind, o.Ref)
		}
	}
}

// moved checks one message's way between two looks.
func (w *watch) moved(before, m night.Message, v sight) {
	if m.Attempt < before.Attempt || m.Attempt > before.Attempt+1 {
		w.violate("message %d: attempt %d after %d", m.ID, m.Attempt, before.Attempt)
	}
	if before.State == m.State {
		return
	}
	if m.State == night.InDoubt || m.State == night.Failed {
		w.s.alarm()
	}
	said := slices.ContainsFunc(v.events, func(e night.Event) bool { return e.MessageID == m.ID })
	if !said && m.State != night.Sending {
		w.violate("message %d, %s, went from %s to %s without an event", m.ID, m.Kind, before.State, m.State)
	}
	legal := false
	switch before.State {
	case night.Due:
		legal = m.State == night.Sending || m.State == night.ByHand || m.State == night.Delivered || w.standsBy(m)
	case night.Sending:
		legal = true // whatever the attempt led to
	case night.Sent:
		legal = m.State == night.Delivered || m.State == night.Due && m.Fallen || (m.State == night.Failed || m.State == night.InDoubt) && w.standsBy(m)
	case night.InDoubt:
		legal = true // its own attempt reports late, a receipt, or a person
	case night.Failed, night.Missed:
		legal = m.State == night.Due || m.State == night.ByHand || m.State == night.Delivered
	case night.Delivered, night.ByHand, night.Dropped:
	}
	if !legal {
		w.violate("message %d, %s, went from %s to %s", m.ID, m.Kind, before.State, m.State)
	}
}

// standsBy tells whether a message that is not to be tried any more is in a state
// that its tries bear out: the best that passbell can know of any of them.
func (w *watch) standsBy(m night.Message) bool {
	some := func(f func(*call) bool) bool { return slices.ContainsFunc(w.s.net.by[m.ID], f) }
	switch m.State {
	case night.Sent, night.Delivered:
		return some(func(c *call) bool { return c.fate.taken })
	case night.InDoubt:
		// Of a try that was given up nobody knows whether it was made, or what the answer
		// was that never came to be recorded.
		return w.said(m.ID, 0, "stopped while sending") || some(func(c *call) bool { return !c.answered || !c.fate.nothingWent() })
	case night.Failed:
		return some(func(c *call) bool { return c.lost }) && !some(func(c *call) bool { return c.answered && c.fate.err == nil && !c.lost })
	case night.Missed, night.Dropped:
		return !some(func(c *call) bool { return c.fate.taken })
	case night.Due, night.Sending, night.ByHand:
	}
	return false
}

// truth checks that what is on record as sent did go out.
func (w *watch) truth(m night.Message) {
	switch m.State {
	case night.Sent, night.Delivered:
		if !slices.ContainsFunc(w.s.net.by[m.ID], func(c *call) bool { return c.fate.taken }) {
			w.violate("message %d, %s, is on record as %s and never went out", m.ID, m.Kind, m.State)
		}
	case night.Due, night.Sending, night.Failed, night.InDoubt, night.ByHand, night.Missed, night.Dropped:
	}
}

// called checks a call of a provider at the moment at which it is made.
func (w *watch) called(ctx context.Context, c *call) {
	if err := w.look(ctx); err != nil {
		w.violate("the database can't be read: %v", err)
		return
	}
	c.event = w.event
	m, ok := w.messages[c.message]
	if !ok {
		w.violate("call %s: there is no such message", c.text.Key)
		return
	}
	c.covers = m.Covers
	if _, twice := w.s.net.calls[c.adapter+" "+c.text.Key]; twice {
		w.violate("call %s: the same attempt is made twice", c.text.Key)
	}
	if m.State != night.Sending || m.Attempt != c.attempt || m.To != c.text.To || m.Text != c.text.Text || m.Adapter != c.adapter {
		w.violate("call %s, %s: on record is another attempt, %d, or another text, %s", c.text.Key, m.Kind, m.Attempt, m.State)
	}
	w.inTime(c, m)
	w.consented(c, m)
	w.stillTrue(c, m)
	w.notTwice(c, m)
	if m.Kind == night.Short {
		w.apologised(c, m)
	}
}

// inTime checks quiet hours and that the text is of use, by the clock of whoever
// sends it.
func (w *watch) inTime(c *call, m night.Message) {
	if w.s.k.Quiet.Holds(night.ClockOf(c.read.In(w.s.k.Zone))) {
		w.violate("call %s: the %s goes out in the quiet hours", c.text.Key, m.Kind)
	}
	if !m.ExpiresAt.IsZero() && !c.read.Before(m.ExpiresAt) {
		w.violate("call %s: the %s goes out at its end, %s, or later", c.text.Key, m.Kind, m.ExpiresAt)
	}
	if !m.AtOnce && m.DueAt.After(c.read.Add(w.s.back)) && m.Attempt == 1 && !w.resent(m.ID, 0) {
		w.violate("call %s: the %s goes out before its time, %s", c.text.Key, m.Kind, m.DueAt)
	}
}

// consented checks that whoever opted out is left alone, save one confirmation
// for each time.
func (w *watch) consented(c *call, m night.Message) {
	if w.optedOut[m.To] && m.Kind != night.Confirmation {
		w.violate("call %s: the %s goes to somebody who wants no texts", c.text.Key, m.Kind)
	}
	if m.Kind != night.Confirmation {
		return
	}
	if w.confirms[m.To] == nil {
		w.confirms[m.To] = map[int64]bool{}
	}
	w.confirms[m.To][m.ID] = true
	if len(w.confirms[m.To]) > w.outs[m.To] {
		w.violate("call %s: %d confirmations for %d opt-outs", c.text.Key, len(w.confirms[m.To]), w.outs[m.To])
	}
}

// stillTrue checks what a text says of its orders.
func (w *watch) stillTrue(c *call, m night.Message) {
	off := !w.night.CalledOff.IsZero()
	switch m.Kind {
	case night.Reply, night.Confirmation:
		return
	case night.Cancellation:
		for _, x := range m.Covers {
			if o := w.orders[x.OrderID]; !off && o.State != night.Cancelled {
				w.violate("call %s: a cancellation of order %s, which is %s", c.text.Key, o.Ref, o.State)
			}
		}
		return
	case night.Instructions, night.Reminder, night.Update, night.Nudge, night.Delay, night.Resend, night.Short:
	}
	if off {
		w.violate("call %s: the %s goes out though the night is called off", c.text.Key, m.Kind)
	}
	if m.Place != "" && m.Place != w.night.Place {
		w.violate("call %s: the %s sends them to %s, the night is at %s", c.text.Key, m.Kind, m.Place, w.night.Place)
	}
	for _, x := range m.Covers {
		o := w.orders[x.OrderID]
		switch {
		case !o.State.Open():
			w.violate("call %s: the %s is about order %s, which is %s", c.text.Key, m.Kind, o.Ref, o.State)
		case o.State == night.Arrived && m.Kind != night.Resend && m.Kind != night.Short:
			w.violate("call %s: the %s is about order %s, whose customer is here", c.text.Key, m.Kind, o.Ref)
		case o.Slot != x.Slot && m.Kind != night.Short: // which names no time
			w.violate("call %s: the %s quotes %s for order %s, whose slot is %s", c.text.Key, m.Kind, x.Slot, o.Ref, o.Slot)
		case m.Kind == night.Reminder && !c.read.Before(w.slotAt(x.Slot)):
			w.violate("call %s: the reminder goes out after the slot of order %s", c.text.Key, o.Ref)
		}
	}
}

// notTwice checks that nothing goes out that may have gone out before, unless a
// person said so or the kitchen has a rule for it.
func (w *watch) notTwice(c *call, m night.Message) {
	for _, old := range w.s.net.by[m.ID] {
		if old.known > 0 && old.known < w.claimed[m.ID] {
			w.violate("call %s: the %s is known to have arrived as %s", c.text.Key, m.Kind, old.text.Key)
		}
		switch {
		case w.resent(m.ID, old.event):
		case w.said(m.ID, old.event, "goes by ") && (old.fate.nothingWent() || old.lost || w.s.sc.dispatch.FallUnconfirmed > 0):
		case old.answered && old.fate.nothingWent() && w.said(m.ID, old.event, ": not yet"):
		default:
			w.violate("call %s: the %s may have gone out already as %s (taken %v, answered %v, %v)", c.text.Key, m.Kind, old.text.Key, old.fate.taken, old.answered, old.fate.err)
		}
	}
	for _, x := range m.Covers {
		key := onceKey{x.OrderID, m.Kind, m.Revision}
		other, taken := w.once[key]
		w.once[key] = m.ID
		rule := w.s.sc.dispatch.FallUnconfirmed > 0 && w.said(other, 0, "goes by ")
		if !taken || other == m.ID || rule || w.resent(other, 0) {
			continue
		}
		for _, old := range w.s.net.by[other] {
			of := slices.ContainsFunc(old.covers, func(o night.Cover) bool { return o.OrderID == x.OrderID })
			if nothing := old.lost || old.answered && old.fate.nothingWent(); of && !nothing {
				w.violate("call %s: the %s, revision %d, of order %d may have gone out already as %s", c.text.Key, m.Kind, m.Revision, x.OrderID, old.text.Key)
			}
		}
	}
}

// resent tells whether a person had a message sent again after an event.
func (w *watch) resent(message, since int64) bool {
	return w.said(message, since, "sent again by hand")
}

// said tells whether an event about a message since another says something.
func (w *watch) said(message, since int64, words string) bool {
	return slices.ContainsFunc(w.settled[message], func(e night.Event) bool { return e.ID > since && strings.Contains(e.Why, words) })
}
