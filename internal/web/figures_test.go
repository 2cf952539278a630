package web_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/web"
)

// figures is how many arrivals are measured; see make figures.
var figures = flag.Int("figures", 0, "measure the pass of 200 orders with this many arrivals, at least 50 and at most 150")

// TestFigures measures how soon the pass of a night of 200 orders is there, and
// how soon an arrival is on a screen from the moment that the hook is called, both
// beside what the same bytes take without passbell.
func TestFigures(t *testing.T) {
	if *figures == 0 {
		t.Skip("measures only: see make figures")
	}
	arrivals := min(max(*figures, 50), 150)
	h := newHouse(t)
	more := h.twoHundred()
	pass := h.handler(func(c *web.Config) {
		c.Demo, c.Pace = false, web.Pace{}
		c.Hooks = map[string]http.Handler{"texts": h.hook()}
	})

	var server []float64
	size := 0
	for range 100 {
		h.hub.Changed() // nothing is kept from the round before
		began := time.Now()
		size = callPass(t, pass)
		server = append(server, ms(time.Since(began)))
	}
	t.Logf("pass of 200 orders, made anew: %s, %d bytes compressed", spread(server), size)

	ctx := browser(t)
	real := httptest.NewServer(pass)
	t.Cleanup(real.Close)
	bare := newBareSite(t, pass)
	plain := httptest.NewServer(bare)
	t.Cleanup(plain.Close)
	require.NoError(t, chromedp.Do(ctx, window(375, "light")))
	paints := map[string][]float64{}
	for range 15 {
		for name, base := range map[string]string{"passbell": real.URL, "the same bytes from a folder": plain.URL} {
			paints[name] = append(paints[name], paint(ctx, t, base))
		}
	}
	for _, name := range []string{"passbell", "the same bytes from a folder"} {
		t.Logf("first paint from the start of the navigation, %s: %s", name, spread(paints[name]))
	}

	took := h.arrivals(ctx, t, real.URL, more[:arrivals], func(i int) { bare.frames = append(bare.frames, frameNow(t, pass)) })
	t.Logf("arrival on the screen from the call of the hook, passbell: %s", spread(took))
	took = h.arrivals(ctx, t, plain.URL, more[:arrivals], nil)
	t.Logf("the same frames from a bare stream: %s", spread(took))
}

// twoHundred fills the house and adds orders up to 200, each with a number of its
// own; it gives those that were added.
func (h *house) twoHundred() []night.Order {
	h.t.Helper()
	h.fill()
	var more []night.Order
	for i := range 160 {
		o := book()[i%len(customers)]
		o.Ref, o.Phone, o.PhoneTyped = fmt.Sprintf("X%d", i), fmt.Sprintf("+447700900%03d", 800+i), ""
		more = append(more, o)
	}
	_, err := h.desk.Load(h.t.Context(), h.night.ID, more, "cook")
	require.NoError(h.t, err)
	orders, err := h.desk.Orders(h.t.Context(), h.night.ID)
	require.NoError(h.t, err)
	require.Len(h.t, orders, len(book())+160)
	return slices.DeleteFunc(orders, func(o night.Order) bool { return !strings.HasPrefix(o.Ref, "X") })
}

// hook takes texts in as an adapter's hook does.
func (h *house) hook() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var in adapters.Inbound
		err := json.NewDecoder(r.Body).Decode(&in)
		if err == nil {
			err = h.inbox.Take(r.Context(), "texts", in)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
		}
	})
}

