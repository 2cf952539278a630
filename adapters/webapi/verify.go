package webapi

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha1" //nolint:gosec // some providers sign with HMAC-SHA-1, which holds
	"crypto/sha256"
	"crypto/sha512"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"hash"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A hook's caller is told none of these; the log is.
var (
	errNoSignature  = errors.New("the call carries no signature or token")
	errBadSignature = errors.New("the signature or token does not fit")
	errNoTimestamp  = errors.New("the call carries no readable timestamp")
	errOldTimestamp = errors.New("the timestamp is too far from now")
	errNotLoopback  = errors.New("an unverified hook takes calls from this machine only")
)

// signedNames may stand in what is signed.
var signedNames = []string{"id", "timestamp", "body", "url", "form"}

// verifier proves calls.
type verifier struct {
	check func(v *verifier, r *http.Request, body []byte, now time.Time) error

	user            string
	secrets         [][]byte // the present one and perhaps the one before
	header, prefix  string
	query           string
	hash            func() hash.Hash
	decode          func(string) ([]byte, error)
	signed          template
	idHeader        string
	timestampHeader string
	timestampPrefix string
	window          time.Duration
	publicURL       string
}

func (c *compiler) verify(key string, v Verify) *verifier {
	out := &verifier{
		header: v.Header, prefix: v.Prefix, query: v.Query,
		idHeader: v.IDHeader, timestampHeader: v.TimestampHeader, timestampPrefix: v.TimestampPrefix,
		window: v.Window.Or(5 * time.Minute), publicURL: v.PublicURL,
	}
	if v.Kind != "none" && v.Kind != "" {
		out.secrets = append(out.secrets, []byte(c.secret(key+".secret", v.Secret)))
		if v.OldSecret != "" {
			out.secrets = append(out.secrets, []byte(c.secret(key+".old_secret", v.OldSecret)))
		}
	}
	switch v.Kind {
	case "hmac":
		c.hmac(key, v, out)
	case "standard":
		out.check = (*verifier).standard
		for i, s := range out.secrets {
			out.secrets[i] = c.standardSecret(key, v, s)
		}
	case "token":
		out.check = (*verifier).token
		if (v.Query == "") == (v.Header == "") {
			c.fault(key+".header", "name the header that carries the token, or the query parameter in query")
		}
	case "basic":
		out.check = (*verifier).basic
		out.user = c.secret(key+".user", v.User)
	case "none":
		out.check = (*verifier).none
	case "":
		c.fault(key+".kind", "is missing: anybody could report arrivals. Say how the provider proves its calls: hmac, standard, token or basic; "+
			"for trying things out on this machine alone, none")
	default:
		c.fault(key+".kind", "%q is not known; there are hmac, standard, token, basic and none", v.Kind)
	}
	for name, h := range map[string]string{"header": v.Header, "id_header": v.IDHeader, "timestamp_header": v.TimestampHeader} {
		if h != "" && !token(h) {
			c.fault(key+"."+name, "%q is no HTTP header", h)
		}
	}
	return out
}

func (c *compiler) hmac(key string, v Verify, out *verifier) {
	out.check = (*verifier).hmac
	if v.Header == "" {
		c.fault(key+".header", "is missing: the header that carries the signature")
	}
	switch v.Algorithm {
	case "", "sha256":
		out.hash = sha256.New
	case "sha1":
		out.hash = sha1.New
	case "sha512":
		out.hash = sha512.New
	default:
		c.fault(key+".algorithm", "%q is not known; there are sha256, sha1 and sha512", v.Algorithm)
	}
	switch v.Encoding {
	case "", "hex":
		out.decode = hex.DecodeString
	case "base64":
		out.decode = decodeBase64
	default:
		c.fault(key+".encoding", "%q is not known; there are hex and base64", v.Encoding)
	}
	signed := v.Signed
	if signed == "" {
		signed = "{body}"
	}
	out.signed = c.template(key+".signed", signed, signedNames)
	uses := func(name string) bool {
		return slices.ContainsFunc(out.signed, func(p piece) bool { return p.name == name })
	}
	if !uses("body") && !uses("form") {
		c.fault(key+".signed", "must hold {body} or {form}; else a signature proves nothing about the text")
	}
	if uses("timestamp") != (v.TimestampHeader != "") {
		c.fault(key+".timestamp_header", "and {timestamp} in signed belong together: a time that is not signed proves nothing")
	}
	if uses("id") && v.IDHeader == "" {
		c.fault(key+".id_header", "is missing: the header for {id}")
	}
	if uses("url") && v.PublicURL == "" {
		c.fault(key+".public_url", "is missing: this hook's address as the provider knows it, for {url}")
	}
}

// standardSecret reads a secret of Standard Webhooks: base64, with or without
// the prefix whsec_.
func (c *compiler) standardSecret(key string, v Verify, s []byte) []byte {
	if c.secrets.getenv == nil && (strings.HasPrefix(string(v.Secret), "env:") || strings.HasPrefix(string(v.Secret), "file:")) {
		return s
	}
	raw, err := decodeBase64(strings.TrimPrefix(string(s), "whsec_"))
	if len(s) > 0 && (err != nil || len(raw) == 0) {
		c.fault(key+".secret", "is no Standard Webhooks secret; one looks like whsec_ and then base64")
	}
	return raw
}

// decodeBase64 takes the standard and the URL alphabet, padded or not.
func decodeBase64(s string) ([]byte, error) {
	s = strings.TrimRight(s, "=")
	if strings.ContainsAny(s, "-_") {
		return base64.RawURLEncoding.DecodeString(s)
	}
	return base64.RawStdEncoding.DecodeString(s)
}

