package practice

import (
	"encoding/json"
	"errors"
	"mime"
	"net"
	"net/http"
	"strings"
	"time"

	"passbell/adapters"
)

// hookLimit bounds one call; a text is far shorter.
const hookLimit = 64 << 10

// posted is what the hook takes in, as JSON or as a form with the same names.
// A call with a status is a receipt, any other an inbound.
type posted struct {
	ID     string    `json:"id"`
	From   string    `json:"from"`
	To     string    `json:"to"`
	Text   string    `json:"text"`
	At     time.Time `json:"at"`
	Status string    `json:"status"`
	Reason string    `json:"reason"`
}

// Hook takes invented texts and receipts over HTTP from this machine only: a
// POST of {"id","from","to","text","at"} is an inbound, one of {"id","status",
// "reason","at"} a receipt. It answers 204 once the sink has stored it and 503
// where the sink could not; without an id each call is a text of its own.
func (n *Network) Hook(sink adapters.Sink) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !fromThisMachine(r) {
			http.Error(w, "the practice network takes texts from this machine only", http.StatusForbidden)
			return
		}
		if r.Method != http.MethodPost {
			w.Header().Set("Allow", http.MethodPost)
			http.Error(w, "POST a text here", http.StatusMethodNotAllowed)
			return
		}
		p, err := readPosted(w, r)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		if p.At.IsZero() {
			p.At = n.deps.Clock.Now().UTC()
		}
		if err := n.store(r, sink, p); err != nil {
			n.deps.Log.Warn("a posted text could not be stored; post it again", "adapter", n.cfg.Name)
			http.Error(w, "not stored; post it again", http.StatusServiceUnavailable)
			return
		}
		w.WriteHeader(http.StatusNoContent)
	})
}

func (n *Network) store(r *http.Request, sink adapters.Sink, p posted) error {
	if p.Status != "" {
		return sink.Receipt(r.Context(), adapters.Receipt{
			ID: p.ID, Status: adapters.Status(p.Status), Reason: p.Reason, At: p.At,
		})
	}
	if p.ID == "" {
		p.ID, _ = n.newID()
	}
	return sink.Inbound(r.Context(), adapters.Inbound{ID: p.ID, From: p.From, To: p.To, Text: p.Text, At: p.At})
}

func readPosted(w http.ResponseWriter, r *http.Request) (posted, error) {
	r.Body = http.MaxBytesReader(w, r.Body, hookLimit)
	var p posted
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); strings.HasSuffix(kind, "form-urlencoded") {
		if err := r.ParseForm(); err != nil {
			return posted{}, errors.New("the form cannot be read")
		}
		f := r.PostForm
		p = posted{
			ID: f.Get("id"), From: f.Get("from"), To: f.Get("to"), Text: f.Get("text"),
			Status: f.Get("status"), Reason: f.Get("reason"),
		}
		if at := f.Get("at"); at != "" {
			t, err := time.Parse(time.RFC3339, at)
			if err != nil {
				return posted{}, errors.New("at must be a time like 2026-03-13T18:05:00Z")
			}
			p.At = t.UTC()
		}
	} else if err := json.NewDecoder(r.Body).Decode(&p); err != nil {
		return posted{}, errors.New("the body must be JSON with from and text, or id and status")
	}
	switch s := adapters.Status(p.Status); {
	case p.Status == "" && p.From == "":
		return posted{}, errors.New("from is missing: the number that the text comes from")
	case p.Status == "":
	case s != adapters.OnTheWay && s != adapters.Delivered && s != adapters.Failed:
		return posted{}, errors.New(`status must be "on the way", "delivered" or "failed"`)
	case p.ID == "":
		return posted{}, errors.New("id is missing: the id of the text that the receipt is about")
	}
	return p, nil
}

// fromThisMachine is false for a call that a proxy on this machine passed on or
// that a strange page in a browser here makes.
func fromThisMachine(r *http.Request) bool {
	if http.NewCrossOriginProtection().Check(r) != nil {
		return false
	}
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Real-Ip"} {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
