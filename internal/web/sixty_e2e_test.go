package web_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/rehearsal"
)

// crew works a rehearsed night in the browser: the cook with two tabs of one
// device, and Wen, who carries the bags out, with the runner's page on a phone of
// her own.
type crew struct {
	t    *testing.T
	r    *rehearsal.Rehearsal
	cook [2]context.Context
	wen  context.Context
	// lost are the pages without a line, keeps how many taps they keep.
	lost  []context.Context
	keeps int
	taps  int
	// did is what the history must hold, by who, what and which order.
	did map[string]int
}

const wen = "Wen"

// TestANightOfSixtyInTheBrowser plays a whole night: the customers are those of
// a rehearsal, the kitchen's hands press what stands on the pass. Now and then
// the line is away for a while, and taps are kept.
func TestANightOfSixtyInTheBrowser(t *testing.T) {
	t.Parallel()
	first := browser(t)
	ctx := t.Context()
	c := &crew{t: t, did: map[string]int{}}
	var err error
	c.r, err = rehearsal.Open(ctx, rehearsal.Options{Seed: 11, Orders: 60, Dir: t.TempDir(), Hands: c.hands})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.r.Close(context.WithoutCancel(ctx))) })
	url, err := c.r.Serve(ctx)
	require.NoError(t, err)
	addr := strings.TrimPrefix(url, "http://")
	c.play(func() bool { return c.r.Now().Before(evening("16:00")) })

	phone := anotherTab(first, t, chromedp.WithNewBrowserContext())
	require.NoError(t, chromedp.Do(phone, chromedp.Navigate(url+helpLink(t, newVisitor(t, url), wen)), chromedp.Click("form[action^='/help/'] button"), chromedp.WaitReady("#view")))
	until(phone, t, isLive+` && document.getElementById('liveness').textContent.startsWith('Live')`) // a tap before that loads the page anew
	c.cook, c.wen = [2]context.Context{first, anotherTab(first, t)}, phone
	for _, page := range c.cook {
		openPass(page, t, addr)
	}
	c.play(func() bool { return true })
	c.back()

	out, err := c.r.Result(ctx)
	require.NoError(t, err)
	require.Empty(t, out.Violations)
	require.Empty(t, out.Mismatches, "each order ends as its customer's script says")
	orders, err := c.r.Orders(ctx)
	require.NoError(t, err)
	require.Len(t, orders, 60)
	for _, o := range orders {
		require.Contains(t, []night.State{night.HandedOut, night.Cancelled, night.NotCollected}, o.State, o.Ref)
	}
	require.Equal(t, c.did, c.history(), "each act is in the history once, with who did it")
	t.Logf("%d taps", c.taps)

	for _, page := range c.cook {
		until(page, t, isLive+" && "+kept(0)+` && document.querySelector('.pass').dataset.here === '0' && document.querySelectorAll('#gate .ticket, #pack .ticket, #needs .ticket').length === 0`)
		stillTheSamePage(page, t)
	}
	until(c.wen, t, isLive+" && "+kept(0)+` && document.querySelector('.runner').dataset.here === '0' && document.querySelectorAll('.ticket.here').length === 0`)
	const shown = `document.querySelector('#view').innerText`
	require.Equal(t, eval[string](first, t, shown), eval[string](c.cook[1], t, shown))
}

// play goes on while it is time.
func (c *crew) play(while func() bool) {
	c.t.Helper()
	for more := true; more && while(); {
		var err error
		more, err = c.r.Step(c.t.Context())
		require.NoError(c.t, err)
		require.Empty(c.t, c.r.Invariants())
	}
}

