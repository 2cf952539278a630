package email

import (
	"context"
	"errors"
	"fmt"
	"time"

	"passbell/adapters"
)

// Probe signs in to the mail server and to the mailbox. No e-mail goes out and
// none is read.
func (a *Adapter) Probe(ctx context.Context) ([]adapters.Finding, error) {
	out := a.probeServer(ctx)
	if err := ctx.Err(); err == nil {
		out = append(out, a.probeMailbox(ctx)...)
	}
	if err := ctx.Err(); err != nil {
		return out, fmt.Errorf("%s: the check was broken off: %w", a.cfg.Name, err)
	}
	return out, nil
}

func (a *Adapter) probeServer(ctx context.Context) []adapters.Finding {
	sign := adapters.Finding{What: "sign in to send"}
	ctx, cancel := context.WithTimeout(ctx, time.Duration(a.cfg.Response))
	defer cancel()
	s, err := a.open(ctx)
	if err != nil {
		var e *stageError
		if errors.As(err, &e) {
			sign.Note = fmt.Sprintf("%s (%v)", rule(e).reason, e)
		}
		return []adapters.Finding{sign}
	}
	defer a.leave(s)
	sign.OK, sign.Note = true, s.secured()
	if a.cfg.SMTP.User == "" {
		sign.Note += "; no user is set, so the server must take e-mail from anyone here"
	}
	receipts := adapters.Finding{What: "receipts", OK: true}
	offered, _ := s.c.Extension("DSN")
	switch {
	case a.cfg.IMAP.Host == "":
		receipts.OK, receipts.Note = false, "there is no mailbox to read them from: what became of an e-mail will not show"
	case !offered:
		receipts.Note = "failures only: the mail server cannot tell of success, so e-mails will not show as delivered"
	case a.cfg.Receipts != receiptsAll:
		receipts.Note = "failures only, as configured: e-mails will not show as delivered"
	default:
		receipts.Note = "asked for; not every customer's mail server gives them"
	}
	return []adapters.Finding{sign, receipts}
}

func (a *Adapter) probeMailbox(ctx context.Context) []adapters.Finding {
	if a.cfg.IMAP.Host == "" {
		return []adapters.Finding{{What: "replies", Note: "there is no mailbox under imap: replies are not read"}}
	}
	sign := adapters.Finding{What: "sign in to the mailbox"}
	m, err := a.openMailbox(ctx)
	if err != nil {
		sign.Note = err.Error()
		return []adapters.Finding{sign}
	}
	defer m.leave()
	sign.OK, sign.Note = true, fmt.Sprintf("folder %q with %d e-mails", a.cfg.IMAP.Folder, m.count)
	how := adapters.Finding{What: "new e-mail", OK: true, Note: "the server tells of it at once"}
	if !m.idles {
		how.Note = fmt.Sprintf("the server does not tell of it: we look every %s", time.Duration(a.cfg.IMAP.PollEvery))
	}
	out := []adapters.Finding{sign, how}
	if !m.keywords && a.cfg.IMAP.DoneFolder == "" {
		out = append(out, adapters.Finding{
			What: "marking e-mail",
			Note: "the mailbox keeps no marks of our own: an e-mail that somebody reads before us is missed; set imap done_folder",
		})
	}
	return out
}
