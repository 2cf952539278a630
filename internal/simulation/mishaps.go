package simulation

import "time"

// mishap is one thing that goes wrong inside, at the nth time that anybody
// comes to a point.
type mishap struct {
	name  string
	point string
	nth   int
	die   moment        // an instance crashes
	fail  moment        // the database does not answer
	turns int           // so many times in a row
	jump  time.Duration // the clock jumps
	slow  time.Duration // whoever comes there is held up, as in a machine that is suspended
}

type mishaps struct {
	list    []mishap
	count   map[string]int // of those who went on from a point
	came    map[string]int // of those who came there
	failing int
	how     moment
	crashes int
}

func newMishaps(list []mishap) mishaps {
	return mishaps{list: list, count: map[string]int{}, came: map[string]int{}}
}

// strike tells what befalls one who comes to a point.
func (m *mishaps) strike(point string) (v verdict, jump time.Duration) {
	m.count[point]++
	for _, x := range m.list {
		if x.point != point || x.nth != m.count[point] {
			continue
		}
		jump += x.jump
		if x.die != never {
			v.die = x.die
		}
		if x.fail != never {
			m.failing, m.how = x.turns, x.fail
		}
	}
	if v.die != never {
		m.crashes++
	}
	if m.failing > 0 && point != sending {
		m.failing--
		v.fail = m.how
	}
	return v, jump
}

// hold tells for how long one who comes to a point is held up there.
func (m *mishaps) hold(point string) (d time.Duration) {
	m.came[point]++
	for _, x := range m.list {
		if x.point == point && m.came[point] >= x.nth && m.came[point] < x.nth+x.turns {
			d += x.slow
		}
	}
	return d
}

// points are all the places where something can go wrong, and about how often
// anybody comes there on a night of so many orders.
func points(orders int) map[string]int {
	return map[string]int{
		claim: 60, claimed: 2 + 2*orders, check: 2 + 2*orders, sending: 2 + 2*orders, dispatchRead: 60, dispatchWrite: 4 + 3*orders,
		inboxRead: 5, inboxWrite: 1 + orders, deskRead: 30, deskWrite: 10 + 5*orders,
	}
}