// hands do a task with a tap where there is a button for it, and note what the
// history must say of it.
func (c *crew) hands(ctx context.Context, task rehearsal.Task, atTheDesk func(context.Context) error) error {
	c.t.Helper()
	if c.wen == nil { // the days before, and the morning
		return atTheDesk(ctx)
	}
	c.lines()
	who, tab := "cook", c.cook[c.taps%2]
	o := c.order(task.Ref)
	does := func(act, what, which string) {
		c.tap(tab, "/orders/"+task.Ref+"/"+act, which)
		c.did[who+" "+what+" "+task.Ref]++
	}
	runner := func() { who, tab = wen, c.wen }
	switch task.Do {
	case rehearsal.Packed:
		if c.did["cook packed "+task.Ref] > 0 || !o.PackedAt.IsZero() {
			return nil
		}
		if o.ID%6 == 0 {
			c.tick(tab, o)
		}
		does("packed", "packed", "")
	case rehearsal.Here:
		if c.back(); o.State != night.Arrived { // or their own text might be quicker than a kept tap
			does("here", "here", "")
		}
	case rehearsal.Out:
		if o.State != night.Arrived {
			c.back()
			does("here", "here", "")
		}
		if o.ID%20 == 0 {
			c.correct(o)
		}
		runner()
		does("out", "handed out", "")
	case rehearsal.Undo:
		if c.back(); o.State == night.HandedOut { // the runner's page takes back no more than that
			runner()
		}
		does("undo", "undo of "+string(o.State), `:has(input[name="from"][value="`+string(o.State)+`"])`)
	case rehearsal.Absent:
		c.back()
		does("absent", "not collected", "")
	case rehearsal.Place:
		which := fmt.Sprintf(`:has(input[name="ref"][value=%q])`, task.Ref)
		if path := fmt.Sprintf("/texts/%d/place", task.Text); c.offers(tab, formAt(path, which)) {
			c.back()
			c.tap(tab, path, which)
			return nil
		}
		return atTheDesk(ctx)
	case rehearsal.Read:
		c.back()
		c.tap(tab, fmt.Sprintf("/texts/%d/read", task.Text), "")
	case rehearsal.Told:
		c.back()
		c.tap(tab, fmt.Sprintf("/messages/%d/told", task.Message), "")
	case rehearsal.Cancel, rehearsal.Move: // which a page of its own asks about
		return atTheDesk(ctx)
	}
	return nil
}

func (c *crew) order(ref string) night.Order {
	c.t.Helper()
	orders, err := c.r.Orders(c.t.Context())
	require.NoError(c.t, err)
	i := slices.IndexFunc(orders, func(o night.Order) bool { return o.Ref == ref })
	if i < 0 {
		return night.Order{}
	}
	return orders[i]
}

// lines takes the line away, now from the cook's device and now from Wen's.
func (c *crew) lines() {
	c.t.Helper()
	switch {
	case len(c.lost) > 0 && c.keeps >= 8:
		c.back()
	case len(c.lost) == 0 && c.taps/60%2 == 0 && c.taps%60 > 40:
		c.lose(c.cook[:]...)
	case len(c.lost) == 0 && c.taps/60%2 == 1 && c.taps%60 > 40:
		c.lose(c.wen)
	}
}

// lose takes the line from pages.
func (c *crew) lose(pages ...context.Context) {
	c.t.Helper()
	c.lost, c.keeps = pages, 0
	for _, page := range pages {
		line(page, c.t, false)
		until(page, c.t, "!"+isLive)
	}
}

// back gives the line back where it is lost, to all pages at once, and waits
// until they have sent what they kept.
func (c *crew) back() {
	c.t.Helper()
	pages := c.lost
	c.lost = nil
	for _, page := range pages {
		line(page, c.t, true)
	}
	for _, page := range pages {
		until(page, c.t, isLive+" && "+kept(0))
	}
}

func formAt(path, which string) string { return fmt.Sprintf(`form[action=%q]%s`, path, which) }

func (c *crew) offers(tab context.Context, form string) bool {
	c.t.Helper()
	return eval[bool](tab, c.t, fmt.Sprintf(`document.querySelector(%q) !== null`, form))
}

