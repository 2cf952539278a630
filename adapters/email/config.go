package email

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"os"
	"strings"
	"time"

	"passbell/adapters"
)

// Config describes the kitchen's mail account. Everything but from and the
// host under smtp has a default.
type Config struct {
	// Name stands in errors and logs; "email" where empty.
	Name string `toml:"name"`

	// From is the address that customers see and that bounces go to.
	From string `toml:"from"`
	// FromName stands beside it, such as "Larkfield Dumpling Kitchen".
	FromName string `toml:"from_name"`
	// ReplyTo is where customers' replies go; From where empty. It must end in
	// the mailbox under imap, or replies are not seen.
	ReplyTo string `toml:"reply_to"`
	// Subject is that of texts that have none, "Your order".
	Subject string `toml:"subject"`

	// PerMinute is the most e-mails a minute; 0 for no limit.
	PerMinute float64 `toml:"per_minute"`
	// Receipts asks the mail server to tell what became of an e-mail, where it
	// can: "all", "failures" or "none" (it may tell of failures all the same).
	// "all" where there is a mailbox to read them from, else "failures".
	Receipts string `toml:"receipts"`
	// TLSAuthority is a PEM file with the authority to trust instead of the
	// machine's.
	TLSAuthority string `toml:"tls_authority"`
	// Response is how long to wait for a server's answer, 1m.
	Response adapters.Duration `toml:"response"`

	SMTP SMTP `toml:"smtp"`
	// IMAP is the mailbox that replies and bounces come to. Without a host,
	// e-mail only goes out.
	IMAP IMAP `toml:"imap"`
}

// SMTP is the server that takes e-mail over (message submission, RFC 6409).
type SMTP struct {
	Host string `toml:"host"`
	// Port is 465 with tls = "tls", 587 with "starttls", 25 with "none".
	Port int `toml:"port"`
	// TLS is "tls" (from the first byte), "starttls" (required, not merely
	// tried), or "none", which is for this very machine only. "tls" where empty,
	// but for port 587 and 25, where it is "starttls".
	TLS      string          `toml:"tls"`
	User     string          `toml:"user"`
	Password adapters.Secret `toml:"password"`
	// Connections is how many may be open at once, 2.
	Connections int `toml:"connections"`
	// Idle is how long a connection is kept for the next e-mail, 20s.
	Idle adapters.Duration `toml:"idle"`
	// SignInPause is how long after a refused sign-in none is tried, 1m, since
	// servers lock accounts that try too often.
	SignInPause adapters.Duration `toml:"sign_in_pause"`
}

// IMAP is the mailbox. Give the program one of its own, or a folder of its own
// that a rule at the mail provider files replies into: every e-mail in it is
// taken for a customer's.
type IMAP struct {
	Host string `toml:"host"`
	// Port is 993 with tls = "tls", else 143.
	Port int `toml:"port"`
	// TLS is as for smtp; "tls" where empty, but for port 143.
	TLS string `toml:"tls"`
	// User and Password are those of smtp where empty.
	User     string          `toml:"user"`
	Password adapters.Secret `toml:"password"`
	// Folder is the one to read, "INBOX".
	Folder string `toml:"folder"`
	// DoneFolder is where e-mail goes once it is stored; where empty it stays
	// and is marked as read.
	DoneFolder string `toml:"done_folder"`
	// PollEvery is how often to look where the server cannot tell of new
	// e-mail by itself, 15s.
	PollEvery adapters.Duration `toml:"poll_every"`
	// LookEvery is how often to look although the server tells of new e-mail by
	// itself, 1m: a connection that died without a word is found out then, and so
	// is an e-mail that came while the server was about to start telling.
	LookEvery adapters.Duration `toml:"look_every"`
	// MaxAge is how far back to look, 48h: what lay there before is left alone.
	MaxAge adapters.Duration `toml:"max_age"`
	// RetryEvery is how long to wait after an e-mail could not be stored, 5s.
	RetryEvery adapters.Duration `toml:"retry_every"`
	// ReconnectMin and ReconnectMax bound the wait before the next try to sign
	// in, 1s and 1m; it doubles from try to try and is shortened by chance by up
	// to a half.
	ReconnectMin adapters.Duration `toml:"reconnect_min"`
	ReconnectMax adapters.Duration `toml:"reconnect_max"`
	// MaxBytes is how much of one e-mail is fetched, 524288. What a customer
	// wrote stands before pictures and other attachments.
	MaxBytes int64 `toml:"max_bytes"`
}

// The ways of securing a connection, and what receipts to ask for.
const (
	tlsImplicit = "tls"
	tlsStart    = "starttls"
	tlsNone     = "none"

	receiptsAll      = "all"
	receiptsFailures = "failures"
	receiptsNone     = "none"
)

