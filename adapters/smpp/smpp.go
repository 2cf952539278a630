// Package smpp speaks SMPP v3.4 to a message centre (SMSC): as a transceiver, or
// as a transmitter and a receiver.
//
// # What became of a text
//
// A text was not taken over, and is Temporary, while there is no connection or
// its submit_sm is still in this machine. Once a submit_sm was handed to the
// network, only its answer tells: no answer within the response time, a broken
// connection or a cancelled context make it Unknown. A refusal is sorted by its
// command_status, see rule. Nothing is sent twice in here, but for one thing: a
// later part of a long text that the centre refuses as too fast goes again, since
// half a text is no use and the refusal says that it did not go out.
//
// The parts of a long text go one after the other, so that a number which the
// centre does not take is found out by the first. Where a later part fails, the
// text is Unknown.
//
// # What comes in
//
// deliver_sm and data_sm are acknowledged once the sink has stored them; else
// the answer is ESME_RX_T_APPN and the centre delivers again. So are those that
// come while Receive is not running.
//
// No part of a long text is acknowledged before the whole is stored, so that a
// crash loses none: the answer to a part is held back while the others are
// missing, for HoldParts; then it is refused for now, and its text kept in
// memory. A centre that has room in its window delivers all parts meanwhile, and
// nothing is refused. A centre that delivers one thing at a time goes on to the
// next part after the refusal; the last one completes the text, and the earlier
// ones are acknowledged when they come again. The price is that such a centre
// waits HoldParts for each long text. Parts that stay away for AssembleWithin
// show as a gap: the text is handed on with what there is. After a crash between
// the two, a part that comes again alone ends as a text with a gap.
//
// # Settings
//
// A kitchen's account needs no more than
//
//	address = "smpp.example.net:2775"
//	system_id = "larkfield"
//	password = "env:LARKFIELD_SMPP_PASSWORD"
//	from = "LARKFIELD"
//
// and what the centre's operator says of window, per_second and tls. See Config.
//
// # Ids
//
// See idBook for message ids and repeats for those of inbound texts.
package smpp

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"passbell/adapters"
	"passbell/adapters/pace"
	"passbell/adapters/smpp/pdu"
)

// Deps is what an adapter is handed. Now, After and Rand must be there.
type Deps struct {
	Now   func() time.Time
	After func(time.Duration) <-chan time.Time
	// Rand spreads reconnections and numbers long texts.
	Rand *rand.Rand
	Log  *slog.Logger
	// Getenv and ReadFile find the password and the certificates; those of the
	// operating system where nil.
	Getenv   func(string) string
	ReadFile func(string) ([]byte, error)
	// Dial connects, below TLS; net.Dialer's where nil.
	Dial func(ctx context.Context, network, addr string) (net.Conn, error)
}

// Adapter is one account at a centre. It is safe for concurrent use. Close it
// when done.
type Adapter struct {
	cfg      Config
	password string
	zone     *time.Location
	now      func() time.Time
	after    func(time.Duration) <-chan time.Time
	log      *slog.Logger
	connect  func(ctx context.Context, network, addr string) (net.Conn, error)
	tls      *tls.Config // nil for none

	writer *writer
	ids    *idBook
	pace   *pace.Pacer
	window chan struct{}
	out    *link // sends
	in     *link // receives; the same as out for a transceiver

	life   context.Context // ends with Close
	stop   context.CancelFunc
	ending atomic.Bool
	wg     sync.WaitGroup

	inlet  atomic.Pointer[inlet]
	unsure atomic.Int32 // receipts that were asked for again, see maxUnsure
	desk   desk

	randMu sync.Mutex
	rand   *rand.Rand
}

var (
	_ adapters.Sender   = (*Adapter)(nil)
	_ adapters.Receiver = (*Adapter)(nil)
	_ adapters.Prober   = (*Adapter)(nil)
)

