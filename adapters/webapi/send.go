package webapi

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"passbell/adapters"
)

// answerLimit bounds an answer to a send; more than this is no answer.
const answerLimit = 1 << 20

// Send makes the described call, once.
func (a *Adapter) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	now := a.now()
	if err := ctx.Err(); err != nil {
		return a.refuse(adapters.Temporary, false, "stopped before the text was handed over", err)
	}
	if !m.ValidUntil.IsZero() && !now.Before(m.ValidUntil) {
		return a.refuse(adapters.Permanent, false, "it is too late for this text to be of use", nil)
	}
	if kind, ok := a.cannotTake(ctx, m.To); ok {
		return a.refuse(adapters.Permanent, false, "this number takes no texts: the provider calls it "+kind, nil)
	}
	ctx, cancel := context.WithTimeout(ctx, a.plan.timeout)
	defer cancel()
	req, body, err := a.plan.request(ctx, m, now)
	if err != nil {
		return a.refuse(adapters.Permanent, true, "the call cannot be put together from its description", err)
	}
	res, err := a.client.Do(req)
	if err != nil {
		if body.seal() {
			return a.refuse(adapters.Unknown, false, lostReason(err), quiet(err))
		}
		return a.refuse(adapters.Temporary, !errors.Is(err, context.Canceled), unreachedReason(err), quiet(err))
	}
	defer res.Body.Close()
	got := answer{status: res.StatusCode, header: res.Header}
	got.body, err = io.ReadAll(io.LimitReader(res.Body, answerLimit+1))
	got.broken = err != nil || len(got.body) > answerLimit

	r := a.plan.send.answer.judge(got, a.now())
	if r.outcome != "" {
		return adapters.Accepted{}, &adapters.SendError{
			Adapter: a.plan.name, Outcome: r.outcome, Wait: r.wait, Account: r.account,
			Reason: r.forPerson(m, a.plan.secrets), Err: quiet(err),
		}
	}
	if len(r.ids) == 0 && (a.plan.send.answer.id != nil || a.plan.send.answer.pattern != nil) {
		a.log.Warn("the provider gave no usable id; no receipt can be joined to this text", "key", m.Key)
	}
	return adapters.Accepted{IDs: r.ids}, nil
}

func (a *Adapter) refuse(o adapters.Outcome, account bool, reason string, cause error) (adapters.Accepted, error) {
	return adapters.Accepted{}, &adapters.SendError{
		Adapter: a.plan.name, Outcome: o, Account: account, Reason: reason, Err: cause,
	}
}

// request puts the call together.
func (p *plan) request(ctx context.Context, m adapters.Message, now time.Time) (*http.Request, *sealed, error) {
	values := p.values(m, now)
	var raw []byte
	kind := "application/json"
	if p.send.form != nil {
		kind = "application/x-www-form-urlencoded"
		form := url.Values{}
		for name, t := range p.send.form {
			v := t.fill(values, plain)
			if _, alone := t.alone(); alone && v == "" {
				continue
			}
			form.Set(name, v)
		}
		raw = []byte(form.Encode())
	} else {
		var err error
		if raw, err = p.send.json.fill(values); err != nil {
			return nil, nil, fmt.Errorf("the JSON body: %w", err)
		}
	}
	body := &sealed{r: bytes.NewReader(raw)}
	req, err := http.NewRequestWithContext(ctx, p.send.method, p.send.url.fill(values, percent), nil)
	if err != nil {
		return nil, nil, errors.New("the address does not fit") // the error quotes it
	}
	// Without GetBody net/http cannot send the body a second time by itself,
	// which it would otherwise do for a call with an idempotency key.
	req.Body, req.ContentLength, req.GetBody = body, int64(len(raw)), nil
	req.Header.Set("Content-Type", kind)
	req.Header.Set("Accept", "application/json, text/plain;q=0.5")
	req.Header.Set("User-Agent", "passbell")
	for name, t := range p.send.headers {
		req.Header.Set(name, strings.Map(headerRune, t.fill(values, plain)))
	}
	p.auth(req)
	return req, body, nil
}

// headerRune keeps what RFC 9110 §5.5 lets stand in a header.
func headerRune(c rune) rune {
	if c < ' ' || c > '~' {
		return -1
	}
	return c
}

func (p *plan) values(m adapters.Message, now time.Time) map[string]string {
	v := map[string]string{
		"to": m.To, "to_digits": strings.TrimPrefix(m.To, "+"),
		"from": p.sender(m), "text": m.Text, "key": m.Key, "subject": m.Subject,
	}
	if !m.ValidUntil.IsZero() {
		left := m.ValidUntil.Sub(now)
		v["valid_until"] = m.ValidUntil.UTC().Format(time.RFC3339)
		v["valid_until_unix"] = strconv.FormatInt(m.ValidUntil.Unix(), 10)
		v["valid_seconds"] = strconv.FormatInt(max(1, int64(left/time.Second)), 10)
		v["valid_minutes"] = strconv.FormatInt(max(1, int64(left/time.Minute)), 10)
	}
	return v
}

// sender is the message's own sender, else that of the longest calling prefix,
// else the adapter's.
func (p *plan) sender(m adapters.Message) string {
	if m.From != "" {
		return m.From
	}
	from, longest := p.from, 0
	for prefix, s := range p.senders {
		if len(prefix) > longest && strings.HasPrefix(m.To, prefix) {
			from, longest = s, len(prefix)
		}
	}
	return from
}

// sealed is a request's body that remembers whether anybody touched it. As long
// as nobody did, the request cannot have reached the provider as a whole.
type sealed struct {
	mu      sync.Mutex
	r       *bytes.Reader
	touched bool
	closed  bool
}

func (s *sealed) Read(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return 0, errors.New("the call was given up")
	}
	s.touched = true
	return s.r.Read(p)
}

// Close is for net/http.
func (s *sealed) Close() error { return nil }

// seal stops all further reading and says whether there was any: net/http may
// still be at work when it has already returned an error.
func (s *sealed) seal() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return s.touched
}

func lostReason(err error) string {
	if errors.Is(err, context.DeadlineExceeded) {
		return "no answer came in time; the text may have gone out"
	}
	if errors.Is(err, context.Canceled) {
		return "stopped while waiting for the answer; the text may have gone out"
	}
	return "the connection broke before the answer came; the text may have gone out"
}

func unreachedReason(err error) string {
	var (
		dns  *net.DNSError
		cert *tls.CertificateVerificationError
	)
	switch {
	case errors.Is(err, context.Canceled):
		return "stopped before the text was handed over"
	case errors.As(err, &dns):
		return "the provider's name was not found: is the internet connection up?"
	case errors.Is(err, context.DeadlineExceeded):
		return "the provider could not be reached in time"
	case errors.As(err, &cert):
		return "the provider's certificate is not trusted: is this machine's date right, and is no other network in between?"
	}
	return "the provider cannot be reached"
}

// quiet strips a transport error of what may quote an address, a secret or an
// answer, and keeps what a caller may ask about.
func quiet(err error) error {
	var op *net.OpError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, context.DeadlineExceeded):
		return context.DeadlineExceeded
	case errors.Is(err, context.Canceled):
		return context.Canceled
	case errors.As(err, &op):
		return op
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return io.ErrUnexpectedEOF
	}
	return errTransport
}

var errTransport = errors.New("the HTTP call failed")
