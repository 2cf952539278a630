package web_test

import (
	"context"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// show hides the window of a page, or has it seen again.
func show(ctx context.Context, t *testing.T, seen bool) {
	t.Helper()
	state := cdpbrowser.WindowState("minimized")
	if seen {
		state = "normal"
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		w, err := cdp.Call(ctx, tab, cdpbrowser.GetWindowForTarget, cdpbrowser.GetWindowForTargetParams{})
		if err != nil {
			return err
		}
		_, err = cdp.Call(ctx, tab, cdpbrowser.SetWindowBounds, cdpbrowser.SetWindowBoundsParams{WindowID: w.WindowID, Bounds: &cdpbrowser.Bounds{WindowState: state}})
		return err
	})))
}

// untilHidden is until for a page that nobody sees, in which nothing is drawn.
func untilHidden(ctx context.Context, t *testing.T, condition string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](condition, chromedp.WithPollingInterval(50*time.Millisecond), chromedp.WithPollingTimeout(30*time.Second)))
	require.NoError(t, err, condition)
}

// TestMorePagesThanLines opens more live pages of one device than a browser has
// lines to one address, and goes through as many in one of them.
func TestMorePagesThanLines(t *testing.T) {
	t.Parallel()
	ctx := browserFor(t, 3*time.Minute)
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	var streams atomic.Int64
	s := serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/live" {
			streams.Add(1)
			defer streams.Add(-1)
		}
		handler.ServeHTTP(w, r)
	}))
	const live = `document.getElementById('liveness').textContent.startsWith('Live')`
	var tabs []context.Context
	for i, path := range []string{"/", "/messages", "/runner", "/orders/K406", "/", "/plan", "/report", "/orders/K409"} {
		tab := ctx
		if i > 0 {
			tab = anotherTab(ctx, t)
		}
		require.NoError(t, chromedp.Do(tab, chromedp.Navigate("http://"+s.addr+path), chromedp.WaitReady("#view")))
		until(tab, t, live)
		show(tab, t, false)
		tabs = append(tabs, tab)
	}
	// The pass that was seen last goes on ringing.
	require.Eventually(t, func() bool { return streams.Load() == 1 }, 30*time.Second, 10*time.Millisecond)
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", ""), "")
	untilHidden(tabs[4], t, `document.title.startsWith('(5)')`)
	require.False(t, strings.HasPrefix(eval[string](tabs[0], t, `document.title`), "("), "an old count")
	for _, i := range []int{0, 2} {
		show(tabs[i], t, true)
		until(tabs[i], t, live+` && document.getElementById('view').innerText.includes('Ford Transit')`)
		require.True(t, strings.HasPrefix(eval[string](tabs[i], t, `document.title`), "(5)"))
	}
	require.Eventually(t, func() bool { return streams.Load() == 3 }, 30*time.Second, 10*time.Millisecond)

	// A browser keeps pages that were left.
	for range 4 {
		for _, path := range []string{"/runner", "/"} {
			visit(tabs[0], t, "http://"+s.addr+path)
			until(tabs[0], t, live)
		}
	}
	require.Eventually(t, func() bool { return streams.Load() == 3 }, 30*time.Second, 10*time.Millisecond)
	h.arrive("K417", "here, red mini", car("red", "Mini", "Cooper", ""), "")
	require.NoError(t, chromedp.Do(tabs[0], chromedp.NavigateBack()))
	until(tabs[0], t, live+` && location.pathname === '/runner' && document.getElementById('view').innerText.includes('Mini Cooper')`)
}
