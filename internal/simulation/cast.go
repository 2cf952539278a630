package simulation

import (
	"fmt"
	"math/rand/v2"
	"time"

	"passbell/internal/night"
)

// party is one customer with one order or more.
type party struct {
	number  int
	phone   string // the number in the order book; "" for none
	other   string // the phone of whoever comes instead
	dead    bool   // the number takes no texts
	orders  []*booking
	lines   []line
	comes   bool
	arrival time.Duration // after the slot of their first order
	last    bool          // they come when they were given up already
	present bool
}

// booking is an order as it stands in the book.
type booking struct {
	ref   string
	name  string
	slot  night.Clock
	late  bool // booked when orders were closed already
	party *party
}

// line is one text of a customer.
type line struct {
	from  string
	text  string
	means string
	ref   string        // the order that it is about; "" for all of the party's
	to    night.Clock   // for moves
	after time.Duration // after the instructions were due, or after the slot
	base  base
}

type base int

const (
	fromInstructions base = iota
	fromSlot
)

func givenNames() []string {
	return []string{"Ada", "Bruno", "Carys", "Dev", "Elin", "Farah", "Gwen", "Hugo", "Ines", "Jonas", "Kemi", "Lena", "Milo", "Nadia", "Oskar", "Priya", "Rhys", "Sana", "Tomas", "Una", "Viggo", "Wren", "Yusuf", "Zelda"}
}

func familyNames() []string {
	return []string{"Abernathy", "Birtwhistle", "Culpepper", "Dankworth", "Entwistle", "Fothergill", "Garrowby", "Hathersage", "Inglethorpe", "Jellicoe", "Kettlewell", "Lonsdale", "Mossgrave", "Nettleship", "Oglethorpe", "Pendlebury", "Quarmby", "Ravenscar", "Satterthwaite", "Thistlewood", "Umfreville", "Vavasour", "Wigglesworth", "Yarborough"}
}

// name gives the full name of the i-th order; no two are the same.
func name(i int) string {
	given, family := givenNames(), familyNames()
	return given[i%len(given)] + " " + family[(i+i/len(given))%len(family)]
}

// party draws a customer with at most room orders, the first of which is the
// booked-th of the night.
func (c *scenario) party(r *rand.Rand, i, room, booked int) *party {
	p := &party{number: i, phone: number(c.kitchen.Region, i), other: number(c.kitchen.Region, 400+i), comes: true}
	count := min(room, pick(r, 1, 1, 1, 1, 1, 1, 2, 2, 2, 3))
	slots := c.night.Slots()
	late := chance(r, 0.12)
	for k := range count {
		p.orders = append(p.orders, &booking{
			ref: fmt.Sprintf("D%d", 101+booked+k), name: name(booked + k), slot: pick(r, slots...), late: late || chance(r, 0.05), party: p,
		})
	}
	switch {
	case chance(r, 0.05):
		p.phone = ""
	case chance(r, 0.05):
		p.dead = true
	}
	p.arrival = time.Duration(r.IntN(13*60)-4*60) * time.Second
	c.lines(r, p)
	return p
}

// lines draws what a customer writes.
func (c *scenario) lines(r *rand.Rand, p *party) {
	first := p.orders[0]
	write := func(b base, after time.Duration, from, means, ref, text string) {
		if from != "" {
			p.lines = append(p.lines, line{from: from, text: text, means: means, ref: ref, after: after, base: b})
		}
	}
	minutes := func(from, to int) time.Duration { return time.Duration(from*60+r.IntN((to-from)*60+1)) * time.Second }
	if chance(r, 0.25) {
		write(fromInstructions, minutes(1, 90), p.phone, "thanks", "", "Thanks, see you then")
	}
	switch r.IntN(16) {
	case 0:
		write(fromInstructions, minutes(1, 120), p.phone, "stop", "", "STOP")
		if chance(r, 0.5) {
			write(fromInstructions, minutes(20, 240), p.phone, "start", "", "START")
			if chance(r, 0.5) {
				write(fromInstructions, minutes(60, 300), p.phone, "stop", "", "STOP")
			}
		}
	case 1:
		write(fromSlot, -minutes(1, 300), p.phone, "stop", "", "Stop")
	case 2:
		write(fromInstructions, minutes(2, 120), p.phone, "cancel", first.ref, "Sorry, please cancel order "+first.ref)
	case 3:
		write(fromSlot, -minutes(5, 200), p.phone, "cancel", first.ref, "Please cancel my order "+first.ref)
	case 4, 5:
		to := pick(r, c.night.Slots()...)
		l := line{from: p.phone, means: "move", ref: first.ref, to: to, text: fmt.Sprintf("Could I come at %s instead? Order %s", to, first.ref), after: minutes(2, 120), base: pick(r, fromInstructions, fromSlot)}
		if l.base == fromSlot {
			l.after = -l.after
		}
		if p.phone != "" {
			p.lines = append(p.lines, l)
		}
	case 6:
		write(fromInstructions, minutes(2, 90), p.phone, "ask", "", "Are there nuts in the pork bao?")
	case 7:
		write(fromSlot, -minutes(0, 9), p.phone, "coming", "", "Running 10 minutes late, sorry")
		p.arrival += 10 * time.Minute
	case 8:
		write(fromInstructions, minutes(1, 60), p.phone, "help", "", "HELP")
	}
	c.coming(r, p, write)
}

