package web_test

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// TestTicksOnTwoDevices packs one order from two tabs, one of them without a
// line for a while.
func TestTicksOnTwoDevices(t *testing.T) {
	t.Parallel()
	one := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(one, t, s.addr)
	two := anotherTab(one, t)
	openPass(two, t, s.addr)
	const (
		hot  = "Pork and chive dumplings 12, K407 Rosalind Pargeter"
		cold = "Smashed cucumber, K407 Rosalind Pargeter"
		oil  = "Chilli oil pot, K407 Rosalind Pargeter"
	)
	is := func(label, pressed string) string {
		return `document.querySelector('button[aria-label="` + label + `"]').getAttribute('aria-pressed') === '` + pressed + `'`
	}
	pack := `document.querySelector('#pack-` + itoa(h.order("K407").ID) + `')`
	ticked := func() (out []bool) {
		for _, it := range h.order("K407").Items {
			out = append(out, it.Ticked)
		}
		return out
	}

	tap(one, t, hot)
	until(one, t, is(hot, "true"))
	until(two, t, is(hot, "true")) // without anybody doing anything there
	tap(two, t, hot)
	until(one, t, is(hot, "false"))
	tap(two, t, hot)
	until(one, t, is(hot, "true"))
	stillTheSamePage(one, t)
	require.NoError(t, chromedp.Do(one, chromedp.Reload(), chromedp.WaitReady("#gate")))
	until(one, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
	until(one, t, is(hot, "true"))
	shoot(one, t, "e2e-ticks")

	// Without a line, ticks are kept; a second tap takes one back.
	require.NoError(t, chromedp.Do(two, chromedp.Navigate("about:blank"))) // it would send what the first keeps
	s.stop()
	until(one, t, `!document.getElementById('offline').hidden`)
	marked := func(n int) string {
		return `document.querySelectorAll('button.kept').length === ` + itoa(int64(n)) + " && " + kept(n)
	}
	click(one, t, cold)
	until(one, t, marked(1))
	click(one, t, oil)
	until(one, t, marked(2))
	click(one, t, oil)
	until(one, t, marked(1))
	click(one, t, oil)
	until(one, t, marked(2))
	shoot(one, t, "e2e-ticks-kept")
	require.Equal(t, []bool{true, false, false}, ticked())
	s.start()
	until(one, t, is(cold, "true")+" && "+is(oil, "true"))
	until(one, t, `document.getElementById('notice').innerText.includes('The line is back. Ticks sent: 2.') && `+isLive+" && "+marked(0))
	openPass(two, t, s.addr)
	require.Equal(t, []bool{true, true, true}, ticked())
	count := 0
	events, err := h.desk.Events(t.Context(), h.night.ID, 0, 10000)
	require.NoError(t, err)
	for _, e := range events {
		if e.What == night.ItemTicked {
			count++
		}
	}
	require.Equal(t, 4, count, "the first twice, each kept one once")

	// All is in: Packed is offered, and pressed by a person.
	for _, page := range []context.Context{one, two} {
		until(page, t, pack+`.innerText.includes('All of it is in.') && `+pack+`.querySelector('button.main').innerText === 'Packed'`)
	}
	require.True(t, h.order("K407").PackedAt.IsZero())
	tap(two, t, "Packed, K407 Rosalind Pargeter")
	until(one, t, pack+` === null`)
	require.False(t, h.order("K407").PackedAt.IsZero())
	stillTheSamePage(two, t)
}

// TestAnItemThatIsMissing goes from the line on the pass to the text.
func TestAnItemThatIsMissing(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.fill()
	s := serve(t, h.handler(nil))
	openPass(ctx, t, s.addr)
	link := `a[aria-label="Missing: Chilli oil pot, K406 Hana Morikawa"]`
	require.NoError(t, chromedp.Do(ctx, chromedp.ScrollIntoView(link), chromedp.Click(link), chromedp.WaitReady(".truth")))
	said := eval[string](ctx, t, `document.querySelector('.followed, .sent blockquote').innerText`)
	require.Contains(t, said, "this is missing: 2 x Chilli oil pot.")
	shoot(ctx, t, "e2e-short")
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`form[action="/orders/K406/short"] button.main`), chromedp.WaitReady(".missing"), chromedp.WaitReady("#gate")))
	until(ctx, t, `document.querySelector('#pack .missing').innerText.includes('a text tells them')`)
	sent := h.ofKind("K406", night.Short)
	require.Len(t, sent, 1)
	require.Equal(t, said, strings.TrimSpace(sent[0].Text))
	require.Equal(t, h.order("K406").Phone, sent[0].To)
	h.settle(sent[0], night.Delivered)
	require.Equal(t, night.Delivered, h.ofKind("K406", night.Short)[0].State)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("http://"+s.addr+"/runner"), chromedp.WaitReady(".missing")))
	require.Contains(t, eval[string](ctx, t, `document.querySelector('.missing').innerText`), "2 × Chilli oil pot")
	shoot(ctx, t, "e2e-short-runner")
}
