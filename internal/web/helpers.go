package web

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"html/template"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/httprate"
	qrcode "github.com/skip2/go-qrcode"

	"passbell/internal/night"
)

// Keeper keeps what the pages need besides the night itself.
type Keeper interface {
	AddHelper(ctx context.Context, h night.Helper, hash, who string) (int64, error)
	HelperBy(ctx context.Context, hash string) (night.Helper, error)
	Helper(ctx context.Context, id int64) (night.Helper, error)
	Helpers(ctx context.Context, nightID int64) ([]night.Helper, error)
	EndHelper(ctx context.Context, id int64, who string, now time.Time) error
	Secret(ctx context.Context, name string, fresh []byte) ([]byte, error)
}

const (
	keyHelper = "helper"
	// linkTries is how many links one address may try in a minute.
	linkTries = 30
)

// helpersPage lists who may help on this night.
type helpersPage struct {
	Origin
	Helpers []helperLine
	Made    string // the name that a link was just made for
	Link    string // shown once: only its hash is kept
	Code    template.URL
	Local   bool // the link works on this machine only
	Until   string
}

type helperLine struct {
	Origin
	ID    int64
	Name  string
	Since string
	State string
	Works bool
}

func (s *site) addHelpers(mux *http.ServeMux) {
	mux.HandleFunc("GET /helpers", func(w http.ResponseWriter, r *http.Request) { s.showHelpers(w, r, "", "") })
	mux.HandleFunc("POST /helpers", s.makeHelper)
	mux.HandleFunc("POST /helpers/{id}/end", func(w http.ResponseWriter, r *http.Request) {
		if _, ok := s.nightOf(w, r); !ok {
			return
		}
		id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
		if err == nil {
			err = s.Keep.EndHelper(r.Context(), id, s.who(r.Context()), s.Now())
		}
		n := notice{Text: s.t("Ended: that link opens nothing any more.")}
		if err != nil {
			n = s.sorry(night.Order{}, s.t("end a link"), err)
		}
		s.answer(w, r, n)
	})
}

// addHelp mounts the page that a helper's link opens. Opening it changes
// nothing: what looks a link up beforehand must not use it up.
func (s *site) addHelp(mux *http.ServeMux) {
	limit := httprate.LimitBy(linkTries, time.Minute, address, httprate.WithLimitCounter(s.opened), httprate.WithLimitHandler(s.tooMany))
	mux.Handle("GET /help/{token}", limit(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, ok := s.helperOf(w, r)
		if ok {
			s.bare(w, r, http.StatusOK, "help", helpPage{s.Kitchen.Name, h.Name, r.PathValue("token")})
		}
	})))
	mux.Handle("POST /help/{token}", limit(s.sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, ok := s.helperOf(w, r)
		if !ok {
			return
		}
		if err := s.sessions.RenewToken(r.Context()); err != nil {
			s.fail(w, r, err)
			return
		}
		s.sessions.Remove(r.Context(), keySigned)
		s.sessions.Put(r.Context(), keyHelper, h.ID)
		s.sessions.Put(r.Context(), keyWho, h.Name)
		http.Redirect(w, r, "/runner", http.StatusSeeOther)
	}))))
}

type helpPage struct{ Kitchen, Name, Token string }

func (s *site) tooMany(w http.ResponseWriter, r *http.Request) {
	s.refuse(w, r, http.StatusTooManyRequests, s.t("Too many tries"), s.t("Wait a minute, then open the link once more."))
}

// helperOf finds whose link an address is, while it works.
func (s *site) helperOf(w http.ResponseWriter, r *http.Request) (night.Helper, bool) {
	h, err := s.Keep.HelperBy(r.Context(), hashOf(r.PathValue("token")))
	switch {
	case err == nil && h.Works(s.Now()):
		return h, true
	case err != nil && !errors.Is(err, night.ErrNotFound):
		s.fail(w, r, err)
	default:
		s.ended(w, r, http.StatusGone)
	}
	return h, false
}

// ended says that a link opens nothing any more, not the pass either.
func (s *site) ended(w http.ResponseWriter, r *http.Request, status int) {
	s.bare(w, r, status, "sorry", sorryPage{
		Title: s.t("This link has ended"), Text: s.t("A helper’s link works for one night, until the kitchen ends it. Ask the kitchen for a new one."),
	})
}

func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// helping gives the helper whom a visitor is; ok is false once their link has
// ended, and id is 0 for whoever is no helper.
func (s *site) helping(ctx context.Context) (id int64, ok bool, err error) {
	id = s.sessions.GetInt64(ctx, keyHelper)
	if id == 0 {
		return 0, true, nil
	}
	h, err := s.helper(ctx, id)
	if errors.Is(err, night.ErrNotFound) {
		return id, false, nil
	}
	return id, h.Works(s.Now()), err
}

// limited tells whether a visitor sees a helper's view.
func (s *site) limited(ctx context.Context) bool { return s.sessions.GetInt64(ctx, keyHelper) != 0 }

// helperActs are what a helper may press on an order.
var helperActs = []string{"here", "packed", "unpacked", "out", "undo", "vehicle"}

// mayHelp tells whether a helper may make a request.
func mayHelp(r *http.Request) bool {
	switch {
	case r.Method == http.MethodPost && strings.HasPrefix(r.URL.Path, "/orders/"):
		act := path.Base(r.URL.Path)
		if act == "undo" { // not of what only the cook does
			from := night.State(r.PostFormValue("from"))
			return from == night.Arrived || from == night.HandedOut
		}
		if strings.Contains(r.URL.Path, "/items/") {
			return strings.Count(r.URL.Path, "/") == 5 && (act == "tick" || act == "untick")
		}
		return strings.Count(r.URL.Path, "/") == 3 && slices.Contains(helperActs, act)
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		return false
	case r.URL.Path == "/live":
		to, _, _ := strings.Cut(safeBack(r.FormValue("of")), "?")
		return helperPage(to)
	}
	return helperPage(r.URL.Path)
}

func helperPage(to string) bool { return to == "/" || to == "/runner" || to == "/wall" }

func (s *site) makeHelper(w http.ResponseWriter, r *http.Request) {
	n, ok := s.nightHere(w, r)
	if !ok {
		return
	}
	name := tidyTo(r.PostFormValue("name"), 40)
	switch strings.ToLower(name) {
	case "", "clock", "customer", cook:
		s.sessions.Put(r.Context(), keyNotice, s.t("Give the helper a name of their own: it stands beside what they do."))
		s.sessions.Put(r.Context(), keyBad, true)
		http.Redirect(w, r, "/helpers", http.StatusSeeOther)
		return
	}
	token := rand.Text()
	h := night.Helper{NightID: n.ID, Name: name, MadeAt: s.Now().UTC(), Expires: n.HelpUntil(s.Kitchen.Zone)}
	if _, err := s.Keep.AddHelper(r.Context(), h, hashOf(token), s.who(r.Context())); err != nil {
		s.fail(w, r, err)
		return
	}
	s.showHelpers(w, r, name, token)
}

func (s *site) showHelpers(w http.ResponseWriter, r *http.Request, made, token string) {
	n, err := s.Desk.Current(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	list, err := s.Keep.Helpers(r.Context(), n.ID)
	p := helpersPage{Origin: Origin{Back: "/helpers", Night: n.ID}, Made: made, Until: s.when(n, n.HelpUntil(s.Kitchen.Zone))}
	for _, h := range list {
		l := helperLine{Origin: p.Origin, ID: h.ID, Name: h.Name, Since: s.when(n, h.MadeAt), Works: h.Works(s.Now()), State: s.t("works")}
		switch {
		case !h.Ended.IsZero():
			l.State = s.t("ended %s", s.when(n, h.Ended))
		case !l.Works:
			l.State = s.t("over with the night")
		}
		p.Helpers = append(p.Helpers, l)
	}
	if token != "" {
		p.Link, p.Local = here(r)+"/help/"+token, loopback(r.Host)
		if png, err := qrcode.Encode(p.Link, qrcode.Medium, 480); err == nil {
			p.Code = template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png)) //nolint:gosec // made here
		}
	}
	s.present(w, r, view{Template: "helpers", Title: s.t("Helpers"), Tab: "more", Path: "/helpers", Data: p}, s.popNotice(r.Context()), err)
}

// here is the address under which a visitor reached this server.
func here(r *http.Request) string {
	scheme := "http"
	if r.TLS != nil || r.Header.Get("X-Forwarded-Proto") == "https" {
		scheme = "https"
	}
	return scheme + "://" + r.Host
}
