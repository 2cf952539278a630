package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/web"
)

func TestADeviceChoosesItsLanguage(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	mine, other := newVisitor(t, server.URL), newVisitor(t, server.URL)

	_, before := mine.get("/report")
	require.Contains(t, before, `<html lang="en">`)
	require.Contains(t, before, "The night in numbers")
	code, _ := mine.post("/language", url.Values{"language": {"es"}, "back": {"/report"}})
	require.Equal(t, http.StatusOK, code)
	_, after := mine.get("/report")
	require.Contains(t, after, `<html lang="es">`)
	require.Contains(t, after, "La noche en cifras")
	_, still := other.get("/report")
	require.Contains(t, still, "The night in numbers", "the other device has chosen nothing")

	mine.post("/language", url.Values{"language": {"xx"}, "back": {"https://elsewhere.example/"}})
	_, back := mine.get("/report")
	require.Contains(t, back, `<html lang="en">`, "a language that the pages don't speak")
}

func TestPagesSpeakTheKitchensLanguage(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(func(c *web.Config) { c.Language = "es" }))
	t.Cleanup(server.Close)
	v := newVisitor(t, server.URL)
	_, p := v.get("/report")
	require.Contains(t, p, `<html lang="es">`)

	key, err := web.HereKey(t.Context(), h.rows)
	require.NoError(t, err)
	v.post("/language", url.Values{"language": {"en"}})
	_, p = v.get("/report")
	require.Contains(t, p, `<html lang="en">`)
	_, p = v.get(web.HerePath(key, h.night.ID, h.order("K431").ID))
	require.Contains(t, p, `<html lang="es">`, "what customers see goes by the kitchen")
}
