package webapi_test

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

// night is the moment at which every test here happens.
var night = time.Date(2026, 3, 13, 15, 0, 0, 0, time.UTC)

// The provider's secrets, as a kitchen would have them in its environment. The
// hook's is the one of the Standard Webhooks vectors (standards.md §11).
var environment = map[string]string{
	"SMS_USER": "larkfield-account", "SMS_PASSWORD": "steam&bun:secret",
	"SMS_TOKEN": "tok_9c1f77aa02", "SMS_KEY": "key_51aa9c3e77",
	"SMS_HOOK_TOKEN": "hook-token-31c8", "SMS_HOOK_SECRET": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
}

// dialect is how one provider speaks; each belongs to a file in testdata.
type dialect struct {
	file string
	// signedIn says whether a call proves who it is from.
	signedIn func(r *http.Request) bool
	// parse reads a send; answer and refuse write what comes back.
	parse  func(r *http.Request) (to, text string, err error)
	accept func(w http.ResponseWriter, ids []string)
	refuse func(w http.ResponseWriter, b adapterstest.Behaviour, echo string)
	// inbound and receipt make a call to the kitchen's hook; nil where polled.
	inbound func(hook string, in adapters.Inbound) *http.Request
	receipt func(hook string, r adapters.Receipt) *http.Request
}

// provider is a small HTTP provider that fails on demand.
type provider struct {
	t *testing.T
	d dialect

	mu       sync.Mutex
	addr     string
	server   *http.Server
	next     []adapterstest.Behaviour
	taken    []adapterstest.Taken
	ids      int
	offered  map[string]adapters.Inbound
	acked    map[string]bool
	inbox    []adapters.Inbound
	receipts []adapters.Receipt
	hook     string
	extra    http.HandlerFunc // answers every send instead, for single tests
	sends    []*http.Request  // every send as it came, refused ones too
	bodies   []string

	stop  chan struct{}
	calls sync.WaitGroup
}

func newProvider(t *testing.T, d dialect) *provider {
	t.Helper()
	p := &provider{
		t: t, d: d, offered: map[string]adapters.Inbound{}, acked: map[string]bool{}, stop: make(chan struct{}),
	}
	p.open("127.0.0.1:0")
	t.Cleanup(func() {
		close(p.stop)
		p.calls.Wait()
		p.mu.Lock()
		defer p.mu.Unlock()
		_ = p.server.Close() // it may be closed already
	})
	return p
}

func (p *provider) open(addr string) {
	ln, err := net.Listen("tcp", addr)
	require.NoError(p.t, err)
	srv := &http.Server{Handler: http.HandlerFunc(p.serve), ReadHeaderTimeout: 10 * time.Second}
	p.mu.Lock()
	p.addr, p.server = ln.Addr().String(), srv
	p.mu.Unlock()
	go srv.Serve(ln) //nolint:errcheck // it ends with Close
}

func (p *provider) url() string { return "http://" + p.addr }

func (p *provider) serve(w http.ResponseWriter, r *http.Request) {
	if !p.d.signedIn(r) {
		http.Error(w, `{"error":{"text":"who are you"}}`, http.StatusUnauthorized)
		return
	}
	switch {
	case strings.HasSuffix(r.URL.Path, "/messages"):
		p.send(w, r)
	case strings.HasPrefix(r.URL.Path, "/json/lookup/"):
		kind := "mobile"
		if strings.HasPrefix(r.URL.Path, "/json/lookup/+44117") {
			kind = "landline"
		}
		fmt.Fprintf(w, `{"line":{"kind":%q}}`, kind)
	case r.URL.Path == "/json/account":
		_, _ = io.WriteString(w, `{"credit":{"amount":"4.20","currency":"GBP"}}`)
	case strings.HasPrefix(r.URL.Path, "/json/"):
		p.polled(w, r)
	default:
		http.NotFound(w, r)
	}
}

