package web_test

import (
	"context"
	"net"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
)

// service is a server that can be stopped and started again at one address.
type service struct {
	t       *testing.T
	handler http.Handler
	addr    string
	server  *http.Server
}

func (s *service) start() {
	s.t.Helper()
	if s.addr == "" {
		s.addr = "127.0.0.1:0"
	}
	l, err := new(net.ListenConfig).Listen(s.t.Context(), "tcp", s.addr)
	require.NoError(s.t, err)
	s.addr = l.Addr().String()
	server := &http.Server{Handler: s.handler, ReadHeaderTimeout: time.Minute}
	s.server = server
	go func() { _ = server.Serve(l) }() // ends with stop
}

func (s *service) stop() { _ = s.server.Close() }

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
	out, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
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

// openPass opens the pass and marks the page, so that a reload would show.
func openPass(ctx context.Context, t *testing.T, s *service) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, window(375, "dark"), chromedp.Navigate("http://"+s.addr+"/"), chromedp.WaitReady("#gate")))
	until(ctx, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
	eval[chromedp.Void](ctx, t, `window.sameForAll = true`)
}

func stillTheSamePage(ctx context.Context, t *testing.T) {
	t.Helper()
	require.True(t, eval[bool](ctx, t, `window.sameForAll === true`), "the page was loaded anew")
}

func TestANightOnThePass(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(ctx, t, s)
	require.Equal(t, "(4) Pass · Larkfield Dumpling Kitchen", eval[string](ctx, t, `document.title`))

	// Somebody comes: no reload, no tap.
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", "BX21 NNE"), "")
	until(ctx, t, `document.querySelector('#gate').innerText.includes('Ford Transit')`)
	require.Equal(t, "(5) Pass · Larkfield Dumpling Kitchen", eval[string](ctx, t, `document.title`))

	// The longest wait stands first.
	require.Equal(t, "Hana Morikawa, K406", eval[string](ctx, t, `document.querySelector('#gate .ticket').getAttribute('aria-label')`))

	// Handed out, and the step back in the same place.
	tap(ctx, t, "Handed out, K406 Hana Morikawa")
	until(ctx, t, `document.querySelector('#gate .ticket').matches('.gone') && document.querySelector('#notice').innerText.includes('handed out')`)
	require.Equal(t, night.HandedOut, h.order("K406").State)
	shoot(ctx, t, "e2e-handed-out")
	tap(ctx, t, "Undo, K406 Hana Morikawa")
	until(ctx, t, `document.querySelector('#gate .ticket').matches('.here')`)
	require.Equal(t, night.Arrived, h.order("K406").State)

	// Packed leaves the packing band and says so at the gate.
	tap(ctx, t, "Packed, K407 Rosalind Pargeter")
	until(ctx, t, `!document.querySelector('#pack').innerText.includes('Rosalind') && document.querySelector('#gate').innerText.includes('Packed under 1 min ago')`)

	// A text is placed.
	tap(ctx, t, "It was K403 Callum Braithwaite, slot 16:30")
	until(ctx, t, `document.querySelector('#gate').innerText.includes('Callum Braithwaite')`)
	require.Equal(t, night.Arrived, h.order("K403").State)
	stillTheSamePage(ctx, t)
}

// TestADoubleTapInTheBrowser taps twice as fast as a browser lets a knuckle:
// the ticket behind must not be handed out with the first.
func TestADoubleTapInTheBrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(ctx, t, s)
	sel := `button[aria-label="Handed out, K406 Hana Morikawa"]`
	require.NoError(t, chromedp.Do(ctx, chromedp.ScrollIntoView(sel), chromedp.DoubleClick(sel)))
	until(ctx, t, `document.querySelector('#gate .ticket').matches('.gone')`)
	// A third tap lands where the button was, just after the tickets moved up.
	eval[chromedp.Void](ctx, t, `document.querySelector('#gate .ticket.here button').click()`)
	until(ctx, t, `!document.body.classList.contains('settling')`)
	require.Equal(t, night.HandedOut, h.order("K406").State)
	require.Equal(t, night.Arrived, h.order("K409").State, "the next one was not handed out")
	stillTheSamePage(ctx, t)
}

