package webapi_test

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha1"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/webapi"
)

// anyEvent is a hook description that fits every JSON object: the tests of
// signatures are about the signature.
func anyEvent(v webapi.Verify) webapi.Config {
	cfg := sendable()
	cfg.Hooks.Inbound = &webapi.Hook{
		Fields: webapi.Fields{ID: "id", From: "from", Text: "text", OnlyField: "kind", OnlyValues: []string{"text"}},
		Verify: v,
	}
	return cfg
}

// sendable is the shortest description that is sound.
func sendable() webapi.Config {
	return webapi.Config{Send: webapi.Send{
		URL: "https://api.example.net/messages", Body: "form", Form: map[string]string{"to": "{to}", "text": "{text}"},
	}}
}

// at builds the adapter at a moment and makes one call to its hook.
func callAt(t *testing.T, cfg webapi.Config, now time.Time, sink adapters.Sink, r *http.Request) *httptest.ResponseRecorder {
	t.Helper()
	d := deps(t, nil)
	d.Now = func() time.Time { return now }
	a, err := webapi.New(cfg, d)
	require.NoError(t, err)
	w := httptest.NewRecorder()
	a.Hook(sink).ServeHTTP(w, r)
	return w
}

// Vectors of Standard Webhooks as standards.md §11 has them: the first from the
// reference libraries' tests, all recomputed there by an independent program.
func TestStandardWebhooksVectors(t *testing.T) {
	t.Parallel()
	const (
		id, body  = "msg_p5jXN8AQM9LWM0D4loKWxJek", `{"test": 2432232314}`
		signature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
		stamp     = "1614265330"
	)
	now := time.Unix(1614265330, 0)
	tests := []struct {
		name                       string
		id, stamp, signature, body string
		now                        time.Time
		want                       int
	}{
		{name: "library vector", want: 204},
		{
			name: "order vector", id: "msg_order1042", stamp: "1774783865", now: time.Unix(1774783865, 0),
			body:      `{"type":"order.ready","timestamp":"2026-03-29T11:31:05Z","data":{"order":1042}}`,
			signature: "v1,zhjrqNw+DjHYMv+LGhb+Pg2RtPDh6kD2ZnGupy1VGGI=", want: 204,
		},
		{
			name: "empty body is verified, and then is no event", id: "msg_empty", stamp: "1774783865", now: time.Unix(1774783865, 0),
			body: "-", signature: "v1,zK4WAyfQ3NEuJq5kGoW2w4F2dJEDteorNlvKt4iLG6o=", want: 422,
		},
		{name: "list with a bad one, another version, the right one", signature: "v1,AAAA v2,xyz " + signature, want: 204},
		{name: "300 s early", now: now.Add(-300 * time.Second), want: 204},
		{name: "300 s late", now: now.Add(300 * time.Second), want: 204},
		{name: "301 s early", now: now.Add(-301 * time.Second), want: 401},
		{name: "301 s late", now: now.Add(301 * time.Second), want: 401},
		{name: "id altered", id: "msg_other", want: 401},
		{name: "id missing", id: "-", want: 401},
		{name: "timestamp altered", stamp: "1614265331", want: 401},
		{name: "timestamp missing", stamp: "-", want: 401},
		{name: "timestamp not whole seconds", stamp: "1614265330.0", want: 401},
		{name: "timestamp in words", stamp: "2021-02-25T15:02:10Z", want: 401},
		{name: "signature missing", signature: "-", want: 401},
		{name: "signature empty", signature: "v1,", want: 401},
		{name: "another version only", signature: "v1a" + signature[2:], want: 401},
		{name: "body written anew", body: `{"test":2432232314}`, want: 401},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			or := func(s, def string) string {
				switch s {
				case "":
					return def
				case "-":
					return ""
				}
				return s
			}
			r := httptest.NewRequest(http.MethodPost, "/hooks/sms/inbound", strings.NewReader(or(tt.body, body)))
			for name, v := range map[string]string{
				"webhook-id": or(tt.id, id), "webhook-timestamp": or(tt.stamp, stamp), "webhook-signature": or(tt.signature, signature),
			} {
				if v != "" {
					r.Header.Set(name, v)
				}
			}
			at := tt.now
			if at.IsZero() {
				at = now
			}
			for _, secret := range []adapters.Secret{"env:SMS_HOOK_SECRET", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"} {
				r := r.Clone(t.Context())
				r.Body = http.NoBody
				if b := or(tt.body, body); b != "" {
					r.Body = httptest.NewRequest(http.MethodPost, "/", strings.NewReader(b)).Body
				}
				cfg := anyEvent(webapi.Verify{Kind: "standard", Secret: secret})
				require.Equal(t, tt.want, callAt(t, cfg, at, &adapterstest.Sink{}, r).Code)
			}
		})
	}
}

