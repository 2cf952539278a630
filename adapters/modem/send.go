package modem

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/warthog618/sms/encoding/tpdu"

	"passbell/adapters"
)

const (
	// partTries is how often a later part of a long text is tried that certainly
	// did not go out.
	partTries = 5
	// patience is the longest wait for a text's turn; beyond it the text is
	// Throttled.
	patience = time.Minute
)

// Send hands a text over part by part. Accepted.IDs holds one id a part; with an
// Unknown error those of the parts that are out and of the one that may be.
// Message.From is not looked at: a modem sends from its SIM's number.
func (a *Adapter) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	if err := ctx.Err(); err != nil {
		return adapters.Accepted{}, a.given(err)
	}
	if !e164.MatchString(m.To) {
		return adapters.Accepted{}, a.refuse("the recipient is no number in international form", nil)
	}
	parts, err := a.splitter.Split(m.Text, false)
	if err != nil {
		return adapters.Accepted{}, a.refuse(err.Error(), err)
	}
	if _, err := a.link.get(ctx); err != nil {
		return adapters.Accepted{}, a.unavailable(ctx, err)
	}
	at, wait := a.pace.book(a.now(), len(parts), patience)
	if at == nil {
		return adapters.Accepted{}, &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Throttled, Wait: wait,
			Reason: "the SIM's pace (parts_per_minute and burst) is used up for now",
		}
	}
	var acc adapters.Accepted
	for i := range parts {
		id, se := a.part(ctx, &m, parts[i], i, at[i])
		if id != "" {
			acc.IDs = append(acc.IDs, id)
		}
		if se != nil {
			rest := at[i+1:]
			if se.Outcome != adapters.Unknown && id == "" {
				rest = at[i:]
			}
			a.pace.giveBack(rest)
			return acc, half(se, i, len(parts))
		}
	}
	return acc, nil
}

// half words the failure of a text of which some parts are out.
func half(se *adapters.SendError, done, total int) *adapters.SendError {
	if done == 0 {
		return se
	}
	se.Reason = fmt.Sprintf("only %d of %d parts of the text went out, look whether it arrived: %s", done, total, se.Reason)
	se.Outcome = adapters.Unknown
	return se
}

// part hands over one part when its turn has come. A later one is tried again
// while it certainly did not go out.
func (a *Adapter) part(ctx context.Context, m *adapters.Message, p tpdu.TPDU, i int, at time.Time) (string, *adapters.SendError) {
	if d := at.Sub(a.now()); d > 0 && !a.pause(ctx, d) {
		if ctx.Err() == nil {
			return "", a.given(errClosed)
		}
		return "", a.given(ctx.Err())
	}
	for try := 1; ; try++ {
		id, se := a.submit(ctx, m, p, i)
		if se == nil || i == 0 || try == partTries || ctx.Err() != nil ||
			se.Outcome != adapters.Temporary && se.Outcome != adapters.Throttled {
			return id, se
		}
		wait := a.link.wait()
		if se.Outcome == adapters.Throttled {
			wait = time.Duration(a.cfg.ThrottlePause)
		}
		if !a.pause(ctx, wait) {
			return id, se
		}
	}
}

