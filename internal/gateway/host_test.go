package gateway

import (
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/practice"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/store/storetest"
)

func TestSeveralKitchens(t *testing.T) {
	t.Parallel()
	t.Run("embedded", func(t *testing.T) {
		t.Parallel()
		severalKitchens(t, threeKitchens(t, storetest.FreshFile(t)))
	})
	t.Run("server", func(t *testing.T) {
		t.Parallel()
		severalKitchens(t, threeKitchens(t, pgtest.Start(t).Database(t)))
	})
}

func severalKitchens(t *testing.T, r *hosted) {
	t.Run("each under its name", func(t *testing.T) { eachUnderItsName(t, r) })
	t.Run("a way in to one is none to another", func(t *testing.T) { walledPages(t, r) })
	t.Run("receipts find their kitchen", func(t *testing.T) { receiptsFindTheirKitchen(t, r) })
	t.Run("a text finds its kitchen", func(t *testing.T) { textsFindTheirKitchen(t, r) })
	t.Run("a text of which nobody knows whose it is", func(t *testing.T) { sharedTexts(t, r) })
	t.Run("stop counts for all who share the number", func(t *testing.T) { stopForAll(t, r) })
}

func eachUnderItsName(t *testing.T, r *hosted) {
	for _, name := range []string{"larkfield", "millbank", "brook"} {
		for _, host := range []string{name + ".example", strings.ToUpper(name) + ".Example:8737", name + ".example."} {
			status, _, page := r.ask(http.MethodGet, host, "/sign-in", nil, "")
			assert.Equal(t, http.StatusOK, status, host)
			assert.Contains(t, page, name+" kitchen")
		}
	}
	for _, host := range []string{"", "127.0.0.1", "[::1]:80", "localhost", "example", "www.larkfield.example", "larkfield.example.evil", "*", "larkfield.example@brook"} {
		for _, path := range []string{"/", "/sign-in", "/hook/texts/", "/api/v1/orders", "/static/"} {
			status, _, page := r.ask(http.MethodGet, host, path, nil, "")
			if host == "" { // the client then asks for the address
				host = r.Addr().String()
			}
			assert.GreaterOrEqual(t, status, 400, host)
			for _, word := range []string{"kitchen", "larkfield.", "millbank", "brook"} {
				assert.NotContains(t, page, word, host)
			}
		}
	}
}

// walledPages signs in to one kitchen and tries the others with what it got.
func walledPages(t *testing.T, r *hosted) {
	form := http.Header{"Content-Type": {"application/x-www-form-urlencoded"}}
	status, got, _ := r.ask(http.MethodPost, "larkfield.example", "/sign-in", form, url.Values{"passphrase": {"larkfield"}}.Encode())
	require.Equal(t, http.StatusSeeOther, status)
	cookie := http.Header{"Cookie": {strings.Split(got.Get("Set-Cookie"), ";")[0]}}
	assert.NotContains(t, got.Get("Set-Cookie"), "Domain", "a browser sends it to this name only")
	status, _, _ = r.ask(http.MethodPost, "brook.example", "/sign-in", form, url.Values{"passphrase": {"larkfield"}}.Encode())
	assert.Equal(t, http.StatusUnauthorized, status, "another kitchen's passphrase")
	mine := r.order("larkfield", "Lark1")
	status, _, page := r.ask(http.MethodGet, "larkfield.example", "/orders", cookie, "")
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, page, mine.Name)
	for _, theirs := range []string{"Mill1", "Brook1", "Both1"} {
		assert.NotContains(t, page, theirs)
	}
	for _, path := range []string{"/", "/orders", "/orders/" + mine.Ref, "/messages", "/live", "/paper/sheet", "/texts/1"} {
		status, to, page := r.ask(http.MethodGet, "millbank.example", path, cookie, "")
		assert.Equal(t, http.StatusSeeOther, status, path)
		assert.Contains(t, to.Get("Location"), "/sign-in")
		assert.NotContains(t, page, "Lark1")
	}
	token := http.Header{"Authorization": {"Bearer larkfield"}}
	status, _, body := r.ask(http.MethodGet, "larkfield.example", "/api/v1/orders", token, "")
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, body, "Lark1")
	assert.NotContains(t, body, "Both1")
	for _, path := range []string{"/api/v1/orders", "/api/v1/orders/" + mine.Ref, "/api/v1/messages", "/api/v1/events"} {
		status, _, body := r.ask(http.MethodGet, "brook.example", path, token, "")
		assert.Equal(t, http.StatusUnauthorized, status, path)
		assert.NotContains(t, body, "Lark1")
	}
}

