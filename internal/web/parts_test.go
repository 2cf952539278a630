package web_test

import (
	"math/rand/v2"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/web"
)

// TestWhatHasChangedLeadsToTheWholePage has things happen in any order, and holds
// a page that takes what has changed, from the last frame or one before it,
// against the same page made anew.
func TestWhatHasChangedLeadsToTheWholePage(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	handler := h.handler(nil)
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	draw := rand.New(rand.NewPCG(7, 11))
	paths := []string{"/", "/runner", "/wall", "/orders/K409", "/messages", "/plan", "/by-hand", "/report"}
	type frame struct{ mark, html string }
	shown := map[string][]frame{}
	came := map[string]int{}
	for range 40 {
		h.happen(draw)
		for _, path := range paths {
			w := call(t, handler, "GET", path, nil)
			page := w.Body.String()
			now := frame{w.Header().Get("Passbell-Mark"), page[strings.Index(page, `<div id="view"`):strings.LastIndex(page, "\n</main>")]}
			before := shown[path]
			if n := len(before); n == 0 || content(before[n-1].mark) != content(now.mark) {
				shown[path] = append(before, now)
			}
			if len(before) == 0 {
				continue
			}
			from := before[len(before)-1-draw.IntN(min(3, len(before)))]
			if content(from.mark) == content(now.mark) {
				continue
			}
			r := follow(t, server.URL+"/live?of="+path+"&after="+url.QueryEscape(from.mark), "")
			m := r.page()
			r.stop()
			require.Equal(t, "parts", m.name, "only what has changed is sent")
			require.Equal(t, content(now.mark), content(m.id))
			base, changes, _ := strings.Cut(m.data, "\n")
			require.Equal(t, content(from.mark), base)
			require.Equal(t, tidy(parsed(t, now.html)), tidy(apply(t, parsed(t, from.html), changes)), "%s\n%s", path, changes)
			came[path]++
		}
	}
	for _, path := range paths {
		require.NotZero(t, came[path], path)
	}
}

// happen has something happen, where it can.
func (h *house) happen(draw *rand.Rand) {
	ctx, a := h.t.Context(), h.act(book()[draw.IntN(len(book()))].Ref)
	pick := func(of ...func() error) { _ = of[draw.IntN(len(of))]() } // what the night forbids is not done
	pick(
		func() error { _, err := h.desk.Here(ctx, a); return err },
		func() error { _, err := h.desk.Out(ctx, a); return err },
		func() error { _, err := h.desk.Undo(ctx, a); return err },
		func() error { _, err := h.desk.Packed(ctx, a, true); return err },
		func() error { _, err := h.desk.Packed(ctx, a, false); return err },
		func() error { _, err := h.desk.Absent(ctx, a); return err },
		func() error { _, err := h.desk.Cancel(ctx, a); return err },
		func() error { _, err := h.desk.Move(ctx, a, night.Clock(17*60+10*draw.IntN(10))); return err },
		func() error { _, err := h.desk.Tick(ctx, a, desk.Line{}, true); return err },
		func() error { _, err := h.desk.Stand(ctx, a, "by the gate"); return err },
		func() error {
			h.arrive(a.Ref, "here in a red mini", car("red", "Mini", "Cooper", "LK19 KTO"), "by the tree")
			return nil
		},
		func() error {
			h.text("+447700900999", "is it the yard?", desk.Decision{Why: "nobody's number"})
			return nil
		},
		func() error { h.clock.set(h.clock.Now().Add(time.Duration(draw.IntN(400)) * time.Second)); return nil },
	)
}

func content(mark string) string { return mark[strings.Index(mark, ".")+1:] }

// parsed reads HTML as what stands in a body.
func parsed(t *testing.T, text string) *html.Node {
	t.Helper()
	body := &html.Node{Type: html.ElementNode, Data: "body", DataAtom: atom.Body}
	nodes, err := html.ParseFragment(strings.NewReader(text), body)
	require.NoError(t, err)
	for _, n := range nodes {
		body.AppendChild(n)
	}
	return body
}

