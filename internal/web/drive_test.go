package web_test

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// service is a server that can be stopped and started again at one address.
type service struct {
	t       *testing.T
	handler http.Handler
	addr    string
	stop    func()
}

func (s *service) start() {
	s.t.Helper()
	if s.addr == "" {
		s.addr = "127.0.0.1:0"
	}
	l, err := new(net.ListenConfig).Listen(s.t.Context(), "tcp", s.addr)
	require.NoError(s.t, err)
	s.addr = l.Addr().String()
	open, cancel := context.WithCancel(s.t.Context())
	server := &http.Server{Handler: s.handler, ReadHeaderTimeout: time.Minute, BaseContext: func(net.Listener) context.Context { return open }}
	s.stop = func() {
		cancel() // ends the streams
		_ = server.Close()
	}
	go func() { _ = server.Serve(l) }() // ends with stop
}

func serve(t *testing.T, h http.Handler) *service {
	t.Helper()
	s := &service{t: t, handler: h}
	s.start()
	t.Cleanup(func() { s.stop() })
	return s
}

// until waits for a condition in the page.
func until(ctx context.Context, t *testing.T, condition string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](condition, chromedp.WithPollingTimeout(40*time.Second)))
	if err != nil {
		body, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText.slice(0, 3000)`))
		t.Fatalf("the page never came to %s: %v\n%s", condition, err, body)
	}
}

func eval[T any](ctx context.Context, t *testing.T, expression string) T {
	t.Helper()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(t, err, expression)
	return out
}

// tap taps a button by what it says to people who only hear the page.
func tap(ctx context.Context, t *testing.T, label string) {
	t.Helper()
	sel := `button[aria-label="` + label + `"]`
	until(ctx, t, `!document.body.classList.contains('settling')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.ScrollIntoView(sel), chromedp.Click(sel)), label)
}

// click clicks a button by what it says, where it stands and at once: as a script
// can, or a knuckle that is faster than the page.
func click(ctx context.Context, t *testing.T, label string) {
	t.Helper()
	eval[chromedp.Void](ctx, t, `document.querySelector('button[aria-label="`+label+`"]').click()`)
}

// anotherTab opens a page beside one, of the same device unless own.
func anotherTab(ctx context.Context, t *testing.T, of ...chromedp.ContextOption) context.Context {
	t.Helper()
	tab, stop := chromedp.NewContext(ctx, of...)
	t.Cleanup(stop)
	return tab
}

// isLive is true of a page that hears from the server.
const isLive = `document.getElementById('offline').hidden`

// kept is true of a device that keeps so many taps.
func kept(n int) string {
	return fmt.Sprintf(`Object.keys(localStorage).filter(k => k.startsWith('tap ')).length === %d`, n)
}

// openPass opens the pass and marks the page, so that a reload would show.
func openPass(ctx context.Context, t *testing.T, addr string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, window(375, "dark"), chromedp.Navigate("http://"+addr+"/"), chromedp.WaitReady("#gate")))
	until(ctx, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
	eval[chromedp.Void](ctx, t, `window.sameForAll = true`)
}

func stillTheSamePage(ctx context.Context, t *testing.T) {
	t.Helper()
	require.True(t, eval[bool](ctx, t, `window.sameForAll === true`), "the page was loaded anew")
}
