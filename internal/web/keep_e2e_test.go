package web_test

import (
	"context"
	"net/http"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
)

// onShelf counts the kept pages of a device; files that are nobody's secret do
// not count.
const onShelf = `(async () => {
	let n = 0;
	for (const name of await caches.keys()) for (const key of await (await caches.open(name)).keys()) n += new URL(key.url).pathname.startsWith('/kept');
	return n;
})()`

// untilKept waits until the device keeps so many pages.
func untilKept(ctx context.Context, t *testing.T, n int64) {
	t.Helper()
	until(ctx, t, onShelf+`.then(n => n === `+itoa(n)+`)`)
}

// visit loads a page, also one that the device has kept.
func visit(ctx context.Context, t *testing.T, address string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(address), chromedp.WaitReady("#view")))
}

// gone visits a page that can't be shown.
func gone(ctx context.Context, t *testing.T, address string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Navigate(address))
	require.ErrorContains(t, err, "ERR_")
}

// TestAReloadWithoutALine reloads the pass while the server is away: the last
// state is there with its age, taps go on being kept and are sent once.
func TestAReloadWithoutALine(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(func(c *web.Config) { c.Demo = false }))
	base := "http://" + s.addr
	openPass(ctx, t, s.addr)
	untilKept(ctx, t, 1)
	visit(ctx, t, base+"/orders")
	untilKept(ctx, t, 2)
	openPass(ctx, t, s.addr)
	// What comes while the page is open is kept as well.
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", "BX21 NNE"), "")
	until(ctx, t, `document.querySelector('#gate').innerText.includes('Ford Transit')`)
	until(ctx, t, `caches.match('/kept/').then(r => r.text()).then(html => html.includes('BX21'))`)

	s.stop()
	until(ctx, t, "!"+isLive)
	click(ctx, t, "Packed, K406 Hana Morikawa")
	until(ctx, t, kept(1))
	visit(ctx, t, base+"/")
	const banner = `document.getElementById('offline').innerText`
	until(ctx, t, banner+`.includes('NOT LIVE since 17:11')`)
	require.Contains(t, eval[string](ctx, t, banner), "You see the night as it was")
	require.Contains(t, eval[string](ctx, t, banner), "Waiting on this device: 1.")
	require.Contains(t, eval[string](ctx, t, `document.querySelector('#gate').innerText`), "Ford Transit")
	require.Regexp(t, `^13:\d\d$`, eval[string](ctx, t, `document.querySelector('time[data-since]').textContent`), "by the kitchen's clock, whatever the device's says")
	require.Equal(t, "rgb", eval[string](ctx, t, `getComputedStyle(document.querySelector('#gate .main')).backgroundColor`)[:3])
	require.NotEqual(t, "rgba(0, 0, 0, 0)", eval[string](ctx, t, `getComputedStyle(document.querySelector('#gate .main')).backgroundColor`), "the look is kept too")
	click(ctx, t, "Handed out, K409 Farhana Hussain")
	until(ctx, t, kept(2))
	shoot(ctx, t, "e2e-reload-without-a-line")
	visit(ctx, t, base+"/orders?q=han")
	until(ctx, t, banner+`.includes('NOT LIVE since 17:11')`)
	gone(ctx, t, base+"/messages") // not one that is worked from
	visit(ctx, t, base+"/")
	eval[chromedp.Void](ctx, t, `window.sameForAll = true`)

	// Meanwhile the night goes on, and comes back to how the page was loaded first.
	_, err := h.desk.Out(t.Context(), h.act("K416"))
	require.NoError(t, err)
	s.start()
	until(ctx, t, isLive+" && "+kept(0)+` && !document.querySelector('#gate').innerText.includes('Ford Transit')`)
	stillTheSamePage(ctx, t)
	require.Equal(t, night.HandedOut, h.order("K409").State)
	count := map[night.What]int{}
	events, err := h.desk.Events(t.Context(), h.night.ID, 0, 10000)
	require.NoError(t, err)
	for _, e := range events {
		if e.OrderID == h.order("K406").ID || e.OrderID == h.order("K409").ID && e.To == night.HandedOut {
			count[e.What]++
		}
	}
	require.Equal(t, 1, count[night.BagsPacked])

	// With a line nothing old is shown, whatever is kept.
	h.arrive("K417", "here, red mini", car("red", "Mini", "Cooper", ""), "")
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank")))
	_, err = h.desk.Out(t.Context(), h.act("K417"))
	require.NoError(t, err)
	visit(ctx, t, base+"/")
	require.Empty(t, eval[string](ctx, t, `document.body.dataset.since || ''`))
	require.Contains(t, eval[string](ctx, t, `document.querySelector('#gate').innerText`), "handed out at")
}

