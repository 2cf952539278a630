package web_test

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// send calls the API and gives the status and the answer.
func send(t *testing.T, h http.Handler, method, path, body string) (int, map[string]any) {
	t.Helper()
	w := call(t, h, method, "/api/v1"+path, func(r *http.Request) {
		r.Header.Set("Content-Type", "application/json")
		r.Body = io.NopCloser(strings.NewReader(body))
	})
	var out map[string]any
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &out), w.Body.String())
	if w.Code >= 400 {
		require.Equal(t, "application/problem+json", w.Header().Get("Content-Type"), path)
		require.InDelta(t, w.Code, out["status"], 0)
		require.NotEmpty(t, out["title"])
	}
	return w.Code, out
}

func TestAPIReads(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	code, out := send(t, handler, "GET", "/night", "")
	require.Equal(t, http.StatusOK, code)
	require.Equal(t, "2026-12-04", out["date"])
	require.Equal(t, "Europe/London", out["zone"])
	require.Equal(t, "16:30", out["first"])

	_, out = send(t, handler, "GET", "/orders", "")
	require.Len(t, out["orders"], len(customers))
	_, out = send(t, handler, "GET", "/orders?find=bethan", "")
	require.Len(t, out["orders"], 1)

	_, out = send(t, handler, "GET", "/orders/k406", "")
	order := out["order"].(map[string]any)
	require.Equal(t, "K406", order["ref"])
	require.Equal(t, "arrived", order["state"])
	require.Equal(t, "2026-12-04T16:58:00Z", order["arrived_at"])
	require.Equal(t, "LX19KTO", order["vehicle"].(map[string]any)["plate"])
	require.NotEmpty(t, out["events"])

	_, out = send(t, handler, "GET", "/messages", "")
	require.NotEmpty(t, out["messages"])
	code, out = send(t, handler, "GET", "/orders/K999", "")
	require.Equal(t, http.StatusNotFound, code)
	require.Contains(t, out["detail"], "K999")
	code, _ = send(t, handler, "GET", "/nowhere", "")
	require.Equal(t, http.StatusNotFound, code)
}

func TestAPIActs(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	tests := []struct {
		path, body string
		code       int
		state      string
	}{
		{"/orders/K413/here", `{"who": "till"}`, http.StatusOK, "arrived"},
		{"/orders/K413/here", `{}`, http.StatusOK, "arrived"},
		{"/orders/K413/packed", `{}`, http.StatusOK, "arrived"},
		{"/orders/K413/cancel", `{}`, http.StatusConflict, ""},
		{"/orders/K413/out", `{}`, http.StatusOK, "handed out"},
		{"/orders/K413/out", `{}`, http.StatusOK, "handed out"},
		{"/orders/K413/undo", `{"from": "handed out"}`, http.StatusOK, "arrived"},
		{"/orders/K413/undo", `{"from": "handed out"}`, http.StatusOK, "arrived"},
		{"/orders/K430/move", `{"slot": "18:20"}`, http.StatusOK, "reminded"},
		{"/orders/K430/move", `{"slot": "18:25"}`, http.StatusUnprocessableEntity, ""},
		{"/orders/K430/move", `{}`, http.StatusUnprocessableEntity, ""},
		{"/orders/K430/resend", `{}`, http.StatusOK, "reminded"},
		{"/orders/K431/cancel", `{}`, http.StatusOK, "cancelled"},
		{"/orders/K431/resend", `{}`, http.StatusConflict, ""},
		{"/orders/K401/absent", `{"why": "no answer"}`, http.StatusOK, "not collected"},
		{"/orders/K401/absent", `{"nonsense": 1}`, http.StatusUnprocessableEntity, ""},
	}
	for _, tt := range tests {
		code, out := send(t, handler, "POST", tt.path, tt.body)
		require.Equal(t, tt.code, code, "%s %s: %v", tt.path, tt.body, out)
		if tt.state != "" {
			require.Equal(t, tt.state, out["state"], tt.path)
		}
	}
	card, err := h.desk.Card(t.Context(), h.night.ID, "K413")
	require.NoError(t, err)
	steps := []string{}
	for _, e := range card.Events {
		if e.What == night.StepTaken && e.MessageID == 0 || e.What == night.StepUndone {
			steps = append(steps, e.Who+": "+string(e.To))
		}
	}
	require.Equal(t, []string{"till: arrived", "api: handed out", "api: arrived"}, steps)
}

func TestAPIPut(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	const order = `{"name": "Maureen Ackroyd", "phone": "07700 900014", "slot": "18:50", "note": "Grandson has a severe peanut allergy. Green gate.",
		"items": [{"qty": 2, "name": "Lamb and cumin dumplings 12"}, {"qty": 1, "name": "Smashed cucumber"}, {"qty": 1, "name": "Gift jar", "kind": "extra"}]}`
	code, out := send(t, handler, "PUT", "/orders/K900", order)
	require.Equal(t, http.StatusOK, code, out)
	require.Equal(t, []any{"new"}, out["changed"])
	got := out["order"].(map[string]any)
	require.Equal(t, "K900", got["ref"])
	require.Equal(t, "+447700900014", got["phone"])
	require.Contains(t, got["allergy"], "peanut allergy")
	items := got["items"].([]any)
	require.Len(t, items, 3)
	require.Equal(t, "hot", items[0].(map[string]any)["kind"])
	require.Equal(t, "cold", items[1].(map[string]any)["kind"])
	require.Equal(t, "extra", items[2].(map[string]any)["kind"])
	require.InDelta(t, len(customers)+1, got["bag"], 0, "an order after closing gets the next bag")

	_, out = send(t, handler, "PUT", "/orders/K900", order)
	require.Empty(t, out["changed"], "the same order again changes nothing")
	_, out = send(t, handler, "PUT", "/orders/K900", strings.Replace(order, "18:50", "18:40", 1))
	require.Equal(t, []any{"slot 18:40, was 18:50"}, out["changed"])

	for name, body := range map[string]string{
		"a slot that is none":         strings.Replace(order, "18:50", "18:51", 1),
		"no name":                     strings.Replace(order, "Maureen Ackroyd", "", 1),
		"no items":                    `{"name": "A", "slot": "18:50", "items": []}`,
		"an unknown field":            strings.Replace(order, `"note"`, `"nota"`, 1),
		"a slot that is a word":       strings.Replace(order, "18:50", "soon", 1),
		"something that is not JSON":  `{"name": `,
		"a quantity that is negative": strings.Replace(order, `"qty": 2`, `"qty": -2`, 1),
	} {
		code, out := send(t, handler, "PUT", "/orders/K901", body)
		require.Contains(t, []int{http.StatusUnprocessableEntity, http.StatusBadRequest}, code, "%s: %v", name, out)
	}
	_, out = send(t, handler, "GET", "/orders?find=K901", "")
	require.Empty(t, out["orders"])
}

func TestAPIDescription(t *testing.T) {
	t.Parallel()
	handler := newHouse(t).handler(nil)
	w := call(t, handler, http.MethodGet, "/api/v1/openapi.json", nil)
	require.Equal(t, http.StatusOK, w.Code)
	var doc struct {
		OpenAPI string                    `json:"openapi"`
		Paths   map[string]map[string]any `json:"paths"`
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &doc))
	require.Equal(t, "3.1.0", doc.OpenAPI)
	require.Contains(t, doc.Paths, "/api/v1/events")
	require.Contains(t, doc.Paths["/api/v1/orders/{ref}"], "put")
	require.Equal(t, http.StatusNotFound, call(t, handler, http.MethodGet, "/docs", nil).Code)
}
