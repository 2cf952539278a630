package rehearsal

import (
	"fmt"
	"strings"
	"time"

	"passbell/internal/night"
)

// Line is one thing that happened, for a person to read.
type Line struct {
	At   time.Time // in the kitchen's zone
	Who  string
	What string
}

// String writes the line with its day and time.
func (l Line) String() string { return l.At.Format("Mon 15:04") + "  " + l.Who + " " + l.What }

// line tells of something that is not on record in the house.
func (r *Rehearsal) line(who, what string) {
	r.tell(Line{At: r.clock.Now().In(r.house.Kitchen.Zone), Who: who, What: what})
}

// narrate tells of what is on record. What happens to many at one moment is
// told once.
func (r *Rehearsal) narrate(events []night.Event, texts map[int64]night.Inbound) {
	told := map[night.State]int{}
	last := map[night.State]night.Event{}
	for _, e := range events {
		if e.What == night.StepTaken && (e.To == night.Told || e.To == night.Reminded) {
			if e.Who == cook {
				continue // it shows as the call that she made
			}
			told[e.To]++
			last[e.To] = e
			continue
		}
		if who, what := r.words(e, texts[e.InboundID]); what != "" {
			r.line(who, what)
		}
	}
	for _, s := range []night.State{night.Told, night.Reminded} {
		switch n := told[s]; {
		case n == 1:
			e := last[s]
			r.line(who(e.Who), fmt.Sprintf("has %s %s: %s", s, r.watch.who(e.OrderID), e.Why))
		case n > 1:
			r.line(who(last[s].Who), fmt.Sprintf("has %s the customers of %d orders", s, n))
		}
	}
}

// who names who acts as the lines do.
func who(name string) string {
	if name == adapterName || name == "clock" {
		return "passbell"
	}
	return name
}

// words says an event plainly; no words where it says nothing new.
func (r *Rehearsal) words(e night.Event, in night.Inbound) (by, what string) {
	by, about := who(e.Who), r.watch.who(e.OrderID)
	switch e.What {
	case night.NightAdded, night.NightChanged:
		return by, "has put down " + e.Why
	case night.WordsChanged:
		return by, "has changed the wording: " + e.Why
	case night.BookLoaded:
		return by, "has loaded the order book: " + e.Why
	case night.OrdersClosed:
		return by, "has closed orders: " + e.Why
	case night.OrderChanged:
		if e.Who == "customer" {
			return "passbell", "flags the order of " + about + ": " + e.Why
		}
		return by, "has changed the order of " + about + ": " + e.Why
	case night.StepTaken:
		if e.Who == "customer" {
			return "passbell", "sees that " + about + " is here"
		}
		return by, strings.TrimSuffix(fmt.Sprintf("marks %s as %s: %s", about, e.To, e.Why), ": ")
	case night.StepUndone:
		return by, fmt.Sprintf("takes back that %s was %s: %s", about, e.From, e.Why)
	case night.BagsPacked:
		return by, "has packed for " + about
	case night.BagsUnpacked:
		return by, "has unpacked for " + about
	case night.VehicleNoted:
		return "passbell", "notes the car of " + about + ": " + e.Why
	case night.ArrivalExpected:
		return "passbell", "expects " + about + " " + e.Why
	case night.MessagePlanned:
		return by, "plans a text to " + about + ": " + e.Why
	case night.MessageSettled:
		return r.settledWords(e, about)
	case night.TextRead:
		if in.State == night.Open {
			return "passbell", "leaves a text to a person: " + in.Text
		}
	case night.TextSettled:
		return by, "has read a text (" + e.Why + "): " + in.Text
	case night.OptedOut:
		return "passbell", "sends no more texts to " + about
	case night.OptedIn:
		return "passbell", "sends texts to " + about + " again"
	case night.OrderAdded, night.MessageChanged, night.MessageWithdrawn, night.TextCame:
	}
	return "", ""
}

// settledWords tells of texts that need a person or answer one. Those that went
// out as planned show in the steps of their orders.
func (r *Rehearsal) settledWords(e night.Event, about string) (by, what string) {
	kind, state, _ := strings.Cut(e.Why, ": ")
	switch {
	case e.Why == "told by hand":
		return e.Who, "rings " + about + " and tells them"
	case strings.HasPrefix(state, string(night.Delivered)):
		return "", ""
	case state == string(night.Sent):
		if kind == string(night.Reply) || kind == string(night.Confirmation) || kind == string(night.Update) {
			return "passbell", "texts " + about + ": " + kind
		}
		return "", ""
	}
	return "passbell", fmt.Sprintf("could not text %s: %s", about, e.Why)
}
