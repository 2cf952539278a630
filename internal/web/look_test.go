package web_test

import (
	"context"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/web"
)

// axe gives the accessibility checker axe-core, from AXE_CORE or the npm
// registry's package; "" where it can't be had.
func axe(t *testing.T) string {
	t.Helper()
	if p := os.Getenv("AXE_CORE"); p != "" {
		b, err := os.ReadFile(p)
		require.NoError(t, err)
		return string(b)
	}
	if os.Getenv("CI") != "true" {
		return ""
	}
	dir := t.TempDir()
	cmd := exec.CommandContext(t.Context(), "sh", "-c", "npm pack --silent axe-core@4.14.1 && tar xzf axe-core-4.14.1.tgz package/axe.min.js")
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Logf("axe-core can't be had: %v: %s", err, out)
		return ""
	}
	b, err := os.ReadFile(filepath.Join(dir, "package", "axe.min.js"))
	require.NoError(t, err)
	return string(b)
}

// TestEveryPageFitsAndIsAccessible looks at every page on a phone and on a
// laptop, in the light and in the dark: nothing scrolls sideways, no target is
// smaller than a knuckle can press, and axe-core finds nothing against WCAG 2.2
// AA.
func TestEveryPageFitsAndIsAccessible(t *testing.T) {
	t.Parallel()
	lookAtPages(t, "en")
}

// The Spanish words are longer, so what fits in English may not.
func TestEverySpanishPageFitsAndIsAccessible(t *testing.T) {
	t.Parallel()
	lookAtPages(t, "es")
}

