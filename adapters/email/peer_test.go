package email_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log"
	"math/big"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-imap/v2/imapserver/imapmemserver"
	"github.com/emersion/go-sasl"
	smtpserver "github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

const (
	user     = "orders@larkfield.example"
	password = "steamed-buns-at-dusk"
)

// certificate makes a self-signed one for 127.0.0.1 and localhost, and the PEM
// that trusts it.
func certificate(t testing.TB) (tls.Certificate, []byte) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: []string{"localhost"},
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key},
		pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
}

// gate is a listener that can be shut: then every connection breaks and new ones
// are closed at once.
type gate struct {
	net.Listener
	mu    sync.Mutex
	shut  bool
	conns map[net.Conn]bool
	total int
}

func newGate(t testing.TB) *gate {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	return &gate{Listener: l, conns: map[net.Conn]bool{}}
}

func (g *gate) Accept() (net.Conn, error) {
	for {
		c, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		g.mu.Lock()
		g.total++
		shut := g.shut
		if !shut {
			g.conns[c] = true
		}
		g.mu.Unlock()
		if !shut {
			return c, nil
		}
		_ = c.Close()
	}
}

func (g *gate) port() int { return g.Addr().(*net.TCPAddr).Port }

func (g *gate) accepted() int {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.total
}

// setShut shuts or opens the gate; breakAll breaks what is connected.
func (g *gate) setShut(yes bool) {
	g.mu.Lock()
	g.shut = yes
	g.mu.Unlock()
	if yes {
		g.breakAll()
	}
}

func (g *gate) breakAll() {
	g.mu.Lock()
	defer g.mu.Unlock()
	for c := range g.conns {
		_ = c.Close()
	}
	g.conns = map[net.Conn]bool{}
}

// got is one e-mail as the mail server took it over.
type got struct {
	from, to   string
	mail       *smtpserver.MailOptions
	rcpt       *smtpserver.RcptOptions
	raw        []byte
	head       mail.Header
	plain, web string
}

// post is the far side: a mail server and a mailbox, both of libraries that the
// adapter does not use for its own side of the protocol's logic.
type post struct {
	t       testing.TB
	pem     []byte
	smtp    *gate
	imap    *gate
	server  *smtpserver.Server
	user    *imapmemserver.User
	release chan struct{} // closed at the end: silent ones may go

	mu     sync.Mutex
	got    []got
	script []adapterstest.Behaviour
	refuse map[string]*smtpserver.SMTPError // by stage: auth, mail, rcpt, data
	boxes  map[string]*offered
}

type offered struct{ raw []byte }

type options struct {
	implicit bool // TLS from the first byte, both ways
	plainTCP bool // no TLS at all
	noIdle   bool
	noDSN    bool
	misreads bool // offers DELIVERBY and then refuses it with MAIL, where RFC 2852 has it
	caps     imap.CapSet
}

func newPost(t testing.TB, o options) *post {
	t.Helper()
	cert, authority := certificate(t)
	conf := &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
	p := &post{
		t: t, pem: authority, smtp: newGate(t), imap: newGate(t), release: make(chan struct{}),
		refuse: map[string]*smtpserver.SMTPError{}, boxes: map[string]*offered{},
	}
	p.startSMTP(o, conf)
	p.startIMAP(o, conf)
	return p
}

func (p *post) startSMTP(o options, conf *tls.Config) {
	p.server = smtpserver.NewServer(smtpserver.BackendFunc(func(*smtpserver.Conn) (smtpserver.Session, error) {
		return &session{p: p}, nil
	}))
	p.server.Domain = "mail.example"
	p.server.EnableDSN = !o.noDSN
	p.server.EnableDELIVERBY = o.misreads
	p.server.AllowInsecureAuth = o.plainTCP
	p.server.ErrorLog = log.New(io.Discard, "", 0)
	var l net.Listener = p.smtp
	switch {
	case o.implicit:
		l = tls.NewListener(l, conf)
	case !o.plainTCP:
		p.server.TLSConfig = conf
	}
	done := make(chan struct{})
	go func() { defer close(done); _ = p.server.Serve(l) }()
	p.t.Cleanup(func() {
		close(p.release)
		_ = p.server.Close()
		_ = p.smtp.Close() // Serve may not have begun when the server was closed
		p.smtp.breakAll()
		<-done
	})
}

