package web_test

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"passbell/internal/web"
)

// withPassphrase sets a passphrase; "" for none.
func withPassphrase(words string) func(*web.Config) {
	return func(c *web.Config) {
		if words == "" {
			return
		}
		hash, err := bcrypt.GenerateFromPassword([]byte(words), bcrypt.MinCost)
		if err != nil {
			panic(err)
		}
		c.Passphrase = string(hash)
	}
}

// call makes a request to a handler as if it had come over the network.
func call(t *testing.T, h http.Handler, method, target string, change func(*http.Request)) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), method, target, nil)
	r.Host, r.RemoteAddr = "127.0.0.1:8737", "127.0.0.1:50000"
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestOnlyThisMachineWithoutAPassphrase(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	handler := h.handler(nil)
	tests := []struct {
		name   string
		change func(*http.Request)
		want   int
	}{
		{"this machine", nil, http.StatusOK},
		{"this machine by name", func(r *http.Request) { r.Host = "localhost:8737" }, http.StatusOK},
		{"this machine by IPv6", func(r *http.Request) { r.Host, r.RemoteAddr = "[::1]:8737", "[::1]:50000" }, http.StatusOK},
		{"another machine", func(r *http.Request) { r.RemoteAddr = "192.168.1.7:50000" }, http.StatusForbidden},
		{"a name that was pointed at this machine", func(r *http.Request) { r.Host = "larkfield.example:8737" }, http.StatusForbidden},
		{"a name that only begins like this machine", func(r *http.Request) { r.Host = "localhost.larkfield.example" }, http.StatusForbidden},
		{"passed on by a proxy", func(r *http.Request) { r.Header.Set("X-Forwarded-For", "203.0.113.9") }, http.StatusForbidden},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, path := range []string{"/", "/orders", "/live?after=1x", "/api/v1/night"} {
				if strings.HasPrefix(path, "/live") && tt.want == http.StatusOK {
					continue // it would not end
				}
				require.Equal(t, tt.want, call(t, handler, http.MethodGet, path, tt.change).Code, path)
			}
			require.Equal(t, tt.want == http.StatusForbidden, call(t, handler, http.MethodPost, "/orders/K401/here", tt.change).Code == http.StatusForbidden)
		})
	}
}

func TestSignIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	server := httptest.NewServer(h.handler(withPassphrase("open sesame")))
	t.Cleanup(server.Close)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	client := &http.Client{Jar: jar}
	read := func(res *http.Response, err error) (int, string, string) {
		t.Helper()
		require.NoError(t, err)
		b, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		return res.StatusCode, res.Request.URL.Path, string(b)
	}
	code, path, body := read(client.Get(server.URL + "/orders/K401"))
	require.Equal(t, http.StatusOK, code)
	require.Equal(t, "/sign-in", path, "whoever is not signed in is asked to")
	require.NotContains(t, body, "Bethan")
	require.Equal(t, http.StatusUnauthorized, call(t, server.Config.Handler, http.MethodGet, "/live", func(r *http.Request) { r.Header.Set("HX-Request", "true") }).Code)

	code, _, body = read(client.PostForm(server.URL+"/sign-in", url.Values{"passphrase": {"open sesam"}}))
	require.Equal(t, http.StatusUnauthorized, code)
	require.Contains(t, body, "That is not the passphrase")

	code, path, body = read(client.PostForm(server.URL+"/sign-in", url.Values{"passphrase": {"open sesame"}, "who": {" Sam  the runner "}, "back": {"/orders/K401"}}))
	require.Equal(t, http.StatusOK, code)
	require.Equal(t, "/orders/K401", path, "the sign-in leads back to what was asked for")
	require.Contains(t, body, "Bethan")

	_, _, body = read(client.PostForm(server.URL+"/orders/K401/here", url.Values{"back": {"/orders/K401"}}))
	require.Contains(t, body, "K401 Bethan Cadwgan: is here.")
	card, err := h.desk.Card(t.Context(), h.night.ID, "K401")
	require.NoError(t, err)
	require.Equal(t, "Sam the runner", card.Events[len(card.Events)-1].Who)

	_, path, _ = read(client.PostForm(server.URL+"/sign-out", nil))
	require.Equal(t, "/sign-in", path)
	_, path, _ = read(client.Get(server.URL + "/"))
	require.Equal(t, "/sign-in", path)
}

func TestTheSignInCookie(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	handler := h.handler(withPassphrase("open sesame"))
	w := call(t, handler, http.MethodPost, "/sign-in", form(url.Values{"passphrase": {"open sesame"}}))
	require.Equal(t, http.StatusSeeOther, w.Code)
	cookies := w.Result().Cookies()
	require.Len(t, cookies, 1)
	require.True(t, cookies[0].HttpOnly)
	require.Equal(t, http.SameSiteLaxMode, cookies[0].SameSite)
	require.InDelta(t, 30*24*3600, cookies[0].MaxAge, 60)
}

