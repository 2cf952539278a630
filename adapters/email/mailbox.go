package email

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
	"github.com/emersion/go-sasl"
)

// keyword marks an e-mail that is stored. It is no name of RFC 5788, so it does
// not begin with "$".
const keyword imap.Flag = "passbell"

// mailbox is a connection to the mailbox, with its folder open.
type mailbox struct {
	a        *Adapter
	raw      net.Conn
	c        *imapclient.Client
	news     chan struct{} // the server told of something new
	validity uint32
	keywords bool // the server keeps keywords
	idles    bool // the server tells of new e-mail by itself
	count    uint32
}

// mailboxError is a mailbox that cannot be opened, for a cook.
type mailboxError struct {
	reason   string
	stubborn bool // trying again soon will not help and might lock the account
	err      error
}

func (e *mailboxError) Error() string { return e.reason + ": " + e.err.Error() }
func (e *mailboxError) Unwrap() error { return e.err }

// openMailbox connects, signs in and opens the folder. Its error is a
// *mailboxError.
func (a *Adapter) openMailbox(ctx context.Context) (*mailbox, error) {
	dialing, cancel := context.WithTimeout(ctx, time.Duration(a.cfg.Response))
	defer cancel()
	conn, err := a.dial(dialing, a.cfg.IMAP.Host, a.cfg.IMAP.Port, a.cfg.IMAP.TLS)
	var t *tlsError
	switch {
	case errors.As(err, &t):
		return nil, &mailboxError{"the connection to the mailbox cannot be secured: check imap host, port and tls", false, err}
	case err != nil:
		return nil, &mailboxError{"the mailbox's server cannot be reached: check imap host and port, and the internet connection", false, err}
	}
	m := &mailbox{a: a, raw: conn, news: make(chan struct{}, 1)}
	if err := m.within(ctx, m.enter); err != nil {
		m.drop()
		var known *mailboxError
		if errors.As(err, &known) {
			return nil, known
		}
		return nil, &mailboxError{"the connection to the mailbox broke", false, err}
	}
	return m, nil
}

// within runs f and breaks the connection off when ctx ends or f takes longer
// than the response time.
func (m *mailbox) within(ctx context.Context, f func() error) error {
	ctx, cancel := context.WithTimeout(ctx, time.Duration(m.a.cfg.Response))
	defer cancel()
	lift := context.AfterFunc(ctx, func() { _ = m.raw.Close() })
	err := f()
	if !lift() {
		return errors.Join(context.Cause(ctx), err)
	}
	return err
}

// enter greets, signs in and opens the folder.
func (m *mailbox) enter() error {
	opts := &imapclient.Options{
		TLSConfig:             m.a.tlsFor(m.a.cfg.IMAP.Host),
		UnilateralDataHandler: &imapclient.UnilateralDataHandler{Mailbox: m.told},
	}
	if m.a.cfg.IMAP.TLS == tlsStart {
		c, err := imapclient.NewStartTLS(m.raw, opts)
		if err != nil {
			return &mailboxError{"the connection to the mailbox cannot be secured: try tls = \"tls\" and port 993", false, err}
		}
		m.c = c
	} else {
		m.c = imapclient.New(m.raw, opts)
	}
	if err := m.c.WaitGreeting(); err != nil {
		return &mailboxError{"the mailbox's server does not let us in for now", false, err}
	}
	if err := m.signIn(); err != nil {
		return err
	}
	return m.open()
}

// told takes note of new e-mail. It runs on the client's reader and must not wait.
func (m *mailbox) told(data *imapclient.UnilateralDataMailbox) {
	if data.NumMessages == nil {
		return
	}
	select {
	case m.news <- struct{}{}:
	default:
	}
}

func (m *mailbox) signIn() error {
	if m.c.State() != imap.ConnStateNotAuthenticated {
		return nil // the server knows us already (PREAUTH)
	}
	caps, cfg := m.c.Caps(), m.a.cfg.IMAP
	var err error
	switch {
	case !caps.Has(imap.CapLoginDisabled):
		err = m.c.Login(cfg.User, m.a.imapPass).Wait()
	case caps.Has(imap.AuthCap(sasl.Plain)) && cfg.TLS != tlsNone:
		err = m.c.Authenticate(sasl.NewPlainClient("", cfg.User, m.a.imapPass))
	default:
		return &mailboxError{"the mailbox's server offers no way of signing in that we know; ask the mail provider for IMAP with a password", true, errNoAuth}
	}
	var refused *imap.Error
	if errors.As(err, &refused) && refused.Code != imap.ResponseCodeUnavailable {
		return &mailboxError{"the mailbox does not accept the sign-in: check imap user and password, and whether the account needs a password for programs", true, codeOnly(refused)}
	}
	return err
}

