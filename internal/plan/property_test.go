package plan_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/internal/night"
	"passbell/internal/plan"
)

// evening drives a night at random: people order, move, cancel, opt out and
// come; the place changes; the night is called off and on; time passes, texts go
// out, fail, hang or wait for another try. After each step the plan is made,
// stored and checked.
type evening struct {
	in plan.Input
	id int64
}

func newEvening(t *rapid.T) *evening {
	name := rapid.SampledFrom([]string{"Europe/London", "America/New_York", "Australia/Sydney", "Asia/Kolkata"}).Draw(t, "zone")
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	date := rapid.SampledFrom([]night.Date{
		{Year: 2026, Month: time.March, Day: 29}, {Year: 2026, Month: time.October, Day: 25},
		{Year: 2026, Month: time.March, Day: 8}, {Year: 2026, Month: time.November, Day: 1},
		{Year: 2026, Month: time.April, Day: 5}, {Year: 2026, Month: time.December, Day: 4},
	}).Draw(t, "date")
	quiet := rapid.SampledFrom([]night.Quiet{
		{From: 1260, To: 480}, {From: 1260, To: 480}, {}, {From: 1080, To: 90}, {From: 720, To: 870}, {From: 60, To: 150},
	}).Draw(t, "quiet")
	instruct, _ := night.Instant(date.AddDays(-rapid.IntRange(0, 3).Draw(t, "days before")),
		night.Clock(rapid.IntRange(0, 1439).Draw(t, "instructions at")), zone)
	return &evening{in: plan.Input{
		Kitchen: night.Kitchen{ID: 3, Zone: zone, Quiet: quiet},
		Night: night.Night{
			ID: 9, Date: date, First: 960, Last: 1200, Every: 10, Place: "14 Mill Lane", InstructAt: instruct,
			RemindBefore: time.Duration(rapid.IntRange(0, 12).Draw(t, "remind before")) * time.Hour, RemindFrom: 540,
		},
		OptedOut: map[string]bool{},
		Now:      instruct.Add(-time.Duration(rapid.IntRange(-3000, 3000).Draw(t, "start")) * time.Minute),
	}}
}

var people = []string{"", bethan, priya, callum}

func (e *evening) drawOrder(t *rapid.T) *night.Order {
	if len(e.in.Orders) == 0 {
		t.Skip("no order yet")
	}
	return &e.in.Orders[rapid.IntRange(0, len(e.in.Orders)-1).Draw(t, "order")]
}

func drawSlot(t *rapid.T) night.Clock {
	return night.Clock(960 + 10*rapid.IntRange(0, 24).Draw(t, "slot"))
}

func (e *evening) steps() map[string]func(*rapid.T) {
	return map[string]func(*rapid.T){
		"order": func(t *rapid.T) {
			id := int64(len(e.in.Orders) + 1)
			e.in.Orders = append(e.in.Orders, night.Order{
				ID: id, Ref: fmt.Sprintf("K%d", 400+id), Phone: rapid.SampledFrom(people).Draw(t, "phone"),
				Slot: drawSlot(t), State: night.Booked,
			})
		},
		"move":  func(t *rapid.T) { e.drawOrder(t).Slot = drawSlot(t) },
		"phone": func(t *rapid.T) { e.drawOrder(t).Phone = rapid.SampledFrom(people).Draw(t, "phone") },
		"state": func(t *rapid.T) {
			e.drawOrder(t).State = rapid.SampledFrom([]night.State{
				night.Booked, night.Told, night.Reminded, night.Arrived, night.HandedOut, night.Cancelled, night.NotCollected,
			}).Draw(t, "state")
		},
		"opt out": func(t *rapid.T) {
			p := rapid.SampledFrom(people[1:]).Draw(t, "who")
			e.in.OptedOut[p] = !e.in.OptedOut[p]
		},
		"place": func(t *rapid.T) {
			e.in.Night.Place = rapid.SampledFrom([]string{"14 Mill Lane", "the village hall"}).Draw(t, "place")
		},
		"call off": func(t *rapid.T) {
			if e.in.Night.CalledOff = e.in.Now; rapid.Bool().Draw(t, "on again") {
				e.in.Night.CalledOff = time.Time{}
			}
		},
		"time": func(t *rapid.T) {
			e.in.Now = e.in.Now.Add(time.Duration(rapid.IntRange(1, 600*60).Draw(t, "seconds")) * time.Second)
		},
		"send":  func(t *rapid.T) { e.send(t) },
		"again": func(t *rapid.T) { e.again(t) },
		"":      func(t *rapid.T) { e.check(t) },
	}
}

