package rehearsal

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"passbell/internal/night"
)

// Cast is everybody who appears in a rehearsal and what they will do. It hangs
// on the seed alone.
type Cast struct {
	seed    uint64
	rows    []*row
	parties []*party
	strange []aside
	slip    bool // the helper once marks the wrong order
}

// row is one line of the order book, and what must become of it.
type row struct {
	ref   string
	name  string
	typed string // the number as it stands in the book
	slot  night.Clock
	items string
	note  string
	late  bool // booked after orders were closed
	party *party
	want  night.State
	ends  night.Clock // the slot that it ends with
}

// party is one customer, or a household with several orders.
type party struct {
	rows       []*row
	phone      string // the E.164 number that the kitchen texts; "" where it has none
	from       string // the phone that they write from on the night
	fate       fate
	onTold     *line  // what they write when the instructions come
	onRemind   *line  // what they write when the reminder comes
	beforehand []line // what they write on the night, counted from their slot
	comes      bool
	arrival    time.Duration // when they are there, counted from their slot
	afterAll   bool          // they come when they were given up
	onArrival  []line        // what they write then, counted from their arrival
	patience   time.Duration // after it they come to the door
	carry      time.Duration // from being seen to having their bags
	afterwards *line         // what they write once they have eaten

	present, served, beingServed, checked bool
	told, reminded                        bool
}

// line is one text of a customer, when, and what it truly means.
type line struct {
	after time.Duration
	means meaning
	text  string
	to    night.Clock // for moves
}

type meaning string

const (
	meansThanks meaning = "thanks"
	meansCar    meaning = "car"
	meansHere   meaning = "here"
	meansComing meaning = "coming"
	meansMove   meaning = "move"
	meansCancel meaning = "cancel"
	meansStop   meaning = "stop"
	meansAsk    meaning = "ask"
	meansOther  meaning = "other"
)

// aside is a text from somebody who ordered nothing.
type aside struct {
	from string
	slot night.Clock // when it comes, on the night
	text string
}

// fate is what the network has in store for a number.
type fate int

const (
	asDrawn    fate = iota
	neverTakes      // refused for good
	losesFirst      // the answer to the first text is lost
	lateNews        // the first receipt takes hours
)

// role is a kind of customer.
type role int

const (
	writesAll role = iota
	writesTwice
	writesPlate
	writesRef
	partnerComes
	onFoot
	toTheDoor
	early
	saysLate
	lateAndSilent
	asksFirst
	asksAllergy
	announces
	moves
	cancelsEarly
	cancelsOnTheDay
	stopsTexts
	neverComes
	comesAfterAll
	household
	landline
	noNumber
	deadNumber
	lostAnswer
	slowReceipt
	bookedLate
)

// deck is the roles that a night of sixty has at least; what is left is drawn
// from common.
func deck() []role {
	return []role{
		household, landline, landline, noNumber, deadNumber, lostAnswer, slowReceipt, bookedLate,
		moves, moves, cancelsEarly, cancelsOnTheDay, stopsTexts, neverComes, neverComes, comesAfterAll,
		partnerComes, partnerComes, partnerComes, onFoot, onFoot, toTheDoor, toTheDoor, toTheDoor, toTheDoor,
		early, early, early, saysLate, saysLate, saysLate, saysLate, saysLate, lateAndSilent,
		asksFirst, asksFirst, asksFirst, asksAllergy, announces, announces, announces,
		writesTwice, writesTwice, writesTwice, writesTwice, writesTwice, writesPlate, writesPlate, writesPlate, writesRef, writesRef,
	}
}

func common() []role {
	return []role{writesAll, writesAll, writesAll, writesAll, writesTwice, writesPlate, toTheDoor, early, saysLate, announces}
}