// inWindow checks a timestamp in Unix seconds, Unix milliseconds or RFC 3339.
func (v *verifier) inWindow(stamp string, now time.Time) error {
	at, ok := parseStamp(stamp)
	if !ok {
		return errNoTimestamp
	}
	if d := now.Sub(at); d > v.window || d < -v.window {
		return errOldTimestamp
	}
	return nil
}

func parseStamp(s string) (time.Time, bool) {
	if n, err := strconv.ParseInt(s, 10, 64); err == nil {
		if n > 1e11 { // in seconds this were the year 5138
			return time.UnixMilli(n), true
		}
		return time.Unix(n, 0), n > 0
	}
	at, err := time.Parse(time.RFC3339, s)
	return at, err == nil
}

// parts splits a header that holds several values.
func parts(s string) []string {
	return strings.FieldsFunc(s, func(c rune) bool { return c == ' ' || c == ',' || c == ';' })
}

func (v *verifier) hmac(r *http.Request, body []byte, now time.Time) error {
	var given [][]byte
	for _, h := range r.Header.Values(v.header) {
		for _, s := range parts(h) {
			if sig, ok := strings.CutPrefix(s, v.prefix); ok && sig != "" {
				if raw, err := v.decode(sig); err == nil {
					given = append(given, raw)
				}
			}
		}
	}
	if len(given) == 0 {
		return errNoSignature
	}
	values := map[string]string{"id": r.Header.Get(v.idHeader), "body": string(body)}
	if v.timestampHeader != "" {
		values["timestamp"] = v.timestamp(r)
		if err := v.inWindow(values["timestamp"], now); err != nil {
			return err
		}
	}
	values["url"] = v.publicURL
	if r.URL.RawQuery != "" {
		values["url"] += "?" + r.URL.RawQuery
	}
	values["form"] = sortedForm(body)
	return v.match(given, []byte(v.signed.fill(values, plain)))
}

// match compares in constant time; a listed signature that fits is enough.
func (v *verifier) match(given [][]byte, signed []byte) error {
	ok := false
	for _, secret := range v.secrets {
		mac := hmac.New(v.hash, secret)
		mac.Write(signed)
		want := mac.Sum(nil)
		for _, g := range given {
			ok = hmac.Equal(want, g) || ok
		}
	}
	if !ok {
		return errBadSignature
	}
	return nil
}

func (v *verifier) timestamp(r *http.Request) string {
	h := r.Header.Get(v.timestampHeader)
	if v.timestampPrefix == "" {
		return strings.TrimSpace(h)
	}
	for _, s := range parts(h) {
		if t, ok := strings.CutPrefix(s, v.timestampPrefix); ok {
			return t
		}
	}
	return ""
}

// sortedForm writes a form's fields one after another, sorted by name.
func sortedForm(body []byte) string {
	form, err := url.ParseQuery(string(body))
	if err != nil {
		return ""
	}
	names := make([]string, 0, len(form))
	for n := range form {
		names = append(names, n)
	}
	slices.Sort(names)
	var b strings.Builder
	for _, n := range names {
		for _, val := range form[n] {
			b.WriteString(n)
			b.WriteString(val)
		}
	}
	return b.String()
}

// standard checks Standard Webhooks 1.0.0 with symmetric signatures (v1).
func (v *verifier) standard(r *http.Request, body []byte, now time.Time) error {
	id, stamp := r.Header.Get("Webhook-Id"), r.Header.Get("Webhook-Timestamp")
	var given [][]byte
	for _, h := range r.Header.Values("Webhook-Signature") {
		for _, s := range strings.Fields(h) {
			if sig, ok := strings.CutPrefix(s, "v1,"); ok && sig != "" {
				if raw, err := base64.StdEncoding.DecodeString(sig); err == nil {
					given = append(given, raw)
				}
			}
		}
	}
	if id == "" || len(given) == 0 {
		return errNoSignature
	}
	if strings.Trim(stamp, "0123456789") != "" || len(stamp) > 11 {
		return errNoTimestamp // the standard has whole Unix seconds only
	}
	if err := v.inWindow(stamp, now); err != nil {
		return err
	}
	v2 := *v
	v2.hash = sha256.New
	return v2.match(given, bytes.Join([][]byte{[]byte(id), []byte(stamp), body}, []byte(".")))
}

func (v *verifier) token(r *http.Request, _ []byte, _ time.Time) error {
	given := r.Header.Get(v.header)
	if v.query != "" {
		given = r.URL.Query().Get(v.query)
	}
	given, ok := strings.CutPrefix(given, v.prefix)
	if !ok || given == "" {
		return errNoSignature
	}
	return v.same(given)
}

func (v *verifier) basic(r *http.Request, _ []byte, _ time.Time) error {
	user, secret, ok := r.BasicAuth()
	if !ok {
		return errNoSignature
	}
	if !equal([]byte(user), []byte(v.user)) {
		return errBadSignature
	}
	return v.same(secret)
}

func (v *verifier) same(given string) error {
	ok := false
	for _, s := range v.secrets {
		ok = equal([]byte(given), s) || ok
	}
	if !ok {
		return errBadSignature
	}
	return nil
}

// equal takes the same time whatever the lengths.
func equal(a, b []byte) bool {
	x, y := sha256.Sum256(a), sha256.Sum256(b)
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// none refuses what a proxy on this machine passed on, and what a page in a
// browser on this machine does: both come from outside.
func (v *verifier) none(r *http.Request, _ []byte, _ time.Time) error {
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "none" || r.Header.Get("Origin") != "" {
		return errNotLoopback
	}
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip"} {
		if r.Header.Get(h) != "" {
			return errNotLoopback
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil || !loopback(host) {
		return errNotLoopback
	}
	return nil
}
