package web_test

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
)

func TestANightOnThePass(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(ctx, t, s.addr)
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
	openPass(ctx, t, s.addr)
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
	openPass(ctx, t, s.addr)
	require.True(t, eval[bool](ctx, t, `document.getElementById('offline').hidden`))
	until(ctx, t, `/^13:\d\d$/.test(document.querySelector('time[data-since]').textContent)`)

	s.stop()
	until(ctx, t, `!document.getElementById('offline').hidden && document.getElementById('offline').innerText.includes('NOT LIVE since 17:11')`)
	require.Contains(t, eval[string](ctx, t, `document.querySelector('#gate').innerText`), "Hana Morikawa", "the last state stays to be read")
	shoot(ctx, t, "e2e-not-live")
	sel := `button[aria-label="Handed out, K406 Hana Morikawa"]`
	require.NoError(t, chromedp.Do(ctx, chromedp.ScrollIntoView(sel), chromedp.Click(sel)))
	until(ctx, t, `document.getElementById('notice').innerText.includes('Kept on this device and sent when the line is back: Handed out, K406')`)
	require.Equal(t, night.Arrived, h.order("K406").State)
	// A change that has to be judged with the night in view is not kept.
	eval[chromedp.Void](ctx, t, `document.querySelector('form[action="/messages/again"] button, form[action$="/absent"] button').click()`)
	until(ctx, t, `document.getElementById('notice').innerText.includes('Not kept')`)

	// Meanwhile the night goes on.
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", ""), "")
	s.start()
	until(ctx, t, `document.getElementById('offline').hidden && document.querySelector('#gate').innerText.includes('Ford Transit')`)
	until(ctx, t, `document.getElementById('notice').innerText.includes('The line is back. K406 Hana Morikawa: handed out.')`)
	require.Equal(t, night.HandedOut, h.order("K406").State)
	stillTheSamePage(ctx, t)
}

// TestTapsWithoutALine taps in two pages while the server is away: each tap
// counts once when it is back (GoogleChrome/workbox #1480: a queue that replays
// a request twice).
func TestTapsWithoutALine(t *testing.T) {
	t.Parallel()
	one := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(one, t, s.addr)
	two := anotherTab(one, t)
	openPass(two, t, s.addr)
	event := func() int64 {
		b, err := h.desk.Board(t.Context(), h.night.ID)
		require.NoError(t, err)
		return b.Event
	}
	before := event()
	s.stop()
	for _, page := range []context.Context{one, two} {
		until(page, t, `!document.getElementById('offline').hidden`)
	}
	press := func(page context.Context, label string) {
		click(page, t, label)
		until(page, t, `document.getElementById('notice').innerText.includes('`+label+`')`)
	}
	press(one, "Packed, K406 Hana Morikawa")
	press(one, "Packed, K406 Hana Morikawa") // twice
	press(two, "Packed, K407 Rosalind Pargeter")
	press(two, "Handed out, K409 Farhana Hussain")
	press(one, "Here, K416 Kieron Achebe")
	press(one, "Here, K417 Tanisha Duhaney")
	shoot(one, t, "e2e-kept")
	click(one, t, "Take back: Here, K417 Tanisha Duhaney")
	until(two, t, `document.getElementById('offline-kept').innerText.startsWith('Waiting on this device: 4')`)
	require.Equal(t, before, event(), "nothing came through")

	s.start()
	for _, page := range []context.Context{one, two} {
		until(page, t, isLive+" && "+kept(0))
		stillTheSamePage(page, t)
	}
	require.Equal(t, night.HandedOut, h.order("K409").State)
	require.Equal(t, night.Arrived, h.order("K416").State)
	require.NotEqual(t, night.Arrived, h.order("K417").State)
	counts := map[string]int{}
	events, err := h.desk.Events(t.Context(), h.night.ID, before, 1000)
	require.NoError(t, err)
	for _, e := range events {
		if e.Who == "cook" {
			counts[string(e.What)+" "+string(e.To)]++
		}
	}
	require.Equal(t, map[string]int{"packed ": 2, "step handed out": 1, "step arrived": 1}, counts)
}

// TestATapOfWhichTheAnswerWasLost sends one key again and again.
func TestATapOfWhichTheAnswerWasLost(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	says(t, press(t, handler, "/orders/K406/out", "once", "k1"), "K406 Hana Morikawa: handed out.")
	press(t, handler, "/orders/K406/undo", "from", "handed out", "once", "k2")
	says(t, press(t, handler, "/orders/K406/out", "once", "k1"), "K406 Hana Morikawa: handed out.")
	require.Equal(t, night.Arrived, h.order("K406").State, "the first tap was taken back and is not done anew")
	says(t, press(t, handler, "/orders/K406/cancel", "once", "k3"), "was not done")
	press(t, handler, "/orders/K406/undo", "from", "arrived")
	says(t, press(t, handler, "/orders/K406/cancel", "once", "k3"), "cancelled", "K406")
}

// TestTextAtTwiceTheSize sets text to 200 % (WCAG 2.2, 1.4.4): nothing is cut
// off or scrolls sideways.
func TestTextAtTwiceTheSize(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.needs()
	s := serve(t, h.handler(nil))
	for _, path := range []string{"/", "/runner", "/wall", "/orders", "/orders/K406", "/by-hand", "/late", "/night", "/more", "/book", "/plan", "/messages", "/helpers", "/report"} {
		for _, width := range []int64{375, 1280} {
			require.NoError(t, chromedp.Do(ctx, window(width, "light"), chromedp.Navigate("http://"+s.addr+path), chromedp.WaitReady("#main")))
			eval[chromedp.Void](ctx, t, `document.documentElement.style.fontSize = 2 * parseFloat(getComputedStyle(document.documentElement).fontSize) + 'px'`)
			cut := eval[[]string](ctx, t, `[...document.querySelectorAll('body *')].filter(e => e.offsetParent && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX === 'hidden' && !e.matches('.sr')).map(e => e.outerHTML.slice(0, 100))`)
			require.Empty(t, cut, path)
			wide := eval[[]string](ctx, t, `document.documentElement.scrollWidth <= document.documentElement.clientWidth ? [] : [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map(e => e.outerHTML.slice(0, 120)).slice(0, 5)`)
			require.Empty(t, wide, "%s at %d px", path, width)
			shoot(ctx, t, "twice-"+strings.Trim(strings.ReplaceAll(path, "/", "-"), "-")+"-"+itoa(width))
		}
	}
}

// TestCorrectingWhileThingsHappen types into an opened form while the page
// changes around it.
func TestCorrectingWhileThingsHappen(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(ctx, t, s.addr)
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
	for _, path := range []string{
		"/", "/orders", "/orders/K406", "/messages", "/report", "/runner", "/wall", "/by-hand", "/plan", "/book", "/late", "/night", "/helpers", "/wording", "/wording/delay", "/more",
	} {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("http://"+s.addr+path), chromedp.WaitReady("#main")))
		if eval[bool](ctx, t, `document.getElementById('stream') !== null`) {
			until(ctx, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
		}
		require.Empty(t, eval[[]string](ctx, t, `window.found`), path)
	}
}
