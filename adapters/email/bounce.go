package email

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"

	"passbell/adapters"
)

// report is what a delivery status notification says of one of our e-mails.
type report struct {
	id     string // of the e-mail; "" where it cannot be told
	status adapters.Status
	reason string // for a failure
}

// readReport reads a delivery status notification (RFC 3464), or the failure
// notice of a server that knows only the header X-Failed-Recipients. false where
// the e-mail is no such thing.
func readReport(e *entity) (report, bool) {
	if e.kind == "multipart/report" && strings.EqualFold(e.with["report-type"], "delivery-status") {
		return readNotification(e), true
	}
	// Some servers write the parts and forget the type.
	if strings.HasPrefix(e.kind, "multipart/") && e.kind != "multipart/alternative" {
		for _, part := range e.parts(maxParts) {
			if part.kind == "message/delivery-status" {
				return readNotification(e), true
			}
		}
	}
	if e.head.get("x-failed-recipients") != "" {
		r := report{status: adapters.Failed, reason: "the e-mail came back"}
		if r.id = ownIDIn(e.head.get("in-reply-to") + " " + e.head.get("references")); r.id == "" {
			r.id = ownIDIn(string(e.body))
		}
		return r, true
	}
	return report{}, false
}

func readNotification(e *entity) report {
	var (
		out      report
		returned string // Message-ID of the returned headers
	)
	for _, part := range e.parts(maxParts) {
		switch part.kind {
		case "message/delivery-status", "message/global-delivery-status":
			out.readStatus(part.content())
		case "text/rfc822-headers", "message/rfc822", "message/global", "message/global-headers":
			original := readEntity(part.content())
			returned = ownIDIn(original.head.get("message-id"))
		}
	}
	for _, id := range []string{returned, ownIDIn(e.head.get("in-reply-to")), ownIDIn(e.head.get("references"))} {
		if out.id == "" {
			out.id = id
		}
	}
	return out
}

// readStatus reads message/delivery-status: groups of fields, the first about the
// e-mail, each other about one recipient (RFC 3464 §2.1). Our e-mails have one;
// where its mailbox forwards to several, one delivery counts more than a failure.
func (r *report) readStatus(b []byte) {
	rank := map[adapters.Status]int{"": 0, adapters.OnTheWay: 1, adapters.Failed: 2, adapters.Delivered: 3}
	for _, group := range groups(b) {
		h := readEntity(group).head
		if id := ownIDIn(h.get("original-envelope-id")); id != "" {
			r.id = id
		}
		status, ok := map[string]adapters.Status{
			"failed": adapters.Failed, "delayed": adapters.OnTheWay, "delivered": adapters.Delivered,
			"relayed": adapters.Delivered, "expanded": adapters.Delivered,
		}[strings.ToLower(token(h.get("action")))]
		if !ok || rank[status] <= rank[r.status] {
			continue
		}
		r.status, r.reason = status, ""
		if status == adapters.Failed {
			r.reason = why(h.get("status"), h.get("diagnostic-code"))
		}
	}
}

// groups splits at empty lines.
func groups(b []byte) [][]byte {
	b = bytes.ReplaceAll(b, []byte("\r\n"), []byte("\n"))
	var out [][]byte
	for _, group := range bytes.Split(b, []byte("\n\n")) {
		if group = bytes.TrimLeft(group, "\n"); len(group) > 0 && len(out) < maxParts {
			out = append(out, group)
		}
	}
	return out
}

// token takes a comment off the end: "failed (bounced)" is "failed".
func token(s string) string {
	s, _, _ = strings.Cut(s, "(")
	return strings.TrimSpace(s)
}

// statusCode finds an enhanced code that is no part of a longer number, such as
// an IP address.
var statusCode = regexp.MustCompile(`(?:^|[^\d.])([245]\.\d{1,3}\.\d{1,3})(?:$|[^\d.])`)

func findStatus(s string) string {
	if found := statusCode.FindStringSubmatch(s); found != nil {
		return found[1]
	}
	return ""
}

// why words a failure. The words of the servers themselves are left out: they
// hold addresses. Where Status says no more than "permanent failure" (5.0.0),
// the server's own answer may know better.
func why(status, diagnostic string) string {
	code := findStatus(status)
	if code == "" || strings.HasSuffix(code, ".0.0") {
		if better := findStatus(diagnostic); better != "" && !strings.HasSuffix(better, ".0.0") {
			code = better
		}
	}
	words := meaning(code)
	switch {
	case code == "":
		return "the e-mail came back"
	case words == "":
		return fmt.Sprintf("the e-mail came back (%s)", code)
	}
	return fmt.Sprintf("the e-mail came back: %s (%s)", words, code)
}