// RFC 4231 §4.2 and §4.3, as in standards.md §11: the signed text is the body.
func TestHMACVectors(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, key, body, signature, algorithm string
	}{
		{
			name: "case 1", key: strings.Repeat("\x0b", 20), body: "Hi There",
			signature: "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
		},
		{
			name: "case 2", key: "Jefe", body: "what do ya want for nothing?",
			signature: "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
		},
		{
			name: "case 2, capitals", key: "Jefe", body: "what do ya want for nothing?",
			signature: "5BDCC146BF60754E6A042426089575C75A003F089D2739839DEC58B964EC3843",
		},
		{
			name: "case 6", key: strings.Repeat("\xaa", 131), body: "Test Using Larger Than Block-Size Key - Hash Key First",
			signature: "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
		},
		{
			name: "case 2, SHA-512", key: "Jefe", body: "what do ya want for nothing?", algorithm: "sha512",
			signature: "164b7a7bfcf819e2e395fbe73b56e0a387bd64222e831fd610270cd7ea2505549758bf75c05a994a6d034f65f8f0e6fdcaeab1a34d4a6b4b636e070a38bce737",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			raw, err := hex.DecodeString(tt.signature)
			require.NoError(t, err)
			for encoding, sig := range map[string]string{
				"hex": tt.signature, "base64": base64.StdEncoding.EncodeToString(raw),
			} {
				call := func(key, sig, body string) int {
					cfg := anyEvent(webapi.Verify{
						Kind: "hmac", Secret: adapters.Secret(key), Header: "X-Signature", Prefix: "sig=",
						Algorithm: tt.algorithm, Encoding: encoding,
					})
					r := httptest.NewRequest(http.MethodPost, "/inbound", strings.NewReader(body))
					r.Header.Set("X-Signature", "sig="+sig)
					return callAt(t, cfg, night, &adapterstest.Sink{}, r).Code
				}
				// The vectors' texts are no JSON: past the signature they are 422.
				require.Equal(t, 422, call(tt.key, sig, tt.body), encoding)
				require.Equal(t, 401, call(tt.key+"x", sig, tt.body), encoding)
				require.Equal(t, 401, call(tt.key, sig, tt.body+"x"), encoding)
				require.Equal(t, 401, call(tt.key, sig[:8], tt.body), encoding)
				require.Equal(t, 401, call(tt.key, "", tt.body), encoding)
			}
		})
	}
}

// sign is HMAC written out here, beside the adapter's own.
func sign(h func() hash.Hash, key, text string) []byte {
	mac := hmac.New(h, []byte(key))
	mac.Write([]byte(text))
	return mac.Sum(nil)
}

