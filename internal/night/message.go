package night

import "time"

// MessageKind says what a message is for.
type MessageKind string

// The kinds of message.
const (
	Instructions MessageKind = "instructions"
	Reminder     MessageKind = "reminder"
	Update       MessageKind = "update"       // quotes a changed fact
	Cancellation MessageKind = "cancellation" // the order or the night is off
	Nudge        MessageKind = "nudge"        // the slot has passed, nobody came
	Delay        MessageKind = "delay"        // the kitchen runs behind
	Reply        MessageKind = "reply"        // answers an inbound
	Confirmation MessageKind = "confirmation" // the one answer to an opt-out
	Resend       MessageKind = "resend"       // a person sends the instructions again
	Short        MessageKind = "short"        // says what of the order is missing
)

// MessageState says what became of a message.
type MessageState string

// The states of a message. Due waits for its time or its next try; Sending has
// an attempt on record and no answer yet.
const (
	Due       MessageState = "due"
	Sending   MessageState = "sending"
	Sent      MessageState = "sent"      // a provider accepted it
	Delivered MessageState = "delivered" // the network says the phone has it
	Failed    MessageState = "failed"
	InDoubt   MessageState = "in doubt" // it may have gone out; a person decides
	ByHand    MessageState = "by hand"  // a person told the customer in another way
	Missed    MessageState = "missed"   // its time passed before it could go
	Dropped   MessageState = "dropped"  // it was no longer true, so it was not sent
)

// Message is one text to one person about one order, or about several orders
// of theirs.
type Message struct {
	ID        int64
	KitchenID int64
	NightID   int64
	InboundID int64 // the inbound that it answers; 0 for none
	Kind      MessageKind
	Revision  int     // counts messages of one kind for the same order
	Covers    []Cover // the first is the one it is filed under; a reply may have none
	Place     string  // the place that Text quotes; "" where it names none
	To        string  // E.164 number, or an e-mail address
	Text      string
	Parts     int // SMS parts of Text
	DueAt     time.Time
	AtOnce    bool      // it goes as soon as anybody can send it; DueAt is only when whoever asked for it read the clock
	ExpiresAt time.Time // after this moment the text is no use
	State     MessageState
	Reason    string // why it failed, was dropped or is in doubt; for the cook
	Attempt   int    // tries so far; the one under way included
	Adapter   string // the adapter that carries it; "" for whichever comes first
	Fallen    bool   // another adapter had it before and could not bring it
	SettledAt time.Time
	// Turn is that of the try by which the message stands, or, where it was never
	// tried, of when it was settled: what came later has a higher one, whatever the
	// clocks said. 0 where it was neither.
	Turn int64
	// Earlier is what the tries so far came to, where the message is to be tried
	// again or is being tried. It goes back to that when the next try is called
	// off.
	Earlier Standing
}

// Standing is what the tries of a message came to.
type Standing struct {
	// State is Delivered, Sent, InDoubt, or Failed where the network lost the
	// text; "" where nothing has left the house.
	State MessageState
	At    time.Time // when it went out, as far as is known
	Turn  int64
}

// Cover is an order that a message tells about, and the slot it quotes.
type Cover struct {
	OrderID int64
	Slot    Clock
}

// WentOut tells whether the customer has the text or may have it: in these
// states it counts as something that the customer knows.
func (s MessageState) WentOut() bool {
	switch s {
	case Sending, Sent, Delivered, InDoubt, ByHand:
		return true
	case Due, Failed, Missed, Dropped:
	}
	return false
}

// Inbound is one text from a customer.
type Inbound struct {
	ID         int64
	KitchenID  int64
	NightID    int64 // 0 where no night is near
	Adapter    string
	ProviderID string // the provider's own id: the same id twice is one inbound
	From       string
	To         string
	Text       string
	At         time.Time // when the provider took it in
	State      InboundState
	Reading    []byte // JSON of what was understood
	Corrected  []byte // JSON of what a person put right; empty where nobody did
	Orders     []int64
	Why        string
	// Shared is how many other kitchens have the text as well, because nobody
	// knows for which of them it is; 0 where it is for this one.
	Shared int
	Silent bool // another one of them answers it, if any does
}

// InboundState says how far an inbound has come.
type InboundState string

// The states of an inbound.
const (
	Fresh   InboundState = "fresh"   // stored, not yet read
	Applied InboundState = "applied" // read, and acted on or nothing to do
	Open    InboundState = "open"    // a person has to look
	Settled InboundState = "settled" // a person has looked
)

// Event is one line of what happened. Events are never changed or removed
// while the night is kept.
type Event struct {
	ID        int64
	KitchenID int64
	NightID   int64
	OrderID   int64 // 0 where the event is not about one order
	MessageID int64
	InboundID int64
	At        time.Time
	Who       string // "cook", "customer", "clock", a helper's name
	What      What
	From      State // the order's state before; "" where it did not move
	To        State
	Why       string // in words, for a person
}

// What names a kind of event in a few stable words.
type What string

// The kinds of event. Those that move an order have From and To set.
const (
	NightAdded       What = "night added"
	NightChanged     What = "night changed"
	WordsChanged     What = "wording changed"
	BookLoaded       What = "order book loaded"
	OrdersClosed     What = "orders closed"
	OrdersNotClosed  What = "orders not closed"
	OrderAdded       What = "order added"
	OrderChanged     What = "order changed"
	StepTaken        What = "step"
	StepUndone       What = "undone"
	BagsPacked       What = "packed"
	BagsUnpacked     What = "unpacked"
	ItemTicked       What = "item packed"
	ItemUnticked     What = "item not packed"
	ItemsShort       What = "short"
	SpotNoted        What = "spot noted"
	VehicleNoted     What = "vehicle noted"
	ArrivalExpected  What = "expected"
	MessagePlanned   What = "message planned"
	MessageChanged   What = "message changed"
	MessageWithdrawn What = "message withdrawn"
	MessageSettled   What = "message settled"
	TextCame         What = "text came"
	TextRead         What = "text read"
	TextSettled      What = "text settled"
	OptedOut         What = "opted out"
	OptedIn          What = "opted in"
	NightWiped       What = "wiped"
)
