// Package adapters holds the small interfaces between the gateway and the ways
// in and out: a provider's web API, SMPP, a modem, e-mail, practice. One folder
// an adapter; the suite in adapterstest is what each must pass.
package adapters

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"
)

// Message is one text handed to an adapter.
type Message struct {
	// Key names this message and attempt for all time, such as "m42-1". An
	// adapter whose protocol has an idempotency key or a client reference
	// hands it on.
	Key string
	// To is the E.164 number, or for an e-mail adapter the address.
	To string
	// From is the sender as the kitchen configured it; "" for the adapter's
	// own default.
	From string
	// Subject is used by adapters that have subjects.
	Subject string
	Text    string
	// ValidUntil is the moment after which the text is no use. It is handed to
	// the network where the protocol can carry it. Zero means no limit.
	ValidUntil time.Time
}

// Accepted says that the provider took a message over.
type Accepted struct {
	// IDs are the provider's message ids, one for each part where the
	// provider numbers parts, else one; empty where it gives none, and then no
	// receipt can be joined.
	IDs []string
}

// Sender sends one text. A nil error means that the provider took the message
// over. Every other outcome is a *SendError; an error of another type counts as
// Unknown. Send returns when ctx is done; a message whose answer did not come
// back by then is Unknown, unless nothing had been handed over yet.
type Sender interface {
	Send(ctx context.Context, m Message) (Accepted, error)
}

// Sink takes in what comes from the network. A nil error means that it is
// stored for good: only then may an adapter acknowledge or delete it.
type Sink interface {
	Inbound(ctx context.Context, in Inbound) error
	Receipt(ctx context.Context, r Receipt) error
}

// Receiver is an adapter that fetches or is pushed what comes in over its own
// connection. Receive runs until ctx is done, reconnects by itself and hands
// every inbound and receipt to the sink; with nothing to fetch it just waits.
type Receiver interface {
	Receive(ctx context.Context, sink Sink) error
}

// Hooker is an adapter whose provider calls back over HTTP. The handler
// verifies every call and answers with success only once the sink has stored
// it. Where an adapter has several kinds of call, it tells them apart by the
// last element of the path, so the handler serves everything below its address.
type Hooker interface {
	Hook(sink Sink) http.Handler
}

// Prober is an adapter that can be tried without texting a customer.
type Prober interface {
	Probe(ctx context.Context) ([]Finding, error)
}

// Finding is one line of a probe: what was tried, whether it is well, and what
// to do if not.
type Finding struct {
	What string
	OK   bool
	Note string
}

// Inbound is one text from outside.
type Inbound struct {
	// ID is the provider's own id, the same on every delivery of this text;
	// an adapter whose network has none makes a stable one from the content.
	ID   string
	From string // E.164 where it is a number, else as the network gave it
	To   string // the number or address that it was sent to; "" where unknown
	Text string
	At   time.Time // when the network took it in; zero where not told
}

// Status is what a receipt says of a message or of one part of it.
type Status string

// The statuses that a receipt can report.
const (
	OnTheWay  Status = "on the way"
	Delivered Status = "delivered"
	Failed    Status = "failed"
)

// Receipt reports what became of a message.
type Receipt struct {
	ID     string // the id from Accepted
	Status Status
	Reason string // the network's reason for a failure, for a person; "" where none
	At     time.Time
}

// Outcome says what a failed send means for the customer's phone.
type Outcome string

// The outcomes of a failed send.
const (
	Temporary Outcome = "temporary" // refused for now, nothing went out
	Throttled Outcome = "throttled" // too fast: nothing went out, wait and go on
	Permanent Outcome = "permanent" // refused for good, nothing went out
	Unknown   Outcome = "unknown"   // no answer came back, it may have gone out
)

// SendError is the one error type that Send returns.
type SendError struct {
	Adapter string
	Outcome Outcome
	// Wait is how long the provider asks to wait; zero where it does not say.
	Wait time.Duration
	// Reason is for the cook, in plain words and without a secret or a number.
	Reason string
	// Account is set where the fault lies with the account or the connection
	// and not with this message: nothing will go out until it is mended.
	Account bool
	Err     error
}

func (e *SendError) Error() string {
	return fmt.Sprintf("%s: send failed (%s): %s", e.Adapter, e.Outcome, e.Reason)
}

// Unwrap lets callers ask about the cause.
func (e *SendError) Unwrap() error { return e.Err }

// OutcomeOf sorts any error of Send: an error that is no *SendError is Unknown.
func OutcomeOf(err error) Outcome {
	var se *SendError
	if errors.As(err, &se) {
		return se.Outcome
	}
	return Unknown
}
