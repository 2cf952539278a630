package smpp

import (
	"context"
	"errors"
	"fmt"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// partTries is how often a later part of a long text is offered to a centre that
// says "too fast".
const partTries = 5

// Send submits a text and waits for the answers to all its parts. Accepted.IDs
// holds one id a part. With an Unknown error it holds those of the parts that
// were taken over.
func (a *Adapter) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	if err := ctx.Err(); err != nil {
		return adapters.Accepted{}, a.given(err)
	}
	parts, err := a.compose(m)
	if err != nil {
		return adapters.Accepted{}, a.refuse(err.Error(), err)
	}
	var acc adapters.Accepted
	for i := range parts {
		id, se := a.submit(ctx, &m, &parts[i])
		for try := 1; i > 0 && se != nil && se.Outcome == adapters.Throttled && try < partTries; try++ {
			id, se = a.submit(ctx, &m, &parts[i])
		}
		if se != nil {
			return acc, half(se, i, len(parts))
		}
		if id != "" {
			acc.IDs = append(acc.IDs, id)
		}
	}
	return acc, nil
}

// half words the failure of a text of which some parts are out.
func half(se *adapters.SendError, done, total int) *adapters.SendError {
	if done == 0 {
		return se
	}
	se.Reason = fmt.Sprintf("only %d of %d parts of the text were taken over, look whether it arrived: %s", done, total, se.Reason)
	se.Outcome = adapters.Unknown
	return se
}

// compose turns a message into the bodies of its submit_sm, but for the
// validity, which is set when a part goes out.
func (a *Adapter) compose(m adapters.Message) ([]pdu.SM, error) {
	to, err := a.cfg.to(m.To)
	if err != nil {
		return nil, err
	}
	from, err := a.cfg.from(m.From)
	if err != nil {
		return nil, err
	}
	parts, err := a.writer.parts(m.Text)
	if err != nil {
		return nil, err
	}
	for i := range parts {
		p := &parts[i]
		p.ServiceType, p.Source, p.Dest = a.cfg.ServiceType, from, to
		p.Registered = a.cfg.registered()
	}
	return parts, nil
}

// submit hands over one part when the window and the pace allow, and waits for
// its answer.
func (a *Adapter) submit(ctx context.Context, m *adapters.Message, p *pdu.SM) (string, *adapters.SendError) {
	s, err := a.out.get(ctx)
	if err != nil {
		if ctx.Err() != nil {
			return "", a.given(ctx.Err())
		}
		return "", a.unavailable(err)
	}
	select {
	case a.window <- struct{}{}:
		defer func() { <-a.window }()
	case <-ctx.Done():
		return "", a.given(ctx.Err())
	}
	if err := a.pace.Wait(ctx); err != nil {
		return "", a.given(err)
	}
	now := a.now()
	if !m.ValidUntil.IsZero() && !now.Before(m.ValidUntil) {
		return "", a.refuse("the moment after which the text is no use has passed; it was not sent", nil)
	}
	p.Validity = a.cfg.validity(now, m.ValidUntil)
	c, err := s.start(pdu.SubmitSM, p.Append)
	switch {
	case errors.Is(err, pdu.ErrTooLong):
		return "", a.refuse("the text does not fit into what SMPP can carry", err)
	case err != nil:
		return "", a.unavailable(err)
	}
	select {
	case ans := <-c.done:
		return a.read(s, ans)
	case <-ctx.Done():
		s.forget(c)
		return "", &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: ctx.Err(),
			Reason: "the wait for the message centre's answer was broken off; the text may have gone out",
		}
	}
}

// read turns the answer to a submit_sm into an id or an error.
func (a *Adapter) read(s *session, ans answer) (string, *adapters.SendError) {
	switch {
	case ans.unwritten:
		return "", a.unavailable(ans.err)
	case errors.Is(ans.err, errNoAnswer):
		return "", &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: ans.err,
			Reason: "the message centre did not answer in time; the text may have gone out",
		}
	case ans.err != nil:
		return "", &adapters.SendError{
			Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: ans.err,
			Reason: "the connection broke before the message centre answered; the text may have gone out",
		}
	case ans.head.Status == pdu.OK && ans.head.ID != pdu.Nack:
		id, err := pdu.MessageID(ans.body)
		if err != nil {
			a.log.Warn("the message centre took a text over and gave an id that cannot be read; its receipt will not be joined", "error", err)
		}
		return a.ids.answer(id), nil
	}
	r := rule(ans.head.Status)
	if r.outcome == adapters.Throttled {
		a.pace.Pause(a.now().Add(durationOf(a.cfg.ThrottlePause)))
	}
	if ans.head.Status == pdu.BadBindState {
		s.fail(errSignedOff) // the next submit signs in again
	}
	a.log.Warn("the message centre refused a text", "status", ans.head.Status.String(), "outcome", string(r.outcome))
	return "", r.err(a.cfg.Name, ans.head.Status)
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