func lookAtPages(t *testing.T, language string) {
	t.Helper()
	ctx := browser(t)
	speaks := func(c *web.Config) { c.Language = language }
	h := newHouse(t)
	h.fill()
	h.marks()
	server := httptest.NewServer(h.handler(speaks))
	t.Cleanup(server.Close)
	empty := newHouse(t)
	before := newHouse(t)
	before.open()
	signIn := newHouse(t)
	needs := newHouse(t)
	needs.needs()
	checker := axe(t)
	if checker == "" {
		t.Log("axe-core is not at hand (set AXE_CORE to its axe.min.js), so accessibility is not checked")
	}
	serve := func(o *house, passphrase string) string {
		s := httptest.NewServer(o.handler(func(c *web.Config) {
			withPassphrase(passphrase)(c)
			speaks(c)
		}))
		t.Cleanup(s.Close)
		return s.URL
	}
	pages := map[string]string{
		"pass": server.URL + "/", "orders": server.URL + "/orders", "search": server.URL + "/orders?q=qazi", "order": server.URL + "/orders/K406",
		"cancel": server.URL + "/orders/K430/cancel", "text": server.URL + "/texts/" + itoa(openTexts(t, h)[0]) + "?q=cal", "messages": server.URL + "/messages", "report": server.URL + "/report",
		"none": serve(empty, "") + "/", "plan": serve(before, "") + "/plan", "open-messages": serve(before, "") + "/messages", "open-pass": serve(before, "") + "/", "more": server.URL + "/more", "wordings": server.URL + "/wording", "wording": server.URL + "/wording/reminder", "late": server.URL + "/late", "runner": server.URL + "/runner", "wall": server.URL + "/wall", "night": server.URL + "/night", "night-new": server.URL + "/night/new", "by-hand": serve(needs, "") + "/by-hand", "book": server.URL + "/book", "closed-plan": server.URL + "/plan", "sign-in": serve(signIn, "open sesame") + "/sign-in",
		"missing": server.URL + "/orders/K999", "bare-order": server.URL + "/orders/K421",
		"needs": serve(needs, "") + "/",
	}
	// Pages that are the answer to a form: what is clicked to come there.
	pressed := map[string]string{}
	for name, button := range map[string]string{
		"late": `form[action="/late/look"] button`, "night-off": `form[action="/night/look"] input[value="off"] ~ button`,
	} {
		pages[name+"-look"], pressed[name+"-look"] = server.URL+"/"+strings.TrimSuffix(name, "-off"), button
	}
	for _, do := range []string{"move", "number", "collector", "split", "join", "slot"} {
		pages["look-"+do] = server.URL + "/orders/K430"
		pressed["look-"+do] = `form[action$="/look"]:has(input[value="` + do + `"]) button`
	}
	pages["short"], pages["short-choose"] = server.URL+"/orders/K406/short?item=1&back=/", server.URL+"/orders/K406/short"
	for name, path := range map[string]string{
		"paper": "", "paper-sheet": "/sheet", "paper-labels": "/labels", "paper-changes": "/changes?since=10:00", "paper-wrong": "/changes?since=soon", "paper-sign": "/sign",
	} {
		pages[name] = server.URL + "/paper" + path
	}
	pages["kitchen"], pages["link-ended"] = server.URL+"/kitchen", server.URL+"/help/none"
	helped := strings.Replace(serve(h, ""), "127.0.0.1", "localhost", 1) // whose sign-in is none of the other pages'
	pages["helper-view"] = helped + helpLink(t, newVisitor(t, helped), "Sam")
	pressed["helper-view"] = `form[action^="/help/"] button`
	links := newVisitor(t, server.URL)
	pages["help"] = server.URL + helpLink(t, links, "Sam")
	pages["helpers"], pages["helper-made"] = server.URL+"/helpers", server.URL+"/helpers"
	pressed["helper-made"] = `form[action="/helpers"] button`
	key, err := web.HereKey(t.Context(), h.rows)
	require.NoError(t, err)
	for name, ref := range map[string]string{"arrival": "K431", "arrived": "K406", "arrival-over": "K402"} {
		pages[name] = server.URL + web.HerePath(key, h.night.ID, h.order(ref).ID)
	}
	reading := serve(before, "")
	pages["read"] = reading + readPath(t, reading, aBook)
	for name, url := range pages {
		t.Run(name, func(t *testing.T) {
			for _, width := range []int64{375, 1280} {
				for _, scheme := range []string{"light", "dark"} {
					thorough := os.Getenv("SHOTS") != "" // see make looks
					if !thorough && language != "en" && (width != 375 || scheme != "light") {
						continue // words are as long on a laptop and in the dark, and there is more room
					}
					if !thorough && (width == 375) != (scheme == "light") {
						continue // the other two differ in nothing that is checked here
					}
					require.NoError(t, chromedp.Do(ctx, window(width, scheme), chromedp.Navigate(url), chromedp.WaitReady("#main")))
					if then := pressed[name]; then != "" {
						eval[chromedp.Void](ctx, t, `for (const e of document.querySelector('`+then+`').form.elements) { if (e.name === 'to') e.value = '07700 900999'; if (e.name === 'name') e.value = 'Sam'; if (e.name === 'slot') e.selectedIndex = 12; if (e.name === 'line') e.checked = e.value === '0'; } for (const d of document.querySelectorAll('details')) d.open = true; document.documentElement.id = 'left'`)
						require.NoError(t, chromedp.Do(ctx, chromedp.Click(then), chromedp.WaitReady("html:not(#left) :is(.truth, img.code, .tab-runner)")))
					}
					where := fmt.Sprintf("%s at %d px, %s", name, width, scheme)
					fits(ctx, t, where)
					if checker != "" {
						rules := everyRule
						if !thorough {
							rules = rulesFor(language, scheme)
						}
						assert.Empty(t, violations(ctx, t, checker, rules), where)
					}
					if language != "en" {
						page, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.documentElement.outerHTML`))
						require.NoError(t, err)
						assert.Empty(t, web.EnglishLeft(t, language, page), where)
					}
					shoot(ctx, t, fmt.Sprintf("%s%s-%d-%s", map[bool]string{true: "es-"}[language == "es"], name, width, scheme))
				}
			}
		})
	}
}

// window makes the browser a device of a width, in the light or the dark.
func window(width int64, scheme string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
			Width: width, Height: 812, DeviceScaleFactor: 1, Mobile: width < 500,
		})
		if err != nil {
			return err
		}
		_, err = cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
		}})
		return err
	})
}

// fits checks that nothing scrolls sideways and that what is pressed is at
// least 44 px high, links in a line of text excepted.
func fits(ctx context.Context, t *testing.T, where string) {
	t.Helper()
	wide, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`document.documentElement.scrollWidth - document.documentElement.clientWidth`))
	require.NoError(t, err, where)
	small, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`[...document.querySelectorAll('button, a, summary, select, input:not([type=hidden])')]
		.filter(e => e.offsetParent && getComputedStyle(e).display !== 'inline' && !e.matches('.skip'))
		.filter(e => (e.type === 'checkbox' ? e.closest('label') : e).getBoundingClientRect().height < 44)
		.map(e => e.outerHTML.slice(0, 120))`))
	require.NoError(t, err, where)
	assert.LessOrEqual(t, wide, 0.0, where+": it scrolls sideways")
	assert.Empty(t, small, where+": too small to press")
}

// everyRule is what axe-core checks against WCAG 2.2 AA, and its own good habits.
const everyRule = `{runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}`

// rulesFor leaves out what another look at the same page has checked: the dark
// changes colours and sizes alone, another language all but the colours, and
// measuring colours takes the checker longest.
func rulesFor(language, scheme string) string {
	switch {
	case language != "en":
		return strings.TrimSuffix(everyRule, "}") + `, rules: {'color-contrast': {enabled: false}}}`
	case scheme == "dark":
		return `{runOnly: {type: 'rule', values: ['color-contrast', 'link-in-text-block', 'target-size', 'scrollable-region-focusable']}}`
	}
	return everyRule
}

func violations(ctx context.Context, t *testing.T, checker, rules string) []string {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](checker+"; 0")))
	found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`axe.run(document, `+rules+`)
		.then(r => r.violations.flatMap(v => v.nodes.map(n => v.id + ': ' + n.html.slice(0, 200) + ' ' + n.failureSummary)))`,
		chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	for i := range found {
		found[i] = strings.ReplaceAll(found[i], "\n", " ")
	}
	return found
}