// TestNothingIsKeptForAnother signs out, ends a helper's link, lets the night end
// and lets another kitchen answer: the device keeps nothing of what was.
func TestNothingIsKeptForAnother(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	signed := withPassphrase("open sesame")
	s := serve(t, h.handler(signed))
	base := "http://" + s.addr
	signIn := func() {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(base+"/"), chromedp.SendKeys(`input[name="passphrase"]`, "open sesame"), chromedp.Click("form button"), chromedp.WaitReady("#gate")))
		untilKept(ctx, t, 1)
	}
	signIn()
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`form[action="/sign-out"] button`), chromedp.WaitReady(`input[name="passphrase"]`)))
	untilKept(ctx, t, 0)

	// Without a line as well.
	signIn()
	s.stop()
	beside := anotherTab(ctx, t)
	visit(beside, t, base+"/")
	visit(ctx, t, base+"/")
	eval[chromedp.Void](ctx, t, `document.querySelector('form[action="/sign-out"]').submit()`)
	untilKept(beside, t, 0)
	gone(beside, t, base+"/")
	require.NoError(t, chromedp.Do(beside, chromedp.Navigate("about:blank"))) // a browser loads by itself again what failed
	s.start()
	visit(ctx, t, base+"/") // whoever has no line is not signed out at the server
	untilKept(ctx, t, 1)

	// The night ends: at the next page from the server, or by the clock of the device.
	h.clock.set(h.night.HelpUntil(london))
	visit(ctx, t, base+"/wall")
	untilKept(ctx, t, 0)
	h.clock.set(evening("17:11"))
	visit(ctx, t, base+"/")
	untilKept(ctx, t, 1)
	eval[chromedp.Void](ctx, t, `(async () => {
		const cache = await caches.open((await caches.keys())[0]);
		const kept = await cache.match('/kept/');
		const headers = new Headers(kept.headers);
		headers.set('until', String(Date.now() - 1));
		await cache.put('/kept/', new Response(await kept.text(), { headers }));
	})()`)
	s.stop()
	gone(ctx, t, base+"/")

	// Another kitchen answers at this address.
	s.start()
	visit(ctx, t, base+"/runner")
	visit(ctx, t, base+"/wall")
	untilKept(ctx, t, 2)
	other := newHouse(t)
	other.kitchen.Name = "Quarry Lane Pies"
	var err error
	other.kitchen.ID, err = other.store.PutKitchen(t.Context(), other.kitchen)
	require.NoError(t, err)
	other.rows = other.store.Kitchen(other.kitchen.ID)
	other.fill()
	s.stop()
	s.handler = other.handler(nil)
	s.start()
	visit(ctx, t, base+"/runner")
	untilKept(ctx, t, 1)
	s.stop()
	gone(ctx, t, base+"/wall")
}

// TestAnEndedLinkKeepsNothing ends a helper's link while their page is open.
func TestAnEndedLinkKeepsNothing(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	base := "http://" + s.addr
	cook := newVisitor(t, base)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(base+helpLink(t, cook, "Sam")), chromedp.Click(`form[action^="/help/"] button`), chromedp.WaitReady("#view")))
	untilKept(ctx, t, 1)
	list, err := h.rows.Helpers(t.Context(), h.night.ID)
	require.NoError(t, err)
	code, _ := cook.post("/helpers/"+itoa(list[0].ID)+"/end", url.Values{"back": {"/helpers"}})
	require.Equal(t, http.StatusOK, code)
	until(ctx, t, "!"+isLive)
	untilKept(ctx, t, 0)
}

// TestATapWhileTheDatabaseIsAway taps on an open page, and on one that was loaded
// meanwhile.
func TestATapWhileTheDatabaseIsAway(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	toData := new(wire)
	s := serve(t, h.handler(func(c *web.Config) {
		c.Desk, c.Keep, c.Sessions = wiredDesk{h.desk, toData}, wiredKeeper{c.Keep, toData}, wiredSessions{c.Sessions, toData}
	}))
	openPass(ctx, t, s.addr)
	toData.cut.Store(true)
	click(ctx, t, "Packed, K406 Hana Morikawa")
	until(ctx, t, kept(1))
	stillTheSamePage(ctx, t)
	h.clock.set(evening("17:14"))
	until(ctx, t, "!"+isLive)
	visit(ctx, t, "http://"+s.addr+"/")
	until(ctx, t, "document.getElementById('offline').innerText.includes('"+asOf+"')")
	require.Contains(t, eval[string](ctx, t, `document.getElementById('offline').innerText`), "NOT LIVE since 17:11")
	shoot(ctx, t, "e2e-database-away")
	click(ctx, t, "Handed out, K409 Farhana Hussain")
	until(ctx, t, kept(2))
	toData.cut.Store(false)
	until(ctx, t, isLive+" && "+kept(0))
	require.Equal(t, night.HandedOut, h.order("K409").State)
	require.False(t, h.order("K406").PackedAt.IsZero())
}