// submit hands over one part and waits for the modem's result.
func (a *Adapter) submit(ctx context.Context, m *adapters.Message, p tpdu.TPDU, i int) (string, *adapters.SendError) {
	s, err := a.link.get(ctx)
	if err != nil {
		return "", a.unavailable(ctx, err)
	}
	if err := s.take(ctx); err != nil {
		return "", a.unavailable(ctx, err)
	}
	now := a.now()
	if !m.ValidUntil.IsZero() && !now.Before(m.ValidUntil) {
		s.give()
		return "", a.refuse("the moment after which the text is no use has passed; it was not sent", nil)
	}
	sub := submission{to: m.To, smsc: a.cfg.SMSC, receipt: a.cfg.Receipts == receiptsAll}
	if a.cfg.Validity == validRelative && !m.ValidUntil.IsZero() {
		sub.validity = m.ValidUntil.Sub(now)
	}
	pdu, length, err := sub.submit(p)
	if err != nil {
		s.give()
		return "", a.refuse("the text cannot be sent by this modem", err)
	}

	type result struct {
		id  string
		err error
	}
	handed, done, abandoned := make(chan struct{}), make(chan result, 1), make(chan string, 1)
	a.wg.Go(func() {
		got, err := s.exec(ctx, command{
			line: fmt.Sprintf("AT+CMGS=%d", length), prefix: "+CMGS:", pdu: pdu, time: time.Duration(a.cfg.SendTime),
		}, func() { close(handed) })
		var mr int
		if err == nil {
			if mr, err = reference(got); err != nil {
				s.fail(err)
			}
		}
		id := ""
		select {
		case id = <-abandoned: // Send has given its name away already
			if err == nil {
				a.book.resolve(id, mr)
			}
		default:
		}
		switch {
		case id != "":
		case err == nil:
			id = a.book.sent(a.now(), m.To, mr)
		case isUnknown(err):
			id = a.book.doubt(a.now(), m.To, m.Key, i)
		}
		s.give()
		done <- result{id, err}
	})
	select {
	case r := <-done:
		return a.settle(ctx, r.id, r.err)
	case <-ctx.Done():
	}
	// Broken off: before the PDU the command ends by itself.
	select {
	case r := <-done:
		return a.settle(ctx, r.id, r.err)
	case <-handed:
	}
	select {
	case r := <-done: // it had come all the same
		return a.settle(ctx, r.id, r.err)
	default:
	}
	id := a.book.doubt(now, m.To, m.Key, i)
	abandoned <- id
	return id, &adapters.SendError{
		Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: ctx.Err(),
		Reason: "the wait for the modem's result was broken off; the text may have gone out",
	}
}

// isUnknown says whether the part may have gone out.
func isUnknown(err error) bool {
	var (
		un *unhandedError
		f  *fault
	)
	if errors.As(err, &un) {
		return false
	}
	return !errors.As(err, &f) || rule(f).outcome == adapters.Unknown
}

var errNoReference = errors.New("the modem said OK without a reference")

// reference reads TP-MR from +CMGS: <mr>[,<ackpdu>].
func reference(got answer) (int, error) {
	if len(got.lines) == 0 {
		return 0, errNoReference
	}
	mr := number(values(got.lines[0]), 0)
	if mr < 0 || mr > 255 {
		return 0, errNoReference
	}
	return mr, nil
}

// settle turns the result of a part into an id or an error.
func (a *Adapter) settle(ctx context.Context, id string, err error) (string, *adapters.SendError) {
	var (
		f  *fault
		un *unhandedError
	)
	switch {
	case err == nil:
		return id, nil
	case errors.As(err, &f):
		r := rule(f)
		if errors.As(err, &un) && r.outcome == adapters.Unknown {
			r = ruling{adapters.Temporary, false, "the modem does not take a text just now"}
		}
		if r.outcome == adapters.Throttled {
			a.pace.pause(a.now().Add(time.Duration(a.cfg.ThrottlePause)))
		}
		a.log.Warn("a text was refused", "result", f.Error(), "outcome", string(r.outcome))
		return id, &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: r.outcome, Account: r.account, Reason: r.reason + " (" + f.Error() + ")", Err: f,
		}
	case errors.As(err, &un):
		return "", a.unavailable(ctx, un.err)
	case errors.Is(err, errNoAnswer):
		return id, &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: err,
			Reason: "the modem gave no result in time; the text may have gone out",
		}
	}
	return id, &adapters.SendError{
		Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: err,
		Reason: "the connection to the modem broke before its result came; the text may have gone out",
	}
}

// unavailable words a modem that cannot be used.
func (a *Adapter) unavailable(ctx context.Context, err error) *adapters.SendError {
	if ctx.Err() != nil {
		return a.given(ctx.Err())
	}
	reason := "the connection to the modem broke before the text was handed over"
	var down *downError
	if errors.As(err, &down) {
		reason = down.reason
	}
	return &adapters.SendError{Adapter: a.cfg.Name, Outcome: adapters.Temporary, Account: true, Reason: reason, Err: err}
}

// given words a context that ended before anything was handed over.
func (a *Adapter) given(err error) *adapters.SendError {
	return &adapters.SendError{
		Adapter: a.cfg.Name, Outcome: adapters.Temporary, Err: err,
		Reason: "sending was broken off before the text was handed over",
	}
}

// refuse words a text that cannot go out as it is.
func (a *Adapter) refuse(reason string, err error) *adapters.SendError {
	return &adapters.SendError{Adapter: a.cfg.Name, Outcome: adapters.Permanent, Reason: reason, Err: err}
}