func (p *provider) send(w http.ResponseWriter, r *http.Request) {
	raw, err := io.ReadAll(r.Body)
	if err != nil {
		return
	}
	r.Body = io.NopCloser(bytes.NewReader(raw))
	p.mu.Lock()
	p.sends, p.bodies = append(p.sends, r), append(p.bodies, string(raw))
	extra := p.extra
	b := adapterstest.Accept
	if len(p.next) > 0 {
		b, p.next = p.next[0], p.next[1:]
	}
	p.mu.Unlock()
	if extra != nil {
		extra(w, r)
		return
	}
	to, text, err := p.d.parse(r)
	if err != nil {
		http.Error(w, "what is this", http.StatusBadRequest)
		return
	}
	switch b {
	case adapterstest.Temporary, adapterstest.Permanent, adapterstest.Throttle:
		// A talkative provider repeats all that it was told.
		p.d.refuse(w, b, to+" "+text+" "+r.Header.Get("Authorization")+r.Header.Get("X-Api-Key"))
		return
	}
	ids := p.take(to, text)
	switch b {
	case adapterstest.Silent:
		select {
		case <-r.Context().Done():
		case <-p.stop:
		}
	case adapterstest.Drop:
		conn, _, err := http.NewResponseController(w).Hijack()
		assert.NoError(p.t, err)
		_ = conn.Close() // that is the point
	case adapterstest.ReceiptFirst:
		p.Receipt(adapters.Receipt{ID: ids[0], Status: adapters.Delivered, At: night})
		p.d.accept(w, ids)
	default:
		p.d.accept(w, ids)
	}
}

func (p *provider) take(to, text string) (ids []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.taken = append(p.taken, adapterstest.Taken{To: to, Text: text})
	for range 1 + len(text)/160 {
		p.ids++
		ids = append(ids, fmt.Sprintf("msg-%d", p.ids))
	}
	return ids
}

// polled serves what a kitchen without a public address fetches.
func (p *provider) polled(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	defer p.mu.Unlock()
	type m = map[string]any
	answer := func(v any) { assert.NoError(p.t, json.NewEncoder(w).Encode(v)) }
	switch {
	case r.Method == http.MethodGet && r.URL.Path == "/json/inbox":
		// Two texts a page; the cursor is the place in the list.
		from, _ := strconv.Atoi(r.URL.Query().Get("cursor")) // none is 0
		page := m{"items": []m{}}
		items := []m{}
		for i := from; i < len(p.inbox) && i < from+2; i++ {
			in := p.inbox[i]
			items = append(items, m{
				"id": in.ID, "msisdn": strings.TrimPrefix(in.From, "+"), "body": in.Text,
				"received_at": in.At.Format(time.RFC3339),
			})
		}
		page["items"] = items
		if from+2 < len(p.inbox) {
			page["next_cursor"] = strconv.Itoa(from + 2)
		}
		answer(page)
	case r.Method == http.MethodDelete:
		id := strings.TrimPrefix(r.URL.Path, "/json/inbox/")
		for i, in := range p.inbox {
			if in.ID == id {
				p.inbox = append(p.inbox[:i:i], p.inbox[i+1:]...)
				break
			}
		}
		p.acked[id] = true
		w.WriteHeader(http.StatusNoContent)
	case r.Method == http.MethodGet && r.URL.Path == "/json/receipts":
		items := []m{}
		if r.URL.Query().Get("page") == "1" {
			for _, rc := range p.receipts {
				items = append(items, m{"message": m{
					"id": rc.ID, "state": plainStatus[rc.Status], "error": rc.Reason, "updated": rc.At.Unix(),
				}})
			}
		}
		answer(m{"items": items})
	case r.URL.Path == "/json/receipts/seen":
		var seen struct{ IDs []string }
		assert.NoError(p.t, json.NewDecoder(r.Body).Decode(&seen))
		for i, rc := range p.receipts {
			if rc.ID == seen.IDs[0] {
				p.receipts = append(p.receipts[:i:i], p.receipts[i+1:]...)
				break
			}
		}
	}
}

func (p *provider) Taken() []adapterstest.Taken {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]adapterstest.Taken(nil), p.taken...)
}

func (p *provider) Next(b ...adapterstest.Behaviour) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next = append(p.next, b...)
}

func (p *provider) Unreachable(yes bool) {
	if yes {
		p.mu.Lock()
		srv := p.server
		p.mu.Unlock()
		require.NoError(p.t, srv.Close())
		return
	}
	p.open(p.addr)
}

func (p *provider) Offer(in adapters.Inbound) {
	p.mu.Lock()
	p.offered[in.ID] = in
	if p.d.inbound == nil {
		p.inbox = append(p.inbox, in)
	}
	hook := p.hook
	p.mu.Unlock()
	if p.d.inbound != nil {
		p.deliver(in.ID, func() *http.Request { return p.d.inbound(hook, in) })
	}
}

