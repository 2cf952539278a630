package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/templates"
)

// pages holds one set of templates for each page: the layout, the shared parts
// and the page's own "view". Each language has its own. A set is made when its
// page is first opened: most are not, and each is a copy of all shared parts.
type pages struct {
	base *template.Template // the layout and the shared parts
	mu   sync.Mutex
	made map[string]*template.Template
}

func loadPages(st static, w *tongue) (*pages, error) {
	script, err := w.scriptWords()
	if err != nil {
		return nil, fmt.Errorf("read the words of the script: %w", err)
	}
	funcs := template.FuncMap{
		"t": w.t, "scriptWords": func() map[string]string { return script }, "lang": func() string { return w.lang }, "languages": func() []spoken { return languages[:] },
		"static": st.url, "act": newAct, "short": newShortButton, "state": w.state, "path": url.PathEscape,
		"sent": w.fate, "said": w.bag, "say": w.say, "choose": choose,
	}
	base, err := template.New("").Funcs(funcs).ParseFS(templates.Pages, "pages/layout.html", "pages/parts.html")
	if err != nil {
		return nil, fmt.Errorf("read the page templates: %w", err)
	}
	return &pages{base: base, made: map[string]*template.Template{}}, nil
}

// of gives the templates of a page.
func (p *pages) of(name string) (*template.Template, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if t, ok := p.made[name]; ok {
		return t, nil
	}
	t, err := p.base.Clone()
	if err != nil {
		return nil, err
	}
	if t, err = t.ParseFS(templates.Pages, "pages/"+name+".html"); err != nil {
		return nil, fmt.Errorf("read the page template %s: %w", name, err)
	}
	p.made[name] = t
	return t, nil
}

// view is one page's content. It is the same for everybody who may see it, so
// that one rendering serves all open pages.
type view struct {
	Template  string
	Title     string
	Tab       string    // the entry of the menu that it belongs to
	Path      string    // the address that gives it
	Status    int       // 0 for 200
	Event     int64     // the last event that it shows
	Live      bool      // open pages follow it as it changes
	Night     string    // the day of the night that it shows
	Another   string    // the night in hand, where the device shows another
	KeepUntil time.Time // for how long a device may keep it; zero for not at all
	Bare      bool      // nothing around it that could be pressed
	Data      any
}

// notice is what an act has to say, on the page that follows it.
type notice struct {
	Text  string
	Bad   bool // nothing was changed, and the reader may have wanted it to
	Quiet bool // the page itself shows it where it was tapped; what was said before stays
}

// layout is what the frame of a page needs.
type layout struct {
	view
	Body    template.HTML
	Mark    string // names the body's content, see frame
	Kitchen string
	At      string // the kitchen's clock
	Now     int64  // the same in ms, for a device whose clock is wrong
	Since   string // the time of what it shows, while the database is away
	Age     int    // of that, in seconds
	Keep    string // whose it is on a device that keeps it; "" where none may
	Who     string
	Notice  *notice
	Demo    bool
	SignOut bool
	Limited bool
	Version string
}

// frame is a view as HTML.
type frame struct {
	view
	html  []byte
	mark  string // event id and content, as the stream names it
	at    time.Time
	old   bool // what was last known, while the database is away
	steps *steps
}

// body renders a view that takes some room, in bytes: as much as it did before.
func (s *site) body(v view, room int) ([]byte, error) {
	t, err := s.pages.of(v.Template)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.Grow(room + room/16) // doubling would end with up to twice the room, and it is kept
	if err := t.ExecuteTemplate(&b, "view", v.Data); err != nil {
		return nil, fmt.Errorf("page %s: %w", v.Template, err)
	}
	return b.Bytes(), nil
}

// show answers with the page at an address, whole or, for htmx, its content.
func (s *site) show(w http.ResponseWriter, r *http.Request, to string, n *notice) {
	f, err := s.frame(r.Context(), s.lookAt(r.Context(), to))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.write(w, r, f, n)
}

