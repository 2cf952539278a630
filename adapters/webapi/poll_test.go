package webapi_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/webapi"
)

// lister is a provider that is asked, with one scripted answer an address; an
// answer that is used up is given again.
type lister struct {
	mu      sync.Mutex
	asked   []string
	answers map[string]func(w http.ResponseWriter)
}

func (l *lister) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	l.mu.Lock()
	defer l.mu.Unlock()
	at := r.Method + " " + r.URL.RequestURI()
	l.asked = append(l.asked, at)
	if a, ok := l.answers[at]; ok {
		a(w)
		return
	}
	http.NotFound(w, r)
}

func say(format string, args ...any) func(http.ResponseWriter) {
	return func(w http.ResponseWriter) { fmt.Fprintf(w, format, args...) }
}

// item is one inbound in a list.
func item(id string) string {
	return fmt.Sprintf(`{"id":%q,"from":"447700900101","text":"here %s","at":"2026-03-13T14:30:00Z"}`, id, id)
}

// rounds runs the adapter for so many rounds and returns what was asked, what
// came in, and the pauses between rounds. Time passes only in the pauses.
func rounds(t *testing.T, n int, p webapi.Poll, l *lister, sink *adapterstest.Sink) (asked []string, pauses []time.Duration, log string) {
	t.Helper()
	srv := httptest.NewServer(l)
	t.Cleanup(srv.Close)
	p.URL = srv.URL + p.URL
	if p.Done != nil {
		p.Done.URL = srv.URL + p.Done.URL
	}
	p.Fields = webapi.Fields{Each: "items[]", ID: "id", From: "from", Text: "text", At: "at"}
	cfg := sendable()
	cfg.Poll.Inbound = &p
	ctx, cancel := context.WithCancel(t.Context())
	var out bytes.Buffer
	d := deps(t, slog.New(slog.NewTextHandler(&out, nil)))
	now := night
	d.Now = func() time.Time { return now }
	d.After = func(pause time.Duration) <-chan time.Time {
		pauses = append(pauses, pause)
		now = now.Add(pause)
		if len(pauses) == n {
			cancel()
			return nil
		}
		ch := make(chan time.Time, 1)
		ch <- now
		return ch
	}
	a, err := webapi.New(cfg, d)
	require.NoError(t, err)
	require.ErrorIs(t, a.Receive(ctx, sink), context.Canceled)
	return l.asked, pauses, out.String()
}

func ids(sink *adapterstest.Sink) (out []string) {
	for _, in := range sink.Inbounds() {
		out = append(out, in.ID)
	}
	return out
}