func TestSignedTemplates(t *testing.T) {
	t.Parallel()
	body := `{"kind":"text","id":"in-1","from":"447700900101","text":"here"}`
	stamp := strconv.FormatInt(night.Unix(), 10)
	call := func(v webapi.Verify, r *http.Request) int {
		return callAt(t, anyEvent(v), night, &adapterstest.Sink{}, r).Code
	}
	t.Run("time and signature in one header", func(t *testing.T) {
		t.Parallel()
		v := webapi.Verify{
			Kind: "hmac", Secret: "sesame", OldSecret: "sesame-old", Header: "X-Sig", Prefix: "v1=", Signed: "{timestamp}.{body}",
			TimestampHeader: "X-Sig", TimestampPrefix: "t=", Algorithm: "sha512",
		}
		for key, want := range map[string]int{"sesame": 204, "sesame-old": 204, "guess": 401} {
			r := httptest.NewRequest(http.MethodPost, "/inbound", strings.NewReader(body))
			r.Header.Set("X-Sig", "t="+stamp+", v1="+hex.EncodeToString(sign(sha512.New, key, stamp+"."+body)))
			require.Equal(t, want, call(v, r), key)
		}
		late := strconv.FormatInt(night.Add(-301*time.Second).Unix(), 10)
		r := httptest.NewRequest(http.MethodPost, "/inbound", strings.NewReader(body))
		r.Header.Set("X-Sig", "t="+late+",v1="+hex.EncodeToString(sign(sha512.New, "sesame", late+"."+body)))
		require.Equal(t, 401, call(v, r), "a call from 301 s ago is a replay")
	})
	t.Run("address and sorted form", func(t *testing.T) {
		t.Parallel()
		v := webapi.Verify{
			Kind: "hmac", Secret: "sesame", Header: "X-Sig", Algorithm: "sha1", Encoding: "base64",
			Signed: "{url}{form}", PublicURL: "https://kitchen.example/hooks/sms/inbound",
		}
		cfg := anyEvent(v)
		cfg.Hooks.Inbound.Format = "form"
		form := url.Values{"kind": {"text"}, "id": {"in-1"}, "from": {"+447700900101"}, "text": {"here now"}}
		r := httptest.NewRequest(http.MethodPost, "/inbound?a=1", strings.NewReader(form.Encode()))
		r.Header.Set("X-Sig", base64.StdEncoding.EncodeToString(sign(sha1.New, "sesame",
			"https://kitchen.example/hooks/sms/inbound?a=1"+"from+447700900101"+"idin-1"+"kindtext"+"texthere now")))
		sink := &adapterstest.Sink{}
		require.Equal(t, 204, callAt(t, cfg, night, sink, r).Code)
		require.Equal(t, []adapters.Inbound{{ID: "in-1", From: "+447700900101", Text: "here now"}}, sink.Inbounds())
	})
	t.Run("id in the signature", func(t *testing.T) {
		t.Parallel()
		v := webapi.Verify{
			Kind: "hmac", Secret: "sesame", Header: "X-Sig", Signed: "{id}:{timestamp}:{body}",
			IDHeader: "X-Id", TimestampHeader: "X-Time",
		}
		r := httptest.NewRequest(http.MethodPost, "/inbound", strings.NewReader(body))
		at := night.Format(time.RFC3339)
		r.Header.Set("X-Id", "call-1")
		r.Header.Set("X-Time", at)
		r.Header.Set("X-Sig", hex.EncodeToString(sign(sha512.New, "sesame", "call-1:"+at+":"+body)))
		v.Algorithm = "sha512"
		require.Equal(t, 204, call(v, r))
	})
}