func (p *post) startIMAP(o options, conf *tls.Config) {
	store := imapmemserver.New()
	p.user = imapmemserver.NewUser(user, password)
	require.NoError(p.t, p.user.Create("INBOX", nil))
	store.AddUser(p.user)
	caps := o.caps
	if caps == nil {
		caps = imap.CapSet{imap.CapIMAP4rev1: {}, imap.CapUIDPlus: {}, imap.CapMove: {}}
	}
	opts := &imapserver.Options{
		NewSession: func(*imapserver.Conn) (imapserver.Session, *imapserver.GreetingData, error) {
			return store.NewSession(), nil, nil
		},
		Caps: caps, Logger: log.New(io.Discard, "", 0), InsecureAuth: o.plainTCP || o.noIdle, // a wrapped connection does not look like TLS to it
	}
	var l net.Listener = p.imap
	switch {
	case o.implicit:
		l = tls.NewListener(l, conf)
	case !o.plainTCP:
		opts.TLSConfig = conf
	}
	if o.noIdle {
		l = &deafListener{l}
	}
	server := imapserver.New(opts)
	done := make(chan struct{})
	go func() { defer close(done); _ = server.Serve(l) }()
	p.t.Cleanup(func() {
		_ = server.Close()
		_ = p.imap.Close()
		p.imap.breakAll()
		<-done
	})
}

// deafListener hides IDLE from the capabilities: the server library has no
// setting for it. The words are of one length, so nothing else moves.
type deafListener struct{ net.Listener }

func (l *deafListener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return &deafConn{c}, nil
}

type deafConn struct{ net.Conn }

func (c *deafConn) Write(b []byte) (int, error) {
	return c.Conn.Write(bytes.ReplaceAll(b, []byte(" IDLE"), []byte(" XDLE")))
}

// session is one connection to the mail server.
type session struct {
	p        *post
	signedIn bool
	from, to string
	mail     *smtpserver.MailOptions
	rcpt     *smtpserver.RcptOptions
}

func (s *session) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, name, pass string) error {
		if err := s.p.refusal("auth"); err != nil {
			return err
		}
		if name != user || pass != password {
			return smtpserver.ErrAuthFailed
		}
		s.signedIn = true
		return nil
	}), nil
}

func (p *post) refusal(stage string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.refuse[stage]; err != nil {
		return err
	}
	return nil
}

func (s *session) Reset()        { s.from, s.to = "", "" }
func (s *session) Logout() error { return nil }

func (s *session) Mail(from string, opts *smtpserver.MailOptions) error {
	if !s.signedIn {
		return smtpserver.ErrAuthRequired
	}
	if err := s.p.refusal("mail"); err != nil {
		return err
	}
	s.from, s.mail = from, opts
	return nil
}

func (s *session) Rcpt(to string, opts *smtpserver.RcptOptions) error {
	if err := s.p.refusal("rcpt"); err != nil {
		return err
	}
	s.to, s.rcpt = to, opts
	return nil
}

func (s *session) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if err := s.p.refusal("data"); err != nil {
		return err
	}
	g, err := readMail(raw)
	if err != nil {
		return &smtpserver.SMTPError{Code: 554, EnhancedCode: smtpserver.EnhancedCode{5, 6, 0}, Message: err.Error()}
	}
	g.from, g.to, g.mail, g.rcpt = s.from, s.to, s.mail, s.rcpt
	switch s.p.next() {
	case adapterstest.Temporary:
		return &smtpserver.SMTPError{Code: 451, EnhancedCode: smtpserver.EnhancedCode{4, 3, 0}, Message: "no <" + s.to + "> just now"}
	case adapterstest.Permanent:
		return &smtpserver.SMTPError{Code: 550, EnhancedCode: smtpserver.EnhancedCode{5, 1, 1}, Message: "no such user " + s.to}
	case adapterstest.Throttle:
		return &smtpserver.SMTPError{Code: 450, EnhancedCode: smtpserver.EnhancedCode{4, 7, 1}, Message: "too many messages from you to " + s.to}
	case adapterstest.Silent:
		s.p.take(g)
		<-s.p.release
	case adapterstest.Drop:
		s.p.take(g)
		s.p.smtp.breakAll()
		return errors.New("gone")
	case adapterstest.ReceiptFirst:
		s.p.Receipt(adapters.Receipt{ID: strings.Trim(g.head.Get("Message-Id"), "<>"), Status: adapters.Delivered})
		s.p.take(g)
	default:
		s.p.take(g)
	}
	return nil
}

func (p *post) take(g got) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.got = append(p.got, g)
}

func (p *post) next() adapterstest.Behaviour {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.script) == 0 {
		return adapterstest.Accept
	}
	b := p.script[0]
	p.script = p.script[1:]
	return b
}

// readMail reads an e-mail with the standard library alone.
func readMail(raw []byte) (got, error) {
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return got{}, err
	}
	kind, with, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		return got{}, fmt.Errorf("the e-mail is %s: %w", kind, err)
	}
	g := got{raw: raw, head: m.Header}
	parts := multipart.NewReader(m.Body, with["boundary"])
	for {
		part, err := parts.NextRawPart()
		if errors.Is(err, io.EOF) {
			return g, nil
		}
		if err != nil {
			return got{}, err
		}
		b, err := io.ReadAll(quotedprintable.NewReader(part))
		if err != nil {
			return got{}, err
		}
		text := strings.ReplaceAll(string(b), "\r\n", "\n")
		if strings.HasPrefix(part.Header.Get("Content-Type"), "text/plain") {
			g.plain = text
		} else {
			g.web = text
		}
	}
}

