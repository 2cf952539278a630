package web_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func TestTextingByHand(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.needs()
	handler := h.handler(nil)
	p := page(t, handler, "/by-hand")
	says(t, p, "4 customers no text surely reached", "Text Tanisha Duhaney", "the network says the number is switched off", "no text can tell them: ring them")

	// The link carries number and text whole (RFC 5724 §2.2; a form decoder is
	// the independent reader, as a space is %20 in both).
	var link string
	for _, m := range regexp.MustCompile(`href="(sms:[^"]*)"`).FindAllStringSubmatch(p, -1) {
		if strings.Contains(m[1], strings.TrimPrefix(h.order("K417").Phone, "+")) {
			link = html.UnescapeString(m[1])
		}
	}
	to, query, ok := strings.Cut(strings.TrimPrefix(link, "sms:"), "?")
	require.True(t, ok)
	require.Equal(t, h.order("K417").Phone, to)
	q, err := url.ParseQuery(query)
	require.NoError(t, err)
	messages, err := h.desk.Messages(t.Context(), h.night.ID)
	require.NoError(t, err)
	var failed night.Message
	for _, m := range messages {
		if m.State == night.Failed {
			failed = m
		}
	}
	require.Equal(t, failed.Text, strings.ReplaceAll(q.Get("body"), "\r\n", "\n"))

	says(t, press(t, handler, "/messages/"+itoa(failed.ID)+"/told", "back", "/by-hand"), "Written down: cook told them.", "3 customers")
	says(t, press(t, handler, "/orders/K480/told", "back", "/by-hand"), "written down, cook told them", "2 customers")
}

// TestByHandInsteadOfPassbell ticks a text that still waits: it does not go out
// as well.
func TestByHandInsteadOfPassbell(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	handler := h.handler(nil)
	says(t, page(t, handler, "/by-hand"), "Every text that was due went out", "39 customers passbell texts by itself", "Text Bethan Cadwgan")
	id := h.firstMessage("K401").ID
	press(t, handler, "/messages/"+itoa(id)+"/told", "back", "/by-hand")
	require.Equal(t, night.ByHand, h.firstMessage("K401").State)
	require.Equal(t, night.Told, h.order("K401").State)
	_, err = h.desk.Close(t.Context(), h.night.ID, "cook") // planning again brings it back no more
	require.NoError(t, err)
	require.Equal(t, night.ByHand, h.firstMessage("K401").State)
}

func (h *house) firstMessage(ref string) night.Message {
	h.t.Helper()
	card, err := h.desk.Card(h.t.Context(), h.night.ID, ref)
	require.NoError(h.t, err)
	require.NotEmpty(h.t, card.Messages)
	return card.Messages[0]
}
