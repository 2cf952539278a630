package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/wording"
	"passbell/templates"
)

func TestTryingOtherWords(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	var err error
	h.words, err = wording.Load(templates.Texts, map[string]string{"nudge": "{{.Kitchen}}: where are you? Order {{.OrderTimes}}"}, "en")
	require.NoError(t, err)
	h.open()
	handler := h.handler(nil)
	says(t, page(t, handler, "/wording"), "Reminder before the slot", "built in", "from passbell.toml", "where are you? Order order K401 at 16:30", "1 part")
	says(t, page(t, handler, "/wording/nudge"), "{{.Kitchen}}: where are you?", "Nothing to look at.", "words that customers get now")
	try := func(fields url.Values) string {
		w := call(t, handler, http.MethodPost, "/wording/reminder", form(fields))
		require.Equal(t, http.StatusOK, w.Code)
		return w.Body.String()
	}
	// 3GPP TS 23.038: a curly quote is outside the GSM alphabet, so the text is
	// in UCS-2, 70 units a part.
	p := try(url.Values{"text": {"Come at {{.Slot}} – we’ll be there, it is the usual place and the usual gate, see you all soon"}})
	says(t, p, "2 parts", "signs, some of them dear", "Straighten the signs")
	p = try(url.Values{"text": {"Come at {{.Slot}} – we’ll be there"}, "do": {"straighten"}})
	says(t, p, "Come at 16:30 - we'll be there", "1 part, 30 characters", ">Save<")
	says(t, try(url.Values{"text": {"Come at {{.Sloth}}"}}), "{{.Sloth}}, which does not exist")
	says(t, try(url.Values{"text": {"Come at {{.Slot"}}), "can't be used")
	says(t, try(url.Values{"text": {"Come at {{.Slot}}, 10% off next week"}}), "makes it marketing")
	require.Equal(t, http.StatusNotFound, call(t, handler, http.MethodGet, "/wording/none", nil).Code)
}

func TestSavingWordsFromThePage(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	v := newVisitor(t, server.URL)
	waiting, _, err := h.desk.Waiting(t.Context(), wording.Reminder)
	require.NoError(t, err)
	require.Greater(t, waiting, 1)

	const short = "{{.First}}: {{.OrderTimes}}."
	_, p := v.post("/wording/reminder", url.Values{"text": {short}, "do": {"try"}})
	says(t, p, fmt.Sprintf("%d texts that wait would read so.", waiting), fmt.Sprintf("Save and change %d texts", waiting))
	require.NotContains(t, h.reminder(), "Bethan: order", "trying changes nothing")

	_, p = v.post("/wording/reminder", url.Values{"text": {"{{.Sloth}}"}, "do": {"save"}})
	says(t, p, "which does not exist", "{{.Sloth}}</textarea>")
	_, p = v.post("/wording/reminder", url.Values{"text": {short}, "do": {"save"}})
	says(t, p, fmt.Sprintf("%d texts that waited now read so.", waiting), "yours, saved")
	require.Equal(t, "Bethan: order K401 at 16:30.", h.reminder())

	_, p = v.get("/wording/reminder")
	says(t, p, "Back to the built-in words", "yours, saved")
	_, p = v.post("/wording/reminder", url.Values{"text": {"Other words"}, "do": {"save"}, "seen": {"0123456789abcdef"}})
	says(t, p, "Somebody saved other words", "Other words</textarea>")
	require.Equal(t, "Bethan: order K401 at 16:30.", h.reminder(), "nobody saves over what they have not seen")
	_, p = v.post("/wording/reminder", url.Values{"do": {"reset"}})
	says(t, p, "Taken back.")
	require.Contains(t, h.reminder(), "14 Mill Lane")

	helper := newVisitor(t, server.URL)
	code, _ := helper.post(helpLink(t, v, "Sam"), nil)
	require.Equal(t, http.StatusOK, code)
	code, _ = helper.post("/wording/reminder", url.Values{"text": {short}, "do": {"save"}})
	require.Equal(t, http.StatusForbidden, code)
}

// reminder gives the reminder that waits for the first order.
func (h *house) reminder() string {
	h.t.Helper()
	c, err := h.desk.Card(h.t.Context(), h.night.ID, "K401")
	require.NoError(h.t, err)
	for _, m := range c.Messages {
		if m.Kind == night.Reminder {
			return m.Text
		}
	}
	return ""
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
	until(ctx, t, `document.querySelector('#verdict').innerText.includes('some of them dear') && document.querySelector('#words').value.includes('’')`)
}
