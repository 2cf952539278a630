package web_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
	"passbell/internal/wording"
)

// aBook is a list as a form writes it: a row of totals, a refund, a number of
// another country, a row without a slot, an allergy in a note.
const aBook = `Ticket;Booked by;Mobile;Collection;Choices;Comment;Status
L1;Bethan Cadwgan;7700900107.0;16:30;2x Pork and chive dumplings 12, 1x Iced jasmine tea;nut allergy, please be careful;paid
L2;Priya Solanki;07700 900114;16:40;1x Prawn har gow 8;;paid
L3;Callum Braithwaite;07700 900121;;1x Smashed cucumber;;paid
L4;Marta Ruiz;+34 612 345 678;17:00;1x Prawn har gow 8;;paid
L5;Nimmi Perera;07700 900128;17:10;1x Prawn har gow 8;;refunded
`

// upload posts a book as a browser does.
func upload(t *testing.T, h http.Handler, field, name, content string) *httptest.ResponseRecorder {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	if field == "file" {
		w, err := m.CreateFormFile(field, name)
		require.NoError(t, err)
		_, err = w.Write([]byte(content))
		require.NoError(t, err)
	} else {
		require.NoError(t, m.WriteField(field, content))
	}
	require.NoError(t, m.Close())
	r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "/book", &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Host, r.RemoteAddr = "127.0.0.1:8737", "127.0.0.1:50000"
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// readPath uploads a book to a server and gives the page that shows it.
func readPath(t *testing.T, server, content string) string {
	t.Helper()
	var to string
	client := &http.Client{CheckRedirect: func(r *http.Request, _ []*http.Request) error {
		to = r.URL.Path
		return http.ErrUseLastResponse
	}}
	res, err := client.PostForm(server+"/book", url.Values{"paste": {content}})
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusSeeOther, res.StatusCode)
	return to
}

func TestABookIsShownBeforeItIsStored(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.openEmpty()
	handler := h.handler(nil)
	says(t, page(t, handler, "/book"), "Nothing is loaded yet")
	w := upload(t, handler, "paste", "", aBook)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	at := w.Header().Get("Location")
	p := page(t, handler, at)
	says(t, p, "5 rows: 4 orders, 1 left out", "nut allergy, please be careful", "row 6", "refunded", "Bethan Cadwgan", "typed “7700900107.0”")
	says(t, p, `<select name="col-name">`, `<option selected>Booked by</option>`, "Slot of Callum Braithwaite, L3", "Text Marta Ruiz, L4")
	orders, err := h.desk.Orders(t.Context(), h.night.ID)
	require.NoError(t, err)
	require.Empty(t, orders, "looking stores nothing")

	// Read once more with another column for the order's number.
	w = call(t, handler, http.MethodPost, at+"/columns", form(url.Values{"col-note": {""}, "col-name": {"Comment"}}))
	require.Equal(t, at, w.Header().Get("Location"))
	says(t, page(t, handler, at), `<option selected>Comment</option>`)
	call(t, handler, http.MethodPost, at+"/columns", form(url.Values{"col-name": {"Booked by"}, "col-note": {"Comment"}}))
	says(t, page(t, handler, at), `<option selected>Booked by</option>`, `<option selected>Comment</option>`)

	// All or nothing: without a slot for L3 nothing is loaded.
	w = call(t, handler, http.MethodPost, at+"/load", form(url.Values{}))
	require.Equal(t, at, w.Header().Get("Location"))
	orders, err = h.desk.Orders(t.Context(), h.night.ID)
	require.NoError(t, err)
	require.Empty(t, orders)

	v := url.Values{"slot-L3": {"16:50"}, "yes": {"L4"}}
	for range 2 { // the second tap does nothing more
		w = call(t, handler, http.MethodPost, at+"/load", form(v))
		require.Equal(t, "/plan", w.Header().Get("Location"))
	}
	orders, err = h.desk.Orders(t.Context(), h.night.ID)
	require.NoError(t, err)
	require.Len(t, orders, 4)
	require.Equal(t, "16:50", h.order("L3").Slot.String())
	require.Equal(t, "+34612345678", h.order("L4").Phone)
	require.Equal(t, "nut allergy, please be careful", h.order("L1").Allergy)
	events, err := h.desk.Events(t.Context(), h.night.ID, 0, 100)
	require.NoError(t, err)
	loads := 0
	for _, e := range events {
		if e.What == night.BookLoaded {
			loads++
		}
	}
	require.Equal(t, 1, loads)

	// The same book again: nothing new, and an order that it lacks is asked.
	w = upload(t, handler, "file", "orders.csv", strings.Join(strings.SplitAfter(aBook, "\n")[:3], ""))
	says(t, page(t, handler, w.Header().Get("Location")), "0 new, 0 changed, 2 as before, 2 no longer in the file", "cancel what it lacks (L3, L4)")
}

