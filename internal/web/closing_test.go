package web_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/web"
)

func TestThePassSaysThatOrdersShouldBeClosed(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.openEmpty()
	byHand, byItself := h.handler(nil), h.handler(func(c *web.Config) { c.ClosesItself, c.KeepDays = true, 90 })
	spanish := h.handler(func(c *web.Config) { c.Language = "es" })
	says(t, page(t, byHand, "/"), "nobody is told anything until you close them", "Nothing needs you")
	says(t, page(t, byItself, "/"), "they close by themselves Tue 1 Dec, 18:00")
	says(t, page(t, byHand, "/kitchen"), "<dt>Instructions go out</dt><dd><b>not set</b>", "<dt>Reminder</dt><dd><b>not set</b>", "when you close them: you look at the plan first", "night.close_by_itself", "only by hand", "kitchen.keep_days")
	says(t, page(t, byItself, "/kitchen"), "by themselves, at their time", "90 days after their night")

	h.clock.set(evening("18:00").AddDate(0, 0, -3))
	p := page(t, byHand, "/")
	says(t, p, "orders should have been closed Tue 1 Dec 18:00, and no text goes out until somebody closes them", "Orders are not closed",
		"No text goes out until somebody closes them.")
	require.NotContains(t, p, "Nothing needs you")
	require.NoError(t, h.desk.CloseDue(t.Context()))
	says(t, page(t, byItself, "/"), "No order book was loaded: load it, look at the plan and close orders. No text goes out")
	says(t, page(t, spanish, "/"), "los pedidos debían cerrarse el mar 1 dic 18:00", "No se cargó ninguna lista de pedidos")

	_, err := h.desk.Load(t.Context(), h.night.ID, book(), "cook")
	require.NoError(t, err)
	_, err = h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	p = page(t, byHand, "/")
	require.NotContains(t, p, "should have been closed")
	require.NotContains(t, p, "Orders are not closed")
}

// A wiped night can still be looked at, on every page.
func TestAWipedNightCanBeLookedAt(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	order := h.order("K431")
	require.NotEmpty(t, order.Name)
	h.clock.set(evening("18:00").Add(48 * time.Hour))
	done, err := h.desk.Wipe(t.Context(), h.night.Date.AddDays(1), "clock")
	require.NoError(t, err)
	require.NotEmpty(t, done)
	handler := h.handler(nil)
	for _, path := range []string{"/", "/orders", "/orders/K431", "/messages", "/report", "/plan", "/runner", "/wall", "/paper", "/paper/sheet", "/paper/labels", "/paper/changes?since=2026-12-04+10:00", "/by-hand", "/night", "/late", "/helpers"} {
		p := page(t, handler, path)
		require.NotContains(t, p, order.Name, path)
		require.NotContains(t, p, "07700 9", path)
	}
	says(t, page(t, handler, "/report"), "Names, numbers and texts of this night were wiped on Sun 6 Dec")
}