// tap presses the button of a form once the page shows it, and waits until the
// page shows what came of that. The moment in which tickets that moved take no
// tap is not waited for: another test is about that.
func (c *crew) tap(tab context.Context, path, which string) {
	c.t.Helper()
	sel := formAt(path, which)
	if slices.Contains(c.lost, tab) && !c.offers(tab, sel) {
		c.back()
	}
	keeps, err := chromedp.Run(tab, chromedp.Evaluate[bool](fmt.Sprintf(`(async () => {
		const sel = %q, path = %q;
		const when = (what) => new Promise((resolve, reject) => {
			const seen = new MutationObserver(() => look());
			const late = setTimeout(() => { seen.disconnect(); reject(new Error('never came: ' + what)); }, 30000);
			const look = () => {
				const v = what();
				if (v) { seen.disconnect(); clearTimeout(late); resolve(v); }
			};
			seen.observe(document.documentElement, { subtree: true, childList: true, attributes: true });
			look();
		});
		const form = await when(() => document.querySelector(sel));
		const button = form.querySelector('button');
		const pressed = button.getAttribute('aria-pressed');
		document.body.classList.remove('settling');
		button.click();
		return await when(() => {
			if (Object.keys(localStorage).some((k) => k.startsWith('tap ') && JSON.parse(localStorage[k]).path === path)) return 'kept';
			const now = document.querySelector(sel);
			return (!now || now.querySelector('button').getAttribute('aria-pressed') !== pressed) && 'done';
		}) === 'kept';
	})()`, sel, path), chromedp.EvalAwaitPromise))
	if err != nil {
		body, _ := chromedp.Run(tab, chromedp.Evaluate[string](`document.body.innerText.slice(0, 3000)`))
		c.t.Fatalf("%s at %s: %v\n%s", sel, c.r.Now(), err, body)
	}
	c.taps++
	if keeps {
		c.keeps++
	}
}

// tick puts the items of an order into its bags, where it stands under "Pack
// now".
func (c *crew) tick(tab context.Context, o night.Order) {
	c.t.Helper()
	for i, it := range o.Items {
		path := fmt.Sprintf("/orders/%s/items/%d/tick", o.Ref, i)
		if it.Ticked || !c.offers(tab, formAt(path, "")) {
			continue
		}
		c.tap(tab, path, "")
		c.did["cook ticked "+o.Ref]++
	}
}

// correct puts a car right whose plate was read wrong.
func (c *crew) correct(o night.Order) {
	c.t.Helper()
	c.back()
	sel := fmt.Sprintf(`document.querySelector('form[action="/orders/%s/vehicle"]')`, o.Ref)
	until(c.cook[0], c.t, sel+" !== null")
	eval[chromedp.Void](c.cook[0], c.t, fmt.Sprintf(`document.body.classList.remove('settling'); %[1]s.elements.plate.value = 'LD26 XYZ'; %[1]s.querySelector('button').click()`, sel))
	until(c.cook[0], c.t, sel+`.closest('.ticket').querySelector('.plate').innerText === 'LD26 XYZ'`)
	c.did["cook car "+o.Ref]++
	require.Equal(c.t, "LD26XYZ", c.order(o.Ref).Vehicle.Plate)
}

// history is what the events hold of what the kitchen did since it works in the
// browser.
func (c *crew) history() map[string]int {
	c.t.Helper()
	orders, err := c.r.Orders(c.t.Context())
	require.NoError(c.t, err)
	refs := map[int64]string{}
	for _, o := range orders {
		refs[o.ID] = o.Ref
	}
	events, err := c.r.Events(c.t.Context(), 0, 100000)
	require.NoError(c.t, err)
	out := map[string]int{}
	words := map[night.What]string{night.BagsPacked: "packed", night.ItemTicked: "ticked", night.VehicleNoted: "car"}
	steps := map[night.State]string{night.Arrived: "here", night.HandedOut: "handed out", night.NotCollected: "not collected"}
	for _, e := range events {
		what := words[e.What]
		switch e.What { //nolint:exhaustive // the others are no tap of these
		case night.StepTaken:
			what = steps[e.To]
		case night.StepUndone:
			what = "undo of " + string(e.From)
		}
		if e.At.Before(evening("16:00")) || what == "" || e.Who != "cook" && e.Who != wen {
			continue
		}
		out[e.Who+" "+what+" "+refs[e.OrderID]]++
	}
	return out
}

// line gives a page its line, or takes it away.
func line(page context.Context, t *testing.T, on bool) {
	t.Helper()
	require.NoError(t, chromedp.Do(page, chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: !on, DownloadThroughput: -1, UploadThroughput: -1})
		if err != nil {
			return err
		}
		_, err = cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			MatchedNetworkConditions: []*network.Conditions{{Offline: !on, DownloadThroughput: -1, UploadThroughput: -1}},
		})
		return err
	})))
}
