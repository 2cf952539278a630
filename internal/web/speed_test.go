package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// BenchmarkPass serves the pass of a night of 200 orders, the reading of the
// database included, and reports its size on the wire.
func BenchmarkPass(b *testing.B) {
	h := newHouse(b)
	h.twoHundred()
	handler := h.handler(nil)
	size := 0
	for b.Loop() {
		h.hub.Changed() // nothing is kept from the round before
		w := callPass(b, handler)
		size = w
	}
	b.ReportMetric(float64(size), "gzip-bytes")
}

// BenchmarkStaticFile serves a file from memory, for comparison.
func BenchmarkStaticFile(b *testing.B) {
	handler := newHouse(b).handler(nil)
	for b.Loop() {
		r := request(b, "/static/pass.css")
		handler.ServeHTTP(discard{http.Header{}}, r)
	}
}

type discard struct{ h http.Header }

func (d discard) Header() http.Header         { return d.h }
func (d discard) Write(b []byte) (int, error) { return len(b), nil }
func (d discard) WriteHeader(int)             {}

func request(t testing.TB, path string) *http.Request {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, path, nil)
	require.NoError(t, err)
	r.Host, r.RemoteAddr = "127.0.0.1:8737", "127.0.0.1:50000"
	r.Header.Set("Accept-Encoding", "gzip")
	return r
}

type counter struct {
	discard
	n int
}

func (c *counter) Write(b []byte) (int, error) {
	c.n += len(b)
	return len(b), nil
}

func callPass(t testing.TB, h http.Handler) int {
	t.Helper()
	w := &counter{discard: discard{http.Header{}}}
	h.ServeHTTP(w, request(t, "/"))
	return w.n
}
