package night

import (
	"errors"
	"time"
)

// ErrNotFound says that there is no such thing in this kitchen.
var ErrNotFound = errors.New("not found")

// ErrChanged says that something is no longer as it was read.
var ErrChanged = errors.New("changed meanwhile by somebody else")

// ErrNoRoom says that the disk is full, in words for the cook. It stands in a
// StoreError.
var ErrNoRoom = errors.New("there is no room left on the disk where passbell keeps its records, so nothing of this was kept: make room, and it goes on by itself")

// ErrAway says that no transaction could be begun: whatever was to be written,
// nothing is wrong with it. It stands in a StoreError.
var ErrAway = errors.New("the database is away")

// StoreError is a failure of the database itself, not a refusal: its words help
// nobody at the gate.
type StoreError struct {
	Doing string // such as "read orders"
	Err   error
}

func (e *StoreError) Error() string { return e.Doing + ": " + e.Err.Error() }

// Unwrap gives the database's own error.
func (e *StoreError) Unwrap() error { return e.Err }

// TakenError says that something of that name exists already.
type TakenError struct{ What string }

func (e *TakenError) Error() string { return e.What + " exists already" }

// The outcomes of an attempt besides those of adapters.Outcome.
const (
	Accepted = "accepted" // a provider took the text over
	NotSent  = "not sent" // it was claimed, and stopped before anybody was called
)

// Withdrawal takes a message that is due back: as Dropped, or as Missed where its
// time went by.
type Withdrawal struct {
	MessageID int64
	To        MessageState
	Why       string
}

// Trial is the attempt to send a message that is under way; 0 for none.
type Trial struct {
	MessageID int64
	Attempt   int
}

// Settlement is what became of one attempt to send a message.
type Settlement struct {
	MessageID int64
	Attempt   int
	Adapter   string
	To        string    // the address that was written to
	At        time.Time // when the text went out, or was found not to go
	State     MessageState
	Reason    string
	RetryAt   time.Time // for Due only
	Outcome   string    // for the record of the attempt
	IDs       []string  // the provider's ids of an accepted text, one a part
}

// Fall is the way that a message takes when its first one failed.
type Fall struct {
	Adapter string
	To      string
}

// Part is one part of an accepted text and what the network says of it.
type Part struct {
	ProviderID string
	MessageID  int64
	Attempt    int // the try that brought it to the provider; 0 where that is not known
	Fate       Fate
	Reason     string
}

// Fate is what became of a part.
type Fate string

// The fates of a part.
const (
	OnTheWay      Fate = "on the way"
	PartDelivered Fate = "delivered"
	PartFailed    Fate = "failed"
)

// PartsState settles a text by what the network says of its parts: it is
// delivered when all of them are, and failed when one is lost. Which report
// came first does not matter. ok is false while nothing is settled.
func PartsState(fates []Fate) (state MessageState, ok bool) {
	delivered := 0
	for _, s := range fates {
		switch s {
		case PartFailed:
			return Failed, true
		case PartDelivered:
			delivered++
		case OnTheWay:
		}
	}
	return Delivered, delivered > 0 && delivered == len(fates)
}
