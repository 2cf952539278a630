package night

import (
	"fmt"
	"strings"
	"time"
)

// Clock is a wall time of day in whole minutes after midnight, 0 to 1439.
type Clock int

// ParseClock reads "HH:MM" on the 24-hour clock, with or without a leading
// zero.
func ParseClock(s string) (Clock, error) {
	h, m, _ := strings.Cut(s, ":")
	hour, okHour := number(h, 1, 23)
	minute, okMinute := number(m, 2, 59)
	if !okHour || !okMinute {
		return 0, fmt.Errorf("%q is not a time of day: write it as 16:30", s)
	}
	return Clock(hour*60 + minute), nil
}

// number reads one or two digits, at least so many, and nothing else.
func number(s string, least, highest int) (int, bool) {
	if len(s) < least || len(s) > 2 {
		return 0, false
	}
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = 10*n + int(s[i]-'0')
	}
	return n, n <= highest
}

// String writes the clock as "HH:MM".
func (c Clock) String() string {
	h, m := int(c)/60, int(c)%60
	return string([]byte{'0' + byte(h/10), '0' + byte(h%10), ':', '0' + byte(m/10), '0' + byte(m%10)})
}

// Add moves the clock by whole minutes and wraps at midnight.
func (c Clock) Add(minutes int) Clock {
	const day = 24 * 60
	return Clock(((int(c)+minutes)%day + day) % day)
}

// MarshalText writes the clock as "HH:MM".
func (c Clock) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads "HH:MM".
func (c *Clock) UnmarshalText(b []byte) error {
	v, err := ParseClock(string(b))
	if err != nil {
		return err
	}
	*c = v
	return nil
}

// ClockOf gives the wall time that t has in its own location.
func ClockOf(t time.Time) Clock {
	return Clock(t.Hour()*60 + t.Minute())
}

// Date is a plain calendar date, without a time or a zone.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

const dateLayout = "2006-01-02"

// ParseDate reads an ISO 8601 calendar date such as "2026-12-04".
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(dateLayout, s)
	if err != nil {
		return Date{}, fmt.Errorf("%q is not a date: write it as 2026-12-04", s)
	}
	return DateOf(t), nil
}

// DateOf gives the calendar date that t has in its own location.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// String writes the date as ISO 8601, "2026-12-04".
func (d Date) String() string { return d.noonUTC().Format(dateLayout) }

// AddDays moves the date by whole days.
func (d Date) AddDays(n int) Date { return DateOf(d.noonUTC().AddDate(0, 0, n)) }

// Weekday names the day of the week.
func (d Date) Weekday() time.Weekday { return d.noonUTC().Weekday() }

// Before tells whether d is earlier than e.
func (d Date) Before(e Date) bool { return d.noonUTC().Before(e.noonUTC()) }

// IsZero tells whether the date was never set.
func (d Date) IsZero() bool { return d == Date{} }

// Format writes the date with a layout of package time.
func (d Date) Format(layout string) string { return d.noonUTC().Format(layout) }

// MarshalText writes the date as ISO 8601.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads an ISO 8601 date.
func (d *Date) UnmarshalText(b []byte) error {
	v, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// noonUTC carries date arithmetic where no clock change can disturb it.
func (d Date) noonUTC() time.Time {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC)
}

// Fit says how a wall time met the zone's clock changes.
type Fit int

// A wall time exists once on most days. On the days that the clocks change it
// may not exist (Skipped) or exist twice (Twice).
const (
	Once Fit = iota
	Skipped
	Twice
)

// Instant turns a wall time into the moment it means, by RFC 5545 §3.3.5: a
// time that exists twice is the first of the two; a time that is skipped is
// read with the offset in force before the gap, so it lands after the gap.
// time.Date is not enough: in a gap or an overlap it takes a different side
// from zone to zone.
func Instant(d Date, c Clock, zone *time.Location) (time.Time, Fit) {
	wall := time.Date(d.Year, d.Month, d.Day, int(c)/60, int(c)%60, 0, 0, time.UTC)
	before := offsetAt(wall.Add(-24*time.Hour), zone)
	after := offsetAt(wall.Add(24*time.Hour), zone)
	first := wall.Add(-before) // the instant if the old offset still holds
	second := wall.Add(-after) // the instant if the new offset already holds
	firstHolds := offsetAt(first, zone) == before
	secondHolds := offsetAt(second, zone) == after
	switch {
	case before == after:
		return first, Once
	case firstHolds && secondHolds:
		return first, Twice
	case firstHolds:
		return first, Once
	case secondHolds:
		return second, Once
	}
	return first, Skipped
}

func offsetAt(t time.Time, zone *time.Location) time.Duration {
	_, seconds := t.In(zone).Zone()
	return time.Duration(seconds) * time.Second
}
