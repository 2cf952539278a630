package plan

import (
	"time"

	"passbell/internal/night"
)

// allowed gives t, or the end of the quiet hours where t lies in them.
func allowed(t time.Time, q night.Quiet, zone *time.Location) time.Time {
	local := t.In(zone)
	if !q.Holds(night.ClockOf(local)) {
		return t
	}
	date := night.DateOf(local)
	if q.To <= night.ClockOf(local) {
		date = date.AddDays(1)
	}
	end, _ := night.Instant(date, q.To, zone)
	if end.After(t) && !q.Holds(night.ClockOf(end.In(zone))) {
		return end
	}
	// The clocks change about here and the end comes twice or not at all: go by
	// the minutes that the clock shows until it shows a time that is allowed.
	for end = t.Truncate(time.Minute); q.Holds(night.ClockOf(end.In(zone))); {
		end = end.Add(time.Minute)
	}
	return end
}

func (m *maker) allowed(t time.Time) time.Time {
	return allowed(t, m.in.Kitchen.Quiet, m.in.Kitchen.Zone)
}

// dueAt gives when a message goes out whose time is base: then, or now where
// base is past, outside quiet hours. A row that is overdue keeps its time, so
// that planning again changes nothing; a row that waits for its next try goes
// on waiting.
func (m *maker) dueAt(base time.Time, row *night.Message) time.Time {
	at := base
	if at.Before(m.now) {
		at = m.now
	}
	at = m.allowed(at)
	switch {
	case row == nil:
	case row.Attempt > 0 && row.DueAt.After(at):
		at = m.allowed(row.DueAt)
	case at.Equal(m.now) && !row.DueAt.Before(base) && !row.DueAt.After(m.now) && m.allowed(row.DueAt).Equal(row.DueAt):
		at = row.DueAt
	}
	return at
}

// remindAt gives when the reminder for a slot goes out if nothing stands in its
// way: some time before the slot, not too early on the day, outside quiet hours.
func (m *maker) remindAt(o night.Order) time.Time {
	at := m.slotAt(o).Add(-m.in.Night.RemindBefore)
	if first, _ := night.Instant(m.in.Night.Date, m.in.Night.RemindFrom, m.in.Kitchen.Zone); at.Before(first) {
		at = first
	}
	return m.allowed(at)
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
