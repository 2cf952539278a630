package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/web"
)

// fakeWays are two ways out; what becomes of a test text is told by the test.
type fakeWays struct {
	mu     sync.Mutex
	probed int
	sent   []string
	tell   func(web.Trial)
	done   chan error
	ready  chan struct{}
}

func newFakeWays() *fakeWays {
	return &fakeWays{done: make(chan error), ready: make(chan struct{}, 10)}
}

func (f *fakeWays) Ways() []web.Way {
	return []web.Way{
		{Name: "texts", Kind: "smpp", Receives: true, Probes: true, PerSecond: 0.5, Gap: 5 * time.Second},
		{Name: "letters", Kind: "email", Mail: true, PerSecond: 2, Kinds: []night.MessageKind{night.Reminder}},
	}
}

func (f *fakeWays) Probe(_ context.Context, name string) ([]adapters.Finding, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.probed++
	return []adapters.Finding{{What: "sign in to send", OK: true, Note: name}, {What: "credit", Note: "3.20 GBP left for +447700900321"}}, nil
}

func (f *fakeWays) Try(ctx context.Context, _, to, text string, tell func(web.Trial)) error {
	f.mu.Lock()
	f.sent, f.tell = append(f.sent, to+" "+text), tell
	f.mu.Unlock()
	f.ready <- struct{}{}
	select {
	case err := <-f.done:
		return err
	case <-ctx.Done():
		return nil
	}
}

func (f *fakeWays) said() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]string{}, f.sent...)
}

func TestTheWaysOutShowHowTheyAre(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	failed := false
	h.carry(func(m night.Message) (night.MessageState, string) {
		switch {
		case m.Kind == night.Reminder:
			return night.Due, ""
		case !failed:
			failed = true
			return night.Failed, "the network refused +447700900123 for good"
		}
		return night.Delivered, ""
	})
	ways := newFakeWays()
	server := httptest.NewServer(h.handler(func(c *web.Config) { c.Ways = ways }))
	t.Cleanup(server.Close)
	v := newVisitor(t, server.URL)
	_, p := v.get("/adapters")
	says(t, p, "texts", "a message centre, by SMPP", "takes answers in", "one every 2 s at most", "5 s between two to one number", "Last failure:", "the network refused …123 for good", "Last sent:")
	says(t, p, "letters", "sends mail", "takes no answers in", "only for: reminder", "Nothing was sent this way")
	require.Zero(t, ways.probed, "nothing is asked before somebody taps")
	messages, err := h.desk.Messages(t.Context(), h.night.ID)
	require.NoError(t, err)
	waiting := 0
	for _, m := range messages {
		if m.State == night.Due {
			waiting++
		}
	}
	require.Positive(t, waiting)
	says(t, p, itoa(int64(waiting)))

	_, p = v.post("/adapters/texts/probe", nil)
	says(t, p, "sign in to send", "3.20 GBP left for …321")
	require.Equal(t, 1, ways.probed)
	require.NotContains(t, p, "7700900321")
}

func TestATestTextToTheCooksOwnPhone(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	ways := newFakeWays()
	server := httptest.NewServer(h.handler(func(c *web.Config) { c.Ways = ways }))
	t.Cleanup(server.Close)
	v := newVisitor(t, server.URL)
	_, p := v.post("/adapters/texts/test", url.Values{"to": {"07700 900 2"}})
	says(t, p, `value="07700 900 2"`)
	require.Contains(t, p, `aria-invalid="true"`)
	_, p = v.post("/adapters/letters/test", url.Values{"to": {"nobody"}})
	says(t, p, "is no mail address")
	require.Empty(t, ways.said())

	send := func() string { _, p := v.post("/adapters/texts/test", url.Values{"to": {"07700 900456"}}); return p }
	p = send()
	<-ways.ready
	says(t, p, "Test text to …456 by texts", "Sending…")
	require.NotContains(t, p, "900456")
	require.Equal(t, []string{"+447700900456 Larkfield Dumpling Kitchen: a test by passbell. Please answer with any word."}, ways.said())
	says(t, send(), "A test text is under way")
	require.Len(t, ways.said(), 1)
	shows := func(is web.Trial, words ...string) {
		t.Helper()
		ways.tell(is)
		_, p := v.get("/adapters")
		says(t, p, words...)
	}
	shows(web.Trial{Sent: true}, "Sent: the network took it.", "Waiting for the delivery report", "Answer it with any word")
	shows(web.Trial{Sent: true, Receipt: true, Arrived: true}, "your phone has it", "Answer it with any word")
	shows(web.Trial{Sent: true, Receipt: true, Arrived: true, Answered: true}, "Your answer came in.")
	ways.done <- nil
	over := func() {
		t.Helper()
		require.Eventually(t, func() bool { _, p := v.get("/adapters"); return !strings.Contains(p, "every 2s") }, 10*time.Second, time.Millisecond)
	}
	over()
	for range 5 {
		send()
		<-ways.ready
		ways.tell(web.Trial{Wrong: "the account of +447700900456 has no credit"})
		ways.done <- nil
		over()
	}
	_, p = v.get("/adapters")
	says(t, p, "Not sent: the account of …456 has no credit")
	says(t, send(), "Many test texts went out in a row")
	require.Len(t, ways.said(), 6)
	h.clock.set(h.clock.Now().Add(16 * time.Minute))
	says(t, send(), "Test text to")

	code, _ := v.post("/adapters/none/test", url.Values{"to": {"07700 900456"}})
	require.Equal(t, http.StatusNotFound, code)
	ways.done <- nil
}

func TestTheKitchensRulesNameTheirSettings(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.kitchen.Quiet = night.Quiet{From: 21 * 60, To: 8 * 60}
	handler := h.handler(usualNight)
	says(t, page(t, handler, "/kitchen"), "Larkfield Dumpling Kitchen", "kitchen.number", "07700 900100", "21:00 to 08:00", "kitchen.quiet_from",
		"Europe/London", "kitchen.zone", "at 18:00, 3 days before", "night.instruct_days", "5 h before the slot, not before 09:00", "not known")
}
