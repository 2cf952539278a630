package webapi_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/webapi"
)

// instructions is a text with everything that a form or JSON could trip over.
var instructions = adapters.Message{
	Key: "m42-1", To: "+447700900433",
	Text: "Zoë, your 2x \"Pork & prawn\" {bao} = £18 + 5% \\ 17:10?\nReply <HERE>;#🥟",
}

func outcome(t *testing.T, err error, want adapters.Outcome) *adapters.SendError {
	t.Helper()
	var se *adapters.SendError
	require.ErrorAs(t, err, &se)
	require.Equal(t, want, se.Outcome, "%v", err)
	return se
}

// answering is a provider of the polled dialect that answers each send alike.
func answering(t *testing.T, h http.HandlerFunc) (*provider, *webapi.Adapter) {
	t.Helper()
	p := newProvider(t, polled())
	p.extra = h
	cfg := describe(t, p.d.file, p.url())
	cfg.Lookup = nil
	return p, newAdapter(t, cfg)
}

// The table is RFC 9110 §15 and RFC 6585 read for one question: may the text
// have gone out?
func TestEveryStatusIsSorted(t *testing.T) {
	t.Parallel()
	tests := map[int]struct {
		want    adapters.Outcome
		account bool
	}{
		300: {want: adapters.Unknown},
		301: {want: adapters.Temporary, account: true},
		302: {want: adapters.Temporary, account: true},
		303: {want: adapters.Unknown}, // §15.4.4: the request was carried out
		307: {want: adapters.Temporary, account: true},
		308: {want: adapters.Temporary, account: true},
		400: {want: adapters.Permanent},
		401: {want: adapters.Temporary, account: true},
		402: {want: adapters.Temporary, account: true},
		403: {want: adapters.Permanent},
		404: {want: adapters.Permanent, account: true},
		405: {want: adapters.Permanent, account: true},
		408: {want: adapters.Temporary}, // §15.5.9: the request was not complete
		409: {want: adapters.Unknown},
		410: {want: adapters.Permanent, account: true},
		413: {want: adapters.Permanent},
		415: {want: adapters.Permanent, account: true},
		422: {want: adapters.Permanent},
		425: {want: adapters.Temporary}, // RFC 8470 §5.2: not processed
		429: {want: adapters.Throttled},
		451: {want: adapters.Permanent},
		500: {want: adapters.Unknown},
		501: {want: adapters.Permanent, account: true},
		502: {want: adapters.Unknown},
		503: {want: adapters.Temporary}, // §15.6.4: unable to handle the request
		504: {want: adapters.Unknown},
		505: {want: adapters.Permanent, account: true},
		511: {want: adapters.Temporary, account: true},
		599: {want: adapters.Unknown},
	}
	for status, tt := range tests {
		t.Run(fmt.Sprint(status), func(t *testing.T) {
			t.Parallel()
			p, a := answering(t, func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Location", "/json/messages")
				w.WriteHeader(status)
			})
			_, err := a.Send(t.Context(), instructions)
			se := outcome(t, err, tt.want)
			require.Equal(t, tt.account, se.Account)
			require.Contains(t, se.Reason, fmt.Sprint(status))
			require.Equal(t, 1, p.count(), "one call, no redirect followed, nothing tried again")
		})
	}
}

// RFC 9110 §10.2.3.
func TestRetryAfter(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, header string
		want         time.Duration
	}{
		{name: "seconds", header: "120", want: 2 * time.Minute},
		{name: "none", header: "", want: 0},
		{name: "date", header: night.Add(90 * time.Second).Format(http.TimeFormat), want: 90 * time.Second},
		{name: "date of the old form", header: night.Add(90 * time.Second).Format(time.ANSIC), want: 90 * time.Second},
		{name: "date that has passed", header: night.Add(-time.Hour).Format(http.TimeFormat), want: 0},
		{name: "nonsense", header: "soon", want: 0},
		{name: "negative", header: "-5", want: 0},
		{name: "more digits than a number has", header: strings.Repeat("9", 40), want: 24 * time.Hour},
		{name: "next year", header: night.AddDate(1, 0, 0).Format(http.TimeFormat), want: 24 * time.Hour},
	}
	for _, status := range []int{http.StatusTooManyRequests, http.StatusServiceUnavailable} {
		for _, tt := range tests {
			t.Run(fmt.Sprint(status, " ", tt.name), func(t *testing.T) {
				t.Parallel()
				_, a := answering(t, func(w http.ResponseWriter, _ *http.Request) {
					if tt.header != "" {
						w.Header().Set("Retry-After", tt.header)
					}
					w.WriteHeader(status)
				})
				_, err := a.Send(t.Context(), instructions)
				var se *adapters.SendError
				require.ErrorAs(t, err, &se)
				require.Equal(t, tt.want, se.Wait)
			})
		}
	}
}

