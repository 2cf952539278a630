// Package reading understands a text from a customer: what they want, in which
// vehicle they come, and when. It is pure: the same text in the same context
// gives the same reading, and every reading says why.
//
// The words and phrases are tables. To teach it a phrase, add a row to
// phrases.go (or phrases_other.go for another language) and a case to the
// tests; to teach it a word, add it to its class in classes.go.
package reading

import (
	"slices"
	"time"

	"passbell/internal/night"
)

// Intent is what a text is for.
type Intent string

// The intents, in the order in which they win when a text carries several.
const (
	Stop    Intent = "stop"
	Start   Intent = "start"
	Help    Intent = "help"
	Here    Intent = "here"
	Cancel  Intent = "cancel"
	Move    Intent = "move"
	Coming  Intent = "coming"
	Car     Intent = "car"
	Problem Intent = "problem"
	Ask     Intent = "ask"
	Thanks  Intent = "thanks"
	Other   Intent = "other"
)

// order is the order in which the intents win.
var order = [...]Intent{Stop, Start, Help, Here, Cancel, Move, Coming, Car, Problem, Ask, Thanks, Other}

// Intents lists the intents in their order.
func Intents() []Intent { return slices.Clone(order[:]) }

// Acts tells whether an intent asks for something to be done to an order.
func (i Intent) Acts() bool {
	switch i {
	case Here, Coming, Car, Move, Cancel, Problem, Ask:
		return true
	case Stop, Start, Help, Thanks, Other:
	}
	return false
}

// Context is what is known when a text comes in. The zero value reads a text
// from a stranger on no particular night.
type Context struct {
	Region string // ISO 3166-1 alpha-2; decides how times and plates are read
	Zone   *time.Location
	Date   night.Date  // of the night
	First  night.Clock // first slot
	Last   night.Clock // last slot
	At     time.Time   // when the text was sent

	Known bool          // the sender's number is in the order book
	Slots []night.Clock // slots of the sender's orders that are not handed out, earliest first
	Facts Facts
	Book  Book // nil where there is no order book
}

// Facts are what earlier texts of the same sender said.
type Facts struct {
	Vehicle   night.Vehicle // announced or described earlier
	Arrived   bool          // said to be there
	ArrivedAt time.Time     // when they last said so
	Served    bool          // has the food, or has thanked for it, after arriving
	OptedOut  bool
	Cancelled bool
}

// Book tells whether a word of a text is a reference or a name of the night's
// order book. Words are as Tokens writes them.
type Book interface {
	IsRef(word string) bool
	IsName(word string) bool
	// Refs are the references in upper case, letters and digits only.
	Refs() map[string]struct{}
	// Plates maps the folded form (see plates.Fold) of the plates that are
	// declared so far to how they were declared.
	Plates() map[string]string
}

// Reading is what was understood of a text.
type Reading struct {
	Intent  Intent
	Vehicle night.Vehicle
	Due     *night.Clock // when the sender expects to arrive; for Coming
	To      *night.Clock // the time asked for; for Move
	Asks    bool         // a person has to read it, whoever sent it
	Allergy bool
	Got     bool         // says that the food has been received
	Waits   bool         // nobody has come out to them
	Slot    *night.Clock // the last time named, which may tell one order from another
	// SlotNamed is set where Slot is said to be the slot of an order.
	SlotNamed bool
	Why       string // one plain sentence

	Tokens []Token // the words, for the matcher
	// Said is the sentence in Tokens that settled the intent, from and to; both
	// 0 where none did.
	Said [2]int
}

// serviceBefore and serviceAfter widen the collection hours: people come early
// and late (common practice, no source).
const (
	serviceBefore = 45
	serviceAfter  = 90
	dueBefore     = 45
	// settling is for how long after arriving a text adds to the arrival.
	settling = 15 * time.Minute
)

func (c *Context) zone() *time.Location {
	if c.Zone == nil {
		return time.UTC
	}
	return c.Zone
}

func (c *Context) now() night.Clock { return night.ClockOf(c.At.In(c.zone())) }

func (c *Context) today() bool { return night.DateOf(c.At.In(c.zone())) == c.Date }

// serving tells whether customers may be at the collection point now.
func (c *Context) serving() bool {
	now := int(c.now())
	return c.today() && now >= int(c.First)-serviceBefore && now <= int(c.Last)+serviceAfter
}

// due tells whether the sender may be expected at the collection point now: a
// stranger always may.
func (c *Context) due() bool {
	if !c.serving() {
		return false
	}
	if len(c.Slots) == 0 || c.Facts.Arrived {
		return true
	}
	return int(c.now()) >= int(c.Slots[0])-dueBefore
}

// near is the time around which the sender's times lie.
func (c *Context) near() night.Clock {
	if len(c.Slots) > 0 {
		return c.Slots[0]
	}
	if c.serving() {
		return c.now()
	}
	return (c.First + c.Last) / 2
}
