package webapi

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"passbell/adapters"
)

// kind is what an event reports.
type kind int

const (
	kindInbound kind = iota
	kindReceipt
)

// reader turns a provider's events into ours.
type reader struct {
	kind kind
	form bool

	each                   paths
	onlyField              paths
	onlyValues             []string
	id, from, to, text, at paths
	status, reason         paths
	atFormat               string
	asGiven                bool
	statuses               map[string]adapters.Status
}

// events are what one call or page held.
type events struct {
	inbound  []adapters.Inbound
	receipts []adapters.Receipt
	listed   int // before any was left out
	// unreadable counts events without the fields that they need, unsorted the
	// statuses that no rule knows, the first of which is in status.
	unreadable, unsorted int
	status               string
}

// ignored is a status that is no news.
const ignored adapters.Status = "ignore"

// usualStatuses are the words that providers use, from memory; those of SMPP
// v3.4 §5.2.28 among them.
var usualStatuses = map[string]adapters.Status{
	"delivered": adapters.Delivered, "delivrd": adapters.Delivered, "read": adapters.Delivered,
	"failed": adapters.Failed, "undelivered": adapters.Failed, "undeliverable": adapters.Failed, "undeliv": adapters.Failed,
	"rejected": adapters.Failed, "rejectd": adapters.Failed, "expired": adapters.Failed, "deleted": adapters.Failed,
	"blocked": adapters.Failed, "canceled": adapters.Failed, "cancelled": adapters.Failed,
	"accepted": adapters.OnTheWay, "acceptd": adapters.OnTheWay, "queued": adapters.OnTheWay, "sent": adapters.OnTheWay,
	"sending": adapters.OnTheWay, "enroute": adapters.OnTheWay, "submitted": adapters.OnTheWay, "buffered": adapters.OnTheWay,
	"pending": adapters.OnTheWay, "scheduled": adapters.OnTheWay, "delivering": adapters.OnTheWay,
}

func (c *compiler) reader(key string, f Fields, k kind, form bool) reader {
	r := reader{
		kind: k, form: form, onlyValues: f.OnlyValues, atFormat: f.AtFormat,
		statuses: map[string]adapters.Status{},
	}
	read := func(name, s string) paths {
		if !form || s == "" {
			return c.paths(key+"."+name, s)
		}
		if h, ok := strings.CutPrefix(s, "header:"); ok {
			return paths{{header: h}}
		}
		return paths{{steps: []step{{name: s}}}}
	}
	r.each, r.onlyField = read("each", f.Each), read("only_field", f.OnlyField)
	r.id, r.from, r.to, r.text = read("id", f.ID), read("from", f.From), read("to", f.To), read("text", f.Text)
	r.at, r.status, r.reason = read("at", f.At), read("status", f.Status), read("reason", f.Reason)
	if form && f.Each != "" {
		c.fault(key+".each", "is for JSON; a form holds one event")
	}
	if (f.OnlyField == "") != (len(f.OnlyValues) == 0) {
		c.fault(key+".only_field", "and only_values belong together")
	}
	switch f.Numbers {
	case "", "international":
	case "as given":
		r.asGiven = true
	default:
		c.fault(key+".numbers", "%q is not known; there are \"international\" and \"as given\"", f.Numbers)
	}
	need := func(name, v, why string) {
		if v == "" {
			c.fault(key+"."+name, "is missing: %s", why)
		}
	}
	if k == kindInbound {
		need("from", f.From, "where the sender's number stands")
		need("text", f.Text, "where the text stands")
		need("id", f.ID+f.At, "where the text's id stands; without id and at two texts alike would count as one")
	} else {
		need("id", f.ID, "where the id stands that the answer to the send gave")
		need("status", f.Status, "where the status stands")
	}
	for word, s := range f.Statuses {
		switch st := adapters.Status(s); st {
		case adapters.OnTheWay, adapters.Delivered, adapters.Failed, ignored:
			r.statuses[strings.ToLower(word)] = st
		default:
			c.fault(key+".statuses", "%q is not known; there are \"on the way\", \"delivered\", \"failed\" and \"ignore\"", s)
		}
	}
	return r
}

var (
	errBodyNotForm = errors.New("the body is not a form")
	errBodyNotJSON = errors.New("the body is not JSON")
	errNoList      = errors.New("the list of events is not where each says")
)

// read takes a call's body, or for a form its encoded fields, apart. now dates
// the made-up id of a text that has neither id nor time.
func (r *reader) read(body []byte, header func(string) string, now time.Time) (events, error) {
	if r.form {
		form, err := url.ParseQuery(string(body))
		if err != nil {
			return events{}, errBodyNotForm
		}
		fields := map[string]any{}
		for name, v := range form {
			fields[name] = utf8From(v[0])
		}
		return r.collect(fields, header, now)
	}
	doc, err := decode(body)
	if err != nil {
		return events{}, errBodyNotJSON
	}
	return r.collect(doc, header, now)
}

