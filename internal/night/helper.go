package night

import "time"

// Helper is somebody who helps on one night and sees less than the cook does.
type Helper struct {
	ID      int64
	NightID int64
	Name    string
	MadeAt  time.Time
	Expires time.Time
	Ended   time.Time // zero while the link works
}

// Works tells whether a helper's link works at a moment.
func (h Helper) Works(at time.Time) bool { return h.Ended.IsZero() && at.Before(h.Expires) }

// helpAfter is how long after the last slot helpers are still at work.
const helpAfter = 3 * time.Hour

// HelpUntil is when the night ends for whoever comes or helps by a link.
func (n Night) HelpUntil(zone *time.Location) time.Time { return n.SlotAt(n.Last, zone).Add(helpAfter) }