// arrivals has customers write that they are there, one after the other, and
// gives the time in ms from each call of the hook to the frame that shows it.
func (h *house) arrivals(ctx context.Context, t *testing.T, base string, orders []night.Order, each func(int)) []float64 {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(base), chromedp.WaitReady("#gate")))
	until(ctx, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
	beat := time.NewTicker(300 * time.Millisecond) // people do not come faster
	defer beat.Stop()
	var took []float64
	for i, o := range orders {
		<-beat.C
		body, err := json.Marshal(adapters.Inbound{ID: "figure " + o.Ref, From: o.Phone, To: h.kitchen.Number, Text: "I'm here, silver Skoda Octavia"})
		require.NoError(t, err)
		eval[chromedp.Void](ctx, t, fmt.Sprintf(`window.shown = new Promise((resolve) => {
			const view = document.getElementById('view');
			const seen = new MutationObserver(() => {
				if (!document.getElementById('gate-%d')) return;
				seen.disconnect();
				requestAnimationFrame(() => resolve(performance.timeOrigin + performance.now()));
			});
			seen.observe(view, { subtree: true, childList: true, attributes: true });
		}); 0`, o.ID))
		began := time.Now()
		res, err := http.Post(base+"/hook/texts/", "application/json", strings.NewReader(string(body)))
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		require.Equal(t, http.StatusOK, res.StatusCode)
		shown := eval[float64](ctx, t, `window.shown`)
		took = append(took, shown-float64(began.UnixNano())/1e6)
		if each != nil {
			each(i)
		}
	}
	return took
}

// frameNow is what the stream would send to whoever opens the pass now.
func frameNow(t *testing.T, pass http.Handler) message {
	t.Helper()
	w := httptest.NewRecorder()
	r := request(t, "/")
	r.Header.Set("HX-Request", "true")
	r.Header.Del("Accept-Encoding")
	pass.ServeHTTP(w, r)
	_, view, _ := strings.Cut(w.Body.String(), "</div>\n")
	return message{id: w.Header().Get("Passbell-Mark"), data: view}
}

// bareSite serves the pass as it is now from a folder, and frames that were
// recorded as a bare stream, one for each call of its hook.
type bareSite struct {
	http.Handler
	frames []message
	due    chan message
}

func newBareSite(t *testing.T, pass http.Handler) *bareSite {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "static"), 0o700))
	save := func(path, as string) {
		w := httptest.NewRecorder()
		r := request(t, path)
		r.Header.Del("Accept-Encoding")
		pass.ServeHTTP(w, r)
		require.NoError(t, os.WriteFile(filepath.Join(dir, as), w.Body.Bytes(), 0o600))
	}
	save("/", "index.html")
	for _, name := range []string{"pass.css", "pass.js", "htmx.min.js", "hx-sse.min.js", "icon.svg"} {
		save("/static/"+name, "static/"+name)
	}
	b := &bareSite{due: make(chan message, 1)}
	mux := http.NewServeMux()
	mux.Handle("/", http.FileServer(http.Dir(dir)))
	mux.HandleFunc("/hook/texts/", func(http.ResponseWriter, *http.Request) {
		b.due <- b.frames[0]
		b.frames = b.frames[1:]
	})
	mux.HandleFunc("/live", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/event-stream")
		version := between(string(must(os.ReadFile(filepath.Join(dir, "index.html")))), `data-version="`, `"`)
		beats := time.NewTicker(5 * time.Second)
		defer beats.Stop()
		for {
			_, _ = fmt.Fprintf(w, "event: beat\ndata: {\"at\":\"17:11\",\"now\":%d,\"version\":%q}\n\n", time.Now().UnixMilli(), version)
			_ = http.NewResponseController(w).Flush()
			select {
			case <-r.Context().Done():
				return
			case <-beats.C:
			case m := <-b.due:
				_, _ = fmt.Fprintf(w, "id: %s\ndata: %s\n\n", m.id, strings.ReplaceAll(m.data, "\n", "\ndata: "))
				_ = http.NewResponseController(w).Flush()
			}
		}
	})
	b.Handler = mux
	return b
}

// paint loads a page and gives the time to its first paint with content, in ms.
func paint(ctx context.Context, t *testing.T, address string) float64 {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(address), chromedp.WaitReady("#gate")))
	const entry = `performance.getEntriesByName('first-contentful-paint')[0]`
	until(ctx, t, entry+` !== undefined`)
	return eval[float64](ctx, t, entry+`.startTime`)
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// spread sums up measurements in ms.
func spread(of []float64) string {
	sorted := slices.Sorted(slices.Values(of))
	at := func(p float64) float64 { return sorted[min(len(sorted)-1, int(p*float64(len(sorted))))] }
	return fmt.Sprintf("median %.1f ms, p99 %.1f ms, longest %.1f ms, of %d", at(0.5), at(0.99), sorted[len(sorted)-1], len(sorted))
}
