package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
)

// message is one server-sent event, read by the rules of WHATWG HTML §9.2.6.
type message struct{ name, id, data string }

// reader reads a stream of server-sent events.
type reader struct {
	t    *testing.T
	scan *bufio.Scanner
	stop context.CancelFunc
}

// follow opens a stream; lastID is what a browser sends when it comes back.
func follow(t *testing.T, url, lastID string) *reader {
	t.Helper()
	return followAs(t, http.DefaultClient, url, lastID)
}

// followAs is follow by whoever has signed in with a client.
func followAs(t *testing.T, by *http.Client, url, lastID string) *reader {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	require.NoError(t, err)
	if lastID != "" {
		r.Header.Set("Last-Event-ID", lastID)
	}
	res, err := by.Do(r)
	require.NoError(t, err)
	t.Cleanup(func() { _ = res.Body.Close() })
	require.Equal(t, http.StatusOK, res.StatusCode)
	require.Equal(t, "text/event-stream", res.Header.Get("Content-Type"))
	scan := bufio.NewScanner(res.Body)
	scan.Buffer(nil, 4<<20)
	return &reader{t, scan, cancel}
}

// next gives the next message; ok is false at the end of the stream.
func (r *reader) next() (message, bool) {
	var m message
	var data []string
	for r.scan.Scan() {
		line := r.scan.Text()
		field, value, _ := strings.Cut(line, ":")
		value = strings.TrimPrefix(value, " ")
		switch {
		case line == "" && (len(data) > 0 || m.id != "" || m.name != ""):
			m.data = strings.Join(data, "\n")
			return m, true
		case field == "event":
			m.name = value
		case field == "id":
			m.id = value
		case field == "data":
			data = append(data, value)
		}
	}
	return m, false
}

// page gives the next of what the stream shows: a page, or what of it has changed.
func (r *reader) page() message {
	r.t.Helper()
	for {
		m, ok := r.next()
		require.True(r.t, ok, "the stream ended")
		if m.name != "beat" {
			return m
		}
	}
}

// quiet reads beats, n of them, and gives how many pages came in between.
func (r *reader) quiet(n int) (pages int) {
	r.t.Helper()
	for n > 0 {
		m, ok := r.next()
		require.True(r.t, ok, "the stream ended")
		if m.name == "beat" {
			n--
		} else {
			pages++
		}
	}
	return pages
}

func TestLivePage(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)

	r := follow(t, server.URL+"/live?after=0", "")
	first := r.page()
	require.Contains(t, first.data, "Volkswagen Golf")
	require.NotContains(t, first.data, "<html", "the stream carries the content, not the frame")
	last, err := strconv.ParseInt(strings.Split(first.id, ".")[0], 10, 64)
	require.NoError(t, err)
	board, err := h.desk.Board(t.Context(), h.night.ID)
	require.NoError(t, err)
	require.Equal(t, board.Event, last, "the id names the last event that the page shows")
	require.Zero(t, r.quiet(3), "nothing is sent where nothing has changed")

	_, err = h.desk.Out(t.Context(), h.act("K406"))
	require.NoError(t, err)
	second := r.page()
	require.NotEqual(t, first.id, second.id)
	require.Contains(t, second.data, `handed out at 17:11`)

	// The clock alone moves an order from one band to the next.
	h.clock.set(evening("17:26"))
	require.Contains(t, r.page().data, "Late by 16 min")
}

func TestLivePageCatchesUp(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	r := follow(t, server.URL+"/live", "")
	seen := r.page().id
	r.stop()

	r = follow(t, server.URL+"/live", seen)
	require.Zero(t, r.quiet(2), "whoever has the page as it is gets nothing")
	r.stop()

	h.arrive("K416", "outside, white transit", car("white", "Ford", "Transit", ""), "")
	_, err := h.desk.Out(t.Context(), h.act("K406"))
	require.NoError(t, err)
	r = follow(t, server.URL+"/live", seen)
	now := r.page()
	require.Contains(t, now.data, "Kieron Achebe")
	require.Contains(t, now.data, "Ford Transit")
	require.Contains(t, now.data, "handed out at 17:11")
}

