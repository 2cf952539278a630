package webapi

import (
	"bytes"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"passbell/adapters"
)

// answer is what came back from a send.
type answer struct {
	status int
	header http.Header
	body   []byte
	broken bool // the body ended early or was too long
}

// ruling is what an answer means for the text.
type ruling struct {
	verdict
	ids    []string
	wait   time.Duration
	reason string // without anything that the provider wrote
	code   string // the provider's own, as it wrote it
	note   string // the provider's message, as it wrote it
}

// judge reads an answer. It is a pure function of the description, the answer
// and now, which a Retry-After date is counted from.
func (p *answerPlan) judge(a answer, now time.Time) ruling {
	if a.status < 200 || a.status > 299 {
		return p.refusal(a, now)
	}
	unknown := func(reason string) ruling {
		return ruling{verdict: verdict{outcome: adapters.Unknown}, reason: reason}
	}
	if a.broken {
		return unknown("the provider's answer broke off")
	}
	if p.pattern != nil || p.errorPattern != nil {
		return p.judgeText(a, now)
	}
	if p.id == nil && p.okField == nil && p.code == nil {
		return ruling{}
	}
	doc, err := decode(a.body)
	if err != nil && len(bytes.TrimSpace(a.body)) > 0 { // the id may stand in a header
		return unknown("the provider answered with something that is not JSON")
	}
	at := place{body: doc, event: doc, header: a.header.Get}
	ids, codes := p.id.strings(at), p.codesIn(at)
	note := p.message.first(at)
	if p.okField != nil {
		oks, yes := p.okField.strings(at), 0
		for _, v := range oks {
			if slices.Contains(p.okValues, v) {
				yes++
			}
		}
		switch {
		case len(oks) == 0 && len(codes) == 0:
			return unknown("the provider's answer says neither yes nor no")
		case yes > 0 && (yes < len(oks) || len(codes) > 0):
			return unknown("the provider took a part of the text only")
		case len(codes) == 0 && yes == 0:
			return noted(p.byCode(oks[0], now, a), note)
		}
	}
	if len(codes) > 0 {
		if all := p.code.strings(at); len(all) > len(codes) || len(ids) > len(codes) {
			return unknown("the provider took a part of the text only")
		}
		return noted(p.byCode(codes[0], now, a), note)
	}
	if p.id != nil && len(ids) == 0 {
		return unknown("the provider's answer holds no message id")
	}
	return ruling{ids: clean(ids)}
}

func noted(r ruling, note string) ruling {
	r.note = note
	return r
}

// judgeText reads an answer in plain text.
func (p *answerPlan) judgeText(a answer, now time.Time) ruling {
	if p.errorPattern != nil {
		if m := p.errorPattern.FindSubmatch(a.body); m != nil {
			return p.byCode(string(m[1]), now, a)
		}
	}
	if p.pattern == nil {
		return ruling{}
	}
	var ids []string
	for _, m := range p.pattern.FindAllSubmatch(a.body, 100) {
		ids = append(ids, string(m[1]))
	}
	if len(ids) == 0 {
		return ruling{
			verdict: verdict{outcome: adapters.Unknown},
			reason:  "the provider's answer is not what its description says",
		}
	}
	return ruling{ids: clean(ids)}
}

// codesIn returns the error codes in an answer, those that mean no error left out.
func (p *answerPlan) codesIn(at place) []string {
	var out []string
	for _, c := range p.code.strings(at) {
		if !slices.Contains(p.okCodes, c) {
			out = append(out, c)
		}
	}
	return out
}

// byCode sorts an error inside a 2xx answer: the provider says no in so many
// words, so unless the description knows better it is no for good.
func (p *answerPlan) byCode(code string, now time.Time, a answer) ruling {
	r := ruling{verdict: verdict{outcome: adapters.Permanent}, code: code, reason: "the provider refused the text"}
	if v, ok := p.codes[code]; ok {
		r.verdict = v
	}
	if r.outcome == adapters.Throttled || r.outcome == adapters.Temporary {
		r.wait = retryAfter(a.header, now)
	}
	return r
}

// refusal sorts an answer that is not 2xx.
func (p *answerPlan) refusal(a answer, now time.Time) ruling {
	r := byStatus(a.status)
	if doc, err := decode(a.body); err == nil && !a.broken {
		at := place{body: doc, event: doc, header: a.header.Get}
		r.code, r.note = p.code.first(at), p.message.first(at)
	} else if p.errorPattern != nil && !a.broken {
		if m := p.errorPattern.FindSubmatch(a.body); m != nil {
			r.code = string(m[1])
		}
	}
	status := strconv.Itoa(a.status)
	if v, ok := p.codes[r.code]; ok && r.code != "" {
		r.verdict = v
	} else if v, ok := p.http[status]; ok {
		r.verdict = v
	} else if v, ok := p.http[status[:1]+"xx"]; ok {
		r.verdict = v
	}
	if r.outcome == adapters.Throttled || r.outcome == adapters.Temporary {
		r.wait = retryAfter(a.header, now)
	}
	return r
}