func TestTokenBasicAndNone(t *testing.T) {
	t.Parallel()
	post := func(change func(*http.Request)) *http.Request {
		r := httptest.NewRequest(http.MethodPost, "/inbound", strings.NewReader(`{"kind":"other"}`))
		change(r)
		return r
	}
	token := webapi.Verify{Kind: "token", Secret: "open sesame", Header: "Authorization", Prefix: "Bearer "}
	query := webapi.Verify{Kind: "token", Secret: "open sesame", Query: "t"}
	basic := webapi.Verify{Kind: "basic", User: "bell", Secret: "sesame"}
	none := webapi.Verify{Kind: "none"}
	from := func(addr string, headers ...string) func(*http.Request) {
		return func(r *http.Request) {
			r.RemoteAddr = addr
			for _, h := range headers {
				r.Header.Set(h, "203.0.113.9")
			}
		}
	}
	tests := []struct {
		name   string
		verify webapi.Verify
		change func(*http.Request)
		want   int
	}{
		{name: "token", verify: token, change: func(r *http.Request) { r.Header.Set("Authorization", "Bearer open sesame") }, want: 204},
		{name: "token wrong", verify: token, change: func(r *http.Request) { r.Header.Set("Authorization", "Bearer open") }, want: 401},
		{name: "token without its prefix", verify: token, change: func(r *http.Request) { r.Header.Set("Authorization", "open sesame") }, want: 401},
		{name: "token missing", verify: token, change: func(*http.Request) {}, want: 401},
		{name: "query", verify: query, change: func(r *http.Request) { r.URL.RawQuery = "t=open+sesame" }, want: 204},
		{name: "query wrong", verify: query, change: func(r *http.Request) { r.URL.RawQuery = "t=x" }, want: 401},
		{name: "basic", verify: basic, change: func(r *http.Request) { r.SetBasicAuth("bell", "sesame") }, want: 204},
		{name: "basic, wrong user", verify: basic, change: func(r *http.Request) { r.SetBasicAuth("ball", "sesame") }, want: 401},
		{name: "basic, wrong secret", verify: basic, change: func(r *http.Request) { r.SetBasicAuth("bell", "") }, want: 401},
		{name: "basic missing", verify: basic, change: func(*http.Request) {}, want: 401},
		{name: "none from here", verify: none, change: from("127.0.0.1:4711"), want: 204},
		{name: "none from here, IPv6", verify: none, change: from("[::1]:4711"), want: 204},
		{name: "none from elsewhere", verify: none, change: from("192.0.2.7:4711"), want: 401},
		{name: "none by a proxy here", verify: none, change: from("127.0.0.1:4711", "X-Forwarded-For"), want: 401},
		{name: "none by a page in a browser here", verify: none, change: from("127.0.0.1:4711", "Origin"), want: 401},
		{name: "none by another proxy here", verify: none, change: from("127.0.0.1:4711", "Forwarded"), want: 401},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, callAt(t, anyEvent(tt.verify), night, &adapterstest.Sink{}, post(tt.change)).Code)
		})
	}
}

// Needs.md row 35: the same event many times at once. The adapter's part is that
// each delivery carries the same id, though each attempt has its own.
func TestTwentyCopiesAtOnceHaveOneID(t *testing.T) {
	t.Parallel()
	d := signed()
	a := newAdapter(t, describe(t, d.file, ""))
	sink := &adapterstest.Sink{}
	h := a.Hook(sink)
	in := adapters.Inbound{ID: "in-7", From: "+447700900101", Text: "here, grey golf", At: night}
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, d.inbound("/hooks/sms", in))
			if w.Code != http.StatusNoContent {
				t.Errorf("answered %d", w.Code)
			}
		})
	}
	wg.Wait()
	got := sink.Inbounds()
	require.Len(t, got, 20)
	for _, g := range got {
		require.Equal(t, adapters.Inbound{ID: "in-7", From: "+447700900101", To: "60070", Text: "here, grey golf", At: night}, g)
	}
}

func TestSeveralEventsInOneCall(t *testing.T) {
	t.Parallel()
	body := `{"events":[
		{"type":"message.received","data":{"id":"a","from":{"number":"447700900101"},"text":"here","at":"2026-03-13T16:59:00+01:00"}},
		{"type":"message.updated","data":{"id":"msg-1","status":"lost","cause":{"text":"no phone at +447700900102"},"at":"2026-03-13T16:00:00Z"}},
		{"type":"message.updated","data":{"id":"msg-2","status":"Sent"}},
		{"type":"message.updated","data":{"id":"msg-3","status":"teleported"}},
		{"type":"message.received","data":{"id":"b","from":{"number":"60070"},"text":""}}]}`
	cfg := describe(t, "json-signed.toml", "")
	sink := &adapterstest.Sink{}
	w := callAt(t, cfg, night, sink, standardHook("/hooks/sms/events", "call-1", night, []byte(body)))
	require.Equal(t, http.StatusNoContent, w.Code, "a status that nobody knows holds nothing up")
	require.Equal(t, []adapters.Inbound{
		{ID: "a", From: "+447700900101", Text: "here", At: time.Date(2026, 3, 13, 15, 59, 0, 0, time.UTC)},
		{ID: "b", From: "60070"},
	}, sink.Inbounds())
	require.Equal(t, []adapters.Receipt{
		{ID: "msg-1", Status: adapters.Failed, Reason: "no phone at +…", At: time.Date(2026, 3, 13, 16, 0, 0, 0, time.UTC)},
		{ID: "msg-2", Status: adapters.OnTheWay},
	}, sink.Receipts())
}

