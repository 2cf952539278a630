package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// press presses a button as htmx does and gives the answer's text.
func press(t *testing.T, h http.Handler, path string, fields ...string) string {
	t.Helper()
	v := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		v.Add(fields[i], fields[i+1])
	}
	w := call(t, h, http.MethodPost, path, func(r *http.Request) {
		form(v)(r)
		r.Header.Set("HX-Request", "true")
	})
	require.Equal(t, http.StatusOK, w.Code, path+": "+w.Body.String())
	return w.Body.String()
}

func page(t *testing.T, h http.Handler, path string) string {
	t.Helper()
	w := call(t, h, http.MethodGet, path, nil)
	require.Equal(t, http.StatusOK, w.Code, path+": "+w.Body.String())
	require.NotContains(t, w.Body.String(), "#ZgotmplZ", "the template engine took an address off")
	return w.Body.String()
}

// says checks for words on a page without printing the whole of it.
func says(t *testing.T, page string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text(page), w) {
			_, body, _ := strings.Cut(page, `id="view"`)
			body = strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(body, " ")), " ")
			t.Fatalf("%q is not on the page:\n%.1500s", w, body)
		}
	}
}

// TestEveryButton presses each button once and once more.
func TestEveryButton(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		path   string
		fields []string
		says   string // the first time
		again  string // the second time
		want   func(t *testing.T, h *house)
	}{
		{
			"here", "/orders/K413/here", nil, "K413 Dean Hepworth: is here.", "K413 Dean Hepworth is here already. Nothing was done twice.",
			func(t *testing.T, h *house) { require.Equal(t, night.Arrived, h.order("K413").State) },
		},
		{
			"packed", "/orders/K413/packed", nil, "K413 Dean Hepworth: packed.", "K413 Dean Hepworth: was packed already, at 17:11.",
			func(t *testing.T, h *house) {
				require.Equal(t, h.clock.Now().UnixMilli(), h.order("K413").PackedAt.UnixMilli())
			},
		},
		{
			"not packed", "/orders/K409/unpacked", nil, "is not packed.", "is not packed.",
			func(t *testing.T, h *house) { require.True(t, h.order("K409").PackedAt.IsZero()) },
		},
		{
			"handed out", "/orders/K406/out", nil, "K406 Hana Morikawa: handed out.", "K406 Hana Morikawa is handed out already. Nothing was done twice.",
			func(t *testing.T, h *house) { require.Equal(t, night.HandedOut, h.order("K406").State) },
		},
		{
			"handed out at the door", "/orders/K413/out", nil, "K413 Dean Hepworth: handed out.", "Nothing was done twice",
			func(t *testing.T, h *house) { require.Equal(t, night.HandedOut, h.order("K413").State) },
		},
		{
			"undo", "/orders/K411/undo", []string{"from", "handed out"}, "K411 Clive Pritchard: taken back, now here.", "so nothing more was taken back",
			func(t *testing.T, h *house) { require.Equal(t, night.Arrived, h.order("K411").State) },
		},
		{
			"cancel", "/orders/K413/cancel", nil, "K413 Dean Hepworth: cancelled.", "K413 Dean Hepworth is cancelled already. Nothing was done twice.",
			func(t *testing.T, h *house) { require.Equal(t, night.Cancelled, h.order("K413").State) },
		},
		{
			"cancel somebody at the gate", "/orders/K406/cancel", nil, "K406 Hana Morikawa is here, so “cancel” was not done.", "was not done",
			func(t *testing.T, h *house) { require.Equal(t, night.Arrived, h.order("K406").State) },
		},
		{
			"not collected", "/orders/K401/absent", nil, "K401 Bethan Cadwgan: not collected.", "Nothing was done twice",
			func(t *testing.T, h *house) { require.Equal(t, night.NotCollected, h.order("K401").State) },
		},
		{
			"another slot", "/orders/K430/move", []string{"slot", "18:30"}, "K430 Hettie Crabtree: moved to 18:30.", "is at 18:30 already",
			func(t *testing.T, h *house) { require.Equal(t, "18:30", h.order("K430").Slot.String()) },
		},
		{
			"a slot that the night does not have", "/orders/K430/move", []string{"slot", "18:33"}, "Not done: slot 18:33", "Not done",
			func(t *testing.T, h *house) { require.Equal(t, "18:00", h.order("K430").Slot.String()) },
		},
		{
			"instructions again", "/orders/K430/resend", []string{"to", "07700 900999"}, "the instructions go again, to 07700 900999.", "the instructions go again",
			func(t *testing.T, h *house) {
				card, err := h.desk.Card(t.Context(), h.night.ID, "K430")
				require.NoError(t, err)
				last := card.Messages[len(card.Messages)-1]
				require.Equal(t, night.Resend, last.Kind)
				require.Equal(t, "+447700900999", last.To)
			},
		},
		{
			"a number with a digit missing", "/orders/K430/resend", []string{"to", "07700 90099"}, "Not done: the number has too few digits", "Not done",
			func(*testing.T, *house) {},
		},
		{
			"the car", "/orders/K407/vehicle", []string{"colour", "Red, white", "make", "Fiat", "model", "500", "plate", "ro54 lnd"},
			"K407 Rosalind Pargeter: red or white Fiat 500, RO54LND.", "RO54LND",
			func(t *testing.T, h *house) {
				require.Equal(t, night.Vehicle{Colours: []string{"red", "white"}, Make: "Fiat", Model: "500", Plate: "RO54LND"}, h.order("K407").Vehicle)
			},
		},
		{
			"no such order", "/orders/K999/here", nil, "There is no such order on this night", "There is no such order",
			func(*testing.T, *house) {},
		},
		{
			"a page of another night", "/orders/K413/here", []string{"night", "77"}, "That page showed another night, so nothing was changed.", "another night",
			func(t *testing.T, h *house) { require.NotEqual(t, night.Arrived, h.order("K413").State) },
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.fill()
			handler := h.handler(nil)
			require.Contains(t, text(press(t, handler, tt.path, tt.fields...)), tt.says)
			tt.want(t, h)
			require.Contains(t, text(press(t, handler, tt.path, tt.fields...)), tt.again)
			tt.want(t, h)
		})
	}
}