const (
	firstSlot = night.Clock(16*60 + 30)
	lastSlot  = night.Clock(19*60 + 30)
	slotEvery = 10
	// mostOrders bounds a rehearsal: the numbers and names last for it.
	mostOrders = 150
	// lastMoment is the latest, after the last slot, that a customer who is
	// still waited for comes.
	lastMoment = 26 * time.Minute
)

// caster draws a cast.
type caster struct {
	rnd    *rand.Rand
	cast   Cast
	firsts []string
	lasts  []string
	tails  []int // last three digits of the numbers not yet given away
	refs   []int
	taken  map[night.Clock]int
	room   int // orders that a slot can take
}

// NewCast draws a night of as many orders as asked for, 1 to 150.
func NewCast(seed uint64, orders int) (Cast, error) {
	if orders < 1 || orders > mostOrders {
		return Cast{}, fmt.Errorf("a rehearsal of %d orders: give 1 to %d", orders, mostOrders)
	}
	rnd := rand.New(rand.NewPCG(seed, 0x4c61726b6669656c))
	c := &caster{
		rnd: rnd, firsts: firstNames(), lasts: surnames(), tails: rnd.Perm(1000), refs: rnd.Perm(orders),
		taken: map[night.Clock]int{}, room: 2 + orders/12,
	}
	rnd.Shuffle(len(c.firsts), func(i, j int) { c.firsts[i], c.firsts[j] = c.firsts[j], c.firsts[i] })
	rnd.Shuffle(len(c.lasts), func(i, j int) { c.lasts[i], c.lasts[j] = c.lasts[j], c.lasts[i] })
	c.cast.seed = seed
	roles := deck()
	for len(roles) < orders {
		roles = append(roles, pick(rnd, common()))
	}
	rnd.Shuffle(len(roles), func(i, j int) { roles[i], roles[j] = roles[j], roles[i] })
	for _, r := range roles {
		if left := orders - len(c.cast.rows); left == 0 {
			break
		} else if r == household && left < 2 {
			r = writesAll
		}
		c.add(r)
	}
	for range 1 + rnd.IntN(3) {
		c.cast.strange = append(c.cast.strange, aside{from: c.number(), slot: night.Clock(10*60 + rnd.IntN(10*60)), text: strange(rnd)})
	}
	c.cast.slip = chance(rnd, 0.5)
	// An order book comes in the order of booking, which is none of ours.
	slices.SortFunc(c.cast.rows, func(a, b *row) int { return cmp.Compare(a.ref, b.ref) })
	return c.cast, nil
}

// number gives a mobile number that is reserved for fiction (Ofcom, numbers for
// drama use: 07700 900000 to 900999).
func (c *caster) number() string {
	n := c.tails[0]
	c.tails = c.tails[1:]
	return fmt.Sprintf("+447700900%03d", n)
}

// typed writes a number in one of the ways people do.
func (c *caster) typed(e164 string) string {
	tail := e164[len("+447700900"):]
	return pick(c.rnd, []string{"07700 900", "07700900", "+44 7700 900", "07700-900-", "(07700) 900", "7700900"}) + tail
}

// slot draws a slot that has room, away from other where that is a slot.
func (c *caster) slot(other night.Clock) night.Clock {
	for {
		s := firstSlot + night.Clock(slotEvery*c.rnd.IntN(1+int(lastSlot-firstSlot)/slotEvery))
		if near := s - other; c.taken[s] < c.room && (near > 20 || near < -20) {
			c.taken[s]++
			return s
		}
	}
}

// add draws one customer with an order, or a household with two.
func (c *caster) add(r role) {
	p := &party{phone: c.number(), comes: true}
	p.from = p.phone
	first, last := c.firsts[0], c.lasts[0]
	c.firsts, c.lasts = c.firsts[1:], c.lasts[1:]
	o := c.row(p, first+" "+last, c.typed(p.phone), c.slot(0))
	if r == household {
		second := c.row(p, pick(c.rnd, c.firsts)+" "+last, c.typed(p.phone), min(o.slot+slotEvery, lastSlot))
		second.note = ""
	}
	c.timing(p)
	c.behave(r, p)
	for _, o := range p.rows {
		if !p.comes && o.want == night.HandedOut {
			o.want = night.NotCollected
		}
	}
	c.cast.parties = append(c.cast.parties, p)
}