func (e *evening) send(t *rapid.T) {
	for i := range e.in.Messages {
		m := &e.in.Messages[i]
		switch {
		case m.State == night.Sending, m.State == night.Due && !m.DueAt.After(e.in.Now):
		default:
			continue
		}
		m.State = rapid.SampledFrom([]night.MessageState{
			night.Due, night.Sending, night.Sent, night.Sent, night.Delivered, night.InDoubt, night.ByHand,
			night.Failed, night.Missed,
		}).Draw(t, "outcome")
		switch m.State {
		case night.Due:
			m.Attempt++
			m.DueAt = e.in.Now.Add(time.Duration(rapid.IntRange(1, 30).Draw(t, "wait")) * time.Minute)
		case night.Sending:
		default:
			m.SettledAt = e.in.Now
		}
	}
}

// again lets somebody, or the kitchen's rule for texts that nobody confirmed,
// send a text again though it may have arrived.
func (e *evening) again(t *rapid.T) {
	for i := range e.in.Messages {
		m := &e.in.Messages[i]
		if (m.State == night.Sent || m.State == night.InDoubt) && rapid.Bool().Draw(t, "again") {
			m.Earlier = night.Standing{State: m.State, At: m.SettledAt}
			m.State, m.SettledAt, m.Attempt = night.Due, time.Time{}, max(1, m.Attempt)
		}
	}
}

// staysAsItIs tells whether a plan leaves alone a row that is sent again though
// it may have arrived.
func staysAsItIs(p plan.Plan, m night.Message) bool {
	return m.State == night.Due && m.Earlier.State.WentOut() && !slices.ContainsFunc(p.Drop, func(d plan.Drop) bool { return d.MessageID == m.ID })
}

func (e *evening) check(t *rapid.T) {
	before := slices.Clone(e.in.Messages)
	p := plan.Make(e.in)
	require.Equal(t, before, e.in.Messages, "the input is left alone")
	e.checkWanted(t, p)
	e.checkEveryoneIsAccountedFor(t, p)

	e.in.Messages, e.id = stored(p, e.in.Messages, e.id)
	for i := range e.in.Messages {
		if m := &e.in.Messages[i]; m.State == night.Missed && m.SettledAt.IsZero() {
			m.SettledAt = e.in.Now
		}
	}
	seen := map[string]bool{}
	for _, m := range e.in.Messages {
		if m.State == night.Dropped {
			continue
		}
		for _, c := range m.Covers {
			key := fmt.Sprint(c.OrderID, m.Kind, m.Revision)
			require.False(t, seen[key], "order %d has two of %s %d", c.OrderID, m.Kind, m.Revision)
			seen[key] = true
		}
	}
	again := plan.Make(e.in)
	require.Empty(t, again.Drop)
	if !slices.ContainsFunc(p.Drop, func(d plan.Drop) bool { return d.State == night.Missed }) {
		require.Equal(t, p.LeftOut, again.LeftOut) // what is missed is behind the order from then on
	}
	require.Len(t, again.Wanted, len(p.Wanted))
	for i, w := range again.Wanted {
		require.NotZero(t, w.ID)
		if p.Wanted[i].ID == 0 {
			p.Wanted[i].ID = w.ID
		}
		require.Equal(t, p.Wanted[i], w)
	}
	e.checkSending(t)
}

// checkSending: whatever goes next, by a clock that may be wrong, nobody then needs a
// reminder who was left out before.
func (e *evening) checkSending(t *rapid.T) {
	wrong := time.Duration(rapid.IntRange(-120, 120).Draw(t, "minutes ahead")) * time.Minute
	for i, m := range e.in.Messages {
		if m.State != night.Due || m.DueAt.After(e.in.Now) {
			continue
		}
		after := e.in
		after.Messages = slices.Clone(e.in.Messages)
		after.Messages[i].State, after.Messages[i].SettledAt = night.Sent, e.in.Now.Add(wrong)
		for _, w := range plan.Make(after).Wanted {
			require.True(t, w.ID != 0 || w.Kind != night.Reminder, "once the %s of order %d went, a reminder of order %d is wanted", m.Kind, m.Covers[0].OrderID, w.Covers[0].OrderID)
		}
	}
}

