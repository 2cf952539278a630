package webapi

import (
	"context"
	"errors"
	"io"
	"net/http"
	urlpath "path"
	"strings"
	"time"

	"passbell/adapters"
)

// hookLimit bounds the body of a call from the provider.
const hookLimit = 1 << 20

// hook is a Hook that was found to be sound.
type hook struct {
	method     string
	reader     reader
	verify     *verifier
	answer     string
	answerType string
}

func (c *compiler) hook(key string, h *Hook, k kind) *hook {
	if h == nil {
		return nil
	}
	out := &hook{method: strings.ToUpper(h.Method), answer: h.Answer, answerType: h.AnswerType}
	form := false
	switch h.Format {
	case "", "json":
	case "form":
		form = true
	default:
		c.fault(key+".format", "%q is not known; there are json and form", h.Format)
	}
	switch out.method {
	case "":
		out.method = http.MethodPost
	case http.MethodPost, http.MethodPut:
	case http.MethodGet:
		form = true // the query is one
		if h.Verify.Kind == "hmac" || h.Verify.Kind == "standard" {
			c.fault(key+".method", "a GET has no body that could be signed; verify it by token or basic")
		}
	default:
		c.fault(key+".method", "must be POST, PUT or GET")
	}
	out.reader = c.reader(key, h.Fields, k, form)
	out.verify = c.verify(key+".verify", h.Verify)
	return out
}

// Hook serves the provider's calls. It answers success once everything in the
// call is stored, 401 to a call that does not prove itself, 422 to one that
// cannot be read and 503 to one that could not be stored; all but success make
// a provider call again.
func (a *Adapter) Hook(sink adapters.Sink) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		hooks := a.plan.hooksAt(urlpath.Base(r.URL.Path))
		if len(hooks) == 0 {
			http.NotFound(w, r)
			return
		}
		first := hooks[0]
		if r.Method != first.method {
			w.Header().Set("Allow", first.method)
			http.Error(w, "wrong method", http.StatusMethodNotAllowed)
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, hookLimit))
		if err != nil {
			a.log.Warn("a call from the provider was too long or broke off")
			http.Error(w, "the body is too long or broke off", http.StatusRequestEntityTooLarge)
			return
		}
		now := a.now()
		for _, h := range hooks {
			if err := h.verify.check(h.verify, r, body, now); err != nil {
				a.log.Warn("a call to the hook did not prove itself and was turned away", "why", err)
				http.Error(w, "not verified", http.StatusUnauthorized)
				return
			}
		}
		fields := body
		if r.Method == http.MethodGet {
			fields = []byte(r.URL.RawQuery)
		}
		for _, h := range hooks {
			if status, err := a.takeIn(r.Context(), h, sink, fields, r.Header.Get, now); err != nil {
				a.log.Warn("a call from the provider was not taken", "status", status, "why", err)
				http.Error(w, http.StatusText(status), status)
				return
			}
		}
		first.thank(w)
	})
}

// hooksAt returns the hooks behind the last element of a call's path.
func (p *plan) hooksAt(name string) []*hook {
	switch {
	case name == "inbound" && p.inbound != nil:
		return []*hook{p.inbound}
	case name == "receipts" && p.receipts != nil:
		return []*hook{p.receipts}
	case name == "events" && p.inbound != nil && p.receipts != nil && p.inbound.method == p.receipts.method &&
		p.inbound.reader.onlyField != nil && p.receipts.reader.onlyField != nil:
		return []*hook{p.inbound, p.receipts}
	}
	return nil
}

func (h *hook) thank(w http.ResponseWriter) {
	if h.answer == "" {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	kind := h.answerType
	if kind == "" {
		kind = "text/plain; charset=utf-8"
	}
	w.Header().Set("Content-Type", kind)
	_, _ = io.WriteString(w, h.answer) // the provider has gone: it will call again
}

var (
	errNotStored  = errors.New("it could not be stored")
	errUnreadable = errors.New("an event lacks the fields that the description names")
)

// takeIn stores everything that a call holds. The status is for the caller
// where there is an error.
func (a *Adapter) takeIn(ctx context.Context, h *hook, sink adapters.Sink, body []byte, header func(string) string, now time.Time) (int, error) {
	evs, err := h.reader.read(body, header, now)
	if err != nil {
		return http.StatusUnprocessableEntity, err
	}
	for _, in := range evs.inbound {
		if sink.Inbound(ctx, in) != nil {
			return http.StatusServiceUnavailable, errNotStored
		}
	}
	for _, r := range evs.receipts {
		if sink.Receipt(ctx, r) != nil {
			return http.StatusServiceUnavailable, errNotStored
		}
	}
	a.tellUnsorted(evs)
	if evs.unreadable > 0 {
		return http.StatusUnprocessableEntity, errUnreadable
	}
	return 0, nil
}

// tellUnsorted logs statuses that no rule knows. They are acknowledged all the
// same: a second delivery would say nothing new.
func (a *Adapter) tellUnsorted(evs events) {
	if evs.unsorted > 0 {
		a.log.Warn("receipts with an unknown status were left out; name it under statuses", "count", evs.unsorted, "first", evs.status)
	}
}