func TestSecondEventNotStoredIsNotAcknowledged(t *testing.T) {
	t.Parallel()
	body := `{"events":[
		{"type":"message.received","data":{"id":"a","from":{"number":"447700900101"},"text":"one"}},
		{"type":"message.received","data":{"id":"b","from":{"number":"447700900102"},"text":"two"}}]}`
	sink := &adapterstest.Sink{OnInbound: func(in adapters.Inbound) error {
		if in.ID == "b" {
			return errors.New("the disk is full")
		}
		return nil
	}}
	w := callAt(t, describe(t, "json-signed.toml", ""), night, sink, standardHook("/inbound", "c", night, []byte(body)))
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
}

func TestCallsThatCannotBeRead(t *testing.T) {
	t.Parallel()
	post := func(path, body string) *http.Request {
		return standardHook(path, "c", night, []byte(body))
	}
	tests := []struct {
		name string
		r    *http.Request
		want int
	}{
		{name: "not JSON", r: post("/inbound", "<xml/>"), want: 422},
		{name: "no list", r: post("/inbound", `{"event":{}}`), want: 422},
		{name: "empty list", r: post("/inbound", `{"events":[]}`), want: 204},
		{name: "null for a list", r: post("/inbound", `{"events":null}`), want: 204},
		{name: "no sender", r: post("/inbound", `{"events":[{"type":"message.received","data":{"id":"a","text":"here"}}]}`), want: 422},
		{name: "a receipt without an id", r: post("/receipts", `{"events":[{"type":"message.updated","data":{"status":"sent"}}]}`), want: 422},
		{name: "too long", r: post("/inbound", `{"pad":"`+strings.Repeat("x", 2<<20)+`"}`), want: 413},
		{name: "wrong address", r: post("/somewhere", `{}`), want: 404},
		{name: "wrong method", r: httptest.NewRequest(http.MethodGet, "/inbound", nil), want: 405},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, callAt(t, describe(t, "json-signed.toml", ""), night, &adapterstest.Sink{}, tt.r).Code)
		})
	}
}

func TestIDsMadeFromTheContent(t *testing.T) {
	t.Parallel()
	cfg := sendable()
	cfg.Hooks.Inbound = &webapi.Hook{
		Fields: webapi.Fields{ID: "id", From: "from", Text: "text", At: "at"},
		Verify: webapi.Verify{Kind: "token", Secret: "sesame", Header: "T"},
	}
	id := func(body string) string {
		sink := &adapterstest.Sink{}
		r := httptest.NewRequest(http.MethodPost, "/inbound", strings.NewReader(body))
		r.Header.Set("T", "sesame")
		require.Equal(t, 204, callAt(t, cfg, night, sink, r).Code)
		require.Len(t, sink.Inbounds(), 1)
		return sink.Inbounds()[0].ID
	}
	one := id(`{"from":"447700900101","text":"here","at":"2026-03-13 17:00:00"}`)
	require.Equal(t, one, id(`{"at":"2026-03-13 17:00:00","text":"here","from":"447700900101","attempt":2}`))
	require.NotEqual(t, one, id(`{"from":"447700900101","text":"here","at":"2026-03-13 17:00:01"}`))
	require.NotEqual(t, one, id(`{"from":"447700900102","text":"here","at":"2026-03-13 17:00:00"}`))
	require.NotEmpty(t, id(`{"from":"447700900101","text":"here"}`))
	require.Equal(t, "a", id(`{"id":" a ","from":"447700900101","text":"here"}`))
	long := id(`{"id":"` + strings.Repeat("x", 500) + `","from":"447700900101","text":"here"}`)
	require.LessOrEqual(t, len(long), 64)
	require.Equal(t, long, id(`{"id":"`+strings.Repeat("x", 500)+`","from":"447700900101","text":"here","attempt":2}`))
}

