package reading

import "passbell/internal/night"

// resolve turns a time of day as said into one of the night: in the half of the
// day that the night lies in, and for "half past" the hour that fits best.
func (c *Context) resolve(m moment) night.Clock {
	now, near := c.now(), c.near()
	if m.hour < 0 {
		best, cost := night.Clock(0), 1<<30
		for h := range 24 {
			cand := night.Clock(h*60 + m.min)
			d := abs(int(cand - near))
			if c.today() && cand < now {
				d += 24 * 60
			}
			if d < cost {
				best, cost = cand, d
			}
		}
		return best
	}
	said := night.Clock((m.hour*60 + m.min) % (24 * 60))
	if m.fixed {
		return said
	}
	other := said.Add(12 * 60)
	if c.misfit(other) < c.misfit(said) {
		return other
	}
	return said
}

// misfit says how far a time lies from the hours in which customers come.
func (c *Context) misfit(t night.Clock) int {
	lo, hi := int(c.First)-60, int(c.Last)+120
	switch v := int(t); {
	case v < lo:
		return lo - v
	case v > hi:
		return v - hi
	}
	return 0
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
