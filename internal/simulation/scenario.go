package simulation

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/night"
)

// scenario is a night before anything has happened. It hangs on the seed alone,
// and every part of it on a stream of its own.
type scenario struct {
	start     time.Time
	kitchen   night.Kitchen
	night     night.Night
	closeAt   time.Time
	routes    desk.Routes
	dispatch  dispatch.Config // what there is to choose
	instances int
	wrong     time.Duration // by how much the clock of the last instance is ahead of the others'; below zero for behind
	parties   []*party
	orders    []*booking
	acts      []act
	mishaps   []mishap
	network   map[string]bool // the kinds of mishap on the network
	parts     []string        // the names of all parts
}

// Parts names the parts of a night that can be left out.
func Parts(seed uint64, most int) []string { return newScenario(seed, most, nil).parts }

// chance is true with probability p.
func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

func pick[T any](r *rand.Rand, list ...T) T { return list[r.IntN(len(list))] }

func newScenario(seed uint64, most int, keep []string) *scenario {
	c := &scenario{network: map[string]bool{}}
	kept := func(name string) bool {
		c.parts = append(c.parts, name)
		return keep == nil || slices.Contains(keep, name)
	}
	r := stream(seed, "world")
	c.place(r)
	c.times(r)
	c.ways(r)
	c.instances = pick(r, 1, 1, 2, 2, 2, 3)
	if c.instances > 1 && !kept("instances") {
		c.instances = 1
	}
	if r := stream(seed, "clocks"); c.instances > 1 && chance(r, 0.3) && kept("clocks") {
		c.wrong = time.Duration(pick(r, 10*60, -60*60, r.IntN(20*60)-10*60, 1+r.IntN(3), -1-r.IntN(3))) * time.Second
	}
	// Most nights are small: whatever goes wrong goes wrong there soonest.
	u := r.Float64()
	want := 1 + int(u*u*u*float64(max(1, most)))
	want = min(want, max(1, most))
	booked := 0
	for i := 0; booked < want; i++ {
		p := c.party(stream(seed, fmt.Sprintf("party %d", i)), i, want-booked, booked)
		booked += len(p.orders)
		if kept(fmt.Sprintf("p%d", i)) {
			c.parties = append(c.parties, p)
			c.orders = append(c.orders, p.orders...)
		}
	}
	for i := range r.IntN(5 + want/2) {
		a := c.act(stream(seed, fmt.Sprintf("act %d", i)), want)
		if kept(fmt.Sprintf("a%d", i)) {
			c.acts = append(c.acts, a)
		}
	}
	for _, name := range networkMishaps() {
		if chance(r, 0.6) && kept(name) {
			c.network[name] = true
		}
	}
	count := r.IntN(9 + want/3)
	if chance(r, 0.15) { // a night on which nothing breaks
		count = 0
	}
	for i := range count {
		m := newMishap(stream(seed, fmt.Sprintf("mishap %d", i)), want)
		if m.name = fmt.Sprintf("m%d", i); kept(m.name) {
			c.mishaps = append(c.mishaps, m)
		}
	}
	return c
}

func newMishap(r *rand.Rand, orders int) mishap {
	often := points(orders)
	m := mishap{point: pick(r, slices.Sorted(maps.Keys(often))...)}
	m.nth = 1 + r.IntN(often[m.point])
	switch r.IntN(13) {
	case 10, 11, 12:
		m.slow, m.turns = time.Duration(20+r.IntN(300))*time.Second, 1+r.IntN(3)
		if chance(r, 0.1) {
			m.slow = time.Duration(1+r.IntN(5)) * time.Hour
		}
		if chance(r, 0.4) {
			m.point, m.nth = sending, 1+r.IntN(often[sending])
		}
	case 0, 1, 2, 3, 4, 5:
		m.die = pick(r, before, after)
	case 6, 7:
		m.fail, m.turns = pick(r, before, after), 1+r.IntN(6)
	case 8:
		m.jump = time.Duration(10+r.IntN(240)) * time.Minute
		if chance(r, 0.5) { // just past a lease
			m.jump = time.Duration(60+r.IntN(120)) * time.Second
		}
	case 9:
		m.jump = -time.Duration(1+r.IntN(15*60)) * time.Second
	}
	return m
}

