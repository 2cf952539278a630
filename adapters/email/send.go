package email

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"passbell/adapters"
)

// Send hands one e-mail to the mail server and waits for its answer.
func (a *Adapter) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	if err := ctx.Err(); err != nil {
		return adapters.Accepted{}, a.given(err)
	}
	e, account, err := a.compose(m)
	if err != nil {
		return adapters.Accepted{}, &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Permanent, Account: account, Reason: err.Error(), Err: err,
		}
	}
	if err := a.pace.Wait(ctx); err != nil {
		return adapters.Accepted{}, a.given(err)
	}
	select {
	case a.slots <- struct{}{}:
		defer func() { <-a.slots }()
	case <-ctx.Done():
		return adapters.Accepted{}, a.given(ctx.Err())
	}
	if a.life.Err() != nil {
		return adapters.Accepted{}, a.given(errClosed)
	}
	if !e.until.IsZero() && !a.now().Before(e.until) {
		return adapters.Accepted{}, &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Permanent,
			Reason: "the moment after which the text is no use has passed; it was not sent",
		}
	}
	if err := a.deliver(ctx, &e); err != nil {
		return adapters.Accepted{}, a.sendError(ctx, err)
	}
	return adapters.Accepted{IDs: []string{e.id}}, nil
}

// given words a send that ended before anything was handed over.
func (a *Adapter) given(err error) *adapters.SendError {
	return &adapters.SendError{
		Adapter: a.cfg.Name, Outcome: adapters.Temporary, Err: err,
		Reason: "sending was broken off before the e-mail was handed over",
	}
}

// deliver goes over a kept connection, or over a fresh one where there is none
// or it turns out to be dead or used up.
func (a *Adapter) deliver(ctx context.Context, e *envelope) error {
	for {
		s := a.pool.kept()
		if s == nil {
			break
		}
		err := a.submit(ctx, s, e)
		var at *stageError
		if errors.As(err, &at) && at.stage <= stageSender && (at.code == 0 || at.code == codeClosing) && ctx.Err() == nil {
			continue
		}
		return err
	}
	if err := a.pool.held(a.now()); err != nil {
		return err
	}
	opening, cancel := context.WithTimeout(ctx, time.Duration(a.cfg.Response))
	s, err := a.open(opening)
	cancel()
	if err != nil {
		var at *stageError
		if errors.As(err, &at) && at.stage == stageSignIn && at.code >= 500 {
			a.pool.hold(err, a.now().Add(time.Duration(a.cfg.SMTP.SignInPause)))
		}
		return err
	}
	return a.submit(ctx, s, e)
}

// submit hands an e-mail over on s, and keeps or ends s as it turned out.
func (a *Adapter) submit(ctx context.Context, s *session, e *envelope) error {
	ctx, cancel := context.WithTimeout(ctx, time.Duration(a.cfg.Response))
	defer cancel()
	lift := s.guard(ctx)
	err := a.transact(s, e)
	whole := lift()
	var at *stageError
	switch {
	case !whole: // broken off, or about to be
	case err == nil, errors.As(err, &at) && at.code != 0 && at.code != codeClosing:
		a.keep(s)
		return err
	}
	_ = s.raw.Close()
	return err
}

// transact is MAIL, RCPT and DATA (RFC 5321 §3.3). Its error is a *stageError.
func (a *Adapter) transact(s *session, e *envelope) error {
	if s.reused {
		if err := s.c.Reset(); err != nil {
			return failed(stageSender, errStale)
		}
	}
	utf8 := !ascii(e.from) || !ascii(e.to)
	if offered, _ := s.c.Extension("SMTPUTF8"); utf8 && !offered {
		return failed(stageRecipient, errNotASCII)
	}
	s.c.SkipSMTPUTF8(!utf8)
	params := a.parameters(s, e)
	err := s.c.Mail("<" + e.from + ">" + params)
	if err != nil && params != "" && failed(stageSender, err).misread() {
		// Some offer what they do not understand; the e-mail matters more.
		err = s.c.Mail("<" + e.from + ">")
	}
	if err != nil {
		return failed(stageSender, err)
	}
	if err := s.c.Rcpt("<" + e.to + ">"); err != nil {
		return failed(stageRecipient, err)
	}
	w, err := s.c.Data()
	if err != nil {
		return failed(stageData, err)
	}
	// What is not closed by the final dot is thrown away by the server.
	if _, err := w.Write(e.body); err != nil {
		return failed(stageData, err)
	}
	if err := w.Close(); err != nil {
		return failed(stageDone, err)
	}
	return nil
}

// parameters asks for reports (RFC 3461) and names the moment after which the
// e-mail is no use (RFC 2852), where the server offers it. The client library
// knows no such parameters of MAIL, but puts its own behind the address as we do.
func (a *Adapter) parameters(s *session, e *envelope) string {
	var out strings.Builder
	s.c.SetDSNRcptNotifyOption("")
	s.c.SetDSNMailReturnOption("")
	if dsn, _ := s.c.Extension("DSN"); dsn && a.cfg.Receipts != receiptsNone {
		s.c.SetDSNMailReturnOption("HDRS")
		s.c.SetDSNRcptNotifyOption("FAILURE,DELAY")
		if a.cfg.Receipts == receiptsAll {
			s.c.SetDSNRcptNotifyOption("SUCCESS,FAILURE,DELAY")
		}
		if len(e.id) <= 100 { // RFC 3461 §4.4; our ids need no xtext
			out.WriteString(" ENVID=" + e.id)
		}
	}
	if by, least := s.c.Extension("DELIVERBY"); by && !e.until.IsZero() {
		seconds := int64(e.until.Sub(a.now()) / time.Second)
		floor, _ := strconv.ParseInt(strings.TrimSpace(least), 10, 64)
		if seconds >= max(floor, 1) && seconds <= 999_999_999 {
			fmt.Fprintf(&out, " BY=%d;R", seconds)
		}
	}
	return out.String()
}

var (
	errNotASCII = errors.New("the server takes plain letters in addresses only")
	errStale    = errors.New("the kept connection is of no use any more")
)

func ascii(s string) bool {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}
