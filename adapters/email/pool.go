package email

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/wneessen/go-mail/smtp"
)

// session is one connection to the mail server, signed in.
type session struct {
	raw    net.Conn
	c      *smtp.Client
	reused bool
	taken  chan struct{} // closed when it leaves the pool
}

// pool holds connections that wait for the next e-mail: signing in for each one
// is slow, and servers count it.
type pool struct {
	mu   sync.Mutex
	idle []*session
	// refused is the last refused sign-in, until holds when the next is tried.
	refused error
	until   time.Time
}

// kept takes a connection that waits, nil where there is none.
func (p *pool) kept() *session {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.idle) == 0 {
		return nil
	}
	s := p.idle[len(p.idle)-1]
	p.idle = p.idle[:len(p.idle)-1]
	close(s.taken)
	s.reused = true
	return s
}

// remove takes s out, false where somebody else was faster.
func (p *pool) remove(s *session) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i, other := range p.idle {
		if other == s {
			p.idle = append(p.idle[:i], p.idle[i+1:]...)
			return true
		}
	}
	return false
}

// keep holds a connection ready for a while, then signs off.
func (a *Adapter) keep(s *session) {
	if a.life.Err() != nil {
		a.leave(s)
		return
	}
	s.taken = make(chan struct{})
	taken := s.taken
	a.pool.mu.Lock()
	a.pool.idle = append(a.pool.idle, s)
	a.pool.mu.Unlock()
	a.wg.Go(func() {
		select {
		case <-taken:
			return
		case <-a.after(time.Duration(a.cfg.SMTP.Idle)):
		case <-a.life.Done():
		}
		if a.pool.remove(s) {
			a.leave(s)
		}
	})
}

// leave signs off politely, but does not wait long for the answer.
func (a *Adapter) leave(s *session) {
	ctx, cancel := context.WithTimeout(context.Background(), min(5*time.Second, time.Duration(a.cfg.Response)))
	defer cancel()
	defer s.guard(ctx)()
	_ = s.c.Quit() // the connection goes either way
	_ = s.raw.Close()
}

// guard breaks the connection off when ctx ends first; the function that it
// returns lifts the guard.
func (s *session) guard(ctx context.Context) func() bool {
	return context.AfterFunc(ctx, func() { _ = s.raw.Close() })
}

// held is the last refusal of the sign-in while none is to be tried.
func (p *pool) held(now time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.refused != nil && now.Before(p.until) {
		return p.refused
	}
	p.refused = nil
	return nil
}

func (p *pool) hold(err error, until time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refused, p.until = err, until
}

// open connects and signs in. Its error is a *stageError.
func (a *Adapter) open(ctx context.Context) (*session, error) {
	conn, err := a.dial(ctx, a.cfg.SMTP.Host, a.cfg.SMTP.Port, a.cfg.SMTP.TLS)
	if err != nil {
		return nil, failed(stageConnect, err)
	}
	s := &session{raw: conn}
	lift := s.guard(ctx)
	if err := a.greet(s); err != nil {
		_ = conn.Close()
		lift()
		return nil, err
	}
	if !lift() {
		return nil, failed(stageConnect, context.Cause(ctx))
	}
	return s, nil
}

func (a *Adapter) greet(s *session) error {
	c, err := smtp.NewClient(s.raw, a.cfg.SMTP.Host)
	if err != nil {
		return failed(stageConnect, err)
	}
	s.c = c
	// The name that we greet with is the sender's domain: it says nothing of
	// this machine, and is a full name as RFC 5321 §4.1.1.1 asks.
	if err := c.Hello(a.domain); err != nil {
		return failed(stageConnect, err)
	}
	if a.cfg.SMTP.TLS == tlsStart {
		if ok, _ := c.Extension("STARTTLS"); !ok {
			return failed(stageTLS, errNoStartTLS)
		}
		if err := c.StartTLS(a.tlsFor(a.cfg.SMTP.Host)); err != nil {
			return failed(stageTLS, err)
		}
	}
	if a.cfg.SMTP.User == "" {
		return nil
	}
	auth, err := a.auth(c)
	if err != nil {
		return failed(stageSignIn, err)
	}
	if err := c.Auth(auth); err != nil {
		return failed(stageSignIn, err)
	}
	return nil
}

var (
	errNoStartTLS = errors.New("the server does not offer STARTTLS")
	errNoAuth     = errors.New("the server offers no way of signing in that we know")
)

// auth picks a way of signing in: one that does not hand the password over where
// offered, else the plain ones, which the connection's TLS covers.
func (a *Adapter) auth(c *smtp.Client) (smtp.Auth, error) {
	_, offered := c.Extension("AUTH")
	has := map[string]bool{}
	for _, name := range strings.Fields(strings.ToUpper(offered)) {
		has[name] = true
	}
	user, pass, open := a.cfg.SMTP.User, a.smtpPass, a.cfg.SMTP.TLS == tlsNone
	switch {
	case has["SCRAM-SHA-256"]:
		return smtp.ScramSHA256Auth(user, pass), nil
	case has["SCRAM-SHA-1"]:
		return smtp.ScramSHA1Auth(user, pass), nil
	case has["PLAIN"]:
		return smtp.PlainAuth("", user, pass, a.cfg.SMTP.Host, open), nil
	case has["LOGIN"]:
		return smtp.LoginAuth(user, pass, a.cfg.SMTP.Host, open), nil
	case has["CRAM-MD5"]:
		return smtp.CRAMMD5Auth(user, pass), nil
	}
	return nil, errNoAuth
}

// secured says how the connection is secured, for a person.
func (s *session) secured() string {
	state, ok := s.c.TLSConnectionState()
	if !ok {
		return "without TLS"
	}
	return "with " + tls.VersionName(state.Version)
}