func TestAnswersThatCannotBeTrusted(t *testing.T) {
	t.Parallel()
	write := func(s string) http.HandlerFunc {
		return func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, s) }
	}
	tests := []struct {
		name   string
		answer http.HandlerFunc
		want   adapters.Outcome
	}{
		{name: "a page instead of JSON", want: adapters.Unknown, answer: write("<html><body>Welcome to our free wifi</body></html>")},
		{name: "nothing", want: adapters.Unknown, answer: write("")},
		{name: "JSON without an id", want: adapters.Unknown, answer: write(`{"results":[{}]}`)},
		{name: "JSON of another shape", want: adapters.Unknown, answer: write(`[1,2,3]`)},
		{name: "two JSON values", want: adapters.Unknown, answer: write(`{"results":[{"id":"a"}]}{"x":1}`)},
		{name: "huge", want: adapters.Unknown, answer: write(`{"results":[{"id":"a"}],"pad":"` + strings.Repeat("x", 2<<20) + `"}`)},
		{name: "an error inside 200", want: adapters.Permanent, answer: write(`{"results":[{"error":{"code":"E21","text":"not a number"}}]}`)},
		{name: "a mapped error inside 200", want: adapters.Temporary, answer: write(`{"results":[{"error":{"code":"quota"}}]}`)},
		{
			name: "an answer that breaks off", want: adapters.Unknown,
			answer: func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Length", "500")
				_, _ = io.WriteString(w, `{"results":[{"id":"a"`)
			},
		},
		{
			name: "a refusal whose body breaks off is a refusal all the same", want: adapters.Permanent,
			answer: func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Length", "500")
				w.WriteHeader(http.StatusUnprocessableEntity)
			},
		},
		{
			name: "no HTTP at all", want: adapters.Unknown,
			answer: func(w http.ResponseWriter, _ *http.Request) {
				conn, rw, err := http.NewResponseController(w).Hijack()
				if err != nil {
					panic(err)
				}
				_, _ = rw.WriteString("+OK you have reached the wrong port +447700900433\r\n")
				_ = rw.Flush()
				_ = conn.Close()
			},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p, a := answering(t, tt.answer)
			_, err := a.Send(t.Context(), instructions)
			se := outcome(t, err, tt.want)
			require.Equal(t, 1, p.count())
			for e := error(se); e != nil; e = errors.Unwrap(e) {
				require.NotContains(t, e.Error(), "900433")
			}
		})
	}
}

func TestBadIDsAreNoIDs(t *testing.T) {
	t.Parallel()
	for name, id := range map[string]string{
		"with a line break": "a\nb", "too long": strings.Repeat("x", 300), "with a bell": "a\ab",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, a := answering(t, func(w http.ResponseWriter, _ *http.Request) {
				_ = json.NewEncoder(w).Encode(map[string]any{"results": []any{map[string]string{"id": id}}})
			})
			acc, err := a.Send(t.Context(), instructions)
			require.NoError(t, err, "the text went out: an id that cannot be used does not change that")
			require.Empty(t, acc.IDs)
		})
	}
	t.Run("a number keeps its digits", func(t *testing.T) {
		t.Parallel()
		_, a := answering(t, func(w http.ResponseWriter, _ *http.Request) {
			_, _ = io.WriteString(w, `{"results":[{"id":90071992547409931234}]}`)
		})
		acc, err := a.Send(t.Context(), instructions)
		require.NoError(t, err)
		require.Equal(t, []string{"90071992547409931234"}, acc.IDs)
	})
}

