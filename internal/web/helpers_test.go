package web_test

import (
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
)

// visitor is somebody with a browser of their own.
type visitor struct {
	t      *testing.T
	base   string
	client *http.Client
}

func newVisitor(t *testing.T, base string) *visitor {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &visitor{t, base, &http.Client{Jar: jar}}
}

func (v *visitor) get(path string) (int, string) {
	v.t.Helper()
	return read(v.t)(v.client.Get(v.base + path))
}

func (v *visitor) post(path string, fields url.Values) (int, string) {
	v.t.Helper()
	return read(v.t)(v.client.PostForm(v.base+path, fields))
}

func read(t *testing.T) func(*http.Response, error) (int, string) {
	return func(res *http.Response, err error) (int, string) {
		t.Helper()
		require.NoError(t, err)
		var b strings.Builder
		buf := make([]byte, 1<<20)
		for {
			n, err := res.Body.Read(buf)
			b.Write(buf[:n])
			if err != nil {
				break
			}
		}
		require.NoError(t, res.Body.Close())
		return res.StatusCode, b.String()
	}
}

// helpLink has the cook make a link and gives its path.
func helpLink(t *testing.T, cook *visitor, name string) string {
	t.Helper()
	code, p := cook.post("/helpers", url.Values{"name": {name}})
	require.Equal(t, http.StatusOK, code)
	link := between(p, "<code>", "</code>")
	require.NotEmpty(t, link)
	return strings.TrimPrefix(link, cook.base)
}

func TestAHelperSeesLessAndIsNamed(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.needs()
	h.arrive("K414", "here, ring me on 07700 900 555 if you can't see me", car("", "Kia", "", ""), "")
	server := httptest.NewServer(h.handler(withPassphrase("open sesame")))
	t.Cleanup(server.Close)
	cook := newVisitor(t, server.URL)
	cook.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	link := helpLink(t, cook, "Sam")

	sam := newVisitor(t, server.URL)
	for range 3 { // whatever previews links does not use it up
		code, p := sam.get(link)
		require.Equal(t, http.StatusOK, code)
		says(t, p, "You help tonight as Sam.")
	}
	_, p := sam.get("/")
	says(t, p, "Passphrase")
	_, p = sam.post(link, nil)
	says(t, p, "5 customers are here", "You help as Sam.")
	// A page's mark ends in twelve hexadecimal digits, which may be all decimal: a number
	// stands by itself.
	long := regexp.MustCompile(`tel:|sms:|\b0\d{3,4}[ ]?\d{6}\b|07700 900|\+44\d{6}`)
	for _, number := range []string{"07700 900555", "07700900555", "07700 900 555", "+447700900555", `href="tel:1"`} {
		require.Regexp(t, long, "ring "+number+".")
	}
	for _, mark := range []string{"88.01144575364f", "88.f01144575364", "88.011445753641"} {
		require.NotRegexp(t, long, `data-mark="`+mark+`"`)
	}
	for _, path := range []string{"/", "/runner", "/wall"} {
		code, p := sam.get(path)
		require.Equal(t, http.StatusOK, code)
		_, body, _ := strings.Cut(p, "<body")
		require.Empty(t, long.FindAllString(body, -1), path+" shows a number")
		require.NotRegexp(t, `/messages/|/resend|/late|/cancel|/texts/|/absent`, body, path)
	}
	_, p = sam.get("/")
	says(t, p, "ring me on …555", "daughter has severe nut allergy")

	code, p := sam.post("/orders/K406/out", url.Values{"back": {"/runner"}})
	require.Equal(t, http.StatusOK, code)
	says(t, p, "K406 Hana Morikawa: handed out.")
	card, err := h.desk.Card(t.Context(), h.night.ID, "K406")
	require.NoError(t, err)
	require.Equal(t, "Sam", card.Events[len(card.Events)-1].Who)

	for _, path := range []string{"/orders", "/orders/K406", "/messages", "/report", "/book", "/plan", "/late", "/night", "/helpers", "/by-hand", "/more", "/live?of=/messages"} {
		code, p := sam.get(path)
		require.Equal(t, http.StatusForbidden, code, path)
		require.NotContains(t, p, "Hana")
	}
	for _, path := range []string{"/orders/K430/cancel", "/orders/K430/move", "/orders/K430/resend", "/orders/K430/number", "/orders/K430/look", "/orders/K430/told", "/orders/K430/absent", "/orders/K430/undo", "/messages/again", "/late", "/night/off", "/who", "/helpers", "/plan/close"} {
		code, _ := sam.post(path, url.Values{"to": {"07700 900999"}, "slot": {"18:30"}, "name": {"Eve"}, "from": {"cancelled"}})
		require.Equal(t, http.StatusForbidden, code, path)
	}

	// Ended with one tap.
	list, err := h.rows.Helpers(t.Context(), h.night.ID)
	require.NoError(t, err)
	_, p = cook.post("/helpers/"+itoa(list[0].ID)+"/end", url.Values{"back": {"/helpers"}})
	says(t, p, "that link opens nothing any more", "ended 17:11")
	code, p = sam.get("/runner")
	require.Equal(t, http.StatusForbidden, code)
	says(t, p, "This link has ended")
	require.NotContains(t, p, "To the pass", "it leads nowhere for them")
	code, _ = sam.get(link)
	require.Equal(t, http.StatusGone, code)
}

