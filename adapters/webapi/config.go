package webapi

import (
	"passbell/adapters"
)

// Config describes one provider's HTTP API. Placeholders in braces are filled
// in for each text; a brace that is meant as such is written twice.
//
// In the send section: {to} (E.164), {to_digits} (without the plus), {from},
// {text}, {key} (the message's own key, for an idempotency header or a client
// reference), {subject}, and for the moment after which a text is no use
// {valid_until} (RFC 3339), {valid_until_unix}, {valid_seconds} and
// {valid_minutes} (from now, at least 1). In a JSON body a value written as
// "{valid_seconds:number}" becomes a number. A field whose whole value is one
// placeholder with nothing in it is left out.
type Config struct {
	// Name stands in errors and logs; "webapi" where empty.
	Name string `toml:"name"`
	// From is the sender of texts that name none; Senders goes before it, by
	// the longest calling prefix: {"+44" = "LARKFIELD", "+1" = "+12025550199"}.
	From    string            `toml:"from"`
	Senders map[string]string `toml:"senders"`
	// Timeout bounds each call, 20 s where zero.
	Timeout adapters.Duration `toml:"timeout"`
	Auth    Auth              `toml:"auth"`
	Send    Send              `toml:"send"`
	Lookup  *Lookup           `toml:"lookup"`
	Check   *Check            `toml:"check"`
	Hooks   Hooks             `toml:"hooks"`
	Poll    Polls             `toml:"poll"`
}

// Auth is how the provider knows the kitchen, in every call to it.
type Auth struct {
	// Kind is "none" (or empty), "basic" (User and Secret), "bearer" (Secret)
	// or "header" (Secret in the header named Header, after Prefix).
	Kind   string          `toml:"kind"`
	User   adapters.Secret `toml:"user"`
	Secret adapters.Secret `toml:"secret"`
	Header string          `toml:"header"`
	Prefix string          `toml:"prefix"`
}

// Send describes the call that sends one text.
type Send struct {
	Method string `toml:"method"` // POST where empty; PUT or PATCH
	URL    string `toml:"url"`
	// Body is "form" (fields in Form) or "json" (a template in JSON).
	Body    string            `toml:"body"`
	Form    map[string]string `toml:"form"`
	JSON    string            `toml:"json"`
	Headers map[string]string `toml:"headers"`
	Answer  Answer            `toml:"answer"`
}

// Answer says how to read what the provider answers to a send. Paths are those
// of Fields. With nothing set, every answer of HTTP status 2xx means that the
// text was taken over, and no receipt can be joined to it.
type Answer struct {
	// ID is where the message id stands; with [] in it, one id for each part.
	ID string `toml:"id"`
	// OKField and OKValues: a 2xx answer means yes only where the field has one
	// of the values.
	OKField  string   `toml:"ok_field"`
	OKValues []string `toml:"ok_values"`
	// ErrorCode and ErrorMessage are where the provider's own error stands. A
	// 2xx answer with a code other than OKCodes ("" and "0" where empty) means
	// no.
	ErrorCode    string   `toml:"error_code"`
	ErrorMessage string   `toml:"error_message"`
	OKCodes      []string `toml:"ok_codes"`
	// Pattern and ErrorPattern read an answer that is plain text and not JSON:
	// regular expressions whose first group is the id or the error code.
	Pattern      string `toml:"pattern"`
	ErrorPattern string `toml:"error_pattern"`
	// Codes sorts the provider's error codes and HTTP sorts HTTP statuses
	// ("402", or a whole class as "5xx") into temporary, throttled, permanent,
	// unknown, or account: the fault lies with the account and nothing will go
	// out until it is mended. Codes goes first; what neither names is sorted by
	// RFC 9110, see the package's documentation.
	Codes map[string]string `toml:"codes"`
	HTTP  map[string]string `toml:"http"`
}

// Lookup asks the provider about a number before the first text to it, with
// GET. A lookup that fails holds nothing up.
type Lookup struct {
	URL    string   `toml:"url"`    // with {to} or {to_digits}
	Field  string   `toml:"field"`  // where the kind of line stands in the answer
	Refuse []string `toml:"refuse"` // the values that cannot take a text
}

// Check is a call that proves the sign-in without texting anybody, with GET.
type Check struct {
	URL     string  `toml:"url"`
	Balance string  `toml:"balance"` // where the credit stands, if anywhere
	Low     float64 `toml:"low"`     // warn at or below this credit
}