func TestSlowProviderIsUnknown(t *testing.T) {
	t.Parallel()
	p := newProvider(t, polled())
	p.extra = func(_ http.ResponseWriter, r *http.Request) {
		select {
		case <-r.Context().Done():
		case <-p.stop:
		}
	}
	cfg := describe(t, p.d.file, p.url())
	cfg.Timeout, cfg.Lookup = adapters.Duration(3*time.Second), nil // time enough to connect on a busy machine
	_, err := newAdapter(t, cfg).Send(t.Context(), instructions)
	se := outcome(t, err, adapters.Unknown)
	require.ErrorIs(t, se, context.DeadlineExceeded)
	require.Equal(t, 1, p.count())
}

func TestConnectionDroppedBeforeTheBodyWasRead(t *testing.T) {
	t.Parallel()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = ln.Close() })
	go func() {
		for {
			conn, err := ln.Accept()
			if err != nil {
				return
			}
			_, _ = conn.Read(make([]byte, 1))
			_ = conn.Close()
		}
	}()
	cfg := describe(t, "form-basic.toml", "http://"+ln.Addr().String())
	_, err = newAdapter(t, cfg).Send(t.Context(), instructions)
	outcome(t, err, adapters.Unknown) // from here it cannot be told from a drop after reading
}

func TestNothingWasHandedOver(t *testing.T) {
	t.Parallel()
	dial := func(err error) webapi.Deps {
		d := deps(t, nil)
		d.Client = &http.Client{Transport: &http.Transport{
			DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
				if err == nil {
					<-ctx.Done()
					return nil, ctx.Err()
				}
				return nil, err
			},
		}}
		return d
	}
	tests := []struct {
		name, want string
		deps       webapi.Deps
	}{
		{name: "name not found", want: "name was not found", deps: dial(&net.OpError{Op: "dial", Err: &net.DNSError{Err: "no such host"}})},
		{name: "network down", want: "cannot be reached", deps: dial(&net.OpError{Op: "dial", Err: errors.New("network is unreachable")})},
		{name: "no answer to the knock", want: "in time", deps: dial(nil)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cfg := describe(t, "form-basic.toml", "")
			cfg.Timeout = adapters.Duration(30 * time.Millisecond)
			a, err := webapi.New(cfg, tt.deps)
			require.NoError(t, err)
			_, err = a.Send(t.Context(), instructions)
			se := outcome(t, err, adapters.Temporary)
			require.True(t, se.Account)
			require.Contains(t, se.Reason, tt.want)
		})
	}
	t.Run("certificate not trusted", func(t *testing.T) {
		t.Parallel()
		srv := httptest.NewUnstartedServer(http.NotFoundHandler())
		srv.Config.ErrorLog = log.New(io.Discard, "", 0) // it complains of the handshake
		srv.StartTLS()
		t.Cleanup(srv.Close)
		cfg := describe(t, "form-basic.toml", srv.URL)
		_, err := newAdapter(t, cfg).Send(t.Context(), instructions)
		se := outcome(t, err, adapters.Temporary)
		require.Contains(t, se.Reason, "certificate")
	})
}

// net/http repeats a call by itself on a connection that was used before, if an
// Idempotency-Key says that it may. A provider that does not keep the promise
// would send twice.
func TestDroppedOnAReusedConnectionIsNotRepeated(t *testing.T) {
	t.Parallel()
	p := newProvider(t, signed())
	a := newAdapter(t, describe(t, p.d.file, p.url()))
	_, err := a.Send(t.Context(), instructions)
	require.NoError(t, err)
	r, _ := p.sent()
	require.Equal(t, `"m42-1"`, r.Header.Get("Idempotency-Key"), "a quoted string, as in draft-ietf-httpapi-idempotency-key-header-07")
	p.Next(adapterstest.Drop)
	_, err = a.Send(t.Context(), instructions)
	outcome(t, err, adapters.Unknown)
	require.Equal(t, 2, p.count())
}