func (c *caster) row(p *party, name, typed string, slot night.Clock) *row {
	o := &row{
		ref: fmt.Sprintf("L%d", 101+c.refs[len(c.cast.rows)]), name: name, typed: typed, slot: slot, ends: slot,
		items: items(c.rnd), party: p, want: night.HandedOut,
	}
	switch {
	case chance(c.rnd, 0.12):
		o.note = pick(c.rnd, allergyNotes())
	case chance(c.rnd, 0.2):
		o.note = pick(c.rnd, plainNotes())
	}
	p.rows = append(p.rows, o)
	c.cast.rows = append(c.cast.rows, o)
	return o
}

// timing draws what every customer has: a time to come, patience, thanks.
func (c *caster) timing(p *party) {
	p.arrival = c.between(-3*time.Minute, 5*time.Minute)
	p.patience = c.between(8*time.Minute, 12*time.Minute)
	p.carry = c.between(2*time.Minute, 4*time.Minute)
	if chance(c.rnd, 0.45) {
		p.onTold = &line{after: c.between(time.Minute, 100*time.Minute), means: meansThanks, text: thanks(c.rnd)}
	}
	if chance(c.rnd, 0.35) {
		p.onRemind = &line{after: c.between(time.Minute, 70*time.Minute), means: meansThanks, text: thanks(c.rnd)}
	}
	if chance(c.rnd, 0.2) {
		p.afterwards = &line{after: c.between(20*time.Minute, 75*time.Minute), means: meansThanks, text: thanksAfter(c.rnd)}
	}
}

// between draws whole seconds.
func (c *caster) between(from, to time.Duration) time.Duration {
	return from + time.Duration(c.rnd.Int64N(int64((to-from)/time.Second)+1))*time.Second
}

// arrives sets what a customer writes on arrival, one text or two.
func (p *party) arrives(texts ...string) {
	p.onArrival = nil
	after := 20 * time.Second
	for i, t := range texts {
		means := meansHere
		if i > 0 {
			means = meansCar
		}
		p.onArrival = append(p.onArrival, line{after: after, means: means, text: t})
		after += 70 * time.Second
	}
}

// behave writes the script of one customer.
func (c *caster) behave(r role, p *party) {
	rnd, theirs := c.rnd, newCar(c.rnd)
	o := p.rows[0]
	p.arrives(arrivalWithCar(rnd, theirs))
	if chance(rnd, 0.15) {
		p.beforehand = append(p.beforehand, line{after: p.arrival - c.between(12*time.Minute, 20*time.Minute), means: meansComing, text: onTheWay(rnd)})
	}
	switch r {
	case writesAll, bookedLate, lostAnswer, slowReceipt:
	case writesTwice:
		p.arrives(arrivalBare(rnd), secondText(rnd, theirs))
	case writesPlate:
		p.arrives(plateOnly(rnd, theirs))
	case writesRef:
		p.arrives(arrivalForRef(rnd, o.ref, theirs))
	case partnerComes:
		p.from = c.number()
		p.beforehand = nil
		p.arrives(arrivalForName(rnd, o.name, theirs))
	case onFoot:
		p.arrives(arrivalOnFoot(rnd))
	case toTheDoor:
		c.silent(p)
	case early:
		p.arrival = c.between(-12*time.Minute, -5*time.Minute)
	case saysLate:
		minutes := 5 * (1 + rnd.IntN(4))
		p.beforehand = []line{{after: c.between(-9*time.Minute, time.Minute), means: meansComing, text: late(rnd, minutes)}}
		p.arrival = time.Duration(minutes)*time.Minute + c.between(-2*time.Minute, 3*time.Minute)
	case lateAndSilent:
		p.arrival = c.between(12*time.Minute, 24*time.Minute)
	case asksFirst:
		p.onTold = &line{after: c.between(2*time.Minute, 90*time.Minute), means: meansAsk, text: question(rnd)}
	case asksAllergy:
		p.onTold = &line{after: c.between(2*time.Minute, 90*time.Minute), means: meansAsk, text: allergyQuestion(rnd)}
	case announces:
		p.onTold = &line{after: c.between(2*time.Minute, 90*time.Minute), means: meansCar, text: announcesCar(rnd, theirs)}
		p.arrives(arrivalBare(rnd))
	case household:
		p.arrives(arrivalForBoth(rnd, theirs))
	default:
		c.behaveOddly(r, p, theirs)
	}
	// Whoever is waited for comes before the kitchen stops waiting.
	if most := time.Duration(lastSlot-o.ends)*time.Minute + lastMoment; p.arrival > most {
		p.arrival = most
	}
	switch r {
	case deadNumber:
		p.fate = neverTakes
	case lostAnswer:
		p.fate = losesFirst
	case slowReceipt:
		p.fate = lateNews
	case bookedLate:
		o.late = true
	default:
	}
}

