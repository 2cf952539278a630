package web_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func TestTheRunnerSeesOnlyWhoIsHere(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	p := page(t, handler, "/runner")
	says(t, p, "4 customers are here", "Hana Morikawa", "LX19 KTO", "by the bins", "Not packed yet", "daughter has severe nut allergy", "handed out at 17:11")
	require.NotContains(t, p, "Dean Hepworth", "who is still to come is of no use here")
	require.NotContains(t, p, "tel:")
	require.Equal(t, 4, strings.Count(p, "/out\""+" hx-post"), "one button each")

	says(t, press(t, handler, "/orders/K406/out", "back", "/runner"), "K406 Hana Morikawa: handed out.", "Undo", "3 customers are here")
	says(t, press(t, handler, "/orders/K406/undo", "back", "/runner", "from", "handed out"), "4 customers are here")
	press(t, handler, "/orders/K406/out", "back", "/runner")
	h.clock.set(h.clock.Now().Add(61 * time.Second))
	require.NotContains(t, page(t, handler, "/runner"), "Hana Morikawa", "the step back is offered for a minute")
}

func TestTheWallHasNothingToPress(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	p := page(t, handler, "/wall")
	says(t, p, "Next bags", "Hana Morikawa", "4 here", "Volkswagen Golf", "LX19 KTO")
	require.Equal(t, 3, strings.Count(p, `id="wall-`))
	_, body, _ := strings.Cut(p, "<body")
	require.NotRegexp(t, `<button|<form|<nav|<input`, body)
	for _, o := range book() { // packed and served: the wall says so
		if h.order(o.Ref).State.Open() {
			_, err := h.desk.Packed(t.Context(), h.act(o.Ref), true)
			require.NoError(t, err)
			_, err = h.desk.Out(t.Context(), h.act(o.Ref))
			require.NoError(t, err)
		}
	}
	require.Equal(t, night.HandedOut, h.order("K440").State)
	h.clock.set(h.clock.Now().Add(time.Minute))
	says(t, page(t, handler, "/wall"), "Every bag is packed.", "Nobody is here")
}
