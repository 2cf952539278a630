package webapi

import (
	"encoding/base64"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"

	"passbell/adapters"
)

// plan is a Config that was read and found to be sound.
type plan struct {
	name    string
	from    string
	senders map[string]string
	timeout time.Duration
	auth    func(*http.Request)
	secrets []string

	send     sendPlan
	lookup   *lookupPlan
	check    *checkPlan
	inbound  *hook
	receipts *hook
	polls    []*pollPlan
}

type sendPlan struct {
	method  string
	url     template
	form    map[string]template // nil for JSON
	json    jsonTemplate
	headers map[string]template
	answer  answerPlan
}

type answerPlan struct {
	id, okField, code, message paths
	okValues, okCodes          []string
	pattern, errorPattern      *regexp.Regexp
	codes                      map[string]verdict
	http                       map[string]verdict
}

var (
	sendNames = []string{
		"to", "to_digits", "from", "text", "key", "subject",
		"valid_until", "valid_until_unix", "valid_seconds", "valid_minutes",
	}
	lookupNames = []string{"to", "to_digits"}
	pollNames   = []string{"since", "since_unix", "cursor", "page"}
	doneNames   = []string{"id"}
)

// Validate says what in the description is missing or cannot be, each fault
// with its key. Secrets given by reference are not looked for.
func (c Config) Validate() error {
	_, err := compile(c, &secrets{})
	return err
}

// compiler gathers faults, so that a cook reads all of them at once.
type compiler struct {
	name    string
	secrets *secrets
	faults  []error
}

func (c *compiler) fault(key, format string, args ...any) {
	c.faults = append(c.faults, fmt.Errorf("%s: %s: %w", c.name, key, fmt.Errorf(format, args...)))
}

func compile(cfg Config, s *secrets) (*plan, error) {
	p := &plan{name: cfg.Name, from: cfg.From, senders: cfg.Senders, timeout: cfg.Timeout.Or(20 * time.Second)}
	if p.name == "" {
		p.name = "webapi"
	}
	c := &compiler{name: p.name, secrets: s}
	for prefix := range cfg.Senders {
		if !callingPrefix.MatchString(prefix) {
			c.fault("senders", "%q is no calling prefix; write it like \"+44\"", prefix)
		}
	}
	p.auth = c.auth(cfg.Auth)
	p.send = c.send(cfg.Send)
	p.lookup = c.lookup(cfg.Lookup)
	p.check = c.check(cfg.Check)
	p.inbound = c.hook("hooks.inbound", cfg.Hooks.Inbound, kindInbound)
	p.receipts = c.hook("hooks.receipts", cfg.Hooks.Receipts, kindReceipt)
	if poll := c.poll("poll.inbound", cfg.Poll.Inbound, kindInbound); poll != nil {
		p.polls = append(p.polls, poll)
	}
	if poll := c.poll("poll.receipts", cfg.Poll.Receipts, kindReceipt); poll != nil {
		p.polls = append(p.polls, poll)
	}
	if len(c.faults) > 0 {
		return nil, errors.Join(c.faults...)
	}
	p.secrets = s.known
	return p, nil
}

var callingPrefix = regexp.MustCompile(`^\+[1-9][0-9]{0,14}$`)

func (c *compiler) secret(key string, v adapters.Secret) string {
	if v == "" {
		c.fault(key, "is missing; write the secret itself, or env:NAME or file:PATH to say where it stands")
		return ""
	}
	out, err := c.secrets.find(v)
	if err != nil {
		c.fault(key, "%w", err)
	}
	return out
}

func (c *compiler) auth(a Auth) func(*http.Request) {
	switch a.Kind {
	case "", "none":
		return func(*http.Request) {}
	case "basic":
		user, secret := c.secret("auth.user", a.User), c.secret("auth.secret", a.Secret)
		// Whoever echoes the header gives the password away as well.
		c.secrets.known = append(c.secrets.known, base64.StdEncoding.EncodeToString([]byte(user+":"+secret)))
		return func(r *http.Request) { r.SetBasicAuth(user, secret) }
	case "bearer":
		secret := c.secret("auth.secret", a.Secret)
		return func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+secret) }
	case "header":
		if !token(a.Header) {
			c.fault("auth.header", "must be the name of the HTTP header that carries the secret")
		}
		secret := c.secret("auth.secret", a.Secret)
		return func(r *http.Request) { r.Header.Set(a.Header, a.Prefix+secret) }
	}
	c.fault("auth.kind", "%q is not known; there are none, basic, bearer and header", a.Kind)
	return nil
}

