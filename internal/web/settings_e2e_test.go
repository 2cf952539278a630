package web_test

import (
	"fmt"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
	"passbell/internal/wording"
)

// TestACookChangesWordsAndAddsANight types other words, sees how many texts they
// change, saves them, and adds next week's night.
func TestACookChangesWordsAndAddsANight(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	fresh, _, err := h.desk.Waiting(t.Context(), wording.Reminder)
	require.NoError(t, err)
	s := serve(t, h.handler(usualNight))
	require.NoError(t, chromedp.Do(ctx, window(375, "light"), chromedp.Navigate("http://"+s.addr+"/wording/reminder"), chromedp.WaitReady("#words")))
	eval[chromedp.Void](ctx, t, `document.querySelector('#words').value = '{{.First}}’s order: {{.OrderTimes}}'`)
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys("#words", ".")))
	until(ctx, t, fmt.Sprintf(`document.querySelector('#verdict button.main')?.innerText === 'Save and change %d texts'`, fresh))
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`#verdict button[value="straighten"]`), chromedp.WaitReady(`body:not(:has(button[value="straighten"])) #words`)))
	until(ctx, t, `document.querySelector('#words').value.includes("'s order") && !document.querySelector('button[value="straighten"]')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`#verdict button[value="save"]`), chromedp.WaitReady(`#notice .good`)))
	until(ctx, t, `location.pathname === '/wording' && document.querySelector('#notice').innerText.includes('Saved.')`)
	require.Equal(t, "Bethan's order: order K401 at 16:30.", h.reminder())

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("http://"+s.addr+"/more"), chromedp.Click(`a[href="/night/new"]`), chromedp.WaitReady(`input[name="date"]`)))
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`form[action="/night/new"] button.main`), chromedp.WaitReady(`#nights`)))
	until(ctx, t, `location.pathname === '/night' && document.querySelector('#notice').innerText.includes('11 December')`)
	nights, err := h.desk.Nights(t.Context())
	require.NoError(t, err)
	require.Len(t, nights, 2)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`#nights button[name="show"]`), chromedp.WaitReady(`.another`)))
	until(ctx, t, `document.querySelector('.another') && document.querySelector('h1').innerText.includes('11 December')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`.another button`), chromedp.WaitReady(`body:not(:has(.another)) h1`)))
	until(ctx, t, `!document.querySelector('.another') && document.querySelector('h1').innerText.includes('4 December')`)
}

// TestTheSettingsPagesFitAndAreAccessible looks at the pages of the settings as
// TestEveryPageFitsAndIsAccessible does at the others.
func TestTheSettingsPagesFitAndAreAccessible(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	checker := axe(t)
	h := newHouse(t)
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	failed := false
	h.carry(func(m night.Message) (night.MessageState, string) {
		if m.Kind == night.Reminder {
			return night.Due, ""
		}
		if failed = !failed; failed {
			return night.Failed, "the network will not take this number"
		}
		return night.Delivered, ""
	})
	_, err = h.desk.SaveWords(t.Context(), wording.Reminder, "{{.First}}: {{.OrderTimes}} – see you", "cook")
	require.NoError(t, err)
	next := h.night
	next.ID, next.Date = 0, next.Date.AddDays(7)
	_, err = h.desk.AddNight(t.Context(), next, "cook")
	require.NoError(t, err)
	ways := newFakeWays()
	server := "http://" + serve(t, h.handler(func(c *web.Config) {
		usualNight(c)
		c.Ways = ways
	})).addr
	pages := map[string]struct{ path, press, wait string }{
		"set-more": {"/more", "", ""}, "set-wordings": {"/wording", "", ""}, "set-wording": {"/wording/reminder", "", ""},
		"set-wording-typed": {"/wording/reminder", `document.querySelector('#words').value = 'Come – {{.Slot}}'; document.querySelector('button[value="try"]').click()`, `#verdict button[value="save"]`},
		"set-night":         {"/night", "", ""}, "set-night-new": {"/night/new", "", ""}, "set-kitchen": {"/kitchen", "", ""},
		"set-night-wrong": {"/night/new", `document.querySelector('input[name="date"]').value = '2026-12-04'; document.querySelector('form[action="/night/new"]').submit()`, `p.bad`},
		"set-another":     {"/night", `document.querySelector('#nights button[name="show"]').click()`, `.another`},
		"set-adapters":    {"/adapters", "", ""},
		"set-probed":      {"/adapters", `document.querySelector('form[action$="/probe"] button').click()`, `.findings`},
		"set-number":      {"/adapters", `document.querySelector('input[name="to"]').value = '07700'; document.querySelector('form[action$="/test"] button').click()`, `p.bad`},
	}
	for name, p := range pages {
		for _, width := range []int64{375, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				usual := (width == 375) == (scheme == "light")
				if !usual && os.Getenv("SHOTS") == "" {
					continue // the other two differ in nothing that is checked here
				}
				where := fmt.Sprintf("%s at %d px, %s", name, width, scheme)
				require.NoError(t, chromedp.Do(ctx, window(width, scheme), chromedp.Navigate(server+p.path), chromedp.WaitReady("#main")), where)
				if p.press != "" {
					eval[chromedp.Void](ctx, t, p.press)
					require.NoError(t, chromedp.Do(ctx, chromedp.WaitReady(p.wait)), where)
				}
				fits(ctx, t, where)
				if checker != "" && usual {
					assert.Empty(t, violations(ctx, t, checker, rulesFor("en", scheme)), where)
				}
				shoot(ctx, t, fmt.Sprintf("%s-%d-%s", name, width, scheme))
				if name == "set-another" {
					require.NoError(t, chromedp.Do(ctx, chromedp.Click(`.another button`), chromedp.WaitReady(`body:not(:has(.another)) h1`)))
				}
			}
		}
	}
}