func (p *provider) Repeat(id string) {
	p.mu.Lock()
	in := p.offered[id]
	p.mu.Unlock()
	p.Offer(in)
}

func (p *provider) Receipt(r adapters.Receipt) {
	p.mu.Lock()
	if p.d.receipt == nil {
		p.receipts = append(p.receipts, r)
	}
	hook := p.hook
	p.mu.Unlock()
	if p.d.receipt != nil {
		p.deliver(r.ID, func() *http.Request { return p.d.receipt(hook, r) })
	}
}

// deliver calls the hook again and again until it says 2xx.
func (p *provider) deliver(id string, call func() *http.Request) {
	p.calls.Go(func() {
		for {
			select {
			case <-p.stop:
				return
			default:
			}
			res, err := http.DefaultClient.Do(call())
			if err != nil {
				return // the kitchen has closed
			}
			_ = res.Body.Close() // nothing in it
			if res.StatusCode/100 == 2 {
				p.mu.Lock()
				p.acked[id] = true
				p.mu.Unlock()
				return
			}
		}
	})
}

func (p *provider) Acknowledged(id string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.acked[id]
}

// sent returns the last send and its body.
func (p *provider) sent() (*http.Request, string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	require.NotEmpty(p.t, p.sends)
	return p.sends[len(p.sends)-1], p.bodies[len(p.bodies)-1]
}

func (p *provider) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.sends)
}

var plainStatus = map[adapters.Status]string{
	adapters.Delivered: "delivered", adapters.Failed: "Undelivered", adapters.OnTheWay: "SENT",
}

