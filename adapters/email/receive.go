package email

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/emersion/go-imap/v2"

	"passbell/adapters"
)

const (
	// fetchAtOnce is how many e-mails are held in memory at a time.
	fetchAtOnce = 8
	// storeGrace is how long storing and marking may go on once Receive is to end.
	storeGrace = 10 * time.Second
)

// handled is what the sink has stored but the mailbox could not mark. It belongs
// to the one run of Receive.
type handled struct {
	validity uint32 // the UIDs mean nothing under another one (RFC 3501 §2.3.1.1)
	uids     map[uint32]bool
}

// under forgets everything where validity has changed, and what is not waiting
// any more.
func (h *handled) under(validity uint32, waiting []imap.UID) {
	kept := map[uint32]bool{}
	if h.validity == validity {
		for _, uid := range waiting {
			if h.uids[uint32(uid)] {
				kept[uint32(uid)] = true
			}
		}
	}
	h.validity, h.uids = validity, kept
}

// Receive reads the mailbox until ctx is done; then it returns nil. Without a
// mailbox it only waits. The sink is called from one goroutine.
func (a *Adapter) Receive(ctx context.Context, sink adapters.Sink) error {
	if a.cfg.IMAP.Host == "" {
		<-ctx.Done()
		return nil
	}
	if !a.receiving.CompareAndSwap(false, true) {
		return fmt.Errorf("%s: receiving is under way already", a.cfg.Name)
	}
	defer a.receiving.Store(false)

	cfg := a.cfg.IMAP
	wait := time.Duration(cfg.ReconnectMin)
	for ctx.Err() == nil {
		m, err := a.openMailbox(ctx)
		if err == nil {
			wait = time.Duration(cfg.ReconnectMin)
			err = a.watch(ctx, m, sink)
			m.leave()
		}
		if ctx.Err() != nil {
			break
		}
		var known *mailboxError
		if errors.As(err, &known) && known.stubborn {
			wait = time.Duration(cfg.ReconnectMax)
		}
		a.log.Warn("the mailbox cannot be read; it is tried again", "error", err, "within", wait.String())
		a.pause(ctx, wait-time.Duration(a.chance()*float64(wait)/2))
		wait = min(2*wait, time.Duration(cfg.ReconnectMax))
	}
	return nil
}

// pause waits, or until ctx is done.
func (a *Adapter) pause(ctx context.Context, d time.Duration) {
	select {
	case <-a.after(d):
	case <-ctx.Done():
	}
}

// watch handles what is there and waits for more, until the connection breaks or
// ctx is done.
func (a *Adapter) watch(ctx context.Context, m *mailbox, sink adapters.Sink) error {
	for ctx.Err() == nil {
		select {
		case <-m.news: // what it told of is found by the look that follows
		default:
		}
		whole, err := a.sweep(ctx, m, sink)
		switch {
		case err != nil:
			return err
		case !whole:
			a.pause(ctx, time.Duration(a.cfg.IMAP.RetryEvery))
		case m.idles:
			err = m.idle(ctx)
		default:
			a.pause(ctx, time.Duration(a.cfg.IMAP.PollEvery))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// idle waits until the server tells of something new (IDLE, RFC 2177).
func (m *mailbox) idle(ctx context.Context) error {
	var end func() error
	err := m.within(ctx, func() error {
		cmd, err := m.c.Idle()
		if err != nil {
			return err
		}
		end = func() error { return errors.Join(cmd.Close(), cmd.Wait()) }
		return nil
	})
	if err != nil {
		if end != nil {
			_ = end()
		}
		return err
	}
	select {
	case <-m.news:
	case <-m.a.after(time.Duration(m.a.cfg.IMAP.LookEvery)):
	case <-m.c.Closed():
	case <-ctx.Done():
	}
	return m.within(context.WithoutCancel(ctx), end)
}

// sweep hands everything that waits to the sink. false means that some of it was
// not stored and is to be tried again.
func (a *Adapter) sweep(ctx context.Context, m *mailbox, sink adapters.Sink) (bool, error) {
	var uids []imap.UID
	err := m.within(ctx, func() (err error) {
		uids, err = m.waiting(a.now())
		return err
	})
	if err != nil {
		return false, err
	}
	a.handled.under(m.validity, uids)
	whole := true
	for len(uids) > 0 && ctx.Err() == nil {
		some := uids[:min(len(uids), fetchAtOnce)]
		uids = uids[len(some):]
		var letters []letter
		err := m.within(ctx, func() (err error) {
			letters, err = m.fetch(some)
			return err
		})
		if err != nil {
			return false, err
		}
		for i := range letters {
			if ctx.Err() != nil {
				return false, nil
			}
			stored, err := a.take(ctx, m, sink, &letters[i])
			if err != nil {
				return false, err
			}
			whole = whole && stored
		}
	}
	return whole, nil
}

// take hands one letter to the sink and then marks it. It goes on for a while
// when ctx is done, so that what is stored is marked too.
func (a *Adapter) take(ctx context.Context, m *mailbox, sink adapters.Sink, l *letter) (bool, error) {
	ctx, cancel := a.graced(ctx)
	defer cancel()
	if !a.handled.uids[l.uid] {
		if err := a.hand(ctx, sink, l); err != nil {
			a.log.Warn("an e-mail could not be stored; it stays in the mailbox and is tried again", "uid", l.uid, "error", err)
			return false, nil
		}
		a.handled.uids[l.uid] = true
	}
	err := m.within(ctx, func() error { return m.mark(l.uid) })
	switch {
	case isRefusal(err):
		// It is stored, and not handed over again in this run.
		a.log.Warn("an e-mail is stored, but the mailbox does not let us mark or move it: check the rights and imap done_folder", "uid", l.uid)
	case err != nil:
		return false, err
	}
	return true, nil
}

// graced outlives ctx by storeGrace.
func (a *Adapter) graced(ctx context.Context) (context.Context, context.CancelFunc) {
	out, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		select {
		case <-a.after(storeGrace):
			cancel()
		case <-out.Done():
		}
	})
	return out, func() { stop(); cancel() }
}

// hand gives what a letter says to the sink; nil where there is nothing in it for
// the sink.
func (a *Adapter) hand(ctx context.Context, sink adapters.Sink, l *letter) error {
	e := readEntity(l.raw)
	if r, ok := readReport(&e); ok {
		if r.id == "" || r.status == "" {
			a.log.Warn("a report about an e-mail came that cannot be joined to one of ours; look into the mailbox", "uid", l.uid)
			return nil
		}
		return sink.Receipt(ctx, adapters.Receipt{ID: r.id, Status: r.status, Reason: r.reason, At: l.at})
	}
	if why := machine(e.head); why != "" {
		a.log.Debug("an e-mail was passed over", "uid", l.uid, "because", why)
		return nil
	}
	in := l.inbound(&e, a.cfg.From, a.cfg.ReplyTo)
	if in.From == "" {
		a.log.Warn("an e-mail without a sender was passed over", "uid", l.uid)
		return nil
	}
	return sink.Inbound(ctx, in)
}