func TestPages(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		poll    webapi.Poll
		rounds  int
		answers map[string]func(http.ResponseWriter)
		asked   []string
		ids     []string
	}{
		{
			name: "one page", rounds: 2, poll: webapi.Poll{URL: "/in"},
			answers: map[string]func(http.ResponseWriter){"GET /in": say(`{"items":[%s]}`, item("a"))},
			asked:   []string{"GET /in", "GET /in"}, ids: []string{"a", "a"},
		},
		{
			name: "links", rounds: 1, poll: webapi.Poll{URL: "/in", Next: webapi.Next{Kind: "link", Path: "paging.next"}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in":     say(`{"items":[%s],"paging":{"next":"in?p=2"}}`, item("a")),
				"GET /in?p=2": say(`{"items":[%s],"paging":{"next":"/in?p=3"}}`, item("b")),
				"GET /in?p=3": say(`{"items":[],"paging":{"next":null}}`),
			},
			asked: []string{"GET /in", "GET /in?p=2", "GET /in?p=3"}, ids: []string{"a", "b"},
		},
		{
			name: "a link to itself", rounds: 1, poll: webapi.Poll{URL: "/in", Next: webapi.Next{Kind: "link", Path: "next"}},
			answers: map[string]func(http.ResponseWriter){"GET /in": say(`{"items":[%s],"next":"/in"}`, item("a"))},
			asked:   []string{"GET /in"}, ids: []string{"a"},
		},
		{
			name: "link headers (RFC 8288)", rounds: 1, poll: webapi.Poll{URL: "/in", Next: webapi.Next{Kind: "header"}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in": func(w http.ResponseWriter) {
					w.Header().Add("Link", `</in?p=0>; rel="prev", </in?p=2>; title="more, please"; rel="last next"`)
					_, _ = io.WriteString(w, `{"items":[`+item("a")+`]}`)
				},
				"GET /in?p=2": say(`{"items":[%s]}`, item("b")),
			},
			asked: []string{"GET /in", "GET /in?p=2"}, ids: []string{"a", "b"},
		},
		{
			name: "pages", rounds: 1, poll: webapi.Poll{URL: "/in?page={page}", Next: webapi.Next{Kind: "page"}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in?page=1": say(`{"items":[%s,%s]}`, item("a"), item("b")),
				"GET /in?page=2": say(`{"items":[%s]}`, item("c")),
				"GET /in?page=3": say(`{"items":[]}`),
			},
			asked: []string{"GET /in?page=1", "GET /in?page=2", "GET /in?page=3"}, ids: []string{"a", "b", "c"},
		},
		{
			name: "no more pages than asked for", rounds: 1,
			poll: webapi.Poll{URL: "/in?page={page}", Next: webapi.Next{Kind: "page", MaxPages: 1}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in?page=1": say(`{"items":[%s]}`, item("a")),
			},
			asked: []string{"GET /in?page=1"}, ids: []string{"a"},
		},
		{
			name: "tokens from the start each round", rounds: 2,
			poll: webapi.Poll{URL: "/in?c={cursor}", Next: webapi.Next{Kind: "token", Path: "next"}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in?c=":      say(`{"items":[%s],"next":"t&1"}`, item("a")),
				"GET /in?c=t%261": say(`{"items":[]}`),
			},
			asked: []string{"GET /in?c=", "GET /in?c=t%261", "GET /in?c=", "GET /in?c=t%261"}, ids: []string{"a", "a"},
		},
		{
			name: "tokens kept", rounds: 2,
			poll: webapi.Poll{URL: "/in?c={cursor}", Next: webapi.Next{Kind: "token", Path: "next", Keep: true}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in?c=":  say(`{"items":[%s],"next":"1"}`, item("a")),
				"GET /in?c=1": say(`{"items":[],"next":"1"}`),
			},
			asked: []string{"GET /in?c=", "GET /in?c=1", "GET /in?c=1"}, ids: []string{"a"},
		},
		{
			name: "since", rounds: 2, poll: webapi.Poll{URL: "/in?since={since_unix}", Lookback: adapters.Duration(time.Hour)},
			answers: map[string]func(http.ResponseWriter){
				// An hour before the night, then two minutes before the newest text.
				fmt.Sprintf("GET /in?since=%d", night.Add(-time.Hour).Unix()):                          say(`{"items":[%s]}`, item("a")),
				fmt.Sprintf("GET /in?since=%d", time.Date(2026, 3, 13, 14, 28, 0, 0, time.UTC).Unix()): say(`{"items":[%s]}`, item("a")),
			},
			asked: []string{
				fmt.Sprintf("GET /in?since=%d", night.Add(-time.Hour).Unix()),
				fmt.Sprintf("GET /in?since=%d", time.Date(2026, 3, 13, 14, 28, 0, 0, time.UTC).Unix()),
			},
			ids: []string{"a", "a"},
		},
		{
			name: "done", rounds: 1,
			poll: webapi.Poll{URL: "/in", Done: &webapi.Done{URL: "/in/{id}"}},
			answers: map[string]func(http.ResponseWriter){
				"GET /in":          say(`{"items":[%s,%s]}`, item("a/1"), item("b")),
				"DELETE /in/a%2F1": say(""),
			},
			asked: []string{"GET /in", "DELETE /in/a%2F1", "DELETE /in/b"}, ids: []string{"a/1", "b"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			sink := &adapterstest.Sink{}
			asked, pauses, _ := rounds(t, tt.rounds, tt.poll, &lister{answers: tt.answers}, sink)
			require.Equal(t, tt.asked, asked)
			require.Equal(t, tt.ids, ids(sink))
			for _, p := range pauses {
				require.Equal(t, 30*time.Second, p)
			}
		})
	}
}