func attr(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

// find gives the first node below one that fits.
func find(in *html.Node, fits func(*html.Node) bool) *html.Node {
	for n := range in.Descendants() {
		if n.Type == html.ElementNode && fits(n) {
			return n
		}
	}
	return nil
}

// apply does to a page what the script of the pages does.
func apply(t *testing.T, page *html.Node, changes string) *html.Node {
	t.Helper()
	sent := parsed(t, changes)
	for part := sent.FirstChild; part != nil; part = sent.FirstChild {
		sent.RemoveChild(part)
		id, _ := attr(part, "id")
		named := func(n *html.Node) bool { v, _ := attr(n, "id"); return v == id }
		old := find(page, named)
		require.NotNil(t, old, id)
		old.Parent.InsertBefore(part, old)
		old.Parent.RemoveChild(old)
		for {
			place := find(part, func(n *html.Node) bool { _, same := attr(n, "data-same"); return same })
			if place == nil {
				break
			}
			id, _ = attr(place, "id")
			kept := find(old, named)
			require.NotNil(t, kept, id)
			kept.Parent.RemoveChild(kept)
			place.Parent.InsertBefore(kept, place)
			place.Parent.RemoveChild(place)
		}
	}
	return page
}

// tidy gives a page as text, without the mark, which the script sets.
func tidy(page *html.Node) string {
	view := find(page, func(n *html.Node) bool { id, _ := attr(n, "id"); return id == "view" })
	view.Attr = nil
	var b strings.Builder
	_ = html.Render(&b, page) // to memory
	return strings.ReplaceAll(b.String(), ">", ">\n")
}

func TestTakingAPageApart(t *testing.T) {
	t.Parallel()
	const was = `<h1>Three</h1><ul id="l"><li id="a">1<input id="x"></li><li id="b">2</li></ul><p>end</p>`
	for name, tt := range map[string]struct{ now, want string }{
		"nothing":               {was, ""},
		"what stands in none":   {strings.Replace(was, "Three", "Four", 1), `<div id="view"><h1>Four</h1><ul id="l" data-same></ul><p>end</p></div>`},
		"one line":              {strings.Replace(was, "2", "3", 1), `<li id="b">3</li>`},
		"round a part":          {strings.Replace(was, ">1", ">3", 1), `<li id="a">3<input id="x" data-same></li>`},
		"an element of one tag": {strings.Replace(was, `"x"`, `"x" disabled`, 1), `<input id="x" disabled>`},
		"one goes":              {strings.Replace(was, `<li id="b">2</li>`, "", 1), `<ul id="l"><li id="a" data-same></li></ul>`},
		"one comes":             {strings.Replace(was, `</ul>`, `<li id="c">3</li></ul>`, 1), `<ul id="l"><li id="a" data-same></li><li id="b" data-same></li><li id="c">3</li></ul>`},
		"one moves out":         {`<h1>Three</h1><ul id="l"><li id="a">1</li><li id="b">2</li></ul><input id="x"><p>end</p>`, `<div id="view"><h1>Three</h1><ul id="l" data-same></ul><input id="x"><p>end</p></div><li id="a">1</li>`},
		"one stands in another": {`<h1>Three</h1><div id="d"><ul id="l"><li id="a">1<input id="x"></li><li id="b">2</li></ul></div><p>end</p>`, `<div id="view"><h1>Three</h1><div id="d"><ul id="l"><li id="a">1<input id="x"></li><li id="b">2</li></ul></div><p>end</p></div>`},
	} {
		got, ok := web.Changes(was, tt.now)
		require.True(t, ok, name)
		require.Equal(t, tt.want, got, name)
		page := parsed(t, `<div id="view">`+was+`</div>`)
		require.Equal(t, tidy(parsed(t, `<div id="view">`+tt.now+`</div>`)), tidy(apply(t, page, got)), name)
	}
	for name, page := range map[string]string{
		"an id twice":      `<p id="a"></p><p id="a"></p>`,
		"not closed":       `<ul><li id="a">1</ul>`,
		"closed elsewhere": `<b><i id="a"></b></i>`,
		"the view's own":   `<p id="view"></p>`,
	} {
		_, ok := web.Changes(was, page)
		require.False(t, ok, name)
	}
}