// checkTrue: what is sent again word for word is true in every word.
func (e *evening) checkTrue(t *rapid.T, m night.Message) {
	for _, c := range m.Covers {
		o := e.orderByID(c.OrderID)
		require.False(t, e.in.OptedOut[o.Phone])
		if m.Kind == night.Cancellation {
			require.True(t, o.State == night.Cancelled || !e.in.Night.CalledOff.IsZero())
			continue
		}
		require.Equal(t, c.Slot, o.Slot)
		require.Equal(t, m.To, o.Phone)
		require.Equal(t, m.Place, e.in.Night.Place)
		require.True(t, e.in.Night.CalledOff.IsZero())
		require.Contains(t, []night.State{night.Booked, night.Told, night.Reminded}, o.State)
	}
}

func (e *evening) orderByID(id int64) night.Order {
	return e.in.Orders[id-1]
}

func (e *evening) checkWanted(t *rapid.T, p plan.Plan) {
	perPerson := map[string]int{}
	for _, w := range p.Wanted {
		require.NotEmpty(t, w.Covers)
		require.Equal(t, night.Due, w.State)
		require.False(t, e.in.OptedOut[w.To], "to somebody who opted out")
		require.False(t, e.in.Kitchen.Quiet.Holds(night.ClockOf(w.DueAt.In(e.in.Kitchen.Zone))), "in quiet hours: %s", w.DueAt)
		off := !e.in.Night.CalledOff.IsZero()
		require.True(t, w.Kind == night.Cancellation || !off, "%s for a night that is off", w.Kind)
		lead := e.orderByID(w.Covers[0].OrderID)
		require.Equal(t, e.in.Night.SlotAt(lead.Slot, e.in.Kitchen.Zone).UTC(), w.ExpiresAt)
		for _, c := range w.Covers {
			o := e.orderByID(c.OrderID)
			slot := e.in.Night.SlotAt(o.Slot, e.in.Kitchen.Zone)
			require.Equal(t, o.Slot, c.Slot, "quotes the slot of today")
			require.GreaterOrEqual(t, o.Slot, lead.Slot, "the lead has the earliest slot")
			require.True(t, w.DueAt.Before(slot), "%s at or after its slot", w.Kind)
			require.True(t, e.in.Now.Before(slot), "%s for a slot that is over", w.Kind)
			if w.Kind == night.Cancellation && !off { // asked for by a person, to a number of their choice
				require.Equal(t, night.Cancelled, o.State)
				continue
			}
			require.Equal(t, o.Phone, w.To)
			if w.Kind == night.Cancellation {
				require.NotContains(t, []night.State{night.HandedOut, night.NotCollected}, o.State)
				continue
			}
			require.Contains(t, []night.State{night.Booked, night.Told, night.Reminded}, o.State)
		}
		if w.Kind == night.Cancellation && !off || w.Kind == night.Reminder && e.instructs(p, lead.ID) {
			continue
		}
		perPerson[w.To+string(w.Kind)]++
		require.Equal(t, 1, perPerson[w.To+string(w.Kind)], "two of %s to one person", w.Kind)
	}
}

// instructs tells whether the instructions of an order are still to come: then its
// reminder may come after that of the person's other orders.
func (e *evening) instructs(p plan.Plan, order int64) bool {
	about := func(m night.Message) bool {
		return m.Kind == night.Instructions && slices.ContainsFunc(m.Covers, func(c night.Cover) bool { return c.OrderID == order })
	}
	return slices.ContainsFunc(p.Wanted, about) || slices.ContainsFunc(e.in.Messages, func(m night.Message) bool { return about(m) && staysAsItIs(p, m) })
}