// Fields says where the parts of an event stand. For JSON these are paths:
// names joined by dots, name[] for every element of a list, name[0] for one,
// "$." in front to start from the whole body and not from the event,
// "header:Name" for an HTTP header, and alternatives separated by " | ", the
// first that is there wins. A dot inside a name is written "\.". For a form
// they are the fields' names.
type Fields struct {
	// Each is the list of events, such as "results[]"; empty where a call
	// carries one event.
	Each string `toml:"each"`
	// OnlyField and OnlyValues leave out events of another kind.
	OnlyField  string   `toml:"only_field"`
	OnlyValues []string `toml:"only_values"`

	ID   string `toml:"id"`
	From string `toml:"from"` // inbound only
	To   string `toml:"to"`   // inbound only
	Text string `toml:"text"` // inbound only
	At   string `toml:"at"`
	// AtFormat is "rfc3339", "unix", "unix_ms" or a layout of Go's package
	// time, read as UTC; where empty the usual spellings are tried.
	AtFormat string `toml:"at_format"`
	// Numbers is "international" (or empty) where a number without a plus
	// still has its country code, else "as given".
	Numbers string `toml:"numbers"`

	Status string `toml:"status"` // receipts only
	Reason string `toml:"reason"` // receipts only
	// Statuses sorts the provider's words into "on the way", "delivered" and
	// "failed", or "ignore"; it goes before the usual words.
	Statuses map[string]string `toml:"statuses"`
}

// Hooks are the calls that the provider makes to us. The handler serves a call
// by the last element of its path: "inbound", "receipts", or "events" for a
// provider that knows one address only, where both are described and each has
// an only_field that tells them apart.
type Hooks struct {
	Inbound  *Hook `toml:"inbound"`
	Receipts *Hook `toml:"receipts"`
}

// Hook describes one kind of call from the provider.
type Hook struct {
	Method string `toml:"method"` // POST where empty, or GET with the fields in the query
	Format string `toml:"format"` // "json" where empty, or "form"
	Fields
	Verify Verify `toml:"verify"`
	// Answer is what the provider wants to read once the event is stored, with
	// its media type; where empty the answer is 204 without a body.
	Answer     string `toml:"answer"`
	AnswerType string `toml:"answer_type"`
}

// Verify says how a call from the provider proves that it is one.
type Verify struct {
	// Kind is "hmac", "standard" (Standard Webhooks 1.0.0), "token" (a shared
	// secret in Header or Query), "basic" (User and Secret) or "none", which
	// serves calls from this machine only.
	Kind   string          `toml:"kind"`
	User   adapters.Secret `toml:"user"`
	Secret adapters.Secret `toml:"secret"`
	// OldSecret is accepted beside Secret while the provider changes over.
	OldSecret adapters.Secret `toml:"old_secret"`

	// Header carries the signature or token, after Prefix ("sha256=", "v1=").
	// A header with several signatures separates them by spaces or commas.
	Header string `toml:"header"`
	Prefix string `toml:"prefix"`
	Query  string `toml:"query"` // for kind token: the query parameter instead of a header

	Algorithm string `toml:"algorithm"` // for kind hmac: sha256 where empty, sha1, sha512
	Encoding  string `toml:"encoding"`  // for kind hmac: hex where empty, base64
	// Signed is what is signed, "{body}" where empty; {id}, {timestamp}, {url}
	// and {form} (the form's fields sorted by name, name and value one after
	// another) may stand in it.
	Signed          string `toml:"signed"`
	IDHeader        string `toml:"id_header"`
	TimestampHeader string `toml:"timestamp_header"`
	// TimestampPrefix picks the timestamp out of a header that holds more, as
	// "t=" in "t=1614265330,v1=…".
	TimestampPrefix string `toml:"timestamp_prefix"`
	// Window is how far a timestamp may be off, either way; 5 min where zero.
	Window adapters.Duration `toml:"window"`
	// PublicURL is this hook's address as the provider knows it, for {url}.
	PublicURL string `toml:"public_url"`
}

// Polls are for kitchens that the provider cannot call.
type Polls struct {
	Inbound  *Poll `toml:"inbound"`
	Receipts *Poll `toml:"receipts"`
}

// Poll describes how to fetch events, with GET and JSON answers. In URL stand
// {since} (RFC 3339) and {since_unix}: the newest event stored so far less two
// minutes, at the start Lookback before now; {cursor}: the last token; and
// {page}, from 1.
type Poll struct {
	URL      string            `toml:"url"`
	Every    adapters.Duration `toml:"every"`    // 30 s where zero, at least 1 s
	Lookback adapters.Duration `toml:"lookback"` // 24 h where zero
	Headers  map[string]string `toml:"headers"`
	Fields
	Next Next  `toml:"next"`
	Done *Done `toml:"done"`
}

// Next says how to come to the next page.
type Next struct {
	// Kind is empty for one page; "link" (the next address at Path), "header"
	// (a Link header with rel=next, RFC 8288), "token" (at Path, for {cursor})
	// or "page" ({page} until a page is empty).
	Kind string `toml:"kind"`
	Path string `toml:"path"`
	// Keep goes on from the last token in the next round, for a provider whose
	// token is a place in a stream that grows.
	Keep     bool `toml:"keep"`
	MaxPages int  `toml:"max_pages"` // in one round, 50 where zero
}

// Done is the call that acknowledges or deletes an event once it is stored.
type Done struct {
	Method string `toml:"method"` // DELETE where empty
	URL    string `toml:"url"`    // with {id}
	JSON   string `toml:"json"`   // body, with {id}; none where empty
}