// codeOnly leaves out the server's own words.
func codeOnly(e *imap.Error) error {
	return fmt.Errorf("the server answered %s %s", e.Type, e.Code)
}

func (m *mailbox) open() error {
	caps, cfg := m.c.Caps(), m.a.cfg.IMAP
	m.idles = caps.Has(imap.CapIdle)
	if cfg.DoneFolder != "" {
		// It may be there already: then the server refuses, and all is well.
		if err := m.c.Create(cfg.DoneFolder, nil).Wait(); err != nil && !isRefusal(err) {
			return err
		}
	}
	data, err := m.c.Select(cfg.Folder, nil).Wait()
	if isRefusal(err) {
		return &mailboxError{fmt.Sprintf("the mailbox has no folder %q that we may read: check imap folder", cfg.Folder), true, errNoFolder}
	}
	if err != nil {
		return err
	}
	m.validity, m.count = data.UIDValidity, data.NumMessages
	m.keywords = slices.Contains(data.PermanentFlags, imap.FlagWildcard) || slices.Contains(data.PermanentFlags, keyword)
	return nil
}

var errNoFolder = errors.New("the folder cannot be opened")

// isRefusal tells an answer of the server from a broken connection.
func isRefusal(err error) bool {
	var refused *imap.Error
	return errors.As(err, &refused)
}

// waiting finds the e-mails that are not marked as stored, oldest first.
func (m *mailbox) waiting(now time.Time) ([]imap.UID, error) {
	cfg := m.a.cfg.IMAP
	// SINCE knows days only, in the server's own zone: one day more.
	criteria := &imap.SearchCriteria{
		Since:   now.Add(-time.Duration(cfg.MaxAge)).AddDate(0, 0, -1),
		NotFlag: []imap.Flag{imap.FlagDeleted},
	}
	switch {
	case cfg.DoneFolder != "":
	case m.keywords:
		criteria.NotFlag = append(criteria.NotFlag, keyword)
	default:
		criteria.NotFlag = append(criteria.NotFlag, imap.FlagSeen)
	}
	if err := m.c.Noop().Wait(); err != nil {
		return nil, err
	}
	found, err := m.c.UIDSearch(criteria, nil).Wait()
	if err != nil {
		return nil, err
	}
	uids := found.AllUIDs()
	slices.Sort(uids)
	return uids, nil
}

// fetch gets letters without marking them as read. One that went meanwhile is
// left out.
func (m *mailbox) fetch(uids []imap.UID) ([]letter, error) {
	section := &imap.FetchItemBodySection{Peek: true, Partial: &imap.SectionPartial{Size: m.a.cfg.IMAP.MaxBytes}}
	got, err := m.c.Fetch(imap.UIDSetNum(uids...), &imap.FetchOptions{
		UID: true, InternalDate: true, BodySection: []*imap.FetchItemBodySection{section},
	}).Collect()
	if err != nil {
		return nil, err
	}
	var out []letter
	for _, msg := range got {
		if len(msg.BodySection) == 0 || !slices.Contains(uids, msg.UID) {
			continue
		}
		raw := msg.BodySection[0].Bytes
		out = append(out, letter{
			uid: uint32(msg.UID), validity: m.validity, at: msg.InternalDate.UTC(),
			raw: raw[:min(int64(len(raw)), m.a.cfg.IMAP.MaxBytes)],
		})
	}
	slices.SortFunc(out, func(a, b letter) int { return int(int64(a.uid) - int64(b.uid)) })
	return out, nil
}

// mark says that an e-mail is stored.
func (m *mailbox) mark(uid uint32) error {
	set, cfg := imap.UIDSetNum(imap.UID(uid)), m.a.cfg.IMAP
	if cfg.DoneFolder != "" {
		_, err := m.c.Move(set, cfg.DoneFolder).Wait()
		return err
	}
	flags := []imap.Flag{imap.FlagSeen}
	if m.keywords {
		flags = append(flags, keyword)
	}
	return m.c.Store(set, &imap.StoreFlags{Op: imap.StoreFlagsAdd, Silent: true, Flags: flags}, nil).Close()
}

// leave signs off politely, but does not wait long for the answer.
func (m *mailbox) leave() {
	ctx, cancel := context.WithTimeout(context.Background(), min(5*time.Second, time.Duration(m.a.cfg.Response)))
	defer cancel()
	_ = m.within(ctx, func() error { return m.c.Logout().Wait() })
	m.drop()
}

// drop ends the connection and waits for its reader.
func (m *mailbox) drop() {
	_ = m.raw.Close()
	if m.c != nil {
		_ = m.c.Close()
	}
}