// checkEveryoneIsAccountedFor: each order has its instructions and its reminder
// behind it, before it, or left out with a reason; each Due row stays or goes.
func (e *evening) checkEveryoneIsAccountedFor(t *rapid.T, p plan.Plan) {
	count := map[string]int{}
	for _, w := range p.Wanted {
		for _, c := range w.Covers {
			count[fmt.Sprint(c.OrderID, w.Kind)]++
		}
	}
	for _, l := range p.LeftOut {
		require.NotEmpty(t, l.Why)
		count[fmt.Sprint(l.OrderID, l.Kind)]++
	}
	rows := map[int64]int{}
	for _, w := range p.Wanted {
		rows[w.ID]++
	}
	for _, d := range p.Drop {
		require.NotEmpty(t, d.Why)
		rows[d.MessageID]++
	}
	past := map[string]bool{}
	for _, m := range e.in.Messages {
		if m.State == night.Due && !staysAsItIs(p, m) {
			require.Equal(t, 1, rows[m.ID], "row %d (%s) neither stays nor goes", m.ID, m.Kind)
		}
		if staysAsItIs(p, m) {
			e.checkTrue(t, m)
		}
		if m.State == night.Due && !m.Earlier.State.WentOut() || m.State == night.Dropped {
			continue
		}
		for _, c := range m.Covers {
			past[fmt.Sprint(c.OrderID, m.Kind)] = true
		}
	}
	if !e.in.Night.CalledOff.IsZero() {
		return
	}
	for _, o := range e.in.Orders {
		for _, k := range []night.MessageKind{night.Instructions, night.Reminder} {
			key := fmt.Sprint(o.ID, k)
			if past[key] {
				require.Zero(t, count[key], "%s is behind order %d", k, o.ID)
				continue
			}
			require.Equal(t, 1, count[key], "%s of order %d", k, o.ID)
		}
		require.LessOrEqual(t, count[fmt.Sprint(o.ID, night.Update)], 1)
	}
}

func TestAnyEvening(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		t.Repeat(newEvening(t).steps())
	})
}

// A customer whose phone holds another slot than the true one is always told, or
// somebody knows why not.
func TestNobodyIsLeftWithAWrongSlot(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		e := newEvening(t)
		steps := e.steps()
		delete(steps, "phone")
		delete(steps, "call off")
		check := steps[""]
		steps[""] = func(t *rapid.T) {
			p := plan.Make(e.in)
			for _, o := range e.in.Orders {
				if o.State != night.Booked && o.State != night.Told && o.State != night.Reminded {
					continue
				}
				held, ok := e.holds(o)
				known := slices.ContainsFunc(p.Wanted, func(w night.Message) bool {
					return (w.Kind == night.Update || w.Kind == night.Instructions) &&
						slices.ContainsFunc(w.Covers, func(c night.Cover) bool { return c.OrderID == o.ID })
				}) || slices.ContainsFunc(e.in.Messages, func(m night.Message) bool {
					return (m.Kind == night.Update || m.Kind == night.Instructions) && staysAsItIs(p, m) &&
						slices.ContainsFunc(m.Covers, func(c night.Cover) bool { return c.OrderID == o.ID })
				}) || slices.ContainsFunc(p.LeftOut, func(l plan.LeftOut) bool {
					return l.OrderID == o.ID && (l.Kind == night.Update || l.Kind == night.Instructions)
				})
				if ok && held != o.Slot {
					require.True(t, known, "order %d holds %s, is %s", o.ID, held, o.Slot)
				}
			}
			check(t)
		}
		t.Repeat(steps)
	})
}

// holds gives the slot of the last text about an order that may be on the
// customer's phone, found by reading the messages in the order they settled.
func (e *evening) holds(o night.Order) (night.Clock, bool) {
	var last *night.Message
	for i := range e.in.Messages {
		m := e.in.Messages[i]
		if m.State == night.Due && m.Earlier.State.WentOut() {
			m.State, m.SettledAt = m.Earlier.State, m.Earlier.At
		}
		if m.State == night.Due || m.State == night.Failed || m.State == night.Missed || m.State == night.Dropped {
			continue
		}
		about := slices.ContainsFunc(m.Covers, func(c night.Cover) bool { return c.OrderID == o.ID })
		if !about {
			continue
		}
		when := func(m night.Message) time.Time {
			if m.State == night.Sending {
				return e.in.Now.Add(time.Hour)
			}
			return m.SettledAt
		}
		if last == nil || !when(m).Before(when(*last)) {
			last = &m
		}
	}
	if last == nil {
		return 0, false
	}
	for _, c := range last.Covers {
		if c.OrderID == o.ID {
			return c.Slot, true
		}
	}
	return 0, false
}
