package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/reading"
)

// needs fills the night and adds what only a person can settle: a customer whom
// no text can tell, one who asks for another slot, one who asks to cancel.
func (h *house) needs() (slot, off int64) {
	h.t.Helper()
	h.fill()
	ctx := h.t.Context()
	late := book()[:1]
	late[0].Ref, late[0].Name, late[0].Slot = "K480", "Muriel Oakes", 18*60+40
	late[0].Phone, late[0].PhoneTyped = "", "0113 496 0123"
	_, err := h.desk.LoadExtent(ctx, h.night.ID, late, desk.SingleOrder, "cook")
	require.NoError(h.t, err)
	ask := func(ref, body string, intent reading.Intent, to *night.Clock) int64 {
		reading, err := json.Marshal(map[string]any{"intent": intent, "to": to})
		require.NoError(h.t, err)
		return h.text(h.order(ref).Phone, body, desk.Decision{Intent: intent, Sure: true, Person: true, To: to, Reading: reading, Why: "their number"}, ref)
	}
	slot = ask("K430", "any chance of 6.30 instead", reading.Move, ptr(night.Clock(18*60+30)))
	off = ask("K433", "so sorry, have to cancel, poorly", reading.Cancel, nil)
	return slot, off
}

func TestWhoNoTextCanTell(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.needs()
	handler := h.handler(nil)
	pass := text(page(t, handler, "/"))
	says(t, pass, "No text can tell them")
	says(t, pass, `href="tel:+441134960123"`)
	says(t, pass, "Muriel Oakes")
	says(t, press(t, handler, "/orders/K480/told"), "K480 Muriel Oakes: written down, cook told them.")
	require.Equal(t, night.Told, h.order("K480").State)
	says(t, press(t, handler, "/orders/K480/told"), "is “told” already")
	require.NotContains(t, page(t, handler, "/"), "No text can tell them")
}

func TestAnotherSlotAtATap(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	slot, _ := h.needs()
	handler := h.handler(nil)
	pass := page(t, handler, "/")
	// 18:30 has three orders of four, 18:20 and 18:40 less.
	says(t, pass, "Move to 18:30 (1 free)")
	says(t, pass, `href="/orders/K433/cancel"`)
	path := fmt.Sprintf("/texts/%d/move", slot)
	body := press(t, handler, path, "night", itoa(h.night.ID), "ref", "K430", "slot", "18:30")
	says(t, body, "K430 Hettie Crabtree: moved to 18:30; a text tells them.")
	require.Equal(t, "18:30", h.order("K430").Slot.String())
	require.NotContains(t, openTexts(t, h), slot, "the text is settled")
	card, err := h.desk.Card(t.Context(), h.night.ID, "K430")
	require.NoError(t, err)
	updates := func() (n int) {
		for _, m := range card.Messages {
			if m.Kind == night.Update {
				n++
				require.Contains(t, m.Text, "18:30")
			}
		}
		return n
	}
	require.Equal(t, 1, updates())
	press(t, handler, path, "night", itoa(h.night.ID), "ref", "K430", "slot", "18:30")
	card, err = h.desk.Card(t.Context(), h.night.ID, "K430")
	require.NoError(t, err)
	require.Equal(t, 1, updates(), "two taps move once")
}

