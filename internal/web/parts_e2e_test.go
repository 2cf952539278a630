package web_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/web"
)

// alike waits until an open page shows what it would if it were loaded now, but
// for what the device itself does to it.
func alike(ctx context.Context, t *testing.T) {
	t.Helper()
	eval[chromedp.Void](ctx, t, `window.asServed = (page) => {
		const view = page.getElementById('view').cloneNode(true);
		view.querySelectorAll('.keptNote').forEach((n) => n.remove());
		view.querySelectorAll('*').forEach((e) => {
			e.removeAttribute('data-htmx-powered');
			e.removeAttribute('open');
			if (e.matches('time[data-since]')) e.textContent = '';
			e.classList.remove('new', 'kept', 'htmx-request');
			const all = Array.from(e.attributes, (a) => [a.name, a.value.trim()]).sort();
			all.forEach(([name]) => e.removeAttribute(name));
			all.forEach(([name, value]) => { if (name !== 'class' || value) e.setAttribute(name, value); });
		});
		return view.innerHTML.replace(/\s+/g, ' ').replace(/> </g, '><').replace(/ </g, '<').replace(/></g, '>\n<').split('\n');
	}; 0`)
	const same = `fetch(location.pathname).then((r) => r.text()).then((text) => {
		const shown = asServed(document), served = asServed(new DOMParser().parseFromString(text, 'text/html'));
		const at = Array.from({ length: Math.max(shown.length, served.length) }).findIndex((_, i) => shown[i] !== served[i]);
		window.differ = at < 0 ? '' : location.pathname + ' ' + document.getElementById('liveness').textContent + '\n' + JSON.stringify(shown.slice(Math.max(0, at - 3), at + 3)) + '\n\n' + JSON.stringify(served.slice(Math.max(0, at - 3), at + 3));
		return at < 0;
	})`
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](same, chromedp.WithPollingTimeout(20*time.Second), chromedp.WithPollingInterval(100*time.Millisecond)))
	require.NoError(t, err, "%s", eval[string](ctx, t, `window.differ`))
}

// TestChangesInTheBrowser has a night go on while pages are open: they come to
// what they would be if they were loaded anew, and what somebody does on them is
// left alone.
func TestChangesInTheBrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(func(c *web.Config) { c.Demo = false }))
	openPass(ctx, t, s.addr)
	tabs := map[string]context.Context{"/": ctx}
	for _, path := range []string{"/runner", "/wall", "/orders/K409"} {
		tabs[path] = anotherTab(ctx, t)
		require.NoError(t, chromedp.Do(tabs[path], chromedp.Navigate("http://"+s.addr+path), chromedp.WaitReady("#view")))
	}
	eval[chromedp.Void](ctx, t, `(() => {
		window.wholes = 0;
		document.getElementById('stream').addEventListener('htmx:sse:before:message', (e) => { if (!e.detail.message.event) wholes++; });
		const car = document.querySelector('#gate details.fix');
		car.open = true;
		car.querySelector('input[name=model]').value = 'half typed';
		document.getElementById('rest').open = true;
		window.row = document.querySelector('#rest li:last-child button');
		row.focus({ preventScroll: true });
		window.scrollTo(0, 400);
	})()`)
	draw := rand.New(rand.NewPCG(3, 5))
	for range 25 {
		h.happen(draw)
	}
	h.arrive("K416", "outside in a white transit", car("white", "Ford", "Transit", "BX21 NNE"), "")
	until(ctx, t, `document.querySelector('#gate').innerText.includes('Ford Transit')`)
	require.True(t, eval[bool](ctx, t, `document.getElementById('rest').open && document.activeElement === row`))
	require.Equal(t, "half typed", eval[string](ctx, t, `document.querySelector('#gate details.fix').querySelector('input[name=model]').value`))
	require.Zero(t, eval[int](ctx, t, `wholes`), "all of it was sent where less would do")

	// The car that somebody was putting right was put right elsewhere; nobody types any more.
	eval[chromedp.Void](ctx, t, `document.querySelectorAll('details.fix').forEach((d) => { d.querySelector('form').reset(); d.open = false; }); document.activeElement.blur()`)
	for _, tab := range tabs {
		alike(tab, t)
		require.True(t, eval[bool](tab, t, `Array.from(document.querySelectorAll('#view [hx-post]')).every((f) => f._htmx && f._htmx.initialized && f._htmx.listeners.length > 0)`), "a form that loads the page anew")
	}

	// A page that is not what the server takes it for gets all of it.
	eval[chromedp.Void](ctx, t, `document.querySelector('#gate .ticket:last-child').remove(); document.querySelector('#needs h2').remove()`)
	h.arrive("K417", "here, red mini", car("red", "Mini", "Cooper", ""), "")
	alike(ctx, t)
	// And so does one that shows the answer to a tap which the stream never led to.
	tap(ctx, t, "Handed out, K417 Tanisha Duhaney")
	alike(ctx, t)
	h.clock.set(h.clock.Now().Add(3 * time.Minute))
	alike(ctx, t)
	stillTheSamePage(ctx, t)
}
