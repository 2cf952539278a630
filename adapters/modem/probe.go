package modem

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"passbell/adapters"
)

// Probe looks at everything that a night needs: the port, the SIM, the network,
// its signal, the message centre, the store. No text goes out.
func (a *Adapter) Probe(ctx context.Context) ([]adapters.Finding, error) {
	s, err := a.link.get(ctx)
	if ctx.Err() != nil {
		return nil, fmt.Errorf("%s: the check was broken off: %w", a.cfg.Name, ctx.Err())
	}
	if err != nil {
		note := err.Error()
		if cause := errors.Unwrap(err); cause != nil {
			note += fmt.Sprintf(" (%v)", cause)
		}
		return []adapters.Finding{{What: "modem", Note: note}}, nil
	}
	out := []adapters.Finding{
		{What: "modem", OK: true, Note: strings.TrimSpace(s.word(ctx, "AT+CGMI") + " " + s.word(ctx, "AT+CGMM"))},
		{What: "SIM", OK: true, Note: "unlocked"},
		s.registration(ctx), s.operator(ctx), s.signal(ctx), s.centre(ctx), s.room(ctx),
		a.probeReceipts(s), a.probePace(),
	}
	if err := ctx.Err(); err != nil {
		return out, fmt.Errorf("%s: the check was broken off: %w", a.cfg.Name, err)
	}
	if err := s.gone(); err != nil {
		out = append(out, adapters.Finding{What: "modem", Note: fmt.Sprintf("the connection broke while checking; try again (%v)", err)})
	}
	return out, nil
}

// word is the first line of an answer; "" where there is none.
func (s *session) word(ctx context.Context, line string) string {
	got, err := s.ask(ctx, line, "*")
	if err != nil || len(got.lines) == 0 {
		return ""
	}
	return printable(got.lines[0])
}

// query is value without giving the session up, for what modems may lack.
func (s *session) query(ctx context.Context, name string) []string {
	got, err := s.ask(ctx, "AT"+name, strings.TrimSuffix(name, "?")+":")
	if err != nil || len(got.lines) == 0 {
		return nil
	}
	return values(got.lines[0])
}

// registration reads AT+CREG? and, for networks without circuits, AT+CEREG?
// (TS 27.007 §7.2 and §10.1.22).
func (s *session) registration(ctx context.Context) adapters.Finding {
	f := adapters.Finding{What: "registered with the network"}
	for _, name := range []string{"+CREG?", "+CEREG?"} {
		switch number(s.query(ctx, name), 1) {
		case 1, 6:
			f.OK, f.Note = true, "at home"
		case 5, 7:
			f.OK, f.Note = true, "roaming: texts may cost more"
		case 0:
			f.Note = "no, and not looking for one: is the aerial on?"
		case 2:
			f.Note = "not yet; it is looking for one"
		case 3:
			f.Note = "the network refuses this SIM; ask its operator"
		default:
			if f.Note == "" {
				f.Note = "the modem does not know"
			}
		}
		if f.OK {
			return f
		}
	}
	return f
}

// operator reads AT+COPS? (§7.3).
func (s *session) operator(ctx context.Context) adapters.Finding {
	v := s.query(ctx, "+COPS?")
	if len(v) < 3 || v[2] == "" {
		return adapters.Finding{What: "operator", Note: "none"}
	}
	return adapters.Finding{What: "operator", OK: true, Note: printable(v[2])}
}

// signal reads AT+CSQ (§8.5): 0 is -113 dBm or less, 31 is -51 dBm or more.
func (s *session) signal(ctx context.Context) adapters.Finding {
	f := adapters.Finding{What: "signal"}
	rssi := number(s.query(ctx, "+CSQ"), 0)
	switch {
	case rssi < 0 || rssi > 31:
		f.Note = "not known"
		return f
	case rssi < 5: // -105 dBm and less: common practice, no source
		f.Note = "very weak: move the modem to a window"
	case rssi < 10:
		f.OK, f.Note = true, "weak"
	default:
		f.OK, f.Note = true, "good"
	}
	f.Note += fmt.Sprintf(" (%d dBm)", -113+2*rssi)
	return f
}

// centre reads AT+CSCA? (TS 27.005 §3.3.1).
func (s *session) centre(ctx context.Context) adapters.Finding {
	f := adapters.Finding{What: "message centre"}
	if s.a.cfg.SMSC != "" {
		f.OK, f.Note = true, "as configured"
		return f
	}
	if v := s.query(ctx, "+CSCA?"); len(v) > 0 && v[0] != "" {
		f.OK, f.Note = true, "as the SIM has it"
		return f
	}
	f.Note = "the SIM names none: ask its operator for the number and write smsc"
	return f
}

// room reads AT+CPMS? (TS 27.005 §3.2.2).
func (s *session) room(ctx context.Context) adapters.Finding {
	f := adapters.Finding{What: "store for incoming texts"}
	v := s.query(ctx, "+CPMS?")
	at := 0
	if len(v) >= 9 {
		at = 6 // the store that receives
	}
	used, total := number(v, at+1), number(v, at+2)
	if used < 0 || total <= 0 {
		f.Note = "the modem does not say how full it is"
		return f
	}
	f.OK = used < total
	f.Note = fmt.Sprintf("%s: %d of %d places taken", v[at], used, total)
	if !f.OK {
		f.Note += ": nothing can come in until it is read or emptied"
	}
	return f
}

func (a *Adapter) probeReceipts(s *session) adapters.Finding {
	f := adapters.Finding{What: "receipts", OK: a.cfg.Receipts == receiptsAll, Note: "asked for"}
	switch v := strings.Split(s.cnmi, ","); {
	case !f.OK:
		f.Note = "not asked for: what became of a text will not show"
	case len(v) < 4 || v[3] == "0":
		f.OK, f.Note = false, "the modem does not hand them on: what became of a text will not show"
	}
	return f
}

// probePace says how long a night takes.
func (a *Adapter) probePace() adapters.Finding {
	const parts = 100
	long := a.pace.length(parts)
	return adapters.Finding{What: "pace", OK: true, Note: fmt.Sprintf(
		"%d parts of texts take %s (parts_per_minute, burst); some consumer SIM contracts forbid business use: read yours",
		parts, long.Round(time.Second),
	)}
}
