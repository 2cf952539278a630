package web

import (
	"errors"
	"fmt"
	"html/template"
	"regexp"
	"strings"
	"time"

	"github.com/nyaruka/phonenumbers"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/wording"
)

// slot writes a time of day as people of the kitchen's region do.
func (s *site) slot(c night.Clock) string {
	return wording.FactsFor(s.Kitchen, night.Night{}, []night.Order{{Slot: c}}, s.lang).Slot
}

// clock writes the time of day of a moment.
func (s *site) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return s.slot(night.ClockOf(t.In(s.Kitchen.Zone)))
}

// day writes a date in full.
func (s *site) day(d night.Date) string {
	return wording.FactsFor(s.Kitchen, night.Night{Date: d}, nil, s.lang).Day
}

// when writes a moment, with its day where that is not the night's.
func (s *site) when(n night.Night, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	if d := night.DateOf(t.In(s.Kitchen.Zone)); d != n.Date {
		return wording.FactsFor(s.Kitchen, night.Night{Date: d}, nil, s.lang).Date + ", " + s.clock(t)
	}
	return s.clock(t)
}

// span writes how long something has been, in whole minutes, from an hour on in
// hours too.
func span(d time.Duration) string {
	m := int(d.Minutes())
	switch {
	case m < 1:
		return "under 1 min"
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m < 24*60:
		return fmt.Sprintf("%d h %02d min", m/60, m%60)
	}
	return plural(m/(24*60), "day", "days")
}

// telURL is the address that rings a number. The template engine lets no such
// address through unless it is told that it is safe, and a number in E.164 is.
func telURL(e164 string) template.URL {
	if !isNumber(e164) {
		return ""
	}
	return template.URL("tel:" + e164) //nolint:gosec // a plus and digits
}

// choose gives one of two words in a template.
func choose(cond any, yes, no string) string {
	if truth, _ := template.IsTrue(cond); truth {
		return yes
	}
	return no
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// stateWords is an order's state as the kitchen says it.
func stateWords(s night.State) string {
	switch s {
	case night.Booked:
		return "not told yet"
	case night.Told:
		return "told"
	case night.Reminded:
		return "reminded"
	case night.Arrived:
		return "here"
	case night.HandedOut, night.Cancelled, night.NotCollected:
	}
	return string(s)
}

// messageStates are the states of a message, those that need somebody first.
var messageStates = []night.MessageState{
	night.Failed, night.InDoubt, night.Missed, night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Dropped,
}

// messageWords says what became of a text, and no more than is known: that a
// network took a text over does not mean that anybody has it.
func messageWords(s night.MessageState) string {
	switch s {
	case night.Due:
		return "waiting for its time"
	case night.Sending:
		return "being sent"
	case night.Sent:
		return "handed to the network, not confirmed"
	case night.Delivered:
		return "on the phone"
	case night.Failed:
		return "did not get through"
	case night.InDoubt:
		return "may not have got through"
	case night.ByHand:
		return "told by a person"
	case night.Missed:
		return "not sent in time"
	case night.Dropped:
		return "not sent: no longer true"
	}
	return string(s)
}

// kindWords names a text for the kitchen.
func kindWords(k night.MessageKind) string {
	switch k {
	case night.Nudge:
		return "nudge after the slot"
	case night.Reply:
		return "answer"
	case night.Confirmation:
		return "opt-out confirmation"
	case night.Resend:
		return "instructions again"
	case night.Instructions, night.Reminder, night.Update, night.Cancellation, night.Delay:
	}
	return string(k)
}

// capital makes a sentence of words.
func capital(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

// tell writes an event in plain words.
func tell(e night.Event) string {
	with := func(s string) string {
		if e.Why == "" {
			return s
		}
		return s + ": " + e.Why
	}
	switch e.What {
	case night.StepTaken:
		return with(stateWords(e.To))
	case night.StepUndone:
		return with(fmt.Sprintf("taken back: %s, was %s", stateWords(e.To), stateWords(e.From)))
	case night.OrderAdded:
		return with("added to the order book")
	case night.OrderChanged:
		return with("changed")
	case night.BagsPacked:
		return with("bags packed")
	case night.BagsUnpacked:
		return with("bags not packed after all")
	case night.VehicleNoted:
		return with("car")
	case night.ArrivalExpected:
		return with("says when they come")
	case night.MessagePlanned:
		return with("text planned")
	case night.MessageChanged:
		return with("text changed")
	case night.MessageWithdrawn:
		return with("text taken back")
	case night.MessageSettled:
		return with("text")
	case night.TextCame:
		return with("a text came in")
	case night.TextRead:
		return with("their text was read")
	case night.TextSettled:
		return with("their text was seen to")
	case night.OptedOut:
		return with("asked for no more texts")
	case night.OptedIn:
		return with("takes texts again")
	case night.NightAdded, night.NightChanged, night.BookLoaded, night.OrdersClosed:
	}
	return with(string(e.What))
}

// newPlate is the kind of British plate that is said in two halves.
var newPlate = regexp.MustCompile(`^[A-Z]{2}[0-9]{2}[A-Z]{3}$`)

// plateWords writes a plate as it is read off a car.
func plateWords(region, plate string) string {
	if region == "GB" && newPlate.MatchString(plate) {
		return plate[:4] + " " + plate[4:]
	}
	return plate
}

// national writes a number as people of its country do.
func national(e164 string) string {
	n, err := phonenumbers.Parse(e164, "")
	if err != nil {
		return e164
	}
	return phonenumbers.Format(n, phonenumbers.NATIONAL)
}

// done says what an act did.
func done(o night.Order, what string) notice {
	return notice{Text: fmt.Sprintf("%s %s: %s.", o.Ref, o.Name, what)}
}

// sorry says why an act was not done: what is true, what that means and what to
// do.
func sorry(o night.Order, act string, err error) notice {
	var step *night.StepError
	switch {
	case errors.As(err, &step):
		return sorryStep(o, act, step)
	case errors.Is(err, night.ErrNotFound):
		return notice{Bad: true, Text: "There is no such order on this night, so nothing was changed. Look for it under Orders."}
	case errors.Is(err, desk.ErrNothingToUndo):
		return notice{Bad: true, Text: fmt.Sprintf("%s %s is %s: there is nothing to take back.", o.Ref, o.Name, stateWords(o.State))}
	case errors.Is(err, night.ErrChanged):
		return notice{Bad: true, Text: fmt.Sprintf("Somebody else changed %s %s at the same moment, so nothing was done. See what it says now and tap again.", o.Ref, o.Name)}
	}
	return notice{Bad: true, Text: "Not done: " + err.Error() + "."}
}

func sorryStep(o night.Order, act string, step *night.StepError) notice {
	is := stateWords(o.State)
	already := map[night.Step]night.State{
		night.Arrive: night.Arrived, night.HandOut: night.HandedOut, night.Cancel: night.Cancelled, night.GiveUp: night.NotCollected,
	}
	if already[step.Step] == o.State {
		return notice{Text: fmt.Sprintf("%s %s is %s already. Nothing was done twice.", o.Ref, o.Name, is)}
	}
	fix := "Take that back first if it is wrong."
	if o.State == night.Arrived {
		fix = "They are outside: take that back first if it is wrong."
	}
	return notice{Bad: true, Text: fmt.Sprintf("%s %s is %s, so “%s” was not done. %s", o.Ref, o.Name, is, act, fix)}
}
