package web_test

import (
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
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

// arrivalsEvery is the least time from one arrival to the next: people do not
// come faster.
const arrivalsEvery = 300 * time.Millisecond

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

	ctx := browserFor(t, 9*time.Minute)
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

	// What the stream sends to whoever has the page that the folder has.
	beside := follow(t, real.URL+"/live?of=/&after="+url.QueryEscape(bare.mark), "")
	sent := 0
	h.arrivals(ctx, t, real.URL, more[:arrivals], func(o night.Order) {
		bare.frames = append(bare.frames, beside.until(fmt.Sprintf(`id="gate-%d"`, o.ID)))
		for _, m := range bare.frames[len(bare.frames)-1] {
			sent += len(m.data)
		}
	}).log(t, "passbell")
	t.Logf("    bytes to each page for an arrival: %d", sent/arrivals)
	h.arrivals(ctx, t, plain.URL, more[:arrivals], nil).log(t, "the same frames from a bare stream")
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

// arrived are the ways of arrivals to the screen, in ms from the call of the
// hook: its answer, the frame in the page, the page changed, the page painted.
type arrived struct{ answered, came, changed, shown []float64 }

func (a arrived) log(t *testing.T, from string) {
	t.Helper()
	t.Logf("arrival on the screen from the call of the hook, %s: %s", from, spread(a.shown))
	for _, step := range []struct {
		name string
		took []float64
	}{{"the hook has answered", a.answered}, {"the frame is in the page", a.came}, {"the page has changed", a.changed}} {
		t.Logf("    by then %s: %s", step.name, spread(step.took))
	}
}

// arrivals has customers write that they are there, one after the other, and
// follows each until a frame shows it; each is called after every one.
func (h *house) arrivals(ctx context.Context, t *testing.T, base string, orders []night.Order, each func(night.Order)) (all arrived) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(base), chromedp.WaitReady("#gate")))
	until(ctx, t, `document.getElementById('liveness').textContent.startsWith('Live')`)
	eval[chromedp.Void](ctx, t, `window.now = () => performance.timeOrigin + performance.now();
		document.getElementById('stream').addEventListener('htmx:sse:before:message', (e) => { if (e.detail.message.id) window.came = now(); }, true); 0`)
	beat := time.NewTicker(arrivalsEvery)
	defer beat.Stop()
	for _, o := range orders {
		<-beat.C
		body, err := json.Marshal(adapters.Inbound{ID: "figure " + o.Ref, From: o.Phone, To: h.kitchen.Number, Text: "I'm here, silver Skoda Octavia"})
		require.NoError(t, err)
		eval[chromedp.Void](ctx, t, fmt.Sprintf(`window.shown = new Promise((resolve) => {
			const seen = new MutationObserver(() => {
				if (!document.getElementById('gate-%d')) return;
				seen.disconnect();
				const changed = now();
				requestAnimationFrame(() => resolve([came, changed, now()]));
			});
			seen.observe(document.getElementById('view'), { subtree: true, childList: true, attributes: true });
		}); 0`, o.ID))
		began := time.Now()
		res, err := http.Post(base+"/hook/texts/", "application/json", strings.NewReader(string(body)))
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		require.Equal(t, http.StatusOK, res.StatusCode)
		all.answered = append(all.answered, ms(time.Since(began)))
		at := eval[[3]float64](ctx, t, `window.shown`)
		since := func(at float64) float64 { return at - float64(began.UnixNano())/1e6 }
		all.came, all.changed, all.shown = append(all.came, since(at[0])), append(all.changed, since(at[1])), append(all.shown, since(at[2]))
		if each != nil {
			each(o)
		}
	}
	return all
}

// until reads all that changes the page up to what holds a piece.
func (r *reader) until(piece string) (all []message) {
	r.t.Helper()
	for {
		m, ok := r.next()
		require.True(r.t, ok, "the stream ended")
		if m.name == "beat" {
			continue
		}
		if all = append(all, m); strings.Contains(m.data, piece) {
			return all
		}
	}
}

// bareSite serves the pass as it is now from a folder, and frames that were
// recorded as a bare stream, one for each call of its hook.
type bareSite struct {
	http.Handler
	mark   string // of the page as it is there
	frames [][]message
	due    chan []message
}

func newBareSite(t *testing.T, pass http.Handler) *bareSite {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "static"), 0o700))
	keep := map[string]string{} // how long a browser may keep what is at a path
	save := func(path, as string) {
		w := httptest.NewRecorder()
		r := request(t, path)
		r.Header.Del("Accept-Encoding")
		pass.ServeHTTP(w, r)
		require.NoError(t, os.WriteFile(filepath.Join(dir, as), w.Body.Bytes(), 0o600))
		keep[r.URL.Path] = w.Header().Get("Cache-Control")
	}
	save("/", "index.html")
	page := string(must(os.ReadFile(filepath.Join(dir, "index.html"))))
	for _, name := range []string{"pass.css", "pass.js", "htmx.min.js", "hx-sse.min.js", "icon.svg"} {
		address := regexp.MustCompile(regexp.QuoteMeta("/static/"+name) + `\?v=\w+`).FindString(page)
		save(cmp.Or(address, "/static/"+name), "static/"+name)
	}
	b := &bareSite{due: make(chan []message, 1), mark: between(page, `data-mark="`, `"`)}
	mux := http.NewServeMux()
	files := http.FileServer(http.Dir(dir))
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", keep[r.URL.Path])
		files.ServeHTTP(w, r)
	})
	mux.HandleFunc("/hook/texts/", func(http.ResponseWriter, *http.Request) {
		b.due <- b.frames[0]
		b.frames = b.frames[1:]
	})
	mux.HandleFunc("/live", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/event-stream")
		version := between(page, `data-version="`, `"`)
		beats := time.NewTicker(5 * time.Second)
		defer beats.Stop()
		for {
			_, _ = fmt.Fprintf(w, "event: beat\ndata: {\"at\":\"17:11\",\"now\":%d,\"version\":%q}\n\n", time.Now().UnixMilli(), version)
			_ = http.NewResponseController(w).Flush()
			select {
			case <-r.Context().Done():
				return
			case <-beats.C:
			case all := <-b.due:
				for _, m := range all {
					if m.name != "" {
						_, _ = fmt.Fprintf(w, "event: %s\n", m.name)
					}
					_, _ = fmt.Fprintf(w, "id: %s\ndata: %s\n\n", m.id, strings.ReplaceAll(m.data, "\n", "\ndata: "))
				}
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