// open answers whoever opens a page. While the database is away it is what was
// last known of it.
func (s *site) open(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	key := s.lookAt(ctx, r.URL.RequestURI())
	f, err := s.frame(ctx, key)
	if away(ctx, err) {
		if last, ok := s.lastFrame(key); ok {
			s.Log.Error("the database is away, a page is shown as it last was", "path", r.URL.Path, "error", err)
			last.old = true
			s.write(w, r, last, nil)
			return
		}
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	var n *notice
	if r.Header.Get(keepHeader) == "" { // a device keeps the page, not what was said on it once
		n = s.popNotice(ctx)
	}
	s.write(w, r, f, n)
}

func (s *site) write(w http.ResponseWriter, r *http.Request, f frame, n *notice) {
	t, err := s.pages.of(f.Template)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	page := layout{
		view: f.view, Body: template.HTML(f.html), Mark: f.mark, Kitchen: s.Kitchen.Name, Who: s.whoWords(s.who(r.Context())), //nolint:gosec // rendered by html/template
		Notice: n, Demo: s.Demo, SignOut: s.Passphrase != "", Limited: s.limited(r.Context()), Version: s.version() + nightMark(r.Context()),
	}
	if page.Night == "" {
		if nt, err := s.Desk.Current(r.Context()); err == nil {
			page.Night, page.Another = s.day(nt.Date), s.another(r.Context(), nt)
		}
	}
	now := s.Now()
	if page.At, page.Now = s.clock(now), now.UnixMilli(); f.old {
		page.Since, page.Age = s.clock(f.at), int(now.Sub(f.at).Seconds())
	} else if !f.KeepUntil.IsZero() {
		page.Keep = s.owner(r.Context())
		w.Header().Set(keepHeader, fmt.Sprintf("%s %d", page.Keep, max(0, int(f.KeepUntil.Sub(now).Seconds()))))
	}
	w.Header().Set("Passbell-Mark", f.mark)
	name := "page"
	if isHTMX(r) {
		name = "swap"
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, page); err != nil {
		s.fail(w, r, err)
		return
	}
	s.send(w, r, f.Status, b.Bytes())
}

// bare answers with a page that stands outside the frame.
func (s *site) bare(w http.ResponseWriter, r *http.Request, status int, name string, data any) {
	var b bytes.Buffer
	t, err := s.pages.of(name)
	if err == nil {
		err = t.ExecuteTemplate(&b, "bare", data)
	}
	if err != nil {
		s.Log.Error("a page could not be made", "page", name, "error", err)
		http.Error(w, s.t("This page could not be made"), http.StatusInternalServerError)
		return
	}
	s.send(w, r, status, b.Bytes())
}

func (s *site) send(w http.ResponseWriter, r *http.Request, status int, body []byte) {
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Add("Vary", "Accept-Encoding, HX-Request, Cookie")
	if takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		body = s.packer.pack(body)
	}
	if status != 0 {
		w.WriteHeader(status)
	}
	_, _ = w.Write(body) // nobody to tell when the reader went away
}

type sorryPage struct {
	Title, Text string
	Home        bool // the pass is a way on from here; for whoever came by a link it is none
}

// refuse says in words why a request is not served.
func (s *site) refuse(w http.ResponseWriter, r *http.Request, status int, title, text string) {
	s.bare(w, r, status, "sorry", sorryPage{title, text, !public(r)})
}

// fail answers a request that could not be served.
func (s *site) fail(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case errors.Is(err, context.Canceled):
		return
	case errors.Is(err, night.ErrNotFound):
		s.refuse(w, r, http.StatusNotFound, s.t("Not on this night"), s.t("There is nothing here by that name. Look for it under Orders by name, number or bag."))
		return
	}
	s.Log.Error("a page could not be made", "path", r.URL.Path, "error", err)
	if away(r.Context(), err) {
		w.Header().Set("Retry-After", "5")
		s.refuse(w, r, http.StatusServiceUnavailable, s.t("passbell can’t reach its own records just now"),
			s.t("Nothing was changed and nothing is lost. It goes on by itself once the database is back. Until then work from a page that is open, or from the paper sheet; whoever looks after the machine finds the reason in the log."))
		return
	}
	s.refuse(w, r, http.StatusInternalServerError, s.t("This page could not be made"),
		s.t("Something went wrong in passbell itself. Nothing was changed by it. Try once more; if it stays, work from the paper sheet and look at the log."))
}

