// Package webapi speaks to any provider's HTTP API from a description: how a
// text is sent, what the answer means, how inbound texts and receipts come in
// (called by the provider, or fetched), and how each call proves itself.
//
// # What an answer means
//
// The question is always whether the text may have gone out. Where the
// description does not say (Answer.Codes, Answer.HTTP), HTTP's own words count
// (RFC 9110 §15, RFC 6585):
//
//   - no connection, no name, no TLS, or any failure before the request's body
//     was touched: temporary, nothing can have gone out
//   - any failure after that, a time-out, or a 2xx answer that breaks off, is
//     too long, or is not what the description says: unknown
//   - 2xx: taken over, unless the answer carries an error code: permanent
//   - 301, 302, 307, 308: temporary, the address is wrong (never followed); 303
//     and the rest: unknown, since 303 follows a request that was carried out
//   - 401, 402, 407: temporary and the account's fault; 511 is a sign-in page of
//     the local network, the same
//   - 404, 405, 410, 411, 415, 426, 428, 431, 501, 505: permanent and the account's
//     fault, since the description does not fit the provider
//   - 408, 421, 425: temporary, the request was not processed
//   - 409: unknown, since a send with the same key may be under way
//   - 429: throttled, with Retry-After
//   - 503: temporary, with Retry-After; "unable to handle the request"
//   - every other 4xx: permanent
//   - every other 5xx: unknown; a fault half-way may come after the text went out
//
// Nothing is ever sent a second time from in here.
package webapi

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net/http"
	"os"
	"sync"
	"time"

	"passbell/adapters"
)

// Deps is what an adapter is handed; every field may be left out.
type Deps struct {
	// Client makes the calls. It never follows a redirect, whatever it is set
	// to. Where nil, one with TLS 1.2 or newer that keeps idle connections for
	// 2 s only: a connection that the provider has given up meanwhile is the
	// commonest cause of a text whose fate is unknown.
	Client *http.Client
	Now    func() time.Time
	After  func(time.Duration) <-chan time.Time
	// Getenv and ReadFile find secrets given as env:NAME or file:PATH.
	Getenv   func(string) string
	ReadFile func(string) ([]byte, error)
	Log      *slog.Logger
}

// Adapter is one provider. It is safe for concurrent use.
type Adapter struct {
	plan   *plan
	client *http.Client
	now    func() time.Time
	after  func(time.Duration) <-chan time.Time
	log    *slog.Logger

	mu    sync.Mutex
	kinds map[string]string // by number: the kind of line that a lookup told
}

var (
	_ adapters.Sender   = (*Adapter)(nil)
	_ adapters.Receiver = (*Adapter)(nil)
	_ adapters.Hooker   = (*Adapter)(nil)
	_ adapters.Prober   = (*Adapter)(nil)
)

// New builds an adapter from a description. The error names every key that is
// wrong and every secret that cannot be found.
func New(cfg Config, deps Deps) (*Adapter, error) {
	if deps.Getenv == nil {
		deps.Getenv = os.Getenv
	}
	if deps.ReadFile == nil {
		deps.ReadFile = os.ReadFile
	}
	p, err := compile(cfg, &secrets{getenv: deps.Getenv, readFile: deps.ReadFile})
	if err != nil {
		return nil, err
	}
	a := &Adapter{
		plan: p, client: client(deps.Client),
		now: deps.Now, after: deps.After, log: deps.Log,
		kinds: map[string]string{},
	}
	if a.now == nil {
		a.now = time.Now
	}
	if a.after == nil {
		a.after = time.After
	}
	if a.log == nil {
		a.log = slog.New(slog.DiscardHandler)
	}
	a.log = a.log.With("adapter", p.name)
	return a, nil
}

// client copies c, so that the caller's own stays as it is.
func client(c *http.Client) *http.Client {
	var out http.Client
	if c != nil {
		out = *c
	} else {
		t := http.DefaultTransport.(*http.Transport).Clone()
		t.IdleConnTimeout = 2 * time.Second
		t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12}
		t.MaxResponseHeaderBytes = 64 << 10
		out.Transport = t
	}
	out.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	out.Jar = nil
	return &out
}

// Probe makes the call described under check: it proves the sign-in and reads
// the credit without texting anybody.
func (a *Adapter) Probe(ctx context.Context) ([]adapters.Finding, error) {
	c := a.plan.check
	if c == nil {
		return []adapters.Finding{{
			What: "sign-in", OK: true,
			Note: "not tried: no check is described; only a test text will show",
		}}, nil
	}
	doc, err := a.get(ctx, c.url.fill(nil, percent), nil)
	if err != nil {
		var se *adapters.SendError
		if errors.As(err, &se) {
			return []adapters.Finding{{What: "sign-in", Note: se.Reason}}, nil
		}
		return nil, err
	}
	findings := []adapters.Finding{{What: "sign-in", OK: true}}
	if c.balance != nil {
		findings = append(findings, c.credit(doc))
	}
	return findings, nil
}