// text undoes the few entities that a page writes.
func text(page string) string {
	return strings.NewReplacer("&#39;", "'", "&amp;", "&", "&#43;", "+").Replace(page)
}

func TestMessageButtons(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	of := func(st night.MessageState) night.Message {
		t.Helper()
		messages, err := h.desk.Messages(t.Context(), h.night.ID)
		require.NoError(t, err)
		for _, m := range messages {
			if m.State == st {
				return m
			}
		}
		return night.Message{}
	}
	state := func(id int64) night.MessageState {
		t.Helper()
		messages, err := h.desk.Messages(t.Context(), h.night.ID)
		require.NoError(t, err)
		for _, m := range messages {
			if m.ID == id {
				return m.State
			}
		}
		return ""
	}
	failed, doubtful, missed := of(night.Failed), of(night.InDoubt), of(night.Missed)
	pass := page(t, handler, "/")
	require.Contains(t, pass, "did not get through")
	require.Contains(t, pass, "the network says the number is switched off")
	require.Contains(t, pass, "may not have got through")
	require.Contains(t, pass, "not sent in time")

	require.Contains(t, press(t, handler, fmt.Sprintf("/messages/%d/again", failed.ID)), "goes out again now")
	require.Equal(t, night.Due, state(failed.ID))
	require.Contains(t, press(t, handler, fmt.Sprintf("/messages/%d/again", failed.ID)), "Not done: this text is")

	require.Contains(t, press(t, handler, fmt.Sprintf("/messages/%d/told", missed.ID)), "Written down: cook told them.")
	require.Equal(t, night.ByHand, state(missed.ID))
	require.Contains(t, press(t, handler, fmt.Sprintf("/messages/%d/told", missed.ID)), "Not done: this text is by hand by now")

	require.Contains(t, press(t, handler, "/messages/again"), "1 doubtful text goes out again now.")
	require.Equal(t, night.Due, state(doubtful.ID))
	require.Contains(t, press(t, handler, "/messages/again"), "There is no doubtful text left")
}

