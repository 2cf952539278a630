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
	wires []*Wire
}

// NewCheck wires the adapters for a trial.
func (h *House) NewCheck() (*Check, error) {
	var c Check
	for _, a := range h.Config.Adapter {
		w, err := h.Wire(a, nil)
		if err != nil {
			return nil, err
		}
		c.wires = append(c.wires, w)
	}
	return &c, nil
}

// Probe asks each adapter what it can tell of itself: sign-in, credit, signal.
// What an adapter can't tell is said too.
func (c *Check) Probe(ctx context.Context) map[string][]adapters.Finding {
	out := make(map[string][]adapters.Finding, len(c.wires))
	for _, w := range c.wires {
		out[w.Name] = w.probe(ctx)
	}
	return out
}

func (w *Wire) probe(ctx context.Context) []adapters.Finding {
	p, ok := w.Sender.(adapters.Prober)
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

// Send sends a test text by the adapter called name to the cook's own phone and
// waits, until ctx is done, for its receipt and for an answer. A text that comes
// in meanwhile is stored like any other.
func (c *Check) Send(ctx context.Context, name, to, text string, now time.Time) (Trial, error) {
	for _, w := range c.wires {
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

// try sends a test text and calls tell with what is known of it, each time that
// more is, until ctx is done or all is known. It hears what comes over the wire;
// to receive is somebody else's business.
func (w *Wire) try(ctx context.Context, to, text string, now time.Time, tell func(Trial)) Trial {
	e := w.listen(to)
	defer w.forget(e)
	var t Trial
	sending, cancel := context.WithTimeout(ctx, w.timeout)
	defer cancel()
	accepted, err := w.Sender.Send(sending, adapters.Message{
		Key: fmt.Sprintf("check-%d", now.UnixMilli()), To: to, From: w.from, Subject: w.house.Kitchen.Name, Text: text, ValidUntil: now.Add(time.Hour),
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

func (w *Wire) listen(from string) *ear {
	e := &ear{from: from, receipts: make(chan adapters.Receipt, 256), texts: make(chan adapters.Inbound, 16)}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ears = append(w.ears, e)
	return e
}

func (w *Wire) forget(e *ear) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ears = slices.DeleteFunc(w.ears, func(other *ear) bool { return other == e })
}

// hear hands what comes to whoever listens; nobody is waited for.
func (w *Wire) hear(in *adapters.Inbound, r *adapters.Receipt) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, e := range w.ears {
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
