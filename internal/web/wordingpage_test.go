package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/web"
)

func TestTryingOtherWords(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	handler := h.handler(func(c *web.Config) {
		c.Texts = map[string]string{"nudge": "{{.Kitchen}}: where are you? Order {{.OrderTimes}}"}
	})
	says(t, page(t, handler, "/wording"), "Reminder before the slot", "where are you? Order order K401 at 16:30", "1 part")
	says(t, page(t, handler, "/wording/nudge"), "{{.Kitchen}}: where are you?", "Nothing to look at.")
	try := func(fields url.Values) string {
		w := call(t, handler, http.MethodPost, "/wording/reminder", form(fields))
		require.Equal(t, http.StatusOK, w.Code)
		return w.Body.String()
	}
	// 3GPP TS 23.038: a curly quote is outside the GSM alphabet, so the text is
	// in UCS-2, 70 units a part.
	p := try(url.Values{"text": {"Come at {{.Slot}} – we’ll be there, it is the usual place and the usual gate, see you all soon"}})
	says(t, p, "2 parts", "units of the dear alphabet", "Straighten the signs")
	p = try(url.Values{"text": {"Come at {{.Slot}} – we’ll be there"}, "do": {"straighten"}})
	says(t, p, "Come at 16:30 - we'll be there", "1 part, 30 characters", "To keep it")
	says(t, try(url.Values{"text": {"Come at {{.Sloth}}"}}), "{{.Sloth}}, which does not exist")
	says(t, try(url.Values{"text": {"Come at {{.Slot"}}), "can't be used")
	says(t, try(url.Values{"text": {"Come at {{.Slot}}, 10% off next week"}}), "makes it marketing")
	require.Equal(t, http.StatusNotFound, call(t, handler, http.MethodGet, "/wording/none", nil).Code)
}

// TestTheCountFollowsTheTyping types into the words.
func TestTheCountFollowsTheTyping(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.open()
	s := serve(t, h.handler(nil))
	require.NoError(t, chromedp.Do(ctx, window(375, "light"), chromedp.Navigate("http://"+s.addr+"/wording/reminder"), chromedp.WaitReady("#words")))
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys("#words", " ’")))
	until(ctx, t, `document.querySelector('#verdict').innerText.includes('dear alphabet') && document.querySelector('#words').value.includes('’')`)
}