func (c *compiler) send(s Send) sendPlan {
	p := sendPlan{method: strings.ToUpper(s.Method), url: c.url("send.url", s.URL, sendNames)}
	switch p.method {
	case "":
		p.method = http.MethodPost
	case http.MethodPost, http.MethodPut, http.MethodPatch:
	default:
		c.fault("send.method", "must be POST, PUT or PATCH; a %s may be repeated by any machine on its way, and the customer would get two texts", p.method)
	}
	switch s.Body {
	case "form":
		if len(s.Form) == 0 {
			c.fault("send.form", "is empty; name the fields that the provider wants, such as to = \"{to}\"")
		}
		p.form = map[string]template{}
		for _, name := range slices.Sorted(maps.Keys(s.Form)) {
			p.form[name] = c.template("send.form."+name, s.Form[name], sendNames)
		}
	case "json":
		t, err := parseJSONTemplate(s.JSON, sendNames)
		if err != nil {
			c.fault("send.json", "%w", err)
		}
		p.json = t
	default:
		c.fault("send.body", "must be \"form\" or \"json\"")
	}
	p.headers = map[string]template{}
	for _, name := range slices.Sorted(maps.Keys(s.Headers)) {
		if !token(name) {
			c.fault("send.headers", "%q is no HTTP header", name)
			continue
		}
		p.headers[name] = c.template("send.headers."+name, s.Headers[name], sendNames)
	}
	p.answer = c.answer(s.Answer)
	return p
}

func (c *compiler) answer(a Answer) answerPlan {
	p := answerPlan{
		id:       c.paths("send.answer.id", a.ID),
		okField:  c.paths("send.answer.ok_field", a.OKField),
		okValues: a.OKValues,
		code:     c.paths("send.answer.error_code", a.ErrorCode),
		message:  c.paths("send.answer.error_message", a.ErrorMessage),
		okCodes:  a.OKCodes,
		codes:    c.verdicts("send.answer.codes", a.Codes, nil),
		http:     c.verdicts("send.answer.http", a.HTTP, httpStatus),

		pattern:      c.pattern("send.answer.pattern", a.Pattern),
		errorPattern: c.pattern("send.answer.error_pattern", a.ErrorPattern),
	}
	if len(p.okCodes) == 0 {
		p.okCodes = []string{"", "0"}
	}
	if (len(p.okField) == 0) != (len(p.okValues) == 0) {
		c.fault("send.answer.ok_field", "and ok_values belong together: where to look, and what stands there for yes")
	}
	return p
}

func (c *compiler) pattern(key, s string) *regexp.Regexp {
	if s == "" {
		return nil
	}
	re, err := regexp.Compile(s)
	if err != nil || re.NumSubexp() < 1 {
		c.fault(key, "must be a regular expression with one group in round brackets")
		return nil
	}
	return re
}

var httpStatus = regexp.MustCompile(`^[1-5]([0-9][0-9]|xx)$`)

// verdict is what an answer means.
type verdict struct {
	outcome adapters.Outcome // "" for taken over
	account bool
}

func (c *compiler) verdicts(key string, m map[string]string, names *regexp.Regexp) map[string]verdict {
	out := map[string]verdict{}
	for _, name := range slices.Sorted(maps.Keys(m)) {
		if names != nil && !names.MatchString(name) {
			c.fault(key, "%q is no HTTP status; write it like \"402\" or \"5xx\"", name)
		}
		switch o := adapters.Outcome(m[name]); o {
		case adapters.Temporary, adapters.Throttled, adapters.Permanent, adapters.Unknown:
			out[name] = verdict{outcome: o}
		case "account":
			out[name] = verdict{outcome: adapters.Temporary, account: true}
		default:
			c.fault(key+"."+name, "%q is not known; there are temporary, throttled, permanent, unknown and account", o)
		}
	}
	return out
}

func (c *compiler) template(key, s string, names []string) template {
	t, err := parseTemplate(s, names)
	if err != nil {
		c.fault(key, "%w", err)
	}
	return t
}

func (c *compiler) paths(key, s string) paths {
	p, err := parsePaths(s)
	if err != nil {
		c.fault(key, "%w", err)
	}
	return p
}

// url reads an address with placeholders; none may stand in its host, and all
// but loopback must be https.
func (c *compiler) url(key, s string, names []string) template {
	if s == "" {
		c.fault(key, "is missing: the address from the provider's documentation")
		return nil
	}
	t := c.template(key, s, names)
	if t == nil {
		return nil
	}
	probe := t.fill(nil, func(string) string { return "0" })
	u, err := url.Parse(probe)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http":
		c.fault(key, "is no web address; it starts with https://")
		return t
	case u.User != nil:
		c.fault(key, "must not hold a password; it belongs in auth")
	case u.Scheme == "http" && !loopback(u.Hostname()):
		c.fault(key, "must start with https://; customers' numbers and the password would travel in the open")
	case u.Fragment != "":
		c.fault(key, "must not hold a #")
	}
	if start := u.Scheme + "://" + u.Host; !strings.HasPrefix(t[0].lit+"/", start+"/") && !strings.HasPrefix(t[0].lit, start+"?") {
		c.fault(key, "a placeholder cannot stand in the host of an address")
	}
	return t
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