func TestTextButtons(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	pass := text(page(t, handler, "/"))
	require.Contains(t, pass, "hiya picking up for bethan or maybe callum, white van outside")
	require.Contains(t, pass, "It was K401 Bethan Cadwgan")
	require.Contains(t, pass, "It was K403 Callum Braithwaite")
	open := openTexts(t, h)
	require.Len(t, open, 2)

	require.Contains(t, page(t, handler, fmt.Sprintf("/texts/%d?q=call", open[0])), "Callum Braithwaite")
	require.Contains(t, press(t, handler, fmt.Sprintf("/texts/%d/place", open[0]), "ref", "K403"), "That text was about K403.")
	require.Equal(t, night.Arrived, h.order("K403").State)
	require.NotEqual(t, night.Arrived, h.order("K401").State)
	press(t, handler, fmt.Sprintf("/texts/%d/place", open[0]), "ref", "K403")
	require.Equal(t, night.Arrived, h.order("K403").State)

	require.Contains(t, press(t, handler, fmt.Sprintf("/texts/%d/read", open[1])), "Read.")
	press(t, handler, fmt.Sprintf("/texts/%d/read", open[1]))
	require.Empty(t, openTexts(t, h))
	require.Contains(t, page(t, handler, "/messages"), "Is there anywhere to park with a disabled badge?", "a text that was read stays on record")
}

func openTexts(t *testing.T, h *house) []int64 {
	t.Helper()
	b, err := h.desk.Board(t.Context(), h.night.ID)
	require.NoError(t, err)
	var out []int64
	for _, in := range b.Texts {
		out = append(out, in.ID)
	}
	return out
}

// TestWithoutAScript presses a button as a plain form: the page that follows
// says what was done, once.
func TestWithoutAScript(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	w := call(t, handler, http.MethodPost, "/orders/K406/out", form(url.Values{"back": {"/orders/K406"}}))
	require.Equal(t, http.StatusSeeOther, w.Code)
	require.Equal(t, "/orders/K406", w.Header().Get("Location"))
	follow := func() string {
		return call(t, handler, http.MethodGet, "/orders/K406", func(r *http.Request) {
			for _, c := range w.Result().Cookies() {
				r.AddCookie(c)
			}
		}).Body.String()
	}
	require.Contains(t, follow(), "K406 Hana Morikawa: handed out.")
	require.NotContains(t, follow(), "K406 Hana Morikawa: handed out.")
}

// TestTapsAtOnce presses the same two buttons from twenty hands at once: one
// hand-out, one step back.
func TestTapsAtOnce(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	all := func(path string, v url.Values) {
		var wg sync.WaitGroup
		for range 20 {
			wg.Go(func() {
				res, err := http.PostForm(server.URL+path, v)
				if err == nil {
					_ = res.Body.Close()
				}
			})
		}
		wg.Wait()
	}
	all("/orders/K406/out", url.Values{})
	require.Equal(t, night.HandedOut, h.order("K406").State)
	all("/orders/K406/undo", url.Values{"from": {"handed out"}})
	require.Equal(t, night.Arrived, h.order("K406").State)
	card, err := h.desk.Card(t.Context(), h.night.ID, "K406")
	require.NoError(t, err)
	moves := 0
	for _, e := range card.Events {
		if e.Who == "cook" && e.To != "" {
			moves++
		}
	}
	require.Equal(t, 2, moves)
}

func TestTheAllergyIsNeverShortened(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	const whole = "sesame allergy: she carries two adrenaline pens, so please no sesame oil, no seeds, and a clean board"
	for _, path := range []string{"/", "/orders", "/orders?q=orla", "/orders/K421", "/orders/K421/cancel"} {
		require.Contains(t, page(t, handler, path), whole, path)
	}
}

func TestACancelledOrderAsksFirst(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	p := page(t, handler, "/orders/K430/cancel")
	require.Contains(t, p, "Cancel: K430 Hettie Crabtree")
	require.Contains(t, p, "No text goes out, none changes.")
	require.Contains(t, p, "ring them if it was not their wish")
	require.NotEqual(t, night.Cancelled, h.order("K430").State, "opening the page changes nothing")
}

func TestBeforeClosing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	require.Contains(t, page(t, h.handler(nil), "/"), "There is no night yet")
	h.open()
	handler := h.handler(nil)
	require.Contains(t, page(t, handler, "/"), "Orders are still open")
	plan := page(t, handler, "/plan")
	require.Contains(t, plan, "The plan, if orders closed now")
	require.Contains(t, plan, "the yard behind 14 Mill Lane")
	require.Contains(t, page(t, handler, "/report"), "The night in numbers")
}