func textsFindTheirKitchen(t *testing.T, r *hosted) {
	only := func(kitchen, customer string) {
		t.Helper()
		for _, name := range []string{"larkfield", "millbank", "brook"} {
			texts := r.texts(name, customer)
			if name != kitchen {
				assert.Empty(t, texts, name)
				continue
			}
			assert.Len(t, texts, 1, name)
			assert.Zero(t, texts[0].Shared)
		}
	}
	r.say("Lark1", "07700 900100", "I'm here, blue van")
	only("larkfield", "Lark1")
	assert.Equal(t, night.Arrived, r.order("larkfield", "Lark1").State)
	r.say("Brook1", "447700900200", "I'm here, red fiesta")
	only("brook", "Brook1")
	assert.Equal(t, night.Arrived, r.order("brook", "Brook1").State)
	r.say("Lark2", "", "I'm here, green golf") // as a modem hands it on
	only("larkfield", "Lark2")
	assert.Equal(t, night.Arrived, r.order("larkfield", "Lark2").State)
	r.say("Mill1", larkNumber, "I'm here") // to another kitchen's number
	only("larkfield", "Mill1")
	assert.NotEqual(t, night.Arrived, r.order("millbank", "Mill1").State)
	assert.Equal(t, night.Open, r.texts("larkfield", "Mill1")[0].State, "a stranger there")

	// The order is handed out, and the network delivers the text once more: what
	// was stored stays where it is.
	h := r.house("brook")
	require.NoError(t, h.rows.Write(t.Context(), func(tx *store.Tx) error {
		o := r.order("brook", "Brook1")
		o.State = night.HandedOut
		return tx.SaveOrder(t.Context(), o)
	}))
	r.post("millbank.example", map[string]string{"id": "in-2", "from": phones["Brook1"], "to": millNumber, "text": "I'm here, red fiesta"})
	only("brook", "Brook1")
}

func sharedTexts(t *testing.T, r *hosted) {
	r.say("Both1", millNumber, "I'm here, white van")
	r.say("Stranger", millNumber, "can I have mine without nuts, I'm allergic")
	for _, name := range []string{"millbank", "brook"} {
		for _, customer := range []string{"Both1", "Stranger"} {
			texts := r.texts(name, customer)
			require.Len(t, texts, 1, "%s of %s", name, customer)
			assert.Equal(t, night.Open, texts[0].State, "a person has to look")
			assert.Equal(t, 1, texts[0].Shared)
			assert.Contains(t, texts[0].Why, "also sent to another kitchen at this number")
		}
		assert.Contains(t, string(r.texts(name, "Stranger")[0].Reading), `"allergy":true`)
		assert.NotEqual(t, night.Arrived, r.order(name, "Both1").State)
		b, err := r.house(name).Desk.Board(t.Context(), r.night[name].ID)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, len(b.Texts), 2, "they stand on the pass")
	}
	assert.Empty(t, r.texts("larkfield", "Both1"))
	for _, name := range []string{"millbank", "brook"} {
		messages, err := r.house(name).Desk.Messages(t.Context(), r.night[name].ID)
		require.NoError(t, err)
		for _, m := range messages {
			answers := m.Kind == night.Reply && (m.To == phones["Both1"] || m.To == phones["Stranger"])
			assert.False(t, answers, "nobody is answered before somebody says whose it is: %s", m.Text)
		}
	}
	// Somebody says whose it is: then it is acted on, there and nowhere else, and
	// the others need not look any more.
	place := func(name, customer string) {
		t.Helper()
		i := slices.IndexFunc(r.kitchens, func(k *kitchen) bool { return k.house.Config.File == name })
		require.NoError(t, placer{r.kitchens[i]}.Place(t.Context(), r.texts(name, customer)[0].ID, r.order(name, customer).Ref, "cook"))
	}
	place("brook", "Both1")
	assert.Equal(t, night.Arrived, r.order("brook", "Both1").State)
	assert.NotEqual(t, night.Arrived, r.order("millbank", "Both1").State)
	theirs := r.texts("millbank", "Both1")[0]
	assert.Equal(t, night.Settled, theirs.State)
	assert.Equal(t, night.Open, r.texts("millbank", "Stranger")[0].State, "nobody placed that one")
	h := r.house("millbank")
	events, err := h.Desk.Events(t.Context(), r.night["millbank"].ID, 0, 1000)
	require.NoError(t, err)
	last := events[len(events)-1]
	assert.Equal(t, night.Event{
		ID: last.ID, KitchenID: h.Kitchen.ID, NightID: r.night["millbank"].ID, OrderID: last.OrderID, InboundID: theirs.ID, At: last.At,
		What: night.TextSettled, Why: "it was for another kitchen at this number",
	}, last, "and not for which")
	assert.Equal(t, last.Why, theirs.Why)

	// It was theirs after all: a person still can say so.
	place("millbank", "Both1")
	assert.Equal(t, night.Arrived, r.order("millbank", "Both1").State)
	assert.Equal(t, "placed by cook", r.texts("brook", "Both1")[0].Why)
}