// New builds an adapter. It does not connect: the first Send, Receive or Probe
// does. The error names every key that is wrong.
func New(cfg Config, deps Deps) (*Adapter, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	if deps.Now == nil || deps.After == nil || deps.Rand == nil {
		return nil, errors.New("smpp: Now, After and Rand must be handed in")
	}
	cfg = cfg.withDefaults()
	osLookups(&deps)
	password, err := find(cfg.Password, deps.Getenv, deps.ReadFile)
	if err != nil {
		return nil, fmt.Errorf("%s: password: %w", cfg.Name, err)
	}
	zone, err := time.LoadLocation(cfg.Zone)
	if err != nil {
		return nil, fmt.Errorf("%s: zone: %w", cfg.Name, err)
	}
	a := &Adapter{
		cfg: cfg, password: password, zone: zone,
		now: deps.Now, after: deps.After, rand: deps.Rand, log: deps.Log, connect: deps.Dial,
		writer: newWriter(cfg.Long, cfg.Alphabet, deps.Rand.Uint32()),
		ids:    newIDBook(cfg.ReceiptIDs),
		pace:   pace.New(cfg.PerSecond, time.Second, deps.Now, deps.After),
		window: make(chan struct{}, cfg.Window),
		desk:   newDesk(&cfg),
	}
	if a.log == nil {
		a.log = slog.New(slog.DiscardHandler)
	}
	a.log = a.log.With("adapter", cfg.Name)
	if a.connect == nil {
		a.connect = (&net.Dialer{}).DialContext
	}
	if a.tls, err = cfg.tlsConfig(deps.ReadFile); err != nil {
		return nil, fmt.Errorf("%s: %w", cfg.Name, err)
	}
	a.life, a.stop = context.WithCancel(context.Background())
	if cfg.Mode == modePair {
		a.out = &link{a: a, bind: pdu.BindTransmitter, addr: cfg.Address}
		a.in = &link{a: a, bind: pdu.BindReceiver, addr: cfg.ReceiveAddress}
	} else {
		a.out = &link{a: a, bind: pdu.BindTransceiver, addr: cfg.Address}
		a.in = a.out
	}
	return a, nil
}

// Close signs off and waits until everything has ended; it takes at most about
// twice the response time. Texts under way are waited for. Closing twice is safe.
func (a *Adapter) Close() error {
	a.ending.Store(true)
	a.stop()
	var wg sync.WaitGroup
	for _, l := range a.links() {
		wg.Go(l.leave)
	}
	wg.Wait()
	a.wg.Wait()
	return nil
}

func (a *Adapter) closed() bool { return a.ending.Load() }

func (a *Adapter) links() []*link {
	if a.in == a.out {
		return []*link{a.out}
	}
	return []*link{a.out, a.in}
}

// chance is a random number in [0, 1).
func (a *Adapter) chance() float64 {
	a.randMu.Lock()
	defer a.randMu.Unlock()
	return a.rand.Float64()
}

// dial connects, with TLS where configured.
func (a *Adapter) dial(ctx context.Context, addr string) (net.Conn, error) {
	conn, err := a.connect(ctx, "tcp", addr)
	if err != nil || a.tls == nil {
		return conn, err
	}
	secure := a.tls
	if secure.ServerName == "" {
		host, _, err := net.SplitHostPort(addr)
		if err != nil {
			return nil, errors.Join(err, conn.Close())
		}
		secure = secure.Clone()
		secure.ServerName = host
	}
	t := tls.Client(conn, secure)
	if err := t.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("TLS: %w", err), conn.Close())
	}
	return t, nil
}

func (c *Config) tlsConfig(readFile func(string) ([]byte, error)) (*tls.Config, error) {
	if !c.TLS {
		return nil, nil //nolint:nilnil // no TLS is no error
	}
	out := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: c.TLSName}
	if c.TLSAuthority != "" {
		pem, err := readFile(c.TLSAuthority)
		if err != nil {
			return nil, fmt.Errorf("tls_authority: %w", err)
		}
		out.RootCAs = x509.NewCertPool()
		if !out.RootCAs.AppendCertsFromPEM(pem) {
			return nil, errors.New("tls_authority: there is no certificate in the file")
		}
	}
	if c.TLSCertificate != "" {
		cert, err := readFile(c.TLSCertificate)
		if err != nil {
			return nil, fmt.Errorf("tls_certificate: %w", err)
		}
		key, err := readFile(c.TLSKey)
		if err != nil {
			return nil, fmt.Errorf("tls_key: %w", err)
		}
		pair, err := tls.X509KeyPair(cert, key)
		if err != nil {
			return nil, errors.New("tls_certificate: certificate and key do not fit together")
		}
		out.Certificates = []tls.Certificate{pair}
	}
	return out, nil
}