func TestBooksThatCannotBeRead(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.openEmpty()
	handler := h.handler(nil)
	for name, content := range map[string]string{
		"nothing was pasted": " \n", "web page": "<!doctype html><title>Sign in</title>", "%PDF": "%PDF-1.4 x",
		"more than 8 MB": strings.Repeat("x", 9<<20),
	} {
		w := upload(t, handler, "paste", "", content)
		require.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
	}
	says(t, page(t, handler, "/book"), "Order book")
	w := call(t, handler, http.MethodGet, "/book/NOSUCHKEY", nil)
	says(t, w.Body.String(), "that file was put away")
}

// TestEveryBookCanBeShown puts each book of the reader's own tests on the page.
func TestEveryBookCanBeShown(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/books/*")
	require.NoError(t, err)
	h := newHouse(t)
	h.openEmpty()
	handler := h.handler(nil)
	for _, f := range files {
		if strings.HasSuffix(f, ".want.json") {
			continue
		}
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		w := upload(t, handler, "file", filepath.Base(f), string(data))
		switch w.Code {
		case http.StatusSeeOther:
			says(t, page(t, handler, w.Header().Get("Location")), "Nothing is stored yet.")
		default:
			require.Equal(t, http.StatusUnprocessableEntity, w.Code, f)
		}
	}
}

func TestAnUploadIsForgotten(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.openEmpty()
	handler := h.handler(nil)
	first := upload(t, handler, "paste", "", aBook).Header().Get("Location")
	h.clock.set(h.clock.Now().Add(21 * time.Minute))
	says(t, call(t, handler, http.MethodGet, first, nil).Body.String(), "that file was put away")
	first = upload(t, handler, "paste", "", aBook).Header().Get("Location")
	for range 6 {
		h.clock.set(h.clock.Now().Add(time.Second))
		upload(t, handler, "paste", "", aBook)
	}
	says(t, call(t, handler, http.MethodGet, first, nil).Body.String(), "that file was put away")
}

func TestClosingFromThePlan(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	price, err := wording.ParsePrice("0.04 GBP")
	require.NoError(t, err)
	handler := h.handler(func(c *web.Config) { c.Price = price })
	pre, err := h.desk.Preview(t.Context(), h.night.ID)
	require.NoError(t, err)
	p := page(t, handler, "/plan")
	says(t, p, "40 orders", "Close orders and schedule "+itoa(int64(len(pre.Messages)))+" texts", wording.Money(price.Cost(pre.Parts), "GBP"), "hello Bethan, please come for order K401")
	seen := between(p, `name="plan" value="`, `"`)
	require.NotEmpty(t, seen)

	// Something changes after the look: nothing is closed.
	_, err = h.desk.Move(t.Context(), h.act("K430"), 18*60+30)
	require.NoError(t, err)
	says(t, press(t, handler, "/plan/close", "back", "/plan", "plan", seen), "Something changed since you looked")
	n, err := h.desk.Current(t.Context())
	require.NoError(t, err)
	require.True(t, n.ClosedAt.IsZero())

	seen = between(page(t, handler, "/plan"), `name="plan" value="`, `"`)
	says(t, press(t, handler, "/plan/close", "back", "/plan", "plan", seen), "Orders are closed.")
	says(t, press(t, handler, "/plan/close", "back", "/plan", "plan", seen), "Orders are closed already.")
	n, err = h.desk.Current(t.Context())
	require.NoError(t, err)
	require.False(t, n.ClosedAt.IsZero())
	messages, err := h.desk.Messages(t.Context(), h.night.ID)
	require.NoError(t, err)
	require.Len(t, messages, len(pre.Messages))
	says(t, page(t, handler, "/plan"), "Orders are closed since")
}

func between(s, before, after string) string {
	_, rest, _ := strings.Cut(s, before)
	out, _, _ := strings.Cut(rest, after)
	return out
}