func TestRoundsThatFailPauseLonger(t *testing.T) {
	t.Parallel()
	fail := func(status int, header string) func(http.ResponseWriter) {
		return func(w http.ResponseWriter) {
			if header != "" {
				w.Header().Set("Retry-After", header)
			}
			w.WriteHeader(status)
		}
	}
	s := func(n ...int) (out []time.Duration) {
		for _, x := range n {
			out = append(out, time.Duration(x)*time.Second)
		}
		return out
	}
	tests := []struct {
		name   string
		answer func(http.ResponseWriter)
		want   []time.Duration
	}{
		{name: "busy", answer: fail(500, ""), want: s(30, 60, 120, 240, 300, 300)},
		{name: "told to wait", answer: fail(429, "100"), want: s(100, 100, 120)},
		{name: "not JSON", answer: say("<html>"), want: s(30, 60)},
		{name: "no list", answer: say(`{"x":1}`), want: s(30, 60)},
		{name: "a redirect is not followed", answer: fail(302, ""), want: s(30)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			l := &lister{answers: map[string]func(http.ResponseWriter){"GET /in": tt.answer}}
			_, pauses, log := rounds(t, len(tt.want), webapi.Poll{URL: "/in"}, l, &adapterstest.Sink{})
			require.Equal(t, tt.want, pauses)
			require.Contains(t, log, "fetching from the provider failed")
		})
	}
}

func TestLinkToAnotherHostIsNotFollowed(t *testing.T) {
	t.Parallel()
	other := &lister{answers: map[string]func(http.ResponseWriter){}}
	srv := httptest.NewServer(other)
	t.Cleanup(srv.Close)
	l := &lister{answers: map[string]func(http.ResponseWriter){"GET /in": say(`{"items":[%s],"next":%q}`, item("a"), srv.URL+"/in")}}
	sink := &adapterstest.Sink{}
	_, _, log := rounds(t, 1, webapi.Poll{URL: "/in", Next: webapi.Next{Kind: "link", Path: "next"}}, l, sink)
	require.Equal(t, []string{"a"}, ids(sink))
	require.Empty(t, other.asked, "the sign-in must not go to a stranger")
	require.Contains(t, log, "another host")
}

func TestPlaceIsKeptUntilStored(t *testing.T) {
	t.Parallel()
	l := &lister{answers: map[string]func(http.ResponseWriter){
		"GET /in?c=":  say(`{"items":[%s,%s],"next":"1"}`, item("a"), item("b")),
		"GET /in?c=1": say(`{"items":[]}`),
		"POST /done":  say(""),
	}}
	refused := 0
	sink := &adapterstest.Sink{OnInbound: func(in adapters.Inbound) error {
		if in.ID == "b" && refused < 2 {
			refused++
			return errors.New("the disk is full")
		}
		return nil
	}}
	asked, _, _ := rounds(t, 3, webapi.Poll{
		URL:  "/in?c={cursor}",
		Next: webapi.Next{Kind: "token", Path: "next", Keep: true},
		Done: &webapi.Done{Method: "post", URL: "/done", JSON: `{"seen":["{id}"]}`},
	}, l, sink)
	require.Equal(t, []string{
		"GET /in?c=", "POST /done",
		"GET /in?c=", "POST /done",
		"GET /in?c=", "POST /done", "POST /done", "GET /in?c=1",
	}, asked)
	require.Equal(t, []string{"a", "b", "a", "b", "a", "b"}, ids(sink))
}

func TestSinceIsEscaped(t *testing.T) {
	t.Parallel()
	l := &lister{answers: map[string]func(http.ResponseWriter){}}
	asked, _, _ := rounds(t, 1, webapi.Poll{URL: "/in?since={since}"}, l, &adapterstest.Sink{})
	require.Equal(t, []string{"GET /in?since=" + url.QueryEscape("2026-03-12T15:00:00Z")}, asked)
}

func TestNothingToPollWaits(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, newAdapter(t, sendable()).Receive(ctx, &adapterstest.Sink{}), context.Canceled)
}