// collect reads every event of a document.
func (r *reader) collect(doc any, header func(string) string, now time.Time) (events, error) {
	list := []any{doc}
	if r.each != nil {
		var found bool
		if list, found = r.each.list(doc); !found {
			return events{}, errNoList
		}
	}
	out := events{listed: len(list)}
	for _, ev := range list {
		at := place{body: doc, event: ev, header: header}
		if r.onlyField != nil && !slices.Contains(r.onlyValues, r.onlyField.first(at)) {
			continue
		}
		if r.kind == kindInbound {
			r.inbound(at, now, &out)
		} else {
			r.receipt(at, &out)
		}
	}
	return out, nil
}

// list follows a path of events. An empty list is found, too, and so is null in
// its place, which some programs write for it.
func (ps paths) list(doc any) (values []any, found bool) {
	for _, p := range ps {
		if vs := p.all(doc); len(vs) > 0 {
			return vs, true
		}
		for i, st := range p.steps {
			if st.every && slices.ContainsFunc(path{steps: p.steps[:i]}.all(doc), emptyList) {
				found = true
			}
		}
	}
	return nil, found
}

func emptyList(v any) bool {
	l, ok := v.([]any)
	return v == nil || ok && len(l) == 0
}

func (r *reader) inbound(at place, now time.Time, out *events) {
	in := adapters.Inbound{
		From: r.number(r.from.first(at)), To: r.number(r.to.first(at)), Text: r.text.first(at),
	}
	if in.From == "" {
		out.unreadable++
		return
	}
	stamp := r.at.first(at)
	in.At = r.time(stamp)
	in.ID = strings.TrimSpace(r.id.first(at))
	switch {
	case in.ID == "":
		if stamp == "" {
			// Better two texts alike on one day taken for one than a text lost.
			stamp = now.UTC().Format(time.DateOnly)
		}
		in.ID = madeID(in.From, in.To, in.Text, stamp)
	case !printable(in.ID, 200):
		in.ID = madeID(in.ID)
	}
	out.inbound = append(out.inbound, in)
}

func (r *reader) receipt(at place, out *events) {
	ids, word := clean(r.id.strings(at)), r.status.first(at)
	if len(ids) == 0 || word == "" {
		out.unreadable++
		return
	}
	st, ok := r.statuses[strings.ToLower(word)]
	if !ok {
		st, ok = usualStatuses[strings.ToLower(word)]
	}
	switch {
	case !ok:
		out.unsorted++
		if out.status == "" && codeLike.MatchString(word) && !digits.MatchString(word) {
			out.status = word
		}
		return
	case st == ignored:
		return
	}
	when, reason := r.time(r.at.first(at)), ""
	if st == adapters.Failed {
		reason = digits.ReplaceAllString(r.reason.first(at), "…")
		if !printable(reason, 300) {
			reason = ""
		}
	}
	for _, id := range ids {
		out.receipts = append(out.receipts, adapters.Receipt{ID: id, Status: st, Reason: reason, At: when})
	}
}

// madeID names a text by its content.
func madeID(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return "made-" + hex.EncodeToString(h.Sum(nil)[:16])
}

// number puts a plus before a number that has its country code. A plus that a
// form did not escape has become a space. Short codes and names stay.
func (r *reader) number(s string) string {
	s = strings.TrimSpace(s)
	if r.asGiven {
		return s
	}
	d := strings.TrimPrefix(s, "+")
	if d == s {
		d = strings.TrimPrefix(d, "00")
	}
	if len(d) < 8 || len(d) > 15 || d[0] == '0' || strings.Trim(d, "0123456789") != "" {
		return s
	}
	return "+" + d
}

// stampLayouts are tried where at_format does not say.
var stampLayouts = []string{
	time.RFC3339, time.RFC1123Z, time.RFC1123, "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02 15:04:05 -0700",
}

// time reads a timestamp; one that cannot be read is not told.
func (r *reader) time(s string) time.Time {
	s = strings.TrimSpace(s)
	if s == "" {
		return time.Time{}
	}
	var layouts []string
	switch r.atFormat {
	case "", "unix", "unix_ms":
		if at, ok := parseStamp(s); ok {
			return at.UTC()
		}
		if whole, _, ok := strings.Cut(s, "."); ok { // seconds with a fraction
			if at, ok := parseStamp(whole); ok {
				return at.UTC()
			}
		}
		layouts = stampLayouts
	case "rfc3339":
		layouts = []string{time.RFC3339}
	default:
		layouts = []string{r.atFormat}
	}
	for _, l := range layouts {
		if at, err := time.Parse(l, s); err == nil {
			return at.UTC()
		}
	}
	return time.Time{}
}

// utf8From reads a form's value: UTF-8, or where it is not, ISO 8859-1, the
// other alphabet that forms have been sent in.
func utf8From(s string) string {
	if utf8.ValidString(s) {
		return s
	}
	out := make([]rune, 0, len(s))
	for _, b := range []byte(s) {
		out = append(out, rune(b))
	}
	return string(out)
}
