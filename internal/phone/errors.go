package phone

import "fmt"

// Kind says why a number could not be taken as it stands.
type Kind string

// The kinds of trouble. Those up to Words leave nothing to dial; Confirm and
// Unusual come with a Number that a person may accept.
const (
	NoNumber   Kind = "no number"
	DigitsLost Kind = "digits lost"
	TwoNumbers Kind = "two numbers"
	TooShort   Kind = "too short"
	TooLong    Kind = "too long"
	NotReal    Kind = "not a number in use"
	Words      Kind = "words"
	Confirm    Kind = "needs a yes"
	Unusual    Kind = "unusual"
)

// Error says what is wrong with a number, in words for the cook. Its text holds
// no digit of the number, so it may be logged.
type Error struct {
	Kind  Kind
	Typed string
	What  string   // what stands there and what it means
	Fix   string   // what to do
	Offer []Number // what a person may choose from; never to be used unasked
}

func (e *Error) Error() string { return fmt.Sprintf("phone: %s", e.What) }

// fault makes the error of a kind with its standing words.
func fault(kind Kind, typed string, offer ...Number) *Error {
	w := standing[kind]
	return &Error{Kind: kind, Typed: typed, What: w.what, Fix: w.fix, Offer: offer}
}

// standing holds the words for each kind.
var standing = map[Kind]struct{ what, fix string }{
	NoNumber:   {"there is no number", "ask the customer for a mobile number, or plan to ring or mail them"},
	DigitsLost: {"the spreadsheet has cut digits off the number", "look the number up where the order was taken and type it in; the missing digits can't be worked out"},
	TwoNumbers: {"there are two numbers in one cell", "say which one takes the texts"},
	TooShort:   {"the number has too few digits", "look it up where the order was taken, or ask the customer"},
	TooLong:    {"the number has too many digits", "look it up where the order was taken, or ask the customer"},
	NotReal:    {"no such number is in use", "look it up where the order was taken, or ask the customer"},
	Words:      {"there are words where the number should be", "look up the number that is meant and type it in"},
	Confirm:    {"the number can only be read with a guess", "say yes to the number offered, or type the right one"},
	Unusual:    {"the number is long enough but not in a range known to be in use", "say yes if it is right; new ranges are opened now and then"},
}