// TestLivePageKeepsItsWalls has cooks, helpers and readers of another language
// follow the same page at once: whoever may see the same gets the same bytes, and
// nobody what is for others.
func TestLivePageOutlivesWhoOpenedItFirst(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	first := follow(t, server.URL+"/live", "")
	first.page()
	second := follow(t, server.URL+"/live", "")
	second.page()
	first.stop()
	second.quiet(2) // the server has heard of it

	_, err := h.desk.Out(t.Context(), h.act("K406"))
	require.NoError(t, err)
	require.Contains(t, second.page().data, `handed out at 17:11`)
}

func TestLivePageKeepsItsWalls(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(withPassphrase("open sesame")))
	t.Cleanup(server.Close)
	cook := newVisitor(t, server.URL)
	cook.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	sam := newVisitor(t, server.URL)
	sam.post(helpLink(t, cook, "Sam"), nil)
	abroad := newVisitor(t, server.URL)
	abroad.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	abroad.post("/language", url.Values{"language": {"es"}})

	const each = 8
	whole := regexp.MustCompile(`07700 ?900 ?555`)
	readers := map[*visitor][]*reader{}
	for _, v := range []*visitor{cook, sam, abroad} {
		for range each {
			r := followAs(t, v.client, server.URL+"/live?of=/", "")
			r.page()
			readers[v] = append(readers[v], r)
		}
	}
	h.arrive("K414", "here, ring me on 07700 900555 if you can't see me", car("", "Kia", "", ""), "")
	// until gives the first page in which a reader is told of the arrival.
	until := func(r *reader) message {
		for {
			if m := r.page(); strings.Contains(m.data, "555") {
				return m
			}
		}
	}
	said := map[*visitor]message{}
	for v, all := range readers {
		for i, r := range all {
			m := until(r)
			if i == 0 {
				said[v] = m
			}
			require.Equal(t, said[v], m)
			require.Equal(t, v != sam, whole.MatchString(m.data), "only a helper is not shown the number")
		}
	}
	require.Contains(t, said[cook].data, ">Handed out<")
	require.NotContains(t, said[abroad].data, ">Handed out<")
}

// TestLiveOrder follows one order's page.
func TestLiveOrder(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	r := follow(t, server.URL+"/live?of=/orders/K413", "")
	require.Contains(t, r.page().data, "Dean Hepworth")
	_, err := h.desk.Here(t.Context(), h.act("K413"))
	require.NoError(t, err)
	require.Contains(t, r.page().data, "Handed out")
}

// TestEventsWithoutAGap follows the API's events while things happen and the
// line breaks again and again: in the end every event came, once, in order.
func TestEventsWithoutAGap(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	const rounds = 60
	failed := make(chan error, 1)
	go func() {
		for i := range rounds {
			if _, err := h.desk.Packed(context.Background(), h.act(fmt.Sprintf("K%d", 422+i%15)), i/15%2 == 0); err != nil {
				failed <- err
				return
			}
		}
		failed <- nil
	}()
	var ids []int64
	var lastID string
	r := follow(t, server.URL+"/api/v1/events?after=0", "")
	done := false
	for n := 0; ; n++ {
		m, ok := r.next()
		require.True(t, ok, "the stream ended")
		var e struct {
			ID   int64  `json:"id"`
			What string `json:"what"`
			At   string `json:"at"`
		}
		require.NoError(t, json.Unmarshal([]byte(m.data), &e), m.data)
		require.Equal(t, m.id, strconv.FormatInt(e.ID, 10))
		require.NotEmpty(t, e.What)
		ids, lastID = append(ids, e.ID), m.id
		if n%37 == 36 { // the line breaks
			r.stop()
			r = follow(t, server.URL+"/api/v1/events", lastID)
		}
		if !done {
			select {
			case err := <-failed:
				require.NoError(t, err)
				done = true
			default:
			}
		}
		if done {
			all, err := h.desk.Events(t.Context(), h.night.ID, 0, 1_000_000)
			require.NoError(t, err)
			if ids[len(ids)-1] == all[len(all)-1].ID {
				want := make([]int64, len(all))
				for i, e := range all {
					want[i] = e.ID
				}
				require.Equal(t, want, ids)
				break
			}
		}
	}
	require.Equal(t, night.Arrived, h.order("K406").State)
}

// TestEveryPageIsWhole makes the templates of every page, which are otherwise
// made when somebody opens it.
func TestEveryPageIsWhole(t *testing.T) {
	t.Parallel()
	require.NoError(t, web.EveryPage())
}