func TestNotLive(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(func(c *web.Config) { c.Demo = false }))
	openPass(ctx, t, s)
	require.True(t, eval[bool](ctx, t, `document.getElementById('offline').hidden`))
	until(ctx, t, `/^\d+:\d\d$/.test(document.querySelector('time[data-since]').textContent)`)

	s.stop()
	until(ctx, t, `!document.getElementById('offline').hidden && document.getElementById('offline').innerText.includes('NOT LIVE since 17:11')`)
	require.Contains(t, eval[string](ctx, t, `document.querySelector('#gate').innerText`), "Hana Morikawa", "the last state stays to be read")
	shoot(ctx, t, "e2e-not-live")
	sel := `button[aria-label="Handed out, K406 Hana Morikawa"]`
	require.NoError(t, chromedp.Do(ctx, chromedp.ScrollIntoView(sel), chromedp.Click(sel)))
	until(ctx, t, `document.getElementById('notice').innerText.includes('Not kept')`)
	require.Equal(t, night.Arrived, h.order("K406").State)

	// Meanwhile the night goes on.
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", ""), "")
	s.start()
	until(ctx, t, `document.getElementById('offline').hidden && document.querySelector('#gate').innerText.includes('Ford Transit')`)
	stillTheSamePage(ctx, t)
}

// TestCorrectingWhileThingsHappen types into an opened form while the page
// changes around it.
func TestCorrectingWhileThingsHappen(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(ctx, t, s)
	form := `#gate-` + itoa(h.order("K407").ID) + ` details.fix`
	require.NoError(t, chromedp.Do(ctx, chromedp.ScrollIntoView(form), chromedp.Click(form+" summary"), chromedp.SendKeys(form+` input[name="make"]`, "Fiat")))
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", ""), "")
	until(ctx, t, `document.querySelector('#gate').innerText.includes('Ford Transit')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(form+` input[name="plate"]`, "ro54 lnd")))
	require.Equal(t, "Fiat", eval[string](ctx, t, `document.querySelector('`+form+` input[name="make"]').value`))
	until(ctx, t, `!document.body.classList.contains('settling')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(form+" button")))
	until(ctx, t, `document.querySelector('#gate').innerText.includes('RO54 LND')`)
	require.Equal(t, "Fiat", h.order("K407").Vehicle.Make)
	stillTheSamePage(ctx, t)
}

// TestFindingAnOrder types a few letters.
func TestFindingAnOrder(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	require.NoError(t, chromedp.Do(ctx, window(375, "light"), chromedp.Navigate("http://"+s.addr+"/orders"), chromedp.SendKeys("#q", "zso")))
	until(ctx, t, `document.querySelectorAll('#found .row').length === 1 && document.querySelector('#found').innerText.includes('Zsófia Kertész')`)
	require.Equal(t, "zso", eval[string](ctx, t, `document.querySelector('#q').value`))
}

// TestNothingBreaksThePolicy opens the pages and listens for anything that the
// content security policy has to stop, and for script errors.
func TestNothingBreaksThePolicy(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	require.NoError(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: `window.found = [];
			document.addEventListener('securitypolicyviolation', e => found.push(e.violatedDirective + ' ' + e.blockedURI));
			window.addEventListener('error', e => found.push(e.message));
			window.addEventListener('unhandledrejection', e => found.push(String(e.reason)));`})
		return err
	})))
	for _, path := range []string{"/", "/orders", "/orders/K406", "/messages", "/report"} {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("http://"+s.addr+path), chromedp.WaitReady("#main")))
		if path != "/orders" {
			until(ctx, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
		}
		require.Empty(t, eval[[]string](ctx, t, `window.found`), path)
	}
}