func TestAHelperLinkEndsWithTheNight(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	cook, sam := newVisitor(t, server.URL), newVisitor(t, server.URL)
	link := helpLink(t, cook, "Sam")
	sam.post(link, nil)
	h.clock.set(evening("21:59"))
	code, _ := sam.get("/runner")
	require.Equal(t, http.StatusOK, code)
	h.clock.set(evening("22:00")) // three hours after the last slot
	code, _ = sam.get("/runner")
	require.Equal(t, http.StatusForbidden, code)
	code, _ = sam.post(link, nil)
	require.Equal(t, http.StatusGone, code)
	code, p := cook.post("/helpers", url.Values{"name": {" Clock "}})
	require.Equal(t, http.StatusOK, code)
	says(t, p, "a name of their own")
}

// TestTheSecretOfALinkIsNotKept looks for it in the database.
func TestTheSecretOfALinkIsNotKept(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	link := helpLink(t, newVisitor(t, server.URL), "Sam")
	token := strings.TrimPrefix(link, "/help/")
	require.GreaterOrEqual(t, len(token), 26, "130 bits in base 32")
	_, err := h.rows.HelperBy(t.Context(), token)
	require.ErrorIs(t, err, night.ErrNotFound)
}

func TestTheArrivalLink(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(withPassphrase("open sesame"))
	key, err := web.HereKey(t.Context(), h.rows)
	require.NoError(t, err)
	require.Len(t, key, 32)
	outside := func(r *http.Request) { r.Host, r.RemoteAddr = "larkfield.example", "203.0.113.9:40000" }
	path := web.HerePath(key, h.night.ID, h.order("K413").ID)
	get := func(path string) *httptest.ResponseRecorder { return call(t, handler, http.MethodGet, path, outside) }
	tap := func(v url.Values) *httptest.ResponseRecorder {
		return call(t, handler, http.MethodPost, path, func(r *http.Request) { form(v)(r); outside(r) })
	}
	for range 3 {
		w := get(path)
		require.Equal(t, http.StatusOK, w.Code)
		says(t, w.Body.String(), "Order <b>K413</b>", "the yard behind 14 Mill Lane", "I’m here")
		require.NotContains(t, w.Body.String(), "Hepworth", "a link that got about names nobody")
	}
	require.NotEqual(t, night.Arrived, h.order("K413").State, "opening it changes nothing")

	for range 2 {
		w := tap(url.Values{"colour": {"grey"}, "make": {"Volkswagen"}, "plate": {"lx19 kto"}})
		require.Equal(t, http.StatusSeeOther, w.Code)
	}
	o := h.order("K413")
	require.Equal(t, night.Arrived, o.State)
	require.Equal(t, night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Plate: "LX19KTO"}, o.Vehicle)
	card, err := h.desk.Card(t.Context(), h.night.ID, "K413")
	require.NoError(t, err)
	arrivals := 0
	for _, e := range card.Events {
		if e.To == night.Arrived {
			arrivals++
			require.Equal(t, "customer", e.Who)
		}
	}
	require.Equal(t, 1, arrivals)
	says(t, get(path).Body.String(), "We know since 17:11 that you are here for order K413.")
	_, err = h.desk.Out(t.Context(), h.act("K413"))
	require.NoError(t, err)
	says(t, get(path).Body.String(), "Your bags are handed out.")

	// Nobody makes one up, nor changes one.
	other := web.HerePath(key, h.night.ID, h.order("K414").ID)
	last := "x"
	if strings.HasSuffix(other, last) {
		last = "y"
	}
	for name, bad := range map[string]string{
		"another key": web.HerePath([]byte("guess"), h.night.ID, h.order("K414").ID), "changed": other[:len(other)-1] + last, "cut": other[:len(other)-4],
		"swapped": other[:10] + path[10:], "nothing": "/here/AAAA", "another night": web.HerePath(key, h.night.ID+1, h.order("K414").ID),
	} {
		require.Equal(t, http.StatusGone, get(bad).Code, name)
	}
	h.clock.set(evening("22:00"))
	require.Equal(t, http.StatusGone, get(other).Code, "it ends with the night")
}

func TestTheArrivalLinkIsRateLimited(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	handler := h.handler(nil)
	codes := map[int]int{}
	for range 30 {
		codes[call(t, handler, http.MethodGet, "/here/AAAA", nil).Code]++
	}
	require.Positive(t, codes[http.StatusTooManyRequests])
	require.LessOrEqual(t, codes[http.StatusGone], 21)
}

func TestACancelledOrderIsToldSoByItsLink(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	key, err := web.HereKey(t.Context(), h.rows)
	require.NoError(t, err)
	path := web.HerePath(key, h.night.ID, h.order("K430").ID)
	_, err = h.desk.Cancel(t.Context(), h.act("K430"))
	require.NoError(t, err)
	says(t, call(t, handler, http.MethodGet, path, nil).Body.String(), "This order is cancelled.")
	call(t, handler, http.MethodPost, path, form(url.Values{"make": {"Kia"}}))
	require.Equal(t, night.Cancelled, h.order("K430").State)
	require.True(t, h.order("K430").Vehicle.IsZero())
}
