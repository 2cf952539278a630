package web_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/web"
)

// ofKind gives the texts of a kind about an order.
func (h *house) ofKind(ref string, kind night.MessageKind) (out []night.Message) {
	h.t.Helper()
	card, err := h.desk.Card(h.t.Context(), h.night.ID, ref)
	require.NoError(h.t, err)
	for _, m := range card.Messages {
		if m.Kind == kind {
			out = append(out, m)
		}
	}
	return out
}

// settle is what the network says of one text.
func (h *house) settle(m night.Message, to night.MessageState) {
	h.t.Helper()
	require.NoError(h.t, h.rows.Write(h.t.Context(), func(tx *store.Tx) error {
		_, err := tx.SetMessageState(h.t.Context(), m.ID, []night.MessageState{night.Due}, to, "", h.clock.Now())
		return err
	}))
	h.hub.Changed()
}

// marks ticks an order half, another whole, and has something missing of two.
func (h *house) marks() {
	h.t.Helper()
	for ref, places := range map[string][]int{"K407": {0}, "K412": {0, 1}} {
		for _, place := range places {
			_, err := h.desk.Tick(h.t.Context(), h.act(ref), desk.Line{Place: place}, true)
			require.NoError(h.t, err)
		}
	}
	for ref, tell := range map[string]bool{"K407": true, "K409": false} {
		_, err := h.desk.Short(h.t.Context(), h.act(ref), []desk.Lack{{Line: desk.Line{Place: 2}, Pieces: desk.AllOfIt}}, tell)
		require.NoError(h.t, err)
	}
}

func TestTickingOffABag(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	const hot = "Chicken and ginger dumplings 12"
	body := press(t, handler, "/orders/K406/items/0/tick", "name", hot, "back", "/")
	require.NotContains(t, body, `id="notice"`, "what was said before stays, so that nothing moves under the thumb")
	says(t, body, `aria-pressed="true" aria-label="3 × `+hot+`, K406 Hana Morikawa"`)
	require.NotContains(t, body, "All of it is in.")
	press(t, handler, "/orders/K406/items/0/tick", "name", hot)
	says(t, press(t, handler, "/orders/K406/items/1/tick", "name", "Chilli oil pot", "back", "/"), "All of it is in.")
	require.True(t, h.order("K406").PackedAt.IsZero(), "it is offered and not done")
	require.NotContains(t, press(t, handler, "/orders/K406/items/1/untick", "name", "Chilli oil pot", "back", "/"), "All of it is in.")
	says(t, press(t, handler, "/orders/K406/items/1/tick", "name", "Lemonade"), "K406 Hana Morikawa has no “Lemonade” any more")
	require.Equal(t, []bool{true, false}, []bool{h.order("K406").Items[0].Ticked, h.order("K406").Items[1].Ticked})
	says(t, press(t, handler, "/orders/K406/packed"), "K406 Hana Morikawa: packed.") // with one open
	says(t, page(t, handler, "/orders/K406"), "in the bag: 3 x "+hot)
}

// A tap that was kept on a device counts once, whatever was done since.
func TestAKeptTickCountsOnce(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	press(t, handler, "/orders/K406/items/0/tick", "once", "k1")
	press(t, handler, "/orders/K406/items/0/untick", "once", "k2")
	press(t, handler, "/orders/K406/items/0/tick", "once", "k1")
	require.False(t, h.order("K406").Items[0].Ticked)
	press(t, handler, "/orders/K406/items/1/tick", "once", "k1") // a key is one of its button
	require.True(t, h.order("K406").Items[1].Ticked)
}

