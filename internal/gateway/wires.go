package gateway

import (
	"bytes"
	"context"
	"errors"
	"fmt"
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
	"passbell/internal/leader"
)

// Wire is a line as one kitchen uses it.
type Wire struct {
	*Line
	Dispatcher *dispatch.Dispatcher

	house *House
}

// retry is how a try that failed for now is repeated: for some twenty-five
// minutes in all, so that a provider's short outage heals by itself and a long
// one is on the pass while there is still time to ring.
var retry = dispatch.Retry{First: 5 * time.Second, Cap: 5 * time.Minute, Attempts: 10}

// kitchen is a house with its wires, in the order of its configuration.
type kitchen struct {
	house  *House
	wires  []*Wire
	lead   *leader.Leader
	shown  int64 // the latest event of which the pages were told
	chores []*chore
}

// connect connects every kitchen with its adapters; a rehearsal hands in the
// sender for the first. A fault that touches all kitchens is an error. One that
// touches some is said loudly: their texts wait, and every one says why.
func (h *Host) connect(first adapters.Sender) (kitchens []*kitchen, lines []*Line, err error) {
	defer func() {
		if err != nil {
			err = errors.Join(err, closeSenders(lines))
		}
	}()
	holder, err := holder()
	if err != nil {
		return nil, nil, err
	}
	shared := map[string]*Line{}
	for _, a := range h.Config.Adapter {
		l, err := h.line(a, "", first)
		if err != nil {
			return nil, lines, err
		}
		shared[a.Name], first = l, nil
		lines = append(lines, l)
	}
	var faults []error
	for _, house := range h.Houses {
		k := &kitchen{house: house}
		var wrong error
		if len(house.Config.Adapter) == 0 {
			wrong = errors.New("no adapter is configured, so nothing can be sent: add an [[adapter]] to passbell.toml; kind \"practice\" reaches no real phone")
		}
		for _, a := range house.Config.Adapter {
			l := shared[a.Name]
			if l == nil {
				own, err := h.line(a, house.Config.File, first)
				first = nil
				if err != nil {
					wrong = errors.Join(wrong, err)
					own = h.newLine(a, &outOfOrder{a.Name, err})
				}
				l = own
				lines = append(lines, l)
			}
			w, err := house.wire(l, a)
			if err != nil {
				return nil, lines, err
			}
			k.wires = append(k.wires, w)
		}
		if wrong != nil {
			faults = append(faults, wrong)
			house.log.Error("AN ADAPTER CAN'T BE USED: the kitchen runs without it, and its texts wait", "error", wrong)
		}
		if k.lead, err = house.leads(holder); err != nil {
			return nil, lines, err
		}
		k.chores = k.allChores()
		kitchens = append(kitchens, k)
	}
	if len(faults) == len(kitchens) {
		return nil, lines, errors.Join(faults...)
	}
	return kitchens, lines, nil
}

// wire lets a kitchen use a line.
func (h *House) wire(l *Line, a config.Adapter) (*Wire, error) {
	w := &Wire{Line: l, house: h}
	var err error
	w.Dispatcher, err = dispatch.New(dispatch.Config{
		Store: dispatchStore{h.rows}, Kitchen: h.Kitchen, Adapter: a.Name, Sender: l.Sender, From: w.from(),
		Breath: dispatchBreath, Window: a.Window, PerSecond: a.PerSecond, Timeout: time.Duration(a.Timeout), Gap: time.Duration(a.Gap), Pace: l.pace, Retry: retry,
		FallAfter: time.Duration(a.FallAfter), FallUnconfirmed: time.Duration(a.FallUnconfirmed), Next: routes(h.Config).Next, Replanner: h.Desk, Now: h.Clock.Now, Spread: h.spread, Log: h.log, Changed: h.changed,
	})
	if err != nil {
		return nil, err
	}
	l.wire(w)
	return w, nil
}

// from is the sender that customers see; "" for the adapter's own.
func (w *Wire) from() string {
	if w.config.From == config.OwnNumber {
		return w.house.Kitchen.Number
	}
	return w.config.From
}

// outOfOrder stands for an adapter that can't be used: nothing goes out by it.
type outOfOrder struct {
	name string
	why  error
}

// Send refuses every text for now, and says why.
func (o *outOfOrder) Send(context.Context, adapters.Message) (adapters.Accepted, error) {
	return adapters.Accepted{}, &adapters.SendError{
		Adapter: o.name, Outcome: adapters.Temporary, Account: true, Reason: "the adapter's settings are wrong, so nothing can be sent by it", Err: o.why,
	}
}

// Probe says why.
func (o *outOfOrder) Probe(context.Context) ([]adapters.Finding, error) {
	return []adapters.Finding{{What: "settings", Note: o.why.Error()}}, nil
}

var (
	_ adapters.Sender = (*outOfOrder)(nil)
	_ adapters.Prober = (*outOfOrder)(nil)
)

// sender builds an adapter of a kitchen, or of all where that is "", from its
// description.
func (h *Host) sender(a config.Adapter, kitchen string) (adapters.Sender, error) {
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
		notes := pinNotes{h.pinFile(a, kitchen)}
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