func TestFormIsWholeAtTheFarSide(t *testing.T) {
	t.Parallel()
	p := newProvider(t, forms())
	a := newAdapter(t, describe(t, p.d.file, p.url()))
	m := instructions
	m.ValidUntil = night.Add(3*time.Hour + 30*time.Second)
	acc, err := a.Send(t.Context(), m)
	require.NoError(t, err)
	require.Equal(t, []string{"msg-1"}, acc.IDs)
	r, body := p.sent()
	got, err := url.ParseQuery(body)
	require.NoError(t, err)
	require.Equal(t, url.Values{
		"recipient": {"447700900433"}, "sender": {"LARKFIELD"}, "message": {m.Text},
		"reference": {"m42-1"}, "validity": {"180"},
	}, got)
	require.Equal(t, "application/x-www-form-urlencoded", r.Header.Get("Content-Type"))
}

func TestJSONIsWholeAtTheFarSide(t *testing.T) {
	t.Parallel()
	p := newProvider(t, polled())
	a := newAdapter(t, describe(t, p.d.file, p.url()))
	m := instructions
	m.ValidUntil = night.Add(90 * time.Second)
	_, err := a.Send(t.Context(), m)
	require.NoError(t, err)
	_, body := p.sent()
	want, err := json.Marshal(map[string]any{"messages": []any{map[string]any{
		"to": m.To, "from": "+447700900001", "body": m.Text, "client_ref": m.Key, "ttl": 90,
	}}})
	require.NoError(t, err)
	require.JSONEq(t, string(want), body)

	t.Log("a text without a limit has no ttl at all")
	_, err = a.Send(t.Context(), instructions)
	require.NoError(t, err)
	_, body = p.sent()
	require.NotContains(t, body, "ttl")
}

func TestSenderByCountry(t *testing.T) {
	t.Parallel()
	p := newProvider(t, forms())
	cfg := describe(t, p.d.file, p.url())
	cfg.Senders["+1876"] = "+18765550100"
	a := newAdapter(t, cfg)
	for _, tt := range []struct{ to, from, want string }{
		{to: "+447700900433", want: "LARKFIELD"},
		{to: "+14165550123", want: "+12025550199"},
		{to: "+18765550123", want: "+18765550100"},
		{to: "+14165550123", from: "+14165550199", want: "+14165550199"},
	} {
		_, err := a.Send(t.Context(), adapters.Message{To: tt.to, From: tt.from, Text: "Order K401 is ready"})
		require.NoError(t, err)
		_, body := p.sent()
		form, err := url.ParseQuery(body)
		require.NoError(t, err)
		require.Equal(t, tt.want, form.Get("sender"))
	}
}

func TestPlaceholdersInTheAddress(t *testing.T) {
	t.Parallel()
	p, _ := answering(t, nil)
	p.extra = func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, `{"results":[{"id":"a"}]}`) }
	cfg := describe(t, p.d.file, p.url())
	cfg.Lookup = nil
	cfg.Send.URL = p.url() + "/v2/{key}/messages?to={to}&text={text}"
	m := instructions
	m.Key = "../a?b#c"
	_, err := newAdapter(t, cfg).Send(t.Context(), m)
	require.NoError(t, err)
	r, _ := p.sent()
	require.Equal(t, "/v2/..%2Fa%3Fb%23c/messages", r.URL.EscapedPath())
	require.Equal(t, url.Values{"to": {m.To}, "text": {m.Text}}, r.URL.Query())
}

func TestTooLateIsNotSent(t *testing.T) {
	t.Parallel()
	p := newProvider(t, forms())
	m := instructions
	m.ValidUntil = night
	_, err := newAdapter(t, describe(t, p.d.file, p.url())).Send(t.Context(), m)
	outcome(t, err, adapters.Permanent)
	require.Zero(t, p.count())
}

func TestPartOfATextWasTaken(t *testing.T) {
	t.Parallel()
	answer := func(s string) error {
		p := newProvider(t, signed())
		p.extra = func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, s) }
		cfg := describe(t, p.d.file, p.url())
		cfg.Send.Answer.OKField, cfg.Send.Answer.OKValues = "parts[].state", []string{"ok"}
		cfg.Send.Answer.ErrorCode = "parts[].code"
		_, err := newAdapter(t, cfg).Send(t.Context(), instructions)
		return err
	}
	require.NoError(t, answer(`{"parts":[{"id":"1","state":"ok","code":0},{"id":"2","state":"ok","code":0}]}`))
	outcome(t, answer(`{"parts":[{"id":"1","state":"ok","code":0},{"id":"2","state":"no","code":7}]}`), adapters.Unknown)
	outcome(t, answer(`{"parts":[{"id":"1","state":"no","code":7},{"id":"2","state":"no","code":7}]}`), adapters.Permanent)
	outcome(t, answer(`{"parts":[{"id":"1","state":"ok","code":7}]}`), adapters.Unknown)
	outcome(t, answer(`{"parts":[]}`), adapters.Unknown)
}