// place draws where and on which date: often about a change of the clocks.
func (c *scenario) place(r *rand.Rand) {
	zone, region := "Europe/London", "GB"
	if chance(r, 0.4) {
		zone, region = "America/New_York", "US"
	}
	loc, err := time.LoadLocation(zone)
	if err != nil {
		panic(err) // both zones are in every copy of the zone database
	}
	c.kitchen = night.Kitchen{
		Name: "Larkfield Dumpling Kitchen", Region: region, Zone: loc, Number: number(region, 999),
		Quiet: pick(r, night.Quiet{From: 21 * 60, To: 8 * 60}, night.Quiet{From: 21 * 60, To: 8 * 60}, night.Quiet{From: 22 * 60, To: 6*60 + 30}, night.Quiet{}, night.Quiet{From: 30, To: 3*60 + 15}, night.Quiet{From: 60, To: 90}),
	}
	year := 2026 + r.IntN(3)
	var date night.Date
	switch r.IntN(10) {
	case 0, 1, 2:
		date = clockChange(region, year, true).AddDays(r.IntN(3) - 1)
	case 3, 4, 5:
		date = clockChange(region, year, false).AddDays(r.IntN(3) - 1)
	default:
		date = night.Date{Year: year, Month: time.January, Day: 1}.AddDays(r.IntN(365))
	}
	n := night.Night{
		Date: date, Every: pick(r, 10, 10, 10, 5, 15, 20), Capacity: pick(r, 0, 0, 2, 6), Place: "5 Mill Lane, Larkfield", Parking: "in the lay-by",
		RemindBefore: pick(r, 0, time.Hour, 3*time.Hour, 5*time.Hour, 5*time.Hour, 20*time.Hour, 26*time.Hour), RemindFrom: night.Clock(pick(r, 0, 7*60, 9*60, 9*60)),
	}
	for {
		n.First = night.Clock(pick(r, 16*60, 16*60+30, 17*60, 18*60, 18*60+30, 11*60+30, 3*60, 1*60+30, 5*60+45, 21*60))
		n.Last = n.First + night.Clock(n.Every*(1+r.IntN(8)))
		if n.Validate(loc) == nil {
			break
		}
	}
	c.night = n
}

// clockChange gives the day on which the clocks go forward or back: in the
// United Kingdom the last Sunday of March and of October (Summer Time Order
// 2002), in the United States the second Sunday of March and the first of
// November (15 U.S.C. 260a). From memory.
func clockChange(region string, year int, forward bool) night.Date {
	month, nth := time.March, 2
	switch {
	case region == "US" && !forward:
		month, nth = time.November, 1
	case region == "GB" && forward:
		nth = -1
	case region == "GB":
		month, nth = time.October, -1
	}
	first := night.Date{Year: year, Month: month, Day: 1}
	sunday := first.AddDays((7 - int(first.Weekday())) % 7)
	if nth > 0 {
		return sunday.AddDays(7 * (nth - 1))
	}
	for sunday.AddDays(7).Month == month {
		sunday = sunday.AddDays(7)
	}
	return sunday
}

// times draws when orders close, when the instructions go and when it begins.
func (c *scenario) times(r *rand.Rand) {
	days := pick(r, 0, 1, 1, 2, 3)
	at := night.Clock(pick(r, 18*60, 10*60, 20*60+50, 90, 150))
	if days == 0 {
		at = night.Clock(r.IntN(1 + int(c.night.First)))
	}
	c.night.InstructAt, _ = night.Instant(c.night.Date.AddDays(-days), at, c.kitchen.Zone)
	c.night.ClosesAt = c.night.InstructAt
	c.closeAt = c.night.InstructAt.Add(time.Duration(r.IntN(300)-180) * time.Minute)
	if first := c.night.SlotAt(c.night.First, c.kitchen.Zone); !c.closeAt.Before(first) {
		c.closeAt = first.Add(-10 * time.Minute)
	}
	c.start = c.closeAt.Add(-2 * time.Hour).UTC()
}

// ways draws how texts leave.
func (c *scenario) ways(r *rand.Rand) {
	c.routes = desk.Routes{{Adapter: "texts"}}
	c.dispatch = dispatch.Config{
		Window: pick(r, 1, 2, 4), PerSecond: pick[float64](r, 1000, 1000, 2), Gap: pick(r, 0, 0, 5*time.Second), Timeout: 30 * time.Second,
		Retry: dispatch.Retry{First: 5 * time.Second, Cap: 5 * time.Minute, Attempts: 6},
	}
	if chance(r, 0.35) {
		c.routes = append(c.routes, desk.Route{Adapter: "spare"})
		c.dispatch.FallAfter = pick(r, 0, time.Minute, 5*time.Minute)
		c.dispatch.FallUnconfirmed = pick(r, 0, 0, 0, 10*time.Minute)
	}
}

// number gives a number that is reserved for fiction: in the United Kingdom
// 07700 900000 to 900999 (Ofcom, numbers for drama use), in North America
// 555-0100 to 555-0199 behind any area code (North American Numbering Plan).
func number(region string, i int) string {
	if region == "GB" {
		return fmt.Sprintf("+447700900%03d", i)
	}
	areas := []int{212, 315, 332, 347, 518, 607, 716, 845, 914, 917}
	return fmt.Sprintf("+1%d55501%02d", areas[i/100], i%100)
}
