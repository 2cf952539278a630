package smpp

import (
	"context"
	"fmt"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// Probe signs in, or uses the connection that there is, and asks for a sign of
// life. No text goes out.
func (a *Adapter) Probe(ctx context.Context) ([]adapters.Finding, error) {
	var out []adapters.Finding
	for _, l := range a.links() {
		f := a.probeLink(ctx, l)
		out = append(out, f...)
		if err := ctx.Err(); err != nil {
			return out, fmt.Errorf("%s: the check was broken off: %w", a.cfg.Name, err)
		}
	}
	return append(out, a.probeSettings()...), nil
}

func (a *Adapter) probeLink(ctx context.Context, l *link) []adapters.Finding {
	what := map[pdu.ID]string{
		pdu.BindTransceiver: "sign in to send and receive",
		pdu.BindTransmitter: "sign in to send",
		pdu.BindReceiver:    "sign in to receive",
	}[l.bind]
	s, err := l.get(ctx)
	if err != nil {
		return []adapters.Finding{{What: what, Note: fmt.Sprintf("%s (%v)", reasonOf(err), unwrapped(err))}}
	}
	out := []adapters.Finding{{What: what, OK: true, Note: l.note()}}
	started := a.now()
	if _, err := s.ask(ctx, pdu.EnquireLink, bare); err != nil {
		return append(out, adapters.Finding{
			What: "sign of life", Note: "the message centre signed us in but does not answer; try again, then ask its operator",
		})
	}
	return append(out, adapters.Finding{
		What: "sign of life", OK: true, Note: fmt.Sprintf("answered within %d ms", a.now().Sub(started).Milliseconds()),
	})
}

func (l *link) note() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	how := "without TLS: texts and password can be read on the way"
	if l.a.tls != nil {
		how = "with TLS"
	}
	if l.version != 0 && l.version < pdu.Version34 {
		how += fmt.Sprintf("; the message centre speaks SMPP %d.%d only", l.version>>4, l.version&15)
	}
	return how
}

func unwrapped(err error) error {
	if down, ok := err.(*downError); ok && down.err != nil { //nolint:errorlint // get returns it bare
		return down.err
	}
	return err
}

// probeSettings looks at what will matter on the night, without the centre.
func (a *Adapter) probeSettings() []adapters.Finding {
	sender := adapters.Finding{What: "sender", OK: true, Note: "chosen by the message centre"}
	if from, err := a.cfg.from(""); err == nil && from.Addr != "" {
		sender.Note = "a number"
		if from.TON == pdu.TONAlphanumeric {
			sender.Note = "a name: customers cannot reply to it"
		}
	}
	receipts := adapters.Finding{What: "receipts", OK: a.cfg.Receipts == receiptsAll, Note: "asked for"}
	switch a.cfg.Receipts {
	case receiptsFailures:
		receipts.Note = "asked for failures only: no text will show as delivered"
	case receiptsNone:
		receipts.Note = "not asked for: what became of a text will not show"
	}
	ids := adapters.Finding{What: "receipt ids", OK: true, Note: "relation to the answers: " + a.ids.now()}
	if a.ids.now() == "" {
		ids.Note = "found out from the first receipt; name receipt_ids if receipts are not joined after a restart"
	}
	return []adapters.Finding{sender, receipts, ids}
}
