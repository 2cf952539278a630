package gateway

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/adapters"
	"passbell/internal/config"
	"passbell/internal/night"
)

// Check tries the adapters without texting a customer.
type Check struct {
	kitchens []*kitchen
	lines    []*Line
}

// NewCheck wires the adapters for a trial.
func (h *Host) NewCheck() (*Check, error) {
	kitchens, lines, err := h.connect(nil)
	return &Check{kitchens, lines}, err
}

// Probed is what an adapter told of itself, and of the sender that customers see.
type Probed struct {
	Adapter  config.Adapter
	Kitchens []string // the files of those that use it, where there are several
	Findings []adapters.Finding
}

// Probe asks each adapter what it can tell of itself: sign-in, credit, signal.
// What an adapter can't tell is said too. Those of one kitchen are asked where
// only is its file, all where it is "".
func (c *Check) Probe(ctx context.Context, only string) []Probed {
	var out []Probed
	for _, l := range c.lines {
		p := Probed{Adapter: l.config}
		var from, region string
		for _, w := range l.wires {
			if file := w.house.Config.File; only == "" || file == only {
				p.Kitchens, from, region = append(p.Kitchens, file), w.from(), w.house.Kitchen.Region
			}
		}
		if len(p.Kitchens) == 0 {
			continue
		}
		p.Findings = append(l.probe(ctx), SenderName(from, region)...)
		out = append(out, p)
	}
	return out
}

func (l *Line) probe(ctx context.Context) []adapters.Finding {
	p, ok := l.Sender.(adapters.Prober)
	if !ok {
		return []adapters.Finding{{What: "sign-in", OK: true, Note: "this kind can't be tried without a text"}}
	}
	findings, err := p.Probe(ctx)
	if err != nil {
		findings = append(findings, adapters.Finding{What: "connection", Note: err.Error()})
	}
	return findings
}

// Trial is what became of a test text to the cook's own phone.
type Trial struct {
	Sent    error
	Receipt *adapters.Receipt // nil where none came in time
	Reply   *adapters.Inbound // nil where none came in time
}

// Send sends a test text by a kitchen's adapter called name to the cook's own
// phone and waits, until ctx is done, for its receipt and for an answer. A text
// that comes in meanwhile is stored like any other.
func (c *Check) Send(ctx context.Context, h *House, name, to, text string, now time.Time) (Trial, error) {
	for _, w := range c.wires(h) {
		if w.Name != name {
			continue
		}
		listening, stop := context.WithCancel(ctx)
		defer stop()
		go func() { _ = w.receive(listening) }() // its errors show as nothing coming in
		return w.try(ctx, to, text, now, func(Trial) {}), nil
	}
	return Trial{}, fmt.Errorf("no adapter is called %s", name)
}

func (c *Check) wires(h *House) []*Wire {
	for _, k := range c.kitchens {
		if k.house == h {
			return k.wires
		}
	}
	return nil
}

// try sends a test text and calls tell with what is known of it, each time that
// more is, until ctx is done or all is known. It hears what comes over the wire;
// to receive is somebody else's business.
func (w *Wire) try(ctx context.Context, to, text string, now time.Time, tell func(Trial)) Trial {
	e := w.listen(to)
	defer w.forget(e)
	var t Trial
	sending, cancel := context.WithTimeout(ctx, time.Duration(w.config.Timeout))
	defer cancel()
	accepted, err := w.Sender.Send(sending, adapters.Message{
		Key: fmt.Sprintf("check-%d", now.UnixMilli()), To: to, From: w.from(), Subject: w.house.Kitchen.Name, Text: text, ValidUntil: now.Add(time.Hour),
	})
	t.Sent = err
	tell(t)
	for err == nil && (t.Reply == nil || t.Receipt == nil) {
		select {
		case <-ctx.Done():
			return t
		case r := <-e.receipts:
			if !slices.Contains(accepted.IDs, r.ID) || r.Status == adapters.OnTheWay {
				continue
			}
			t.Receipt = &r
		case in := <-e.texts:
			t.Reply = &in
		}
		tell(t)
	}
	return t
}

// ear listens in on what comes over a wire.
type ear struct {
	from     string
	receipts chan adapters.Receipt
	texts    chan adapters.Inbound
}

func (l *Line) listen(from string) *ear {
	e := &ear{from: from, receipts: make(chan adapters.Receipt, 256), texts: make(chan adapters.Inbound, 16)}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ears = append(l.ears, e)
	return e
}

func (l *Line) forget(e *ear) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ears = slices.DeleteFunc(l.ears, func(other *ear) bool { return other == e })
}

// hear hands what comes to whoever listens; nobody is waited for.
func (l *Line) hear(in *adapters.Inbound, r *adapters.Receipt) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, e := range l.ears {
		if in != nil && in.From == e.from {
			select {
			case e.texts <- *in:
			default:
			}
		}
		if r != nil {
			select {
			case e.receipts <- *r:
			default:
			}
		}
	}
}

// SenderName says what is wrong with a sender that is a name, and what to mind.
// At most 11 signs of the 7-bit alphabet that are letters, digits and a few more
// (3GPP TS 23.040 §9.1.2.5: 11 septets); the cautions by country are from
// regulators' and networks' pages of 2025 and may have changed.
func SenderName(from, region string) []adapters.Finding {
	if from == "" || strings.Trim(from, "+0123456789 ") == "" {
		return nil
	}
	plain := strings.Trim(strings.ToUpper(from), "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 &-_.'") == ""
	out := []adapters.Finding{
		{What: "sender name length", OK: len(from) <= 11, Note: fmt.Sprintf("%d signs; networks take 11 at most", len(from))},
		{What: "sender name signs", OK: plain, Note: "letters, digits, space and & - _ . ' are safe; others get lost"},
		{What: "answers", OK: false, Note: "customers can't answer a text from a name, and passbell lives from their answers: use a number"},
	}
	if note := senderRules[region]; note != "" {
		out = append(out, adapters.Finding{What: "rules in " + region, OK: true, Note: note})
	}
	return out
}

var senderRules = map[string]string{
	"GB": "names that say only Collect, Order, Reminder, Delivery and the like are blocked by networks",
	"IE": "names must be registered (ComReg); since 3 October 2025 others are blocked",
	"US": "names can't be senders; numbers that programs use must be registered",
	"CA": "names can't be senders",
}

// SendingTime is how long it takes to send so many texts by an adapter.
func SendingTime(a config.Adapter, messages []night.Message) time.Duration {
	texts := 0
	for _, m := range messages {
		if m.Adapter == a.Name {
			texts++
		}
	}
	return time.Duration(float64(texts) / a.PerSecond * float64(time.Second)).Round(time.Second)
}
