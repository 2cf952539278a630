package dispatch

import (
	"errors"
	"fmt"
	"time"

	"passbell/adapters"
	"passbell/internal/night"
)

// Truth is what is true of a message's orders and address just before it is
// sent.
type Truth struct {
	Underway night.Trial // as it is on record now
	Arrived  bool        // an earlier try is known to have
	Complete bool        // of the order of a text about what is missing nothing is missing any more
	Outdated bool        // a text about what is missing would be written otherwise now
	Night    night.Night
	Orders   []night.Stage // of those that the message covers
	OptedOut bool          // the address wants no texts
	Kitchen  night.Kitchen
}

// Verdict says what to do with a claimed message.
type Verdict struct {
	// State is Sending for "send it", else the state to settle the message in:
	// Dropped, Missed, or Due with Until.
	State  night.MessageState
	Until  time.Time // zero where its time is what it was
	Reason string
}

// Check decides whether a claimed message may still go out. It was true when it
// was planned; the customer may have cancelled, come or opted out since, and
// the machine may have slept.
func Check(m night.Message, t Truth, now time.Time) Verdict {
	if t.Underway.Attempt != m.Attempt {
		// The machine slept past the lease, and the attempt was given up or
		// somebody else has the message by now. If not, its time has come still.
		return Verdict{State: night.Due, Reason: "passbell was held up before it could be sent"}
	}
	if t.Arrived {
		return Verdict{State: night.Dropped, Reason: "the report came that it arrived"}
	}
	if t.OptedOut && m.Kind != night.Confirmation {
		return Verdict{State: night.Dropped, Reason: "the customer wants no texts"}
	}
	if !m.ExpiresAt.IsZero() && !now.Before(m.ExpiresAt) {
		return Verdict{State: night.Missed, Reason: "its time passed before it could be sent"}
	}
	if why := untrue(m, t); why != "" {
		return Verdict{State: night.Dropped, Reason: why}
	}
	if end := t.Kitchen.Quiet.Allowed(now, t.Kitchen.Zone); end.After(now) {
		if !m.ExpiresAt.IsZero() && !end.Before(m.ExpiresAt) {
			return Verdict{State: night.Missed, Reason: "it would be of no use after the quiet hours"}
		}
		return Verdict{State: night.Due, Until: end, Reason: "quiet hours"}
	}
	return Verdict{State: night.Sending}
}

// untrue says why a message is no longer true; "" if it still is.
func untrue(m night.Message, t Truth) string {
	off := !t.Night.CalledOff.IsZero()
	switch m.Kind {
	case night.Reply, night.Confirmation:
		return ""
	case night.Cancellation:
		return uncancelled(t, off)
	case night.Short:
		return found(t, off)
	case night.Instructions, night.Reminder, night.Update, night.Nudge, night.Delay, night.Resend:
	}
	switch {
	case off:
		return "the night is called off"
	case m.Place != "" && m.Place != t.Night.Place:
		return "the night is now at another place"
	}
	slots := make(map[int64]night.Clock, len(m.Covers))
	for _, c := range m.Covers {
		slots[c.OrderID] = c.Slot
	}
	for _, o := range t.Orders {
		switch {
		case !o.State.Open():
			return fmt.Sprintf("order %s is %s", o.Ref, o.State)
		case o.State == night.Arrived && m.Kind != night.Resend:
			return fmt.Sprintf("the customer of order %s is here already", o.Ref)
		case o.Slot != slots[o.OrderID]:
			return fmt.Sprintf("order %s is now at %s", o.Ref, o.Slot)
		}
	}
	return ""
}

// found says why nobody needs to read what is missing of an order; "" where they
// do, also where they are here already or come at another time.
func found(t Truth, off bool) string {
	if off {
		return "the night is called off"
	}
	for _, o := range t.Orders {
		if !o.State.Open() {
			return fmt.Sprintf("order %s is %s", o.Ref, o.State)
		}
	}
	switch {
	case t.Complete:
		return "nothing of the order is missing any more"
	case t.Outdated:
		return "something else is missing now"
	}
	return ""
}

// uncancelled says which order of a cancellation is on; "" where none is.
func uncancelled(t Truth, off bool) string {
	for _, o := range t.Orders {
		if !off && o.State != night.Cancelled {
			return fmt.Sprintf("order %s is %s", o.Ref, o.State)
		}
	}
	return ""
}

// Retry is the policy for tries that failed for now.
type Retry struct {
	First    time.Duration // wait after the first failure; it doubles each time
	Cap      time.Duration // the longest wait
	Attempts int           // tries in all
}

// Outcome is what one try led to.
type Outcome struct {
	State   night.MessageState
	Reason  string
	RetryAt time.Time     // for Due
	Pause   time.Duration // the whole adapter should wait this long
	Word    string        // for the record of the attempt
}

// Decide turns the answer to one try into what becomes of the message. A text
// whose fate is unknown is never sent again by itself: a missed reminder costs
// one phone call, a doubled one costs the customer's trust. spread is between 0
// and 1 and scatters the retries.
func Decide(err error, m night.Message, r Retry, now time.Time, spread float64) Outcome {
	if err == nil {
		return Outcome{State: night.Sent, Word: night.Accepted}
	}
	out := Outcome{Word: string(adapters.OutcomeOf(err)), Reason: "no answer came back: it may have gone out"}
	var se *adapters.SendError
	if !errors.As(err, &se) {
		out.State = night.InDoubt
		return out
	}
	if se.Reason != "" {
		out.Reason = se.Reason
	}
	wait := time.Duration(float64(r.wait(m.Attempt)) * (0.5 + spread))
	switch {
	case se.Outcome == adapters.Permanent && !se.Account:
		out.State = night.Failed
		return out
	case se.Outcome == adapters.Unknown:
		out.State = night.InDoubt
		return out
	case se.Outcome == adapters.Throttled:
		wait = max(wait, se.Wait)
		out.Pause = wait
	case se.Account:
		wait = max(r.Cap, se.Wait)
		out.Pause = wait
	default:
		wait = max(wait, se.Wait)
	}
	out.State, out.RetryAt = night.Due, now.Add(wait)
	// Being told to slow down, or an account out of order, says nothing of the
	// message: only its own failures are counted against it.
	counted := se.Outcome == adapters.Temporary && !se.Account
	if late := !m.ExpiresAt.IsZero() && !out.RetryAt.Before(m.ExpiresAt); late || counted && m.Attempt >= r.Attempts {
		out.State, out.RetryAt = night.Failed, time.Time{}
	}
	return out
}

func (r Retry) wait(attempt int) time.Duration {
	w := r.First
	for i := 1; i < attempt && w < r.Cap; i++ {
		w *= 2
	}
	return min(w, r.Cap)
}

// Later gives the fate that holds when a part is reported as both a and b:
// delivered outranks failed, failed outranks on the way.
func Later(a, b night.Fate) night.Fate {
	rank := func(s night.Fate) int {
		switch s {
		case night.PartDelivered:
			return 2
		case night.PartFailed:
			return 1
		case night.OnTheWay:
		}
		return 0
	}
	if rank(b) > rank(a) {
		return b
	}
	return a
}