// behaveOddly writes the scripts of those who change something, can't be texted
// or don't come.
func (c *caster) behaveOddly(r role, p *party, theirs car) {
	rnd, o := c.rnd, p.rows[0]
	never := func() {
		p.comes, p.beforehand, p.onArrival, p.afterwards = false, nil, nil, nil
	}
	switch r {
	case moves:
		o.ends = c.slot(o.slot)
		p.onTold = &line{after: c.between(5*time.Minute, 80*time.Minute), means: meansMove, text: moveTo(rnd, o.ends), to: o.ends}
	case cancelsEarly:
		never()
		o.want = night.Cancelled
		p.onTold = &line{after: c.between(5*time.Minute, 90*time.Minute), means: meansCancel, text: cancels(rnd)}
	case cancelsOnTheDay:
		never()
		o.want = night.Cancelled
		p.onRemind = &line{after: c.between(5*time.Minute, 60*time.Minute), means: meansCancel, text: cancels(rnd)}
	case stopsTexts:
		p.onTold = &line{after: c.between(2*time.Minute, 60*time.Minute), means: meansStop, text: stops(rnd)}
		p.beforehand, p.afterwards = nil, nil
		if chance(rnd, 0.5) {
			c.silent(p)
		}
	case neverComes:
		never()
	case comesAfterAll:
		p.afterAll, p.beforehand = true, nil
		p.arrives(arrivalAfterAll(rnd, theirs))
	case landline:
		c.unreachable(p, fmt.Sprintf("01632 960%03d", rnd.IntN(1000)))
	case noNumber:
		c.unreachable(p, "")
	case deadNumber:
		p.onTold, p.onRemind, p.beforehand, p.afterwards = nil, nil, nil, nil
		c.silent(p)
	default:
	}
}

// silent lets a customer come to the door without a text.
func (c *caster) silent(p *party) {
	p.onArrival, p.beforehand = nil, nil
	p.patience = c.between(20*time.Second, 90*time.Second)
}

func (c *caster) unreachable(p *party, typed string) {
	p.rows[0].typed = typed
	p.phone, p.from = "", ""
	p.onTold, p.onRemind, p.afterwards = nil, nil, nil
	c.silent(p)
}

// Book writes the order book as CSV; the orders that were booked late only where
// asked for.
func (c Cast) Book(late bool) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	if err := w.Write([]string{"order", "name", "phone", "slot", "items", "note"}); err != nil {
		return nil, err
	}
	for _, o := range c.rows {
		if o.late && !late {
			continue
		}
		if err := w.Write([]string{o.ref, o.name, o.typed, o.slot.String(), o.items, o.note}); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}
