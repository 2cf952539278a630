package gateway

import (
	"context"
	"errors"
	"fmt"
	"time"

	"passbell/adapters"
	"passbell/internal/store"
	"passbell/internal/web"
)

// ways shows the pages the kitchen's adapters.
type ways struct{ *kitchen }

// Ways lists the adapters in the order of the configuration.
func (s ways) Ways() []web.Way {
	out := make([]web.Way, 0, len(s.wires))
	for _, w := range s.wires {
		a := w.config
		_, receives := w.Sender.(adapters.Receiver)
		_, hooks := w.Sender.(adapters.Hooker)
		_, probes := w.Sender.(adapters.Prober)
		out = append(out, web.Way{
			Name: a.Name, Kind: a.Kind, Mail: a.Mail(), Practice: a.Kind == "practice", Receives: receives || hooks, Probes: probes,
			PerSecond: a.PerSecond, Gap: time.Duration(a.Gap), Countries: a.Countries, Lines: a.Lines, Kinds: a.Kinds,
		})
	}
	return out
}

// Probe asks an adapter what it can tell of itself. No text goes out.
func (s ways) Probe(ctx context.Context, name string) ([]adapters.Finding, error) {
	w, err := s.wire(name)
	if err != nil {
		return nil, err
	}
	return w.probe(ctx), nil
}

// Try sends a test text by an adapter and tells what becomes of it, until ctx is
// done or all is known.
func (s ways) Try(ctx context.Context, name, to, text string, tell func(web.Trial)) error {
	w, err := s.wire(name)
	if err != nil {
		return err
	}
	var opted map[string]bool
	err = s.house.rows.Read(ctx, func(tx *store.Tx) (err error) {
		opted, err = tx.OptedOut(ctx)
		return err
	})
	switch {
	case err != nil:
		return err
	case opted[to]:
		return errors.New("this number asked for no more texts: send START from it first")
	}
	w.try(ctx, to, text, s.house.Clock.Now(), func(t Trial) {
		out := web.Trial{Sent: t.Sent == nil, Answered: t.Reply != nil}
		var failed *adapters.SendError
		switch {
		case errors.As(t.Sent, &failed):
			out.Wrong = failed.Reason
		case t.Sent != nil:
			out.Wrong = "nobody knows whether it went out"
		case t.Receipt != nil:
			out.Receipt, out.Arrived, out.Reason = true, t.Receipt.Status == adapters.Delivered, t.Receipt.Reason
		}
		tell(out)
	})
	return nil
}

func (s ways) wire(name string) (*Wire, error) {
	for _, w := range s.wires {
		if w.Name == name {
			return w, nil
		}
	}
	return nil, fmt.Errorf("no adapter is called %s", name)
}
