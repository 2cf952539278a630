// Package night is the domain: a kitchen, its collection nights, the orders of
// a night, the messages to customers and what happened. It imports nothing but
// the standard library, and nothing here knows of clocks, files or networks.
package night

import (
	"fmt"
	"time"
)

// Kitchen is one business.
type Kitchen struct {
	ID     int64
	Name   string
	Region string         // ISO 3166-1 alpha-2, such as "GB"
	Zone   *time.Location // the clock that the kitchen and its customers live by
	Number string         // E.164 number that customers write to; "" where there is none
	Quiet  Quiet
}

// Quiet is the part of the day in which nothing is sent, in local time. It may
// span midnight. From equal to To means that there are no quiet hours.
type Quiet struct {
	From Clock
	To   Clock
}

// Holds tells whether the wall time c lies in the quiet hours: From is quiet,
// To is not.
func (q Quiet) Holds(c Clock) bool {
	if q.From <= q.To {
		return c >= q.From && c < q.To
	}
	return c >= q.From || c < q.To
}

// Allowed gives t, or the end of the quiet hours where t lies in them.
func (q Quiet) Allowed(t time.Time, zone *time.Location) time.Time {
	local := t.In(zone)
	if !q.Holds(ClockOf(local)) {
		return t
	}
	date := DateOf(local)
	if q.To <= ClockOf(local) {
		date = date.AddDays(1)
	}
	end, _ := Instant(date, q.To, zone)
	if end.After(t) && !q.Holds(ClockOf(end.In(zone))) {
		return end
	}
	// The clocks change about here and the end comes twice or not at all: go by
	// the minutes that the clock shows until it shows a time that is allowed.
	for end = t.Truncate(time.Minute); q.Holds(ClockOf(end.In(zone))); {
		end = end.Add(time.Minute)
	}
	return end
}

// Night is one collection night of a kitchen.
type Night struct {
	ID        int64
	KitchenID int64
	Date      Date
	First     Clock // first slot
	Last      Clock // last slot, itself bookable
	Every     int   // minutes from slot to slot; 10 by common practice, no source
	Capacity  int   // orders a slot can take; 0 where there is no limit
	Place     string
	Parking   string
	ClosesAt  time.Time
	// InstructAt is when the instructions go out.
	InstructAt time.Time
	// RemindBefore is how long before the customer's slot the reminder goes.
	RemindBefore time.Duration
	// RemindFrom is the earliest wall time on the night's date for a reminder.
	RemindFrom Clock
	ClosedAt   time.Time // zero while orders are still taken
	CalledOff  time.Time // zero while the night stands
}

// HasSlot tells whether c is one of the night's slots.
func (n Night) HasSlot(c Clock) bool {
	return n.Every > 0 && c >= n.First && c <= n.Last && int(c-n.First)%n.Every == 0
}

// Slots lists the night's slots from first to last.
func (n Night) Slots() []Clock {
	var out []Clock
	for c := n.First; n.Every > 0 && c <= n.Last; c += Clock(n.Every) {
		out = append(out, c)
	}
	return out
}

// SlotAt gives the moment at which slot c begins in the kitchen's zone.
func (n Night) SlotAt(c Clock, zone *time.Location) time.Time {
	t, _ := Instant(n.Date, c, zone)
	return t
}

// Validate says what is wrong with a night before it is stored. A slot that the
// clock change of the date skips or repeats is refused: no customer could know
// which moment is meant.
func (n Night) Validate(zone *time.Location) error {
	switch {
	case n.Date.IsZero():
		return fmt.Errorf("a night needs its date")
	case n.Every < 1 || n.Every > 180:
		return fmt.Errorf("slots of %d minutes: give 1 to 180, 10 is usual", n.Every)
	case n.First < 0 || n.Last >= 24*60:
		return fmt.Errorf("a slot is a time of day, from 00:00 to 23:59")
	case n.Last < n.First:
		return fmt.Errorf("the last slot %s is before the first %s", n.Last, n.First)
	case !n.HasSlot(n.Last):
		return fmt.Errorf("the last slot %s is not one of the slots that go from %s every %d minutes", n.Last, n.First, n.Every)
	case n.Capacity < 0:
		return fmt.Errorf("a capacity of %d: give 0 for no limit, or the orders that a slot can take", n.Capacity)
	case n.RemindBefore < 0:
		return fmt.Errorf("the reminder must go before the slot")
	}
	for _, c := range n.Slots() {
		switch _, fit := Instant(n.Date, c, zone); fit {
		case Skipped:
			return fmt.Errorf("slot %s does not exist on %s: the clocks go forward over it", c, n.Date)
		case Twice:
			return fmt.Errorf("slot %s comes twice on %s: the clocks go back over it", c, n.Date)
		case Once:
		}
	}
	return nil
}

// afterNight is how long after its last slot a night still counts as the
// current one: people come late, and complaints come later.
const afterNight = 8 * time.Hour

// Overdue tells whether orders should have been closed by now and are not, while
// there still is somebody to tell.
func (n Night) Overdue(now time.Time, zone *time.Location) bool {
	return n.ClosedAt.IsZero() && !n.ClosesAt.IsZero() && !now.Before(n.ClosesAt) && now.Before(n.SlotAt(n.Last, zone))
}

// Over tells whether a night no longer counts as the current one.
func (n Night) Over(now time.Time, zone *time.Location) bool {
	return n.SlotAt(n.Last, zone).Add(afterNight).Before(now)
}

// Earliest gives the date and the last slot from which on nights are not over:
// those that end before it are, see Over.
func Earliest(now time.Time, zone *time.Location) (Date, Clock) {
	at := now.Add(-afterNight).In(zone)
	if whole := at.Truncate(time.Minute); whole.Before(at) {
		at = whole.Add(time.Minute) // a slot that began within this minute is over
	}
	return DateOf(at), ClockOf(at)
}

// Current gives the night that is being worked on at now: the first that is
// not over, else the latest. ok is false where there is none.
func Current(nights []Night, now time.Time, zone *time.Location) (current Night, ok bool) {
	var latest Night
	for _, n := range nights {
		over := n.Over(now, zone)
		switch {
		case !over && (!ok || n.Date.Before(current.Date)):
			current, ok = n, true
		case over && (latest.Date.IsZero() || latest.Date.Before(n.Date)):
			latest = n
		}
	}
	if ok {
		return current, true
	}
	return latest, !latest.Date.IsZero()
}
