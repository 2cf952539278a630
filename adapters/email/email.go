// Package email sends by a mail server (message submission, RFC 6409) and reads
// customers' replies and bounces from a mailbox (IMAP).
//
// # What became of an e-mail
//
// Nothing went out, and the outcome is Temporary, while the final dot of DATA has
// not been handed to the network. From then on only the server's answer tells: a
// broken connection, no answer in time or a cancelled context make it Unknown. A
// refusal is sorted by its code, see rule. Nothing is sent twice in here; an
// e-mail goes to a fresh connection only where a kept one turns out to be dead
// before the recipient was named.
//
// Accepted holds the Message-ID. It is made from the message's Key, the sender and
// the recipient, so it is the same whenever the same message is tried again, and
// a mailbox that gets it twice can tell.
//
// E-mails do not carry "Auto-Submitted: auto-generated" (RFC 3834): replies from
// people are what they are for, and mailboxes file away or hide what calls itself
// automatic. Answers from machines are left out on the way in instead.
//
// # What becomes known
//
// Where the server offers DSN (RFC 3461) it is asked to tell of success, failure
// and delay. A report (RFC 3464) that says "delivered" is Delivered, and so is
// "relayed" or "expanded": the customer's mail server has it, and e-mail tells
// no more than that. "delayed" is on the way, "failed" is Failed with the reason
// in plain words. Reports are joined by the envelope id that they return, by the
// Message-ID in the headers that they return, or by In-Reply-To and References.
//
// # What comes in
//
// The server tells of new e-mail where it can (IDLE), else the mailbox is looked
// at every PollEvery. An e-mail is marked as read, or moved to DoneFolder, once
// the sink has stored it, and not before; the mark that counts is a keyword of
// our own where the server allows it, so an e-mail that the cook has read on her
// phone is not missed. UIDs count within one UIDVALIDITY only.
//
// The id of an inbound is its Message-ID, else made from sender, date and text,
// else from the UID. Quoted text, signatures and trailers are cut off, see reply.
// Automatic answers (RFC 3834, and the older headers), newsletters and our own
// e-mails are passed over: acknowledged and logged at debug. Attachments are not
// read. Who sent an e-mail is what its From says; e-mail proves no more.
//
// # Settings
//
//	from = "orders@larkfield.example"
//	from_name = "Larkfield Dumpling Kitchen"
//	[smtp]
//	host = "mail.example.net"
//	user = "orders@larkfield.example"
//	password = "env:LARKFIELD_MAIL_PASSWORD"
//	[imap]
//	host = "mail.example.net"
//	done_folder = "Done"
package email

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"passbell/adapters"
	"passbell/adapters/pace"
)

// Deps is what an adapter is handed. Now, After and Rand must be there.
type Deps struct {
	Now   func() time.Time
	After func(time.Duration) <-chan time.Time
	// Rand spreads reconnections.
	Rand *rand.Rand
	Log  *slog.Logger
	// Getenv and ReadFile find passwords and the authority; those of the
	// operating system where nil.
	Getenv   func(string) string
	ReadFile func(string) ([]byte, error)
	// Dial connects, below TLS; net.Dialer's where nil.
	Dial func(ctx context.Context, network, addr string) (net.Conn, error)
}

// Adapter is one mail account. It is safe for concurrent use. Close it when done.
type Adapter struct {
	cfg      Config
	domain   string // of From
	smtpPass string
	imapPass string
	now      func() time.Time
	after    func(time.Duration) <-chan time.Time
	log      *slog.Logger
	connect  func(ctx context.Context, network, addr string) (net.Conn, error)
	roots    *x509.CertPool // nil for the machine's

	pace  *pace.Pacer
	slots chan struct{} // one for each connection that may be open
	pool  pool

	receiving atomic.Bool
	handled   handled

	life    context.Context // ends with Close
	stop    context.CancelFunc
	closing sync.Once
	wg      sync.WaitGroup // kept connections

	randMu sync.Mutex
	rand   *rand.Rand
}

