package plan

import (
	"time"

	"passbell/internal/night"
)

func (m *maker) allowed(t time.Time) time.Time {
	return m.in.Kitchen.Quiet.Allowed(t, m.in.Kitchen.Zone)
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
func (m *maker) remindAt(o *night.Order) time.Time {
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