func TestShortFromChoiceToText(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	says(t, page(t, handler, "/orders/K406"), `href="/orders/K406/short"`, `href="/orders/K406/short?item=1&back=%2forders%2fK406"`)
	says(t, page(t, handler, "/orders/K406/short"), "Choose what is missing")
	look := page(t, handler, "/orders/K406/short?item=1")
	const words = "Larkfield Dumpling Kitchen: we are sorry. In order K406 on Fri 4 Dec this is missing: 2 x Chilli oil pot. The rest comes as booked. We will settle it with you."
	says(t, look, words, "Send this text", "Say it at the gate, no text")
	require.Empty(t, h.ofKind("K406", night.Short), "shown is not sent")
	says(t, page(t, handler, "/orders/K406/short?pieces=1&pieces=0"), "1 x Chicken and ginger dumplings 12.")

	fields := []string{"name", "Chicken and ginger dumplings 12", "pieces", "0", "name", "Chilli oil pot", "pieces", "2", "back", "/orders/K406"}
	says(t, press(t, handler, "/orders/K406/short", append(fields, "way", "text")...), "K406 Hana Morikawa: missing 2 × Chilli oil pot; a text tells them.", "a text tells them")
	press(t, handler, "/orders/K406/short", append(fields, "way", "text")...)
	sent := h.ofKind("K406", night.Short)
	require.Len(t, sent, 1)
	require.Equal(t, words, sent[0].Text)
	require.NotContains(t, page(t, handler, "/"), "/orders/K406/items/1/tick", "there is nothing to tick")
	says(t, page(t, handler, "/orders/K406/short"), "They have a text that says so")
	says(t, page(t, handler, "/runner"), "2 × Chilli oil pot", "a text tells them")
	require.NotContains(t, page(t, handler, "/runner"), "0 extra")
	says(t, page(t, handler, "/report"), "to refund or make good: 2 x Chilli oil pot")

	// A text that does not get through has to be said.
	h.settle(sent[0], night.Failed)
	says(t, page(t, handler, "/runner"), "say so at the gate")
	fields[3], fields[7] = "0", "0"
	says(t, press(t, handler, "/orders/K406/short", append(fields, "way", "gate")...), "nothing is missing after all")
	require.NotContains(t, page(t, handler, "/runner"), "Missing")
}

func TestShortWhereNoTextCanGo(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.needs()
	handler := h.handler(nil)
	look := page(t, handler, "/orders/K480/short?item=0")
	says(t, look, "has no number that can take texts", "Say it at the gate, no text", `href="tel:+441134960123"`)
	require.NotContains(t, look, "Send this text")
	o := h.order("K480")
	fields := []string{"way", "gate"}
	for i, it := range o.Items {
		fields = append(fields, "name", it.Name, "pieces", map[bool]string{true: "1", false: "0"}[i == 0])
	}
	says(t, press(t, handler, "/orders/K480/short", fields...), "say it at the gate")
	require.Equal(t, 1, h.order("K480").Items[0].Short)
	w := call(t, handler, http.MethodPost, "/orders/K480/short", form(url.Values{"name": {"x"}}))
	require.NotEqual(t, http.StatusInternalServerError, w.Code)
}

func TestSplitJoinAndMoveASlotFromTheCard(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	says(t, page(t, handler, "/orders/K430"), `value="K430-2"`, "Join another order into this one", "orders of this slot")

	o := h.order("K430")
	look := press(t, handler, "/orders/K430/look", "do", "split", "ref", "K430-2", "line", "0")
	says(t, look, "K430-2 gets: ", o.Items[0].Name, "K430 keeps: ", "Split the order")
	says(t, press(t, handler, "/orders/K430/look", "do", "split", "ref", "K430-2"), "leave at least one item in each")
	says(t, press(t, handler, "/orders/K430/look", "do", "split", "ref", "k431", "line", "0"), "there is an order k431 already")
	says(t, press(t, handler, "/orders/K430/split", "ref", "K430-2", "line", "0", "name", o.Items[0].Name), "split: K430-2 is an order of its own now")
	require.Len(t, h.order("K430").Items, len(o.Items)-1)
	require.Equal(t, o.Items[:1], h.order("K430-2").Items)
	says(t, press(t, handler, "/orders/K430/split", "ref", "K430-2", "line", "0", "name", o.Items[0].Name), "Not done")

	look = press(t, handler, "/orders/K430/look", "do", "join", "other", "K430-2")
	says(t, look, "K430 takes in K430-2", "Join the orders")
	says(t, press(t, handler, "/orders/K430/look", "do", "join", "other", "K431"), "K431 has another number")
	says(t, press(t, handler, "/orders/K430/join", "other", "K430-2"), "holds what was in K430-2")
	says(t, press(t, handler, "/orders/K430/join", "other", "K430-2"), "is cancelled, so “join” was not done")
	require.Len(t, h.order("K430").Items, len(o.Items))

	at := h.order("K425").Slot
	all, err := h.desk.Orders(t.Context(), h.night.ID)
	require.NoError(t, err)
	fields := []string{"from", at.String(), "slot", "18:50"}
	count := 0
	for _, o := range all {
		if o.Slot == at && o.State.Open() {
			count++
			fields = append(fields, "with", o.Ref)
		}
	}
	require.Greater(t, count, 1)
	look = press(t, handler, "/orders/K425/look", "do", "slot", "slot", "18:50")
	says(t, look, "Move "+itoa(int64(count))+" orders", "Goes at once")
	says(t, press(t, handler, "/orders/K425/slot", fields...), itoa(int64(count))+" orders moved to 18:50.")
	require.Equal(t, "18:50", h.order("K425").Slot.String())
	says(t, press(t, handler, "/orders/K425/slot", fields...), "Nobody of them is at "+at.String()+" any more")
}