// form makes a request a form.
func form(v url.Values) func(*http.Request) {
	return func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Body = io.NopCloser(strings.NewReader(v.Encode()))
	}
}

func TestAnOpenRedirectIsNone(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	handler := h.handler(withPassphrase("open sesame"))
	for _, back := range []string{"//evil.example", "https://evil.example/", "/\\evil.example", "javascript:alert(1)", "/sign-in", "", "/ok\r\nX: y"} {
		w := call(t, handler, http.MethodPost, "/sign-in", form(url.Values{"passphrase": {"open sesame"}, "back": {back}}))
		require.Equal(t, "/", w.Header().Get("Location"), back)
	}
}

func TestGuessingIsSlow(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	handler := h.handler(withPassphrase("open sesame"))
	codes := map[int]int{}
	for range 14 {
		codes[call(t, handler, http.MethodPost, "/sign-in", form(url.Values{"passphrase": {"guess"}})).Code]++
	}
	require.Positive(t, codes[http.StatusTooManyRequests])
	require.LessOrEqual(t, codes[http.StatusUnauthorized], 11)
}

func TestAnotherSiteCanPressNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	handler := h.handler(nil)
	tests := []struct {
		name   string
		change func(*http.Request)
	}{
		{"by the browser's own word", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }},
		{"by the origin", func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") }},
		{"from another port of this machine", func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:9999") }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, path := range []string{"/orders/K401/here", "/api/v1/orders/K401/here", "/sign-in"} {
				w := call(t, handler, http.MethodPost, path, tt.change)
				require.Equal(t, http.StatusForbidden, w.Code, path)
			}
		})
	}
	require.Equal(t, "booked", string(h.order("K401").State))
}

func TestHeaders(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	w := call(t, h.handler(nil), http.MethodGet, "/", nil)
	csp := w.Header().Get("Content-Security-Policy")
	require.Contains(t, csp, "default-src 'none'")
	require.Contains(t, csp, "script-src 'self';")
	require.Contains(t, csp, "frame-ancestors 'none'")
	require.NotContains(t, csp, "unsafe")
	require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
	require.Equal(t, "no-referrer", w.Header().Get("Referrer-Policy"))
	require.Equal(t, "no-store", w.Header().Get("Cache-Control"))
	// What the policy forbids stands nowhere in the page.
	require.NotRegexp(t, `(?i)<script(?:\s+(?:defer|type="[^"]*"))*\s*>|<style|\sstyle=|\son[a-z]+=|https?://`, w.Body.String())
}

func TestHooksNeedNoSignIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	var got []string
	handler := h.handler(func(c *web.Config) {
		withPassphrase("open sesame")(c)
		c.Hooks = map[string]http.Handler{"texts": http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			b, err := io.ReadAll(r.Body)
			got = append(got, r.URL.Path+" "+string(b))
			if err != nil {
				w.WriteHeader(http.StatusRequestEntityTooLarge)
			}
		})}
	})
	outside := func(body string) func(*http.Request) {
		return func(r *http.Request) {
			r.RemoteAddr, r.Host = "203.0.113.9:443", "larkfield.example"
			r.Header.Set("Origin", "https://provider.example")
			r.Body = io.NopCloser(strings.NewReader(body))
		}
	}
	require.Equal(t, http.StatusOK, call(t, handler, http.MethodPost, "/hook/texts/inbound", outside("a")).Code)
	require.Equal(t, http.StatusRequestEntityTooLarge, call(t, handler, http.MethodPost, "/hook/texts/inbound", outside(strings.Repeat("x", 2<<20))).Code)
	require.Equal(t, "/inbound a", got[0])
	require.NotEqual(t, http.StatusOK, call(t, handler, http.MethodPost, "/hook/other/inbound", outside("a")).Code)
}

func TestAPIToken(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	sum := sha256.Sum256([]byte("larkfield-token"))
	handler := h.handler(func(c *web.Config) { c.Token = hex.EncodeToString(sum[:]) })
	bearer := func(v string) func(*http.Request) {
		return func(r *http.Request) {
			r.RemoteAddr, r.Host = "192.168.1.7:50000", "kitchen.example"
			r.Header.Set("Authorization", v)
		}
	}
	require.Equal(t, http.StatusOK, call(t, handler, http.MethodGet, "/api/v1/night", bearer("Bearer larkfield-token")).Code)
	for _, v := range []string{"", "Bearer wrong", "Basic larkfield-token", "larkfield-token"} {
		w := call(t, handler, http.MethodGet, "/api/v1/night", bearer(v))
		require.Equal(t, http.StatusUnauthorized, w.Code, v)
		require.Equal(t, "application/problem+json", w.Header().Get("Content-Type"))
	}
	require.Equal(t, http.StatusUnauthorized, call(t, handler, http.MethodGet, "/api/v1/night", nil).Code, "with a token set, this machine sends it too")
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }
