package web

import (
	"context"
	"errors"
	"net"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/alexedwards/scs/v2"
	"github.com/go-chi/httprate"
	"golang.org/x/crypto/bcrypt"
)

const (
	// signedInFor is how long a sign-in lasts. Every visit starts it anew, so
	// nobody who works with the pass is asked in the middle of a night.
	signedInFor = 30 * 24 * time.Hour
	// tries is how many passphrases one address may try in a minute.
	tries = 10
	cook  = "cook"

	keySigned = "signed in"
	keyWho    = "who"
	keyNotice = "notice"
	keyBad    = "notice is bad"
)

func newSessions(store scs.CtxStore) *scs.SessionManager {
	m := scs.New()
	m.Store = store
	m.Lifetime = signedInFor
	m.Cookie.Name = "passbell"
	m.Cookie.HttpOnly = true
	m.Cookie.SameSite = http.SameSiteLaxMode
	m.Cookie.Persist = true
	return m
}

func (s *site) signedIn(ctx context.Context) bool { return s.sessions.GetBool(ctx, keySigned) }

// renew starts the sign-in anew once it is a few days old.
func (s *site) renew(ctx context.Context) {
	if !s.sessions.Exists(ctx, keySigned) && !s.sessions.Exists(ctx, keyWho) {
		return
	}
	// The session library lives by the machine's clock, so its own deadline is
	// what to count from.
	left := s.sessions.Deadline(ctx)
	if until := s.Now().Add(signedInFor); until.Sub(left) > 3*24*time.Hour {
		s.sessions.SetDeadline(ctx, until)
	}
}

// who is the name that a visitor's acts are written down under.
func (s *site) who(ctx context.Context) string {
	if name := s.sessions.GetString(ctx, keyWho); name != "" {
		return name
	}
	return cook
}

type signInPage struct {
	Kitchen string
	Back    string
	Wrong   string
}

func (s *site) addSignIn(mux *http.ServeMux) {
	limit := httprate.LimitBy(tries, time.Minute, address, httprate.WithLimitCounter(s.tried),
		httprate.WithLimitHandler(func(w http.ResponseWriter, r *http.Request) {
			s.showSignIn(w, r, http.StatusTooManyRequests, s.t("Too many tries. Wait a minute, then try once more."))
		}))
	mux.Handle("GET /sign-in", s.sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.Passphrase == "" || s.signedIn(r.Context()) {
			http.Redirect(w, r, safeBack(r.FormValue("back")), http.StatusSeeOther)
			return
		}
		s.showSignIn(w, r, http.StatusOK, "")
	})))
	mux.Handle("POST /sign-in", limit(s.sessions.LoadAndSave(http.HandlerFunc(s.signIn))))
	mux.Handle("POST /sign-out", s.sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := s.sessions.Destroy(r.Context()); err != nil {
			s.fail(w, r, err)
			return
		}
		http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	})))
}

// address is whose tries are counted. Behind a proxy that is one for all: a
// guesser then holds up the others for a minute, and still gets no further.
func address(r *http.Request) (string, error) {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr, nil
	}
	return httprate.CanonicalizeIP(host), nil
}

func (s *site) showSignIn(w http.ResponseWriter, r *http.Request, status int, wrong string) {
	keepNothing(w)
	s.bare(w, r, status, "sign-in", signInPage{Kitchen: s.Kitchen.Name, Back: safeBack(r.FormValue("back")), Wrong: wrong})
}

func (s *site) signIn(w http.ResponseWriter, r *http.Request) {
	err := bcrypt.CompareHashAndPassword([]byte(s.Passphrase), []byte(r.PostFormValue("passphrase")))
	if s.Passphrase == "" || err != nil {
		if err != nil && !errors.Is(err, bcrypt.ErrMismatchedHashAndPassword) {
			s.Log.Error("the passphrase in the configuration can't be used", "error", err)
		}
		s.showSignIn(w, r, http.StatusUnauthorized, s.t("That is not the passphrase. Capitals and spaces count."))
		return
	}
	// A new token: one that somebody planted before the sign-in is worth nothing.
	if err := s.sessions.RenewToken(r.Context()); err != nil {
		s.fail(w, r, err)
		return
	}
	s.sessions.Remove(r.Context(), keyHelper)
	s.sessions.Put(r.Context(), keySigned, true)
	s.putWho(r)
	http.Redirect(w, r, safeBack(r.PostFormValue("back")), http.StatusSeeOther)
}

func (s *site) putWho(r *http.Request) {
	name := strings.Join(strings.Fields(r.PostFormValue("who")), " ")
	if utf8.RuneCountInString(name) > 40 {
		name = string([]rune(name)[:40])
	}
	// The clock and the customers have names of their own in the history.
	switch strings.ToLower(name) {
	case "", "clock", "customer", s.t("cook"):
		s.sessions.Remove(r.Context(), keyWho)
		return
	}
	s.sessions.Put(r.Context(), keyWho, name)
}