func TestNumbersAndTimesAsProvidersWriteThem(t *testing.T) {
	t.Parallel()
	cfg := sendable()
	cfg.Hooks.Inbound = &webapi.Hook{
		Method: "GET", Fields: webapi.Fields{ID: "id", From: "from", Text: "text", At: "at"},
		Verify: webapi.Verify{Kind: "token", Secret: "sesame", Query: "t"},
	}
	get := func(t *testing.T, from, text, at string) adapters.Inbound {
		t.Helper()
		sink := &adapterstest.Sink{}
		r := httptest.NewRequest(http.MethodGet, "/inbound?t=sesame&id=1&from="+from+"&text="+text+"&at="+at, nil)
		require.Equal(t, 204, callAt(t, cfg, night, sink, r).Code)
		return sink.Inbounds()[0]
	}
	for from, want := range map[string]string{
		"447700900101": "+447700900101", "%2B447700900101": "+447700900101", "+447700900101": "+447700900101",
		"00447700900101": "+447700900101", "07700900101": "07700900101", "60070": "60070", "LARKFIELD": "LARKFIELD",
	} {
		require.Equal(t, want, get(t, from, "x", "").From, from)
	}
	five := time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	for at, want := range map[string]time.Time{
		"1773421200": five, "1773421200000": five, "1773421200.25": five, "2026-03-13T17:00:00Z": five,
		"2026-03-13T18:00:00%2B01:00": five, "2026-03-13%2017:00:00": five,
		"Fri,%2013%20Mar%202026%2017:00:00%20%2B0000": five, "teatime": {}, "": {},
	} {
		require.True(t, want.Equal(get(t, "447700900101", "x", at).At), "%s", at)
	}
	require.Equal(t, "Zoë £5", get(t, "447700900101", "Zo%EB+%A35", "").Text, "ISO 8859-1 where it is not UTF-8")
	require.Equal(t, "Zoë £5", get(t, "447700900101", "Zo%C3%AB+%C2%A35", "").Text)

	cfg.Hooks.Inbound.AtFormat, cfg.Hooks.Inbound.Numbers = "02/01/2006 15.04", "as given"
	in := get(t, "447700900101", "x", "13/03/2026%2017.00")
	require.True(t, five.Equal(in.At))
	require.Equal(t, "447700900101", in.From)
}

func TestHookSaysNothingOfCustomersInTheLog(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	d := deps(t, slog.New(slog.NewTextHandler(&log, nil)))
	a, err := webapi.New(describe(t, "json-signed.toml", ""), d)
	require.NoError(t, err)
	sink := &adapterstest.Sink{OnInbound: func(in adapters.Inbound) error {
		return fmt.Errorf("constraint failed for %s: %s", in.From, in.Text)
	}}
	in := adapters.Inbound{ID: "in-7", From: "+447700900101", Text: "here, grey golf", At: night}
	bad := signed().inbound("/hooks/sms", in)
	bad.Header.Set("Webhook-Signature", "v1,"+base64.StdEncoding.EncodeToString([]byte("guess")))
	for _, r := range []*http.Request{signed().inbound("/hooks/sms", in), bad} {
		a.Hook(sink).ServeHTTP(httptest.NewRecorder(), r)
	}
	require.Contains(t, log.String(), "could not be stored")
	require.Contains(t, log.String(), "does not fit")
	for _, leak := range []string{"900101", "golf", "whsec"} {
		require.NotContains(t, log.String(), leak)
	}
}

func TestAnswerThatTheProviderWants(t *testing.T) {
	t.Parallel()
	cfg := describe(t, "form-basic.toml", "")
	cfg.Hooks.Receipts.Answer, cfg.Hooks.Receipts.AnswerType = `{"ok":true}`, "application/json"
	w := callAt(t, cfg, night, &adapterstest.Sink{}, forms().receipt("/hooks/sms", adapters.Receipt{ID: "a", Status: adapters.Delivered}))
	require.Equal(t, http.StatusOK, w.Code)
	require.True(t, json.Valid(w.Body.Bytes()))
	require.Equal(t, "application/json", w.Header().Get("Content-Type"))
}

// An adapter without hooks has a handler that knows no address.
func TestNoHooks(t *testing.T) {
	t.Parallel()
	r := httptest.NewRequestWithContext(context.Background(), http.MethodPost, "/inbound", nil)
	require.Equal(t, http.StatusNotFound, callAt(t, sendable(), night, &adapterstest.Sink{}, r).Code)
}