// byStatus is the table in the package's documentation (RFC 9110 §15, RFC 6585).
func byStatus(status int) ruling {
	rule := func(o adapters.Outcome, account bool, reason string) ruling {
		return ruling{
			verdict: verdict{outcome: o, account: account},
			reason:  reason + " (HTTP " + strconv.Itoa(status) + ")",
		}
	}
	switch status {
	case 301, 302, 307, 308:
		return rule(adapters.Temporary, true, "the provider has another address now: correct send.url")
	case 401, 407:
		return rule(adapters.Temporary, true, "the provider refused the sign-in: check auth")
	case 402:
		return rule(adapters.Temporary, true, "the provider wants payment: look at the account's credit")
	case 511:
		return rule(adapters.Temporary, true, "this network wants a sign-in on a page of its own first")
	case 404, 405, 410, 411, 415, 426, 428, 431, 501, 505:
		return rule(adapters.Permanent, true, "the provider does not know this call: check send against its documentation")
	case 408, 421, 425:
		return rule(adapters.Temporary, false, "the provider asks to try again")
	case 409:
		return rule(adapters.Unknown, false, "the provider has a text with this key in hand already")
	case 429:
		return rule(adapters.Throttled, false, "the provider asks for a slower pace")
	case 503:
		return rule(adapters.Temporary, false, "the provider cannot take texts at the moment")
	}
	switch {
	case status >= 400 && status < 500:
		return rule(adapters.Permanent, false, "the provider refused the text")
	case status >= 500:
		return rule(adapters.Unknown, false, "the provider failed while it had the text in hand")
	}
	return rule(adapters.Unknown, false, "the provider's answer is not one that a send can have")
}

// longestWait bounds Retry-After: a night is over by then.
const longestWait = 24 * time.Hour

// retryAfter reads RFC 9110 §10.2.3: seconds, or a date.
func retryAfter(h http.Header, now time.Time) time.Duration {
	v := strings.TrimSpace(h.Get("Retry-After"))
	if v == "" {
		return 0
	}
	if strings.Trim(v, "0123456789") == "" {
		n, err := strconv.ParseUint(v, 10, 31)
		if err != nil {
			return longestWait // more digits than any wait has
		}
		return min(time.Duration(n)*time.Second, longestWait)
	}
	at, err := http.ParseTime(v)
	if err != nil {
		return 0
	}
	return min(max(at.Sub(now), 0), longestWait)
}

// clean drops ids that cannot be ids: longer than 200 bytes or with characters
// that do not print.
func clean(ids []string) []string {
	var out []string
	for _, id := range ids {
		if id = strings.TrimSpace(id); printable(id, 200) {
			out = append(out, id)
		}
	}
	return out
}

func printable(s string, limit int) bool {
	if s == "" || len(s) > limit {
		return false
	}
	for _, c := range s {
		if !unicode.IsPrint(c) {
			return false
		}
	}
	return true
}

var (
	codeLike = regexp.MustCompile(`^[A-Za-z0-9_.:-]{1,40}$`)
	digits   = regexp.MustCompile(`[0-9](?:[ ()./-]*[0-9]){5,}`)
)

// forPerson puts a ruling into words. What the provider wrote is added only as
// far as it cannot hold a number, a piece of the text or a secret.
func (r ruling) forPerson(m adapters.Message, secrets []string) string {
	reason := r.reason
	hidden := append([]string{m.To, m.From, m.Subject}, secrets...)
	code := ""
	if codeLike.MatchString(r.code) && !leaks(r.code, hidden, m.Text) && !digits.MatchString(r.code) {
		code = r.code
	}
	note := strings.Join(strings.Fields(strings.ToValidUTF8(r.note, "")), " ")
	note = digits.ReplaceAllString(note, "…")
	if leaks(note, hidden, m.Text) || !printable(note, 1000) {
		note = ""
	}
	if short := []rune(note); len(short) > 120 {
		note = string(short[:120]) + "…"
	}
	switch {
	case code != "" && note != "":
		return reason + ": " + note + " (code " + code + ")"
	case code != "":
		return reason + " (code " + code + ")"
	case note != "":
		return reason + ": " + note
	}
	return reason
}

// leaks says whether s holds one of the hidden strings or ten characters in a
// row of the text.
func leaks(s string, hidden []string, text string) bool {
	low := strings.ToLower(s)
	for _, h := range hidden {
		if len(h) >= 3 && strings.Contains(low, strings.ToLower(h)) {
			return true
		}
	}
	const run = 10
	runes := []rune(strings.ToLower(strings.Join(strings.Fields(text), " ")))
	if len(runes) > 0 && len(runes) <= run {
		return strings.Contains(low, string(runes))
	}
	for i := 0; i+run <= len(runes); i++ {
		if strings.Contains(low, string(runes[i:i+run])) {
			return true
		}
	}
	return false
}