// withDefaults fills in what was left out.
func (c Config) withDefaults() Config {
	text(&c.Name, "email")
	text(&c.ReplyTo, c.From)
	text(&c.Subject, "Your order")
	if c.Receipts == "" {
		c.Receipts = receiptsFailures
		if c.IMAP.Host != "" {
			c.Receipts = receiptsAll
		}
	}
	length(&c.Response, time.Minute)

	s := &c.SMTP
	if s.TLS == "" {
		s.TLS = tlsImplicit
		if s.Port == 587 || s.Port == 25 {
			s.TLS = tlsStart
		}
	}
	if s.Port == 0 {
		s.Port = map[string]int{tlsStart: 587, tlsNone: 25}[s.TLS]
		if s.Port == 0 {
			s.Port = 465
		}
	}
	if s.Connections == 0 {
		s.Connections = 2
	}
	length(&s.Idle, 20*time.Second)
	length(&s.SignInPause, time.Minute)
	c.mailboxDefaults()
	return c
}

func (c *Config) mailboxDefaults() {
	m := &c.IMAP
	if m.TLS == "" {
		m.TLS = tlsImplicit
		if m.Port == 143 {
			m.TLS = tlsStart
		}
	}
	if m.Port == 0 {
		m.Port = 993
		if m.TLS != tlsImplicit {
			m.Port = 143
		}
	}
	text(&m.User, c.SMTP.User)
	if m.Password == "" {
		m.Password = c.SMTP.Password
	}
	text(&m.Folder, "INBOX")
	length(&m.PollEvery, 15*time.Second)
	length(&m.LookEvery, time.Minute)
	length(&m.MaxAge, 48*time.Hour)
	length(&m.RetryEvery, 5*time.Second)
	length(&m.ReconnectMin, time.Second)
	length(&m.ReconnectMax, max(time.Minute, time.Duration(m.ReconnectMin)))
	if m.MaxBytes == 0 {
		m.MaxBytes = 512 << 10
	}
}

func text(s *string, def string) {
	if *s == "" {
		*s = def
	}
}

func length(d *adapters.Duration, def time.Duration) { *d = adapters.Duration(d.Or(def)) }

// Validate names everything that cannot be, without looking for a password.
func (c Config) Validate() error {
	c = c.withDefaults()
	f := faults{name: c.Name}
	c.checkAddresses(&f)
	c.checkSMTP(&f)
	if c.IMAP.Host != "" {
		c.checkIMAP(&f)
	} else if c.IMAP.DoneFolder != "" {
		f.add("imap.host", "is missing, though other keys of imap are set; without it replies are not read")
	}
	return errors.Join(f.all...)
}

// faults gathers faults, so that a cook reads all of them at once.
type faults struct {
	name string
	all  []error
}

func (f *faults) add(key, format string, args ...any) {
	f.all = append(f.all, fmt.Errorf("%s: %s: %w", f.name, key, fmt.Errorf(format, args...)))
}

func (c Config) checkAddresses(f *faults) {
	if c.From == "" {
		f.add("from", "is missing; it is the address that your customers will see")
	} else if _, err := address(c.From); err != nil {
		f.add("from", "%w; write it like \"orders@kitchen.example\" and the name under from_name", err)
	}
	if c.ReplyTo != "" && c.ReplyTo != c.From {
		if _, err := address(c.ReplyTo); err != nil {
			f.add("reply_to", "%w; write it like \"orders@kitchen.example\"", err)
		}
	}
	for _, line := range []struct{ key, value string }{{"from_name", c.FromName}, {"subject", c.Subject}} {
		if hasControl(line.value) {
			f.add(line.key, "must be one line")
		}
	}
	switch c.Receipts {
	case receiptsAll, receiptsFailures, receiptsNone:
	default:
		f.add("receipts", "%q is none of all, failures, none", c.Receipts)
	}
	if !(c.PerMinute >= 0 && c.PerMinute <= 1e6) {
		f.add("per_minute", "must be 0 (no limit) or more")
	}
	if time.Duration(c.Response) < time.Millisecond {
		f.add("response", "must be at least 1ms")
	}
}

func (c Config) checkSMTP(f *faults) {
	s := c.SMTP
	checkServer(f, "smtp.", s.Host, s.Port, s.TLS)
	if s.Connections < 1 || s.Connections > 20 {
		f.add("smtp.connections", "must be 1 to 20")
	}
	checkSignIn(f, "smtp.", s.User, s.Password)
	for key, d := range map[string]adapters.Duration{"smtp.idle": s.Idle, "smtp.sign_in_pause": s.SignInPause} {
		if time.Duration(d) < time.Millisecond {
			f.add(key, "must be at least 1ms")
		}
	}
}