// safeBack is an address of this site, or the pass.
func safeBack(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.IsAbs() || u.Host != "" || u.User != nil || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") ||
		strings.ContainsAny(to, "\\\r\n\t") || strings.HasPrefix(u.Path, "/sign-in") {
		return "/"
	}
	return to
}

// errNoPage says that an address gives no page.
var errNoPage = fmt.Errorf("page: %w", night.ErrNotFound)

// view makes the content of the page at an address.
func (s *site) view(ctx context.Context, to string, limited bool) (view, error) {
	u, err := url.Parse(to)
	if err != nil {
		return view{}, errNoPage
	}
	n, err := s.Desk.Current(ctx)
	if errors.Is(err, desk.ErrNoNight) {
		return view{Template: "none", Live: true, Title: s.t("No night"), Path: u.RequestURI()}, nil
	}
	if err != nil {
		return view{}, err
	}
	v, err := s.viewOf(ctx, n, u, limited)
	v.Path, v.Night, v.Another = u.RequestURI(), s.day(n.Date), s.another(ctx, n)
	if kept := u.RequestURI(); helperPage(kept) || kept == "/orders" {
		v.KeepUntil = n.HelpUntil(s.Kitchen.Zone)
	}
	return v, err
}

func (s *site) viewOf(ctx context.Context, n night.Night, u *url.URL, limited bool) (view, error) {
	parts := strings.Split(strings.Trim(u.EscapedPath(), "/"), "/")
	for i, p := range parts {
		var err error
		if parts[i], err = url.PathUnescape(p); err != nil {
			return view{}, errNoPage
		}
	}
	switch {
	case limited && !helperPage(u.Path):
		return view{}, errNoPage
	case u.Path == "/" || u.Path == "":
		return s.passView(ctx, n, limited)
	case len(parts) == 1 && parts[0] == "orders":
		return s.ordersView(ctx, n, u.Query().Get("q"))
	case len(parts) == 2 && parts[0] == "orders":
		return s.orderView(ctx, n, parts[1])
	case len(parts) == 3 && parts[0] == "orders" && parts[2] == "cancel":
		return s.cancelView(ctx, n, parts[1])
	case len(parts) == 3 && parts[0] == "orders" && parts[2] == "short":
		return s.shortView(ctx, n, parts[1], u.Query())
	case len(parts) == 2 && parts[0] == "texts":
		return s.textView(ctx, n, parts[1], u.Query().Get("q"))
	case len(parts) == 1 && parts[0] == "messages":
		return s.messagesView(ctx, n)
	case u.Path == "/plan":
		return s.planView(ctx, n)
	case u.Path == "/by-hand":
		return s.byHandView(ctx, n)
	case u.Path == "/late":
		return s.lateView(ctx, n)
	case u.Path == "/night":
		return s.nightView(ctx, n)
	case u.Path == "/runner":
		return s.runnerView(ctx, n, limited)
	case u.Path == "/wall":
		return s.wallView(ctx, n)
	case u.Path == "/more":
		return s.moreView(n)
	case len(parts) == 1 && parts[0] == "report":
		return s.reportView(ctx, n)
	}
	return view{}, errNoPage
}

func (s *site) addPages(mux *http.ServeMux) {
	for _, pattern := range []string{
		"GET /{$}", "GET /orders", "GET /orders/{ref}", "GET /orders/{ref}/cancel", "GET /orders/{ref}/short", "GET /texts/{id}", "GET /messages", "GET /report",
		"GET /plan", "GET /by-hand", "GET /late", "GET /runner", "GET /wall", "GET /night", "GET /more",
	} {
		mux.HandleFunc(pattern, s.open)
	}
	mux.HandleFunc("GET /live", s.live)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, errNoPage) })
}
