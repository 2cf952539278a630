package web

import (
	"errors"
	"fmt"
	"html/template"
	"regexp"
	"strings"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/wording"
)

// facts are times and dates as the texts to customers write them: in the manner
// of the kitchen's region and of the language.
func (w *tongue) facts(d night.Date, orders ...night.Order) wording.Facts {
	return wording.FactsFor(night.Kitchen{Region: w.region}, night.Night{Date: d}, orders, w.lang)
}

// slot writes a time of day.
func (w *tongue) slot(c night.Clock) string { return w.facts(night.Date{}, night.Order{Slot: c}).Slot }

// day writes a date in full, date in short. Texts leave out the accent of a
// Saturday, as it would make them dearer; pages need not.
func (w *tongue) day(d night.Date) string {
	return strings.Replace(w.facts(d).Day, "sabado", "sábado", 1)
}

func (w *tongue) date(d night.Date) string {
	return strings.Replace(w.facts(d).Date, "sab ", "sáb ", 1)
}

// clock writes the time of day of a moment.
func (s *site) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return s.slot(night.ClockOf(t.In(s.Kitchen.Zone)))
}

// when writes a moment, with its day where that is not the night's.
func (s *site) when(n night.Night, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	if d := night.DateOf(t.In(s.Kitchen.Zone)); d != n.Date {
		return s.date(d) + ", " + s.clock(t)
	}
	return s.clock(t)
}

// span writes how long something has been, in whole minutes, from an hour on in
// hours too.
func (w *tongue) span(d time.Duration) string {
	m := int(d.Minutes())
	switch {
	case m < 1:
		return w.t("under 1 min")
	case m < 60:
		return w.t("%d min", m)
	case m < 24*60 && m%60 == 0:
		return w.t("%d h", m/60)
	case m < 24*60:
		return w.t("%d h %s min", m/60, fmt.Sprintf("%02d", m%60))
	}
	return w.t("%d days", m/(24*60))
}

// bag names what is in a kind of bag by its number, without the number.
func (w *tongue) bag(k night.Kind, n int) string {
	switch k {
	case night.Hot:
		return w.without(n, w.t("%d hot", n))
	case night.Cold:
		return w.without(n, w.t("%d cold", n))
	case night.Extra:
		return w.without(n, w.t("%d extra", n))
	}
	return string(k)
}