// coming draws whether and how a customer comes.
func (c *scenario) coming(r *rand.Rand, p *party, write func(b base, after time.Duration, from, means, ref, text string)) {
	first := p.orders[0]
	at := p.arrival + 20*time.Second
	switch r.IntN(12) {
	case 0:
		p.comes = false
	case 1:
		p.comes = false
		if chance(r, 0.5) { // they come after all
			p.comes, p.last = true, true
		}
	case 2, 3: // to the door, without a word
	case 4:
		write(fromSlot, at, p.other, "here", first.ref, "I'm here for order "+first.ref+", blue fiesta")
	case 5:
		write(fromSlot, at, p.other, "here", first.ref, "Hi, here to collect for "+first.name+", red van")
	case 6:
		write(fromSlot, at, p.other, "here", first.ref, "I'm outside in a white van")
	case 7:
		write(fromSlot, at, p.phone, "here", "", "here")
		write(fromSlot, at+time.Minute, p.phone, "car", "", "grey golf lx19 kto")
	case 8:
		p.arrival -= 12 * time.Minute
		write(fromSlot, at-12*time.Minute, p.phone, "here", "", "I'm here, grey golf lx19 kto")
	default:
		write(fromSlot, at, p.phone, "here", "", "I'm here, grey golf lx19 kto")
	}
	if chance(r, 0.1) {
		write(fromSlot, p.arrival+time.Duration(20+r.IntN(60))*time.Minute, p.phone, "thanks", "", "Delicious, thank you")
	}
}

// act is one thing that the cook does besides her usual rounds.
type act struct {
	what    string
	at      time.Time
	order   int         // which order, counted round
	other   int         // another one
	slot    night.Clock // for moves
	last    night.Clock
	minutes int
	number  int
}

func whatCooksDo() []string {
	return []string{
		"move", "move", "move back", "cancel", "cancel and undo", "undo", "resend", "resend elsewhere", "behind", "behind", "off", "off and on", "place",
		"slots", "number", "here", "here and undo", "out", "absent", "told", "collector", "split", "join", "split and join", "book", "whole book", "close", "by hand", "all again", "move all", "plan",
		"tick", "tick all", "tick all", "untick", "short", "short", "short at the gate", "found",
	}
}

// act draws what the cook does and when: mostly while texts are about to go, or
// in the evening.
func (c *scenario) act(r *rand.Rand, orders int) act {
	first := c.night.SlotAt(c.night.First, c.kitchen.Zone)
	a := act{what: pick(r, whatCooksDo()...), order: r.IntN(orders), other: r.IntN(orders), number: 700 + r.IntN(200), minutes: 5 * (1 + r.IntN(5))}
	if a.what == "off" && chance(r, 0.6) {
		a.what = "off and on"
	}
	slots := c.night.Slots()
	a.slot, a.last = pick(r, slots...), pick(r, slots...)
	if a.last < a.slot {
		a.slot, a.last = a.last, a.slot
	}
	switch r.IntN(4) {
	case 0:
		a.at = c.night.InstructAt.Add(time.Duration(r.IntN(4*60)-30) * time.Second)
	case 1:
		a.at = c.closeAt.Add(time.Duration(r.Int64N(int64(first.Sub(c.closeAt)))))
	case 2:
		a.at = first.Add(-c.night.RemindBefore).Add(time.Duration(r.IntN(60*60)-60) * time.Second)
	default:
		a.at = first.Add(time.Duration(r.IntN(2*60*60)-45*60) * time.Second)
	}
	if a.at.Before(c.start) {
		a.at = c.closeAt.Add(time.Duration(r.IntN(600)) * time.Second)
	}
	return a
}