func stopForAll(t *testing.T, r *hosted) {
	opted := func(kitchen, customer string) (out bool) {
		require.NoError(t, r.house(kitchen).rows.Read(t.Context(), func(tx *store.Tx) error {
			all, err := tx.OptedOut(t.Context())
			out = all[phones[customer]]
			return err
		}))
		return out
	}
	confirmed := func(customer string) (n int) {
		for _, name := range []string{"larkfield", "millbank", "brook"} {
			messages, err := r.house(name).Desk.Messages(t.Context(), r.night[name].ID)
			require.NoError(t, err)
			for _, m := range messages {
				if m.Kind == night.Confirmation && m.To == phones[customer] {
					n++
				}
			}
		}
		return n
	}
	for _, customer := range []string{"Brook2", "Stranger"} { // whose kitchen is known, and whose is not
		r.say(customer, millNumber, "STOP")
		assert.True(t, opted("brook", customer), customer)
		assert.True(t, opted("millbank", customer), customer)
		assert.False(t, opted("larkfield", customer), "it has another number")
		assert.Equal(t, 1, confirmed(customer), customer)
	}
	r.say("Lark2", larkNumber, "stop")
	assert.True(t, opted("larkfield", "Lark2"))
	assert.False(t, opted("brook", "Lark2"))
}