// TestChangesAreShownFirst asks for each change, sees its texts, finds nothing
// changed, and then does it.
func TestChangesAreShownFirst(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		fields []string
		shows  []string
		done   func(o night.Order) bool
	}{
		{"move", []string{"do", "move", "slot", "18:30"}, []string{"18:30 instead of 18:00", "Goes at once", "Update", "your collection has changed", "Move to 18:30 and send 1 text"}, func(o night.Order) bool { return o.Slot.String() == "18:30" }},
		{"number", []string{"do", "number", "to", "07700 900999"}, []string{"07700 900999 instead of 07700 900310", "Use this number"}, func(o night.Order) bool { return o.Phone == "+447700900999" }},
		{"collector", []string{"do", "collector", "collector", "Brenda"}, []string{"Brenda collects", "No text goes out", "Note it"}, func(o night.Order) bool { return o.Collector == "Brenda" }},
		{"cancel", []string{"do", "cancel"}, []string{"No text goes out, none changes.", "ring them", "Cancel the order"}, func(o night.Order) bool { return o.State == night.Cancelled }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.fill()
			handler := h.handler(nil)
			before := h.order("K430")
			v := url.Values{}
			for i := 0; i < len(tt.fields); i += 2 {
				v.Set(tt.fields[i], tt.fields[i+1])
			}
			w := call(t, handler, http.MethodPost, "/orders/K430/look", form(v))
			require.Equal(t, http.StatusOK, w.Code)
			for _, words := range tt.shows {
				says(t, text(w.Body.String()), words)
			}
			require.Equal(t, before, h.order("K430"), "looking changes nothing")
			press(t, handler, "/orders/K430/"+tt.name, tt.fields...)
			require.True(t, tt.done(h.order("K430")))
		})
	}
}

func TestAChangeThatCannotBe(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	for words, fields := range map[string]url.Values{
		"too few digits":           {"do": {"number"}, "to": {"07700 90099"}},
		"is at 18:00 already":      {"do": {"move"}, "slot": {"18:00"}},
		"slots every 10 minutes":   {"do": {"move"}, "slot": {"18:33"}},
		"“Cancel” was not done":    {"do": {"cancel"}, "ref": {"K406"}},
		"There is nothing here by": {"do": {"fly"}},
	} {
		ref := fields.Get("ref")
		if ref == "" {
			ref = "K430"
		}
		w := call(t, handler, http.MethodPost, "/orders/"+ref+"/look", form(fields))
		says(t, text(w.Body.String()), words)
	}
}

func TestWhichWayATextTook(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.routes = desk.Routes{{Adapter: "texts"}}
	h.open()
	_, err := h.desk.Close(t.Context(), h.night.ID, "cook")
	require.NoError(t, err)
	says(t, page(t, h.handler(nil), "/orders/K430"), "by texts")
}

// TestTheDatabaseIsNoBusinessOfTheCook closes the records under the pages: the
// cook hears what it means, not what the database said.
func TestTheDatabaseIsNoBusinessOfTheCook(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	broken := &brokenDesk{Desk: h.desk}
	handler := h.handler(func(c *webConfig) { c.Desk = broken })
	w := call(t, handler, http.MethodPost, "/orders/K406/out", func(r *http.Request) {
		form(url.Values{})(r)
		r.Header.Set("HX-Request", "true")
	})
	require.Contains(t, w.Body.String(), "passbell can’t reach its own records")
	require.NotContains(t, strings.ToLower(w.Body.String()), "sql")
}

// A full disk is her business: she can make room.
func TestAFullDiskIsSaidToTheCook(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	full := &fullDesk{Desk: h.desk}
	handler := h.handler(func(c *webConfig) { c.Desk = full })
	w := call(t, handler, http.MethodPost, "/orders/K406/out", func(r *http.Request) {
		form(url.Values{})(r)
		r.Header.Set("HX-Request", "true")
	})
	require.Contains(t, w.Body.String(), night.ErrNoRoom.Error())
	require.False(t, strings.Contains(w.Body.String(), "disk is full (13)"), "the database's own words")
}

// fullDesk is a desk whose records lie on a full disk.
type fullDesk struct{ *desk.Desk }

func (*fullDesk) Out(context.Context, desk.Act) (night.Order, error) {
	return night.Order{}, &night.StoreError{Doing: "write", Err: fmt.Errorf("%w (%w)", night.ErrNoRoom, errors.New("disk is full (13)"))}
}

// brokenDesk is a desk whose writes fail as a database does.
type brokenDesk struct{ *desk.Desk }

func (*brokenDesk) Out(context.Context, desk.Act) (night.Order, error) {
	return night.Order{}, &night.StoreError{Doing: "begin", Err: codedError{}}
}

type codedError struct{}

func (codedError) Error() string { return "sqlite: database is locked (SQLITE_BUSY)" }
func (codedError) Code() int     { return 5 }