func TestMappedStatuses(t *testing.T) {
	t.Parallel()
	send := func(status int, body string) error {
		p := newProvider(t, signed())
		p.extra = func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(status)
			_, _ = io.WriteString(w, body)
		}
		cfg := describe(t, p.d.file, p.url())
		cfg.Send.Answer.HTTP["4xx"] = "throttled"
		_, err := newAdapter(t, cfg).Send(t.Context(), instructions)
		return err
	}
	outcome(t, send(502, ""), adapters.Temporary)
	outcome(t, send(418, ""), adapters.Throttled)
	se := outcome(t, send(500, `{"problem":{"code":"busy","detail":"try later"}}`), adapters.Temporary)
	require.Equal(t, "the provider failed while it had the text in hand (HTTP 500): try later (code busy)", se.Reason)
}

func TestReasonGivesNothingAway(t *testing.T) {
	t.Parallel()
	for name, detail := range map[string]string{
		"number":         "+447700900433 is barred",
		"spaced number":  "07700 900 433 is barred",
		"digits only":    "447700900433",
		"text":           "cannot send: Zoë, your 2x \"Pork & prawn\"",
		"text re-spaced": "your  2x \"Pork\n& prawn\" {bao}",
		"secret":         "key " + environment["SMS_KEY"] + " is barred",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := newProvider(t, signed())
			p.extra = func(w http.ResponseWriter, _ *http.Request) {
				_ = json.NewEncoder(w).Encode(map[string]any{
					"status": "no", "problem": map[string]string{"code": "barred", "detail": detail},
				})
			}
			_, err := newAdapter(t, describe(t, p.d.file, p.url())).Send(t.Context(), instructions)
			se := outcome(t, err, adapters.Permanent)
			require.Contains(t, se.Reason, "(code barred)")
			for _, leak := range []string{"900433", "900 433", "Pork", environment["SMS_KEY"]} {
				require.NotContains(t, se.Error(), leak)
			}
		})
	}
}

func TestLookupBeforeTheFirstText(t *testing.T) {
	t.Parallel()
	p := newProvider(t, polled())
	a := newAdapter(t, describe(t, p.d.file, p.url()))
	m := instructions
	m.To = "+441174960123" // a landline's range for fiction, standards.md §4
	_, err := a.Send(t.Context(), m)
	se := outcome(t, err, adapters.Permanent)
	require.Contains(t, se.Reason, "landline")
	require.Zero(t, p.count())

	_, err = a.Send(t.Context(), instructions)
	require.NoError(t, err)

	t.Log("a lookup that fails holds nothing up")
	cfg := describe(t, p.d.file, p.url())
	cfg.Lookup.URL = p.url() + "/nowhere/{to}"
	_, err = newAdapter(t, cfg).Send(t.Context(), m)
	require.NoError(t, err)
}

func TestProbe(t *testing.T) {
	t.Parallel()
	p := newProvider(t, polled())
	cfg := describe(t, p.d.file, p.url())
	got, err := newAdapter(t, cfg).Probe(t.Context())
	require.NoError(t, err)
	require.Equal(t, []adapters.Finding{
		{What: "sign-in", OK: true},
		{What: "credit", Note: "4.2 left: top it up before the night"},
	}, got)

	cfg.Auth.Secret = "wrong"
	got, err = newAdapter(t, cfg).Probe(t.Context())
	require.NoError(t, err)
	require.Equal(t, []adapters.Finding{{What: "sign-in", Note: "the provider refused the sign-in: check auth (HTTP 401)"}}, got)
	require.Zero(t, p.count(), "nobody was texted")
}
