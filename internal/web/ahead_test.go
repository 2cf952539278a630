package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// delays counts the texts that say that the kitchen runs late.
func (h *house) kinds(kind night.MessageKind) (n int) {
	h.t.Helper()
	messages, err := h.desk.Messages(h.t.Context(), h.night.ID)
	require.NoError(h.t, err)
	for _, m := range messages {
		if m.Kind == kind {
			n++
		}
	}
	return n
}

func TestRunningBehind(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.needs()
	handler := h.handler(nil)
	says(t, page(t, handler, "/late"), `<option value="17:10" selected>`)
	v := url.Values{"minutes": {"15"}, "from": {"18:00"}, "to": {""}}
	w := call(t, handler, http.MethodPost, "/late/look", form(v))
	// From 18:00 on there are 13 orders of 13 people, and one without a number.
	says(t, w.Body.String(), "15 minutes later, slots 18:00 to 19:00", "Tell them and send 13 texts", "Ring these", "Muriel Oakes", "please come for order K428 at 18:15")
	require.Zero(t, h.kinds(night.Delay), "looking sends nothing")

	once := between(w.Body.String(), `name="once" value="`, `"`)
	fields := []string{"minutes", "15", "from", "18:00", "to", "19:00", "once", once, "back", "/late"}
	for range 2 {
		says(t, press(t, handler, "/late", fields...), "13 texts go out: 15 minutes later.", "K480 Muriel Oakes", "<b>14</b> expected 15 min after their slot")
		require.Equal(t, 13, h.kinds(night.Delay))
		require.Equal(t, 15, h.order("K430").Behind)
	}
	// The new expectation is used everywhere.
	says(t, page(t, handler, "/orders/K430"), "18:15")

	// One slot, and a slot in which nobody is left.
	w = call(t, handler, http.MethodPost, "/late/look", form(url.Values{"minutes": {"5"}, "from": {"17:30"}, "to": {"17:30"}}))
	says(t, w.Body.String(), "5 minutes later, slot 17:30", "send 3 texts")
	w = call(t, handler, http.MethodPost, "/late/look", form(url.Values{"minutes": {"5"}, "from": {"18:50"}, "to": {"18:50"}}))
	says(t, w.Body.String(), "there is nobody to tell")
	w = call(t, handler, http.MethodPost, "/late/look", form(url.Values{"minutes": {"500"}, "from": {"17:30"}}))
	says(t, w.Body.String(), "from 1 to 180")
}

func TestCallingTheNightOff(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	h.carry(func(m night.Message) (night.MessageState, string) { return "", "" })
	handler := h.handler(nil)
	look := func(do string) string {
		return call(t, handler, http.MethodPost, "/night/look", form(url.Values{"do": {do}, "why": {"the oven died"}})).Body.String()
	}
	p := look("off")
	says(t, p, "Nobody is to come", "Call it off and send 39 texts", "there is no collection on Friday 4 December")
	require.Zero(t, h.kinds(night.Cancellation))
	once := between(p, `name="once" value="`, `"`)
	for range 2 {
		says(t, press(t, handler, "/night/off", "why", "the oven died", "once", once), "The night is called off.")
		require.Equal(t, 39, h.kinds(night.Cancellation))
	}
	says(t, page(t, handler, "/"), "This night is called off.")
	says(t, page(t, handler, "/night"), "The night is called off since")
	says(t, look("on"), "The night is on again.", "Taken back")
	says(t, press(t, handler, "/night/on", "why", ""), "The night is on again.")
	n, err := h.desk.Current(t.Context())
	require.NoError(t, err)
	require.True(t, n.CalledOff.IsZero())
	require.Zero(t, h.kinds(night.Cancellation), "none had gone out")
}

func TestChangingTheNight(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	v := url.Values{
		"do": {"change"}, "place": {"the church hall, Station Road"}, "parking": {"in front of the green gate"}, "first": {"16:30"}, "last": {"19:00"},
		"every": {"10"}, "capacity": {"6"}, "instruct": {"2026-12-01T18:00"}, "before": {"300"}, "remind": {"09:00"},
	}
	w := call(t, handler, http.MethodPost, "/night/look", form(v))
	says(t, w.Body.String(), "Place: the church hall, Station Road", "6 orders a slot", "Change it and send", "Please come for order")
	require.NotContains(t, w.Body.String(), "Instructions go out", "what stays the same is not named")
	n, err := h.desk.Current(t.Context())
	require.NoError(t, err)
	require.Equal(t, "the yard behind 14 Mill Lane", n.Place)
	var fields []string
	for k := range v {
		fields = append(fields, k, v.Get(k))
	}
	says(t, press(t, handler, "/night/change", fields...), "Changed: Place: the church hall, Station Road.")
	n, err = h.desk.Current(t.Context())
	require.NoError(t, err)
	require.Equal(t, "the church hall, Station Road", n.Place)
	require.Equal(t, 6, n.Capacity)
	require.Equal(t, h.night.InstructAt.UnixMilli(), n.InstructAt.UnixMilli())
	require.False(t, n.ClosedAt.IsZero())

	for words, change := range map[string][2]string{
		"order K437 still has it": {"last", "18:20"},
		"have to be told a place": {"place", " "},
		"is not a time of day":    {"first", "late"},
		"is not one of the slots": {"every", "7"},
		"is no whole number":      {"capacity", "many"},
		"is no date and time":     {"instruct", "soon"},
	} {
		bad := url.Values{}
		for k := range v {
			bad.Set(k, v.Get(k))
		}
		bad.Set(change[0], change[1])
		says(t, call(t, handler, http.MethodPost, "/night/look", form(bad)).Body.String(), words)
	}
}
