package web

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net"
	"net/http"
	"net/url"
	"strings"
)

// maxBody is the largest request body that is read: forms and hooks are small.
const maxBody = 1 << 20

// policy lets a page load what this server serves and nothing else; no script
// and no style can stand in the page itself.
const policy = "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// headers sets what holds for every answer.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		// Names, numbers and allergies are nobody else's business, and a page
		// from a cache would show an old night.
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

func limitBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		limit := int64(maxBody)
		if r.Method == http.MethodPost && r.URL.Path == "/book" {
			limit = maxFile
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		next.ServeHTTP(w, r)
	})
}

// guardHost limits bodies and, where there is no passphrase, keeps out who is
// not on this machine.
func (s *site) guardHost(next http.Handler) http.Handler {
	return limitBody(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case strings.HasPrefix(r.URL.Path, "/api/"): // has a guard of its own
		case public(r): // for whoever has a link
		case s.Passphrase == "" && !local(r) && !s.helperHere(r):
			s.refuse(w, r, http.StatusForbidden, s.t("Only this machine can open the pass"),
				s.t("No passphrase is set, so the pass is shown on the machine it runs on and nowhere else. Set one there with `passbell init --passphrase`, or open http://localhost on that machine."))
			return
		}
		next.ServeHTTP(w, r)
	}))
}

// public tells whether a request is for what a link opens: its page, and the
// files that the page loads.
func public(r *http.Request) bool {
	for _, prefix := range []string{"/help/", "/here/", "/static/"} {
		if strings.HasPrefix(r.URL.Path, prefix) {
			return true
		}
	}
	return r.URL.Path == "/favicon.ico" || r.URL.Path == "/language"
}

// helperHere tells whether a request carries the session of a helper: they may
// be on another machine where nobody else may.
func (s *site) helperHere(r *http.Request) bool {
	c, err := r.Cookie(s.sessions.Cookie.Name)
	if err != nil {
		return false
	}
	ctx, err := s.sessions.Load(r.Context(), c.Value)
	return err == nil && s.limited(ctx)
}

// guardAPI asks for the token, or where none is set for a caller on this
// machine.
func (s *site) guardAPI(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case s.Token == "" && !local(r):
			problem(w, http.StatusForbidden, "no token is set, so the API answers the machine it runs on only: set one with `passbell init`")
			return
		case s.Token != "" && !s.hasToken(r):
			w.Header().Set("WWW-Authenticate", `Bearer realm="passbell"`)
			problem(w, http.StatusUnauthorized, "send the token: Authorization: Bearer …")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *site) hasToken(r *http.Request) bool {
	kind, token, ok := strings.Cut(r.Header.Get("Authorization"), " ")
	if !ok || !strings.EqualFold(kind, "Bearer") {
		return false
	}
	sum := sha256.Sum256([]byte(strings.TrimSpace(token)))
	return subtle.ConstantTimeCompare([]byte(hex.EncodeToString(sum[:])), []byte(strings.ToLower(s.Token))) == 1
}

// local tells whether a request comes from this machine and was meant for it. A
// page elsewhere can point a name of its own at this machine, so the name that
// was asked for counts as well; and a request that was passed on by a proxy
// names whom it was passed on for.
func local(r *http.Request) bool {
	if r.Header.Get("X-Forwarded-For") != "" || r.Header.Get("Forwarded") != "" {
		return false
	}
	return loopback(r.RemoteAddr) && loopback(r.Host)
}

func loopback(hostPort string) bool {
	host := hostPort
	if h, _, err := net.SplitHostPort(hostPort); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	// Browsers take every name under localhost for this machine (RFC 6761 §6.3):
	// no page elsewhere can have one.
	if name := strings.ToLower(host); name == "localhost" || strings.HasSuffix(name, ".localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// guardPages asks for the passphrase where one is set.
func (s *site) guardPages(next http.Handler) http.Handler {
	return s.sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id, ok, err := s.helping(r.Context())
		switch {
		case err != nil:
			s.fail(w, r, err)
			return
		case id != 0 && !ok:
			keepNothing(w)
			s.ended(w, r, http.StatusForbidden)
			return
		case id != 0 && !mayHelp(r):
			s.refuse(w, r, http.StatusForbidden, s.t("That is the cook’s"), s.t("Your link shows the pass, the runner’s page and the wall. Ask the cook for anything else."))
			return
		}
		if id == 0 && s.Passphrase != "" && !s.signedIn(r.Context()) {
			to := "/sign-in?back=" + url.QueryEscape(backTo(r))
			if isHTMX(r) {
				w.Header().Set("HX-Redirect", to)
				w.WriteHeader(http.StatusUnauthorized)
				return
			}
			http.Redirect(w, r, to, http.StatusSeeOther)
			return
		}
		s.renew(r.Context())
		next.ServeHTTP(w, r)
	}))
}

// backTo is the page to go to after the sign-in: the one asked for, or the one
// that a form was on.
func backTo(r *http.Request) string {
	if r.Method == http.MethodGet && r.URL.Path != "/live" {
		return r.URL.RequestURI()
	}
	return "/"
}

func isHTMX(r *http.Request) bool { return r.Header.Get("HX-Request") == "true" }

func (s *site) denyCrossOrigin(w http.ResponseWriter, r *http.Request) {
	s.refuse(w, r, http.StatusForbidden, s.t("That came from another site"), s.t("Another web page tried to press a button here. Nothing was changed."))
}
