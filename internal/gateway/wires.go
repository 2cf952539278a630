package gateway

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/pelletier/go-toml/v2"

	"passbell/adapters"
	"passbell/adapters/email"
	"passbell/adapters/modem"
	"passbell/adapters/practice"
	"passbell/adapters/smpp"
	"passbell/adapters/webapi"
	"passbell/internal/config"
	"passbell/internal/dispatch"
)

// Wire is one adapter and what belongs to it.
type Wire struct {
	Name       string
	Sender     adapters.Sender
	Dispatcher *dispatch.Dispatcher

	from    string
	timeout time.Duration // for one send
	house   *House

	mu   sync.Mutex
	ears []*ear
}

// retry is how a try that failed for now is repeated: for some twenty-five
// minutes in all, so that a provider's short outage heals by itself and a long
// one is on the pass while there is still time to ring.
var retry = dispatch.Retry{First: 5 * time.Second, Cap: 5 * time.Minute, Attempts: 10}

// Wire connects an adapter to the house. The sender is given by tests and
// rehearsals; nil builds the one that the configuration describes.
func (h *House) Wire(a config.Adapter, sender adapters.Sender) (*Wire, error) {
	if sender == nil {
		var err error
		if sender, err = h.sender(a); err != nil {
			return nil, fmt.Errorf("adapter %s: %w", a.Name, err)
		}
	}
	w := &Wire{Name: a.Name, Sender: sender, from: a.From, timeout: time.Duration(a.Timeout), house: h}
	var err error
	w.Dispatcher, err = dispatch.New(dispatch.Config{
		Store: dispatchStore{h.rows}, Kitchen: h.Kitchen, Adapter: a.Name, Sender: sender, From: a.From,
		Window: a.Window, PerSecond: a.PerSecond, Timeout: time.Duration(a.Timeout), Gap: time.Duration(a.Gap), Retry: retry,
		FallAfter: time.Duration(a.FallAfter), FallUnconfirmed: time.Duration(a.FallUnconfirmed), Next: routes(h.Config).Next, Replanner: h.Desk, Now: h.Clock.Now, Spread: h.spread, Log: h.log, Changed: h.changed,
	})
	if err != nil {
		return nil, err
	}
	return w, nil
}

// sender builds an adapter from its description.
func (h *House) sender(a config.Adapter) (adapters.Sender, error) {
	chance, err := source()
	if err != nil {
		return nil, err
	}
	switch a.Kind {
	case "practice":
		c, err := settings[practice.Config](a)
		if err != nil {
			return nil, err
		}
		c.Name = a.Name
		return practice.New(c, practice.Deps{Clock: h.Clock, Log: h.log})
	case "webapi":
		c, err := settings[webapi.Config](a)
		if err != nil {
			return nil, err
		}
		c.Name = a.Name
		return webapi.New(c, webapi.Deps{Now: h.Clock.Now, After: h.Clock.After, Log: h.log})
	case "smpp":
		c, err := settings[smpp.Config](a)
		if err != nil {
			return nil, err
		}
		c.Name = a.Name
		return smpp.New(c, smpp.Deps{Now: h.Clock.Now, After: h.Clock.After, Rand: chance, Log: h.log})
	case "modem":
		c, err := settings[modem.Config](a)
		if err != nil {
			return nil, err
		}
		c.Name = a.Name
		notes := pinNotes{h.pinFile(a)}
		return modem.New(c, modem.Deps{Now: h.Clock.Now, After: h.Clock.After, Rand: chance, Log: h.log, Notes: notes})
	case "email":
		c, err := settings[email.Config](a)
		if err != nil {
			return nil, err
		}
		c.Name = a.Name
		return email.New(c, email.Deps{Now: h.Clock.Now, After: h.Clock.After, Rand: chance, Log: h.log})
	}
	return nil, fmt.Errorf("kind %q is not known: use practice, webapi, smpp, modem or email", a.Kind)
}

// settings reads the part of the configuration that only the adapter's kind
// knows.
func settings[C any](a config.Adapter) (to C, err error) {
	b, err := toml.Marshal(a.Settings)
	if err != nil {
		return to, fmt.Errorf("settings: %w", err)
	}
	err = toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(&to)
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		return to, fmt.Errorf("settings: passbell does not know this key:\n%s", strict.String())
	}
	if err != nil {
		return to, fmt.Errorf("settings: %w", err)
	}
	return to, nil
}

// Inbound stores a text that came over this wire.
func (w *Wire) Inbound(ctx context.Context, in adapters.Inbound) error {
	w.hear(&in, nil)
	return w.house.Inbox.Take(ctx, w.Name, in)
}

// Receipt stores what the network says of a text that left over this wire.
func (w *Wire) Receipt(ctx context.Context, r adapters.Receipt) error {
	w.hear(nil, &r)
	return w.Dispatcher.Receipt(ctx, r)
}

// hook gives the handler for the provider's calls; nil where it makes none.
func (w *Wire) hook() http.Handler {
	if h, ok := w.Sender.(adapters.Hooker); ok {
		return h.Hook(w)
	}
	return nil
}

// receive runs the adapter's own connection until ctx is done; it returns at
// once where it has none.
func (w *Wire) receive(ctx context.Context) error {
	if r, ok := w.Sender.(adapters.Receiver); ok {
		return r.Receive(ctx, w)
	}
	return nil
}