var (
	_ adapters.Sender   = (*Adapter)(nil)
	_ adapters.Receiver = (*Adapter)(nil)
	_ adapters.Prober   = (*Adapter)(nil)
)

var errClosed = errors.New("the adapter is closed")

// New builds an adapter. It does not connect: the first Send, Receive or Probe
// does. The error names every key that is wrong.
func New(cfg Config, deps Deps) (*Adapter, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	if deps.Now == nil || deps.After == nil || deps.Rand == nil {
		return nil, errors.New("email: Now, After and Rand must be handed in")
	}
	cfg = cfg.withDefaults()
	osLookups(&deps)
	a := &Adapter{
		cfg: cfg, now: deps.Now, after: deps.After, rand: deps.Rand, log: deps.Log, connect: deps.Dial,
		pace:  pace.New(cfg.PerMinute, time.Minute, deps.Now, deps.After),
		slots: make(chan struct{}, cfg.SMTP.Connections),
	}
	var err error
	if a.domain, err = address(cfg.From); err != nil {
		return nil, fmt.Errorf("%s: from: %w", cfg.Name, err)
	}
	if a.smtpPass, _, err = cfg.SMTP.Password.Find(deps.Getenv, deps.ReadFile); err != nil {
		return nil, fmt.Errorf("%s: smtp.password: %w", cfg.Name, err)
	}
	if cfg.IMAP.Host != "" {
		if a.imapPass, _, err = cfg.IMAP.Password.Find(deps.Getenv, deps.ReadFile); err != nil {
			return nil, fmt.Errorf("%s: imap.password: %w", cfg.Name, err)
		}
	}
	if a.roots, err = cfg.roots(deps.ReadFile); err != nil {
		return nil, fmt.Errorf("%s: tls_authority: %w", cfg.Name, err)
	}
	if a.log == nil {
		a.log = slog.New(slog.DiscardHandler)
	}
	a.log = a.log.With("adapter", cfg.Name)
	if a.connect == nil {
		a.connect = (&net.Dialer{}).DialContext
	}
	a.life, a.stop = context.WithCancel(context.Background())
	return a, nil
}

func (c *Config) roots(readFile func(string) ([]byte, error)) (*x509.CertPool, error) {
	if c.TLSAuthority == "" {
		return nil, nil //nolint:nilnil // the machine's own authorities
	}
	pem, err := readFile(c.TLSAuthority)
	if err != nil {
		return nil, err
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, errors.New("there is no certificate in the file")
	}
	return pool, nil
}

// Close gives up kept connections and waits for e-mails under way, at most about
// twice the response time. Closing twice is safe. Receive is ended by its context.
func (a *Adapter) Close() error {
	a.closing.Do(func() {
		a.stop()
		for range cap(a.slots) {
			a.slots <- struct{}{} // the last e-mail under way has ended
		}
		for range cap(a.slots) {
			<-a.slots
		}
		a.wg.Wait()
	})
	return nil
}

// chance is a random number in [0, 1).
func (a *Adapter) chance() float64 {
	a.randMu.Lock()
	defer a.randMu.Unlock()
	return a.rand.Float64()
}

// tlsFor checks the certificate of host.
func (a *Adapter) tlsFor(host string) *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, ServerName: host, RootCAs: a.roots}
}

// dial connects, with TLS from the first byte where so configured.
func (a *Adapter) dial(ctx context.Context, host string, port int, how string) (net.Conn, error) {
	conn, err := a.connect(ctx, "tcp", net.JoinHostPort(host, strconv.Itoa(port)))
	if err != nil || how != tlsImplicit {
		return conn, err
	}
	t := tls.Client(conn, a.tlsFor(host))
	if err := t.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(&tlsError{err}, conn.Close())
	}
	return t, nil
}

// tlsError is a failure to secure a connection.
type tlsError struct{ err error }

func (e *tlsError) Error() string { return "TLS: " + e.err.Error() }
func (e *tlsError) Unwrap() error { return e.err }