func TestWhereACustomerStands(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	key, err := web.HereKey(t.Context(), h.rows)
	require.NoError(t, err)
	path := web.HerePath(key, h.night.ID, h.order("K431").ID)
	say := func(spot string) {
		w := call(t, handler, http.MethodPost, path, form(url.Values{"spot": {spot}, "colour": {"red"}}))
		require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	}
	say("  by the\npost box, " + strings.Repeat("x", 200))
	require.Equal(t, night.Arrived, h.order("K431").State)
	require.Len(t, h.order("K431").Arrival.Spot, 80)
	say("in the lay-by <b>")
	require.Equal(t, "in the lay-by <b>", h.order("K431").Arrival.Spot)
	for _, p := range []string{"/", "/runner", path} {
		says(t, page(t, handler, p), "in the lay-by &lt;b&gt;")
	}
	say("")
	require.Equal(t, "in the lay-by <b>", h.order("K431").Arrival.Spot, "to say nothing takes nothing back")
	over := web.HerePath(key, h.night.ID, h.order("K402").ID)
	call(t, handler, http.MethodPost, over, form(url.Values{"spot": {"at home"}}))
	require.Empty(t, h.order("K402").Arrival.Spot, "their bags are out")
}

func TestAHelperTicksAndTellsNobody(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewServer(h.handler(withPassphrase("open sesame")))
	t.Cleanup(server.Close)
	cook := newVisitor(t, server.URL)
	cook.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	link := helpLink(t, cook, "Sam")
	sam := newVisitor(t, server.URL)
	sam.get(link)
	sam.post(link, nil)
	code, body := sam.get("/")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, body, "/orders/K406/items/0/tick")
	require.NotContains(t, body, "/short")
	code, _ = sam.post("/orders/K406/items/0/tick", url.Values{"back": {"/"}})
	require.Equal(t, http.StatusOK, code)
	require.True(t, h.order("K406").Items[0].Ticked)
	for _, path := range []string{"/orders/K406/short", "/orders/K406/split", "/orders/K406/join", "/orders/K406/slot", "/orders/K406/items/0/cancel", "/orders/K406/items/tick"} {
		code, _ = sam.post(path, nil)
		require.Equal(t, http.StatusForbidden, code, path)
	}
}

func TestTicksAndShortOverTheAPI(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	do := func(path, body string, code int) (out struct {
		Items []struct {
			Name   string
			Ticked bool
			Short  int
		}
	}) {
		w := call(t, handler, http.MethodPost, "/api/v1/orders/K406"+path, func(r *http.Request) {
			r.Body, r.ContentLength = http.NoBody, 0
			r.Header.Set("Content-Type", "application/json")
			req := httptest.NewRequest(http.MethodPost, "/", strings.NewReader(body))
			r.Body, r.ContentLength = req.Body, req.ContentLength
		})
		require.Equal(t, code, w.Code, w.Body.String())
		if code == http.StatusOK {
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &out))
		}
		return out
	}
	got := do("/tick", `{"items":[{"place":1},{"place":2,"name":"Chilli oil pot"}]}`, 200)
	require.True(t, got.Items[0].Ticked && got.Items[1].Ticked)
	require.False(t, do("/tick", `{"items":[{"place":1}],"ticked":false}`, 200).Items[0].Ticked)
	do("/tick", `{"items":[{"place":9}]}`, 422)
	do("/tick", `{}`, 422)
	require.Equal(t, 1, do("/short", `{"items":[{"place":2,"pieces":1}],"text":true}`, 200).Items[1].Short)
	do("/short", `{"items":[{"place":2,"pieces":1}],"text":true}`, 200)
	require.Len(t, h.ofKind("K406", night.Short), 1)
	require.Equal(t, 2, do("/short", `{"items":[{"place":2}]}`, 200).Items[1].Short)
	do("/short", `{"items":[{"place":2,"pieces":5}]}`, 409)
	_, err := h.desk.Tick(t.Context(), h.act("K406"), desk.Line{Place: 9}, true)
	require.Error(t, err)
}