// without leaves out the number that words begin with, for a page that shows it
// by itself.
func (w *tongue) without(n int, said string) string {
	return strings.TrimPrefix(said, w.printer.Sprint(n)+" ")
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

// state is an order's state as the kitchen says it.
func (w *tongue) state(s night.State) string { return w.t(stateWords(s)) }

func stateWords(s night.State) phrase {
	switch s {
	case night.Booked:
		return phrase("not told yet")
	case night.Told:
		return phrase("told")
	case night.Reminded:
		return phrase("reminded")
	case night.Arrived:
		return phrase("here")
	case night.HandedOut:
		return phrase("handed out")
	case night.Cancelled:
		return phrase("cancelled")
	case night.NotCollected:
		return phrase("not collected")
	}
	return string(s)
}

// states says for a number of orders what they are, without the number.
func (w *tongue) states(s night.State, n int) string {
	said := w.state(s)
	switch s {
	case night.Booked:
		said = w.t("%d not told yet", n)
	case night.Told:
		said = w.t("%d told", n)
	case night.Reminded:
		said = w.t("%d reminded", n)
	case night.Arrived:
		said = w.t("%d here", n)
	case night.HandedOut:
		said = w.t("%d handed out", n)
	case night.Cancelled:
		said = w.t("%d cancelled", n)
	case night.NotCollected:
		said = w.t("%d not collected", n)
	}
	return w.without(n, said)
}

// messageStates are the states of a message, those that need somebody first.
var messageStates = []night.MessageState{
	night.Failed, night.InDoubt, night.Missed, night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Dropped,
}

// fate says what became of a text.
func (w *tongue) fate(s night.MessageState) string { return w.t(messageWords(s)) }

// messageWords says no more than is known: that a network took a text over does
// not mean that anybody has it.
func messageWords(s night.MessageState) phrase {
	switch s {
	case night.Due:
		return phrase("waiting for its time")
	case night.Sending:
		return phrase("being sent")
	case night.Sent:
		return phrase("handed to the network, not confirmed")
	case night.Delivered:
		return phrase("on the phone")
	case night.Failed:
		return phrase("did not get through")
	case night.InDoubt:
		return phrase("may not have got through")
	case night.ByHand:
		return phrase("told by a person")
	case night.Missed:
		return phrase("not sent in time")
	case night.Dropped:
		return phrase("not sent: no longer true")
	}
	return string(s)
}

// kind names a text for the kitchen.
func (w *tongue) kind(k night.MessageKind) string { return w.t(kindWords(k)) }

func kindWords(k night.MessageKind) phrase {
	switch k {
	case night.Nudge:
		return phrase("nudge after the slot")
	case night.Reply:
		return phrase("answer")
	case night.Confirmation:
		return phrase("opt-out confirmation")
	case night.Resend:
		return phrase("instructions again")
	case night.Instructions:
		return phrase("instructions")
	case night.Reminder:
		return phrase("reminder")
	case night.Update:
		return phrase("update")
	case night.Cancellation:
		return phrase("cancellation")
	case night.Delay:
		return phrase("delay")
	case night.Short:
		return phrase("what is missing")
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
func (w *tongue) tell(e night.Event) string {
	said := w.t(eventWords(e.What))
	switch e.What { //nolint:exhaustive // the others need no more than their name
	case night.StepTaken:
		said = w.state(e.To)
	case night.StepUndone:
		said = w.t("taken back: %s, was %s", w.state(e.To), w.state(e.From))
	}
	if e.Why == "" {
		return said
	}
	return said + ": " + w.say(e.Why)
}

func eventWords(what night.What) phrase {
	switch what {
	case night.OrderAdded:
		return phrase("added to the order book")
	case night.OrderChanged:
		return phrase("changed")
	case night.BagsPacked:
		return phrase("bags packed")
	case night.BagsUnpacked:
		return phrase("bags not packed after all")
	case night.ItemTicked:
		return phrase("in the bag")
	case night.ItemUnticked:
		return phrase("not in the bag after all")
	case night.ItemsShort:
		return phrase("missing")
	case night.SpotNoted:
		return phrase("stands")
	case night.VehicleNoted:
		return phrase("car")
	case night.ArrivalExpected:
		return phrase("says when they come")
	case night.MessagePlanned:
		return phrase("text planned")
	case night.MessageChanged:
		return phrase("text changed")
	case night.MessageWithdrawn:
		return phrase("text taken back")
	case night.MessageSettled:
		return phrase("text")
	case night.TextCame:
		return phrase("a text came in")
	case night.TextRead:
		return phrase("their text was read")
	case night.TextSettled:
		return phrase("their text was seen to")
	case night.OptedOut:
		return phrase("asked for no more texts")
	case night.OptedIn:
		return phrase("takes texts again")
	case night.NightAdded:
		return phrase("night added")
	case night.NightChanged:
		return phrase("night changed")
	case night.WordsChanged:
		return phrase("wording changed")
	case night.BookLoaded:
		return phrase("order book loaded")
	case night.OrdersClosed:
		return phrase("orders closed")
	case night.OrdersNotClosed:
		return phrase("orders not closed")
	case night.NightWiped:
		return phrase("names and numbers wiped")
	case night.StepTaken, night.StepUndone:
	}
	return string(what)
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

// done says what an act did, in the words of the page.
func done(o night.Order, what string) notice {
	return notice{Text: fmt.Sprintf("%s %s: %s.", o.Ref, o.Name, what)}
}

// sorry says why an act was not done: what is true, what that means and what to
// do.
func (w *tongue) sorryWords(o night.Order, act string, err error) notice {
	var step *night.StepError
	switch {
	case errors.As(err, &step):
		return w.sorryStep(o, act, step)
	case errors.Is(err, night.ErrNotFound):
		return notice{Bad: true, Text: w.t("There is no such order on this night, so nothing was changed. Look for it under Orders.")}
	case errors.Is(err, desk.ErrNothingToUndo):
		return notice{Bad: true, Text: w.t("%s %s is %s: there is nothing to take back.", o.Ref, o.Name, w.state(o.State))}
	case errors.Is(err, night.ErrChanged):
		return notice{Bad: true, Text: w.t("Somebody else changed %s %s at the same moment, so nothing was done. See what it says now and tap again.", o.Ref, o.Name)}
	}
	return notice{Bad: true, Text: w.t("Not done:") + " " + w.say(err.Error()) + "."}
}

func (w *tongue) sorryStep(o night.Order, act string, step *night.StepError) notice {
	is := w.state(o.State)
	already := map[night.Step]night.State{
		night.Arrive: night.Arrived, night.HandOut: night.HandedOut, night.Cancel: night.Cancelled, night.GiveUp: night.NotCollected,
	}
	if already[step.Step] == o.State {
		return notice{Text: w.t("%s %s is %s already. Nothing was done twice.", o.Ref, o.Name, is)}
	}
	fix := w.t("Take that back first if it is wrong.")
	if o.State == night.Arrived {
		fix = w.t("They are outside: take that back first if it is wrong.")
	}
	return notice{Bad: true, Text: w.t("%s %s is %s, so “%s” was not done. %s", o.Ref, o.Name, is, act, fix)}
}