func (c Config) checkIMAP(f *faults) {
	m := c.IMAP
	checkServer(f, "imap.", m.Host, m.Port, m.TLS)
	if m.User == "" {
		f.add("imap.user", "is missing; it is mostly the whole address")
	}
	checkSignIn(f, "imap.", m.User, m.Password)
	if m.DoneFolder == m.Folder {
		f.add("imap.done_folder", "is the folder itself; name another one, or leave it out to have e-mail marked as read")
	}
	for _, name := range []struct{ key, value string }{{"imap.folder", m.Folder}, {"imap.done_folder", m.DoneFolder}} {
		if hasControl(name.value) {
			f.add(name.key, "must be one line")
		}
	}
	for key, d := range map[string]adapters.Duration{
		"imap.poll_every": m.PollEvery, "imap.look_every": m.LookEvery, "imap.max_age": m.MaxAge, "imap.retry_every": m.RetryEvery,
		"imap.reconnect_min": m.ReconnectMin, "imap.reconnect_max": m.ReconnectMax,
	} {
		if time.Duration(d) < time.Millisecond {
			f.add(key, "must be at least 1ms")
		}
	}
	if m.ReconnectMax < m.ReconnectMin {
		f.add("imap.reconnect_max", "is shorter than imap.reconnect_min")
	}
	if m.MaxBytes < 4<<10 || m.MaxBytes > 64<<20 {
		f.add("imap.max_bytes", "must be 4096 to 67108864")
	}
}

func checkServer(f *faults, at, host string, port int, how string) {
	switch {
	case host == "":
		f.add(at+"host", "is missing; it is the name of the mail provider's server, like \"mail.example.net\"")
	case strings.ContainsAny(host, " /@\r\n\t") || (strings.Contains(host, ":") && net.ParseIP(host) == nil):
		f.add(at+"host", "%q is no name of a server; write it like \"mail.example.net\" and the number under port", host)
	}
	if port < 1 || port > 65535 {
		f.add(at+"port", "must be 1 to 65535")
	}
	switch how {
	case tlsImplicit, tlsStart:
	case tlsNone:
		if !loopback(host) {
			f.add(at+"tls", "cannot be \"none\" for a server on another machine: the password could be read on the way; write \"tls\" or \"starttls\"")
		}
	default:
		f.add(at+"tls", "%q is none of tls, starttls, none", how)
	}
}

func checkSignIn(f *faults, at, user string, password adapters.Secret) {
	switch {
	case user != "" && password == "":
		f.add(at+"password", "is missing; write it, or env:NAME or file:PATH to say where it stands")
	case user == "" && password != "":
		f.add(at+"user", "is missing, though there is a password")
	}
	if hasControl(user) {
		f.add(at+"user", "must be one line")
	}
	if _, _, err := password.Find(nil, nil); err != nil {
		f.add(at+"password", "%w", err)
	}
}

// loopback says whether host is this very machine.
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// hasControl finds line breaks and other signs that could forge a header.
func hasControl(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7F || r == 0x2028 || r == 0x2029 || r == 0x85 })
}

// The most that addresses may measure, in bytes (RFC 5321 §4.5.3.1).
const (
	maxLocal   = 64
	maxAddress = 254
)

// address checks a bare address, such as zoe@example.net, and returns its
// domain. Nothing else may stand in it: no name, no second address, no line
// break. The error does not hold the address.
func address(s string) (string, error) {
	if hasControl(s) {
		return "", errors.New("the address holds a line break or another sign that cannot be sent")
	}
	parsed, err := mail.ParseAddress(s)
	if err != nil || parsed.Name != "" || parsed.Address != s {
		return "", errors.New("that is no e-mail address")
	}
	at := strings.LastIndexByte(s, '@')
	local, domain := s[:at], s[at+1:]
	switch {
	case len(local) > maxLocal || len(s) > maxAddress:
		return "", errors.New("the address is too long")
	case strings.ContainsAny(s, " <>,;\"\\()"):
		return "", errors.New("the address holds a sign that few servers take")
	case strings.HasPrefix(domain, "["):
		return "", errors.New("the address names a number instead of a mail domain")
	}
	return domain, nil
}

// osLookups are where secrets and certificates are found unless told otherwise.
func osLookups(d *Deps) {
	if d.Getenv == nil {
		d.Getenv = os.Getenv
	}
	if d.ReadFile == nil {
		d.ReadFile = os.ReadFile
	}
}