func (p *post) all() []got {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]got(nil), p.got...)
}

// The methods of adapterstest.Peer.

func (p *post) Taken() []adapterstest.Taken {
	var out []adapterstest.Taken
	for _, g := range p.all() {
		out = append(out, adapterstest.Taken{To: g.to, Text: g.plain})
	}
	return out
}

func (p *post) Next(b ...adapterstest.Behaviour) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.script = append(p.script, b...)
}

func (p *post) Unreachable(yes bool) {
	p.smtp.setShut(yes)
	p.imap.setShut(yes)
}

func (p *post) Offer(in adapters.Inbound) {
	raw := fmt.Sprintf("Return-Path: <%[1]s>\r\nFrom: A customer <%[1]s>\r\nTo: %[2]s\r\nSubject: Re: Your order\r\n"+
		"Message-ID: <%[3]s@customer.example>\r\nDate: %[4]s\r\nMIME-Version: 1.0\r\n"+
		"Content-Type: text/plain; charset=utf-8\r\n\r\n%[5]s\r\n\r\nOn Fri, 13 Mar 2026 at 16:30, Larkfield <%[2]s> wrote:\r\n> Reply HERE when you are here\r\n",
		in.From, user, in.ID, in.At.Format(time.RFC1123Z), in.Text)
	p.put("INBOX", []byte(raw), in.At)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.boxes[in.ID] = &offered{raw: []byte(raw)}
}

func (p *post) Repeat(id string) {
	p.mu.Lock()
	raw := p.boxes[id].raw
	p.mu.Unlock()
	p.put("INBOX", raw, time.Date(2026, 3, 13, 18, 0, 0, 0, time.UTC))
}

func (p *post) put(folder string, raw []byte, at time.Time) {
	_, err := p.user.Append(folder, literal{bytes.NewReader(raw)}, &imap.AppendOptions{Time: at})
	if err != nil {
		p.t.Errorf("putting an e-mail into the mailbox: %v", err)
	}
}

type literal struct{ *bytes.Reader }

func (l literal) Size() int64 { return l.Reader.Size() }

// Acknowledged looks into the mailbox: an e-mail is acknowledged once none of its
// copies is unread in INBOX.
func (p *post) Acknowledged(id string) bool { return p.unread("<"+id+"@customer.example>") == 0 }

func (p *post) unread(messageID string) int {
	s := imapmemserver.NewUserSession(p.user)
	_, err := s.Select("INBOX", nil)
	require.NoError(p.t, err)
	defer func() { _ = s.Close() }()
	data, err := s.Search(imapserver.NumKindUID, &imap.SearchCriteria{
		NotFlag: []imap.Flag{imap.FlagSeen}, Header: []imap.SearchCriteriaHeaderField{{Key: "Message-Id", Value: messageID}},
	}, &imap.SearchOptions{})
	require.NoError(p.t, err)
	return int(data.Count)
}

// Receipt puts a delivery status notification into the mailbox.
func (p *post) Receipt(r adapters.Receipt) {
	action := map[adapters.Status]string{
		adapters.Delivered: "delivered", adapters.Failed: "failed", adapters.OnTheWay: "delayed",
	}[r.Status]
	status := map[adapters.Status]string{
		adapters.Delivered: "2.0.0", adapters.Failed: "5.2.2", adapters.OnTheWay: "4.4.1",
	}[r.Status]
	raw := fmt.Sprintf("Return-Path: <>\r\nFrom: Mail Delivery <mailer-daemon@mail.example>\r\nTo: %s\r\nSubject: about your e-mail\r\n"+
		"Message-ID: <dsn-%d@mail.example>\r\nAuto-Submitted: auto-replied\r\nMIME-Version: 1.0\r\n"+
		"Content-Type: multipart/report; report-type=delivery-status; boundary=\"b1\"\r\n\r\n"+
		"--b1\r\n\r\nThis is what became of it.\r\n\r\n"+
		"--b1\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.example\r\n\r\n"+
		"Final-Recipient: rfc822; somebody@example.net\r\nAction: %s\r\nStatus: %s\r\n\r\n"+
		"--b1\r\nContent-Type: text/rfc822-headers\r\n\r\nMessage-ID: <%s>\r\nSubject: Your order\r\n\r\n--b1--\r\n",
		user, time.Now().UnixNano(), action, status, r.ID)
	p.put("INBOX", []byte(raw), time.Date(2026, 3, 13, 17, 30, 0, 0, time.UTC))
}

var _ adapterstest.Peer = (*post)(nil)

// runs starts Receive and ends it with the test.
func runs(t testing.TB, a adapters.Receiver, sink adapters.Sink) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Receive(ctx, sink) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-done)
	})
}