func receiptsFindTheirKitchen(t *testing.T, r *hosted) {
	state := func(kitchen, customer string) night.MessageState {
		messages, _ := r.house(kitchen).Desk.Messages(t.Context(), r.night[kitchen].ID)
		for _, m := range messages {
			if m.Kind == night.Instructions && m.To == phones[customer] {
				return m.State
			}
		}
		return ""
	}
	const long, often = 20 * time.Second, 20 * time.Millisecond
	require.Eventually(t, func() bool {
		return state("millbank", "Mill1") == night.Sent && state("larkfield", "Lark1") == night.Sent
	}, long, often)
	out := r.network().Texts(phones["Mill1"])
	require.NotEmpty(t, out)
	assert.Equal(t, millNumber, out[0].From, "by the number of the kitchen that sends")
	r.post("larkfield.example", map[string]string{"id": out[0].ID, "status": "delivered"})
	assert.Equal(t, night.Delivered, state("millbank", "Mill1"))
	assert.Equal(t, night.Sent, state("larkfield", "Lark1"))

	// Several at once, of several kitchens.
	require.Eventually(t, func() bool {
		return state("larkfield", "Lark2") == night.Sent && state("brook", "Brook2") == night.Sent && state("brook", "Both1") == night.Sent && state("millbank", "Both1") == night.Sent
	}, long, often)
	var at sync.WaitGroup
	for _, customer := range []string{"Lark2", "Brook2", "Both1"} {
		for _, text := range r.network().Texts(phones[customer]) {
			at.Go(func() {
				assert.NoError(t, r.lines[0].Receipt(t.Context(), adapters.Receipt{ID: text.ID, Status: adapters.Delivered}))
			})
		}
	}
	at.Wait()
	for _, of := range [][2]string{{"larkfield", "Lark2"}, {"brook", "Brook2"}, {"brook", "Both1"}, {"millbank", "Both1"}} {
		assert.Equal(t, night.Delivered, state(of[0], of[1]), of)
	}
	assert.Equal(t, night.Sent, state("larkfield", "Lark1"))

	// The network is faster than its answer to the send.
	r.network().Next(practice.Fate{Delay: time.Second, Receipts: []practice.Later{{Status: "delivered"}}})
	const late = "+447700900399"
	h := r.house("brook")
	_, err := h.Desk.Load(t.Context(), r.night["brook"].ID, []night.Order{
		{Ref: "B-1", Name: "Brook1", Phone: "+447700900321", Slot: soon(h.Kitchen.Zone)}, {Ref: "B-2", Name: "Brook2", Phone: "+447700900322", Slot: soon(h.Kitchen.Zone)},
		{Ref: "B-3", Name: "Both1", Phone: "+447700900331", Slot: soon(h.Kitchen.Zone)}, {Ref: "B-9", Name: "Late", Phone: late, Slot: soon(h.Kitchen.Zone)},
	}, "cook")
	require.NoError(t, err)
	early := func() int {
		kept, _ := r.host.store.Early(t.Context(), "texts")
		return len(kept)
	}
	require.Eventually(t, func() bool { return early() == 1 }, long, time.Millisecond, "no kitchen has it on record yet")
	require.Eventually(t, func() bool {
		messages, _ := h.Desk.Messages(t.Context(), r.night["brook"].ID)
		for _, m := range messages {
			if m.To == late && m.State == night.Delivered {
				return early() == 0
			}
		}
		return false
	}, long, often)
}

// TestABrokenAdapter has one kitchen's own adapter set up wrongly: the others
// start, it starts without it, and everybody is told.
func TestABrokenAdapter(t *testing.T) {
	t.Parallel()
	broken := "[[adapter]]\nname = \"own\"\nkind = \"pigeon\"\n"
	kitchens := map[string]string{
		"larkfield": aKitchen(t, "larkfield", "", strings.Replace(broken, "pigeon", "practice", 1)),
		"millbank":  aKitchen(t, "millbank", "", broken),
	}
	for name, text := range kitchens {
		kitchens[name] = strings.Replace(text, "number = \"\"\n", "number = \"07700 900100\"\n", 1)
	}
	r := runHost(t, hostFiles(t, storetest.FreshFile(t), kitchens))
	assert.Contains(t, r.log.String(), "AN ADAPTER CAN'T BE USED")
	assert.Contains(t, r.log.String(), "kitchen=millbank")
	assert.Contains(t, r.log.String(), "pigeon")
	for _, host := range []string{"larkfield.example", "millbank.example"} {
		status, _, _ := r.ask(http.MethodGet, host, "/sign-in", nil, "")
		assert.Equal(t, http.StatusOK, status, host)
	}
	r.open("millbank", "Mill1")
	h := r.house("millbank")
	require.Eventually(t, func() bool {
		messages, _ := h.Desk.Messages(t.Context(), r.night["millbank"].ID)
		return len(messages) > 0 && strings.Contains(messages[0].Reason, "settings are wrong")
	}, 20*time.Second, 20*time.Millisecond, "its texts wait, and say why")
	found, err := ways{r.kitchens[1]}.Probe(t.Context(), "own")
	require.NoError(t, err)
	assert.False(t, found[0].OK)

	kitchens["larkfield"] = kitchens["millbank"]
	kitchens["larkfield"] = strings.ReplaceAll(kitchens["larkfield"], "millbank", "larkfield")
	c := hostFiles(t, storetest.FreshFile(t), kitchens)
	all, err := Open(t.Context(), c, Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	_, err = New(all, nil)
	require.ErrorContains(t, err, "pigeon", "a fault in every kitchen stops the start")
	require.NoError(t, all.Close())
}