// forms speaks as testdata/form-basic.toml says.
func forms() dialect {
	hook := func(address string, fields url.Values) *http.Request {
		r, err := http.NewRequest(http.MethodPost, address, strings.NewReader(fields.Encode()))
		if err != nil {
			panic(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("X-Hook-Token", environment["SMS_HOOK_TOKEN"])
		return r
	}
	state := map[adapters.Status]string{adapters.Delivered: "D", adapters.Failed: "U", adapters.OnTheWay: "E"}
	return dialect{
		file: "form-basic.toml",
		signedIn: func(r *http.Request) bool {
			user, pass, _ := r.BasicAuth()
			return user == environment["SMS_USER"] && pass == environment["SMS_PASSWORD"]
		},
		parse: func(r *http.Request) (string, string, error) {
			err := r.ParseForm()
			return "+" + r.PostForm.Get("recipient"), r.PostForm.Get("message"), err
		},
		accept: func(w http.ResponseWriter, ids []string) { fmt.Fprintf(w, "OK %s\n", ids[0]) },
		refuse: func(w http.ResponseWriter, b adapterstest.Behaviour, echo string) {
			switch b {
			case adapterstest.Temporary:
				fmt.Fprintf(w, "ERR 12 queue full %s\n", echo)
			case adapterstest.Throttle:
				w.Header().Set("Retry-After", "7")
				http.Error(w, "slow down "+echo, http.StatusTooManyRequests)
			default:
				fmt.Fprintf(w, "ERR 21 bad number %s\n", echo)
			}
		},
		inbound: func(address string, in adapters.Inbound) *http.Request {
			return hook(address+"/inbound", url.Values{
				"msgid": {in.ID}, "sender": {strings.TrimPrefix(in.From, "+")}, "recipient": {"60070"},
				"message": {in.Text}, "received": {in.At.Format("2006-01-02 15:04:05")},
			})
		},
		receipt: func(address string, r adapters.Receipt) *http.Request {
			return hook(address+"/receipts", url.Values{
				"msgid": {r.ID}, "state": {state[r.Status]}, "reason": {r.Reason}, "when": {strconv.FormatInt(r.At.Unix(), 10)},
			})
		},
	}
}

// polled speaks as testdata/json-bearer.toml says.
func polled() dialect {
	return dialect{
		file:     "json-bearer.toml",
		signedIn: func(r *http.Request) bool { return r.Header.Get("Authorization") == "Bearer "+environment["SMS_TOKEN"] },
		parse: func(r *http.Request) (string, string, error) {
			var in struct {
				Messages []struct {
					To, Body string
				}
			}
			if err := json.NewDecoder(r.Body).Decode(&in); err != nil || len(in.Messages) != 1 {
				return "", "", fmt.Errorf("one message is wanted: %w", err)
			}
			return in.Messages[0].To, in.Messages[0].Body, nil
		},
		accept: func(w http.ResponseWriter, ids []string) { fmt.Fprintf(w, `{"results":[{"id":%q}]}`, ids[0]) },
		refuse: func(w http.ResponseWriter, b adapterstest.Behaviour, echo string) {
			status := map[adapterstest.Behaviour]int{
				adapterstest.Temporary: http.StatusServiceUnavailable, adapterstest.Permanent: http.StatusUnprocessableEntity,
				adapterstest.Throttle: http.StatusTooManyRequests,
			}[b]
			if b == adapterstest.Throttle {
				w.Header().Set("Retry-After", night.Add(adapterstest.ThrottleWait).Format(http.TimeFormat))
			}
			w.WriteHeader(status)
			_ = json.NewEncoder(w).Encode(map[string]any{"error": map[string]string{"code": "E1", "text": "no: " + echo}})
		},
	}
}

// signed speaks as testdata/json-signed.toml says.
func signed() dialect {
	calls := 0
	var mu sync.Mutex
	hook := func(address, id, kind string, data map[string]any) *http.Request {
		body, err := json.Marshal(map[string]any{"events": []any{
			map[string]any{"type": "account.topped_up", "data": map[string]any{"id": "x"}},
			map[string]any{"type": kind, "data": data},
		}})
		if err != nil {
			panic(err)
		}
		mu.Lock()
		calls++
		attempt := fmt.Sprintf("%s-%d", id, calls) // each attempt has an id of its own: needs.md row 35
		mu.Unlock()
		return standardHook(address+"/events", attempt, night, body)
	}
	return dialect{
		file:     "json-signed.toml",
		signedIn: func(r *http.Request) bool { return r.Header.Get("X-Api-Key") == environment["SMS_KEY"] },
		parse: func(r *http.Request) (string, string, error) {
			var in struct {
				To   []string
				Text string
			}
			if err := json.NewDecoder(r.Body).Decode(&in); err != nil || len(in.To) != 1 {
				return "", "", fmt.Errorf("one recipient is wanted: %w", err)
			}
			return in.To[0], in.Text, nil
		},
		accept: func(w http.ResponseWriter, ids []string) {
			list := []map[string]string{}
			for _, id := range ids {
				list = append(list, map[string]string{"id": id})
			}
			_ = json.NewEncoder(w).Encode(map[string]any{"status": "queued", "parts": list})
		},
		refuse: func(w http.ResponseWriter, b adapterstest.Behaviour, echo string) {
			if b == adapterstest.Throttle {
				w.Header().Set("Retry-After", "7")
				w.WriteHeader(http.StatusTooManyRequests)
				return
			}
			code := map[adapterstest.Behaviour]string{adapterstest.Temporary: "busy", adapterstest.Permanent: "barred"}[b]
			_ = json.NewEncoder(w).Encode(map[string]any{
				"status": "refused", "problem": map[string]string{"code": code, "detail": echo},
			})
		},
		inbound: func(address string, in adapters.Inbound) *http.Request {
			return hook(address, in.ID, "message.received", map[string]any{
				"id": in.ID, "from": map[string]string{"number": in.From}, "to": "60070", "text": in.Text, "at": in.At,
			})
		},
		receipt: func(address string, r adapters.Receipt) *http.Request {
			return hook(address, r.ID, "message.updated", map[string]any{
				"part_id": r.ID, "status": plainStatus[r.Status], "cause": map[string]string{"text": r.Reason}, "at": r.At,
			})
		},
	}
}

// standardHook makes a call as Standard Webhooks 1.0.0 has it, by its text and
// not by the adapter's code.
func standardHook(address, id string, at time.Time, body []byte) *http.Request {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(environment["SMS_HOOK_SECRET"], "whsec_"))
	if err != nil {
		panic(err)
	}
	stamp := strconv.FormatInt(at.Unix(), 10)
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(id + "." + stamp + "." + string(body)))
	r := httptest.NewRequest(http.MethodPost, address, bytes.NewReader(body))
	r.RequestURI = ""
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Webhook-Id", id)
	r.Header.Set("Webhook-Timestamp", stamp)
	r.Header.Set("Webhook-Signature", "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
	return r
}
