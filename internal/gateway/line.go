package gateway

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/internal/config"
	"passbell/internal/dispatch"
	"passbell/internal/inbox"
	"passbell/internal/night"
	"passbell/internal/reading"
	"passbell/internal/store"
	"passbell/internal/together"
)

// Line is one adapter: the connection that a kitchen has to itself, or that
// several share.
type Line struct {
	Name   string
	Sender adapters.Sender

	config config.Adapter
	host   *Host
	pace   *dispatch.Pace
	wires  []*Wire // one for each kitchen that uses it

	reports together.Work[*report]
	intake  *inbox.Intake

	mu   sync.Mutex
	ears []*ear
}

// line makes the line of an adapter of a kitchen, or of all where that is "".
// The sender is given by tests and rehearsals; nil builds the one that the
// configuration describes.
func (h *Host) line(a config.Adapter, kitchen string, sender adapters.Sender) (*Line, error) {
	if sender == nil {
		var err error
		if sender, err = h.sender(a, kitchen); err != nil {
			return nil, fmt.Errorf("adapter %s: %w", a.Name, err)
		}
	}
	return h.newLine(a, sender), nil
}

// How long after a round the next one begins at the soonest. Nobody notices, and what
// comes or goes meanwhile shares its transaction.
const (
	intakeBreath   = 2 * time.Millisecond
	dispatchBreath = 200 * time.Millisecond
)

func (h *Host) newLine(a config.Adapter, sender adapters.Sender) *Line {
	return &Line{
		Name: a.Name, Sender: sender, config: a, host: h, pace: dispatch.NewPace(a.Window, a.PerSecond, time.Duration(a.Gap)),
		intake: inbox.NewIntake(func(ctx context.Context, kitchens []int64, fn func(kitchen int64, tx inbox.Tx) error) error {
			return h.store.WriteEach(ctx, kitchens, func(kitchen int64, tx *store.Tx) error { return fn(kitchen, tx) })
		}, intakeBreath),
	}
}

var _ adapters.Sink = (*Line)(nil)

// Inbound stores a text that came over this line in the kitchen that it is for,
// or where nobody can know that in each that it may be for: in all of them or in
// none, and once however often it is delivered.
func (l *Line) Inbound(ctx context.Context, in adapters.Inbound) error {
	l.hear(&in, nil)
	now := l.host.Clock.Now().UTC()
	text := inbox.Text(l.Name, in, now)
	may := l.mayBeFor(text.To)
	copies, err := l.route(ctx, text, may)
	if err != nil {
		return fmt.Errorf("find a text's kitchen: %w", err)
	}
	texts := make([]night.Inbound, len(copies))
	for i, c := range copies {
		texts[i] = text
		texts[i].KitchenID, texts[i].Shared, texts[i].Silent = c.Kitchen, c.Shared, c.Silent
	}
	return l.intake.Take(ctx, now, kitchensOf(may), texts...)
}

// wire has a kitchen use the line.
func (l *Line) wire(w *Wire) {
	l.wires = append(l.wires, w)
	l.intake.Add(w.house.Inbox)
}

// mayBeFor gives the wires of the kitchens that a text to a number may be for.
func (l *Line) mayBeFor(to string) []*Wire {
	if len(l.wires) == 1 {
		return l.wires
	}
	all := make([]sharer, len(l.wires))
	by := make(map[int64]*Wire, len(l.wires))
	for i, w := range l.wires {
		all[i] = w.sharer()
		by[w.house.Kitchen.ID] = w
	}
	var out []*Wire
	for _, k := range addressed(to, all) {
		out = append(out, by[k.ID])
	}
	return out
}

// route finds out for which of the kitchens that it may be for a text is.
func (l *Line) route(ctx context.Context, in night.Inbound, wires []*Wire) ([]copyFor, error) {
	may := make([]sharer, len(wires))
	asked := make([]night.Kitchen, len(wires))
	for i, w := range wires {
		may[i], asked[i] = w.sharer(), w.house.Kitchen
	}
	if len(may) == 1 {
		return route(false, may), nil
	}
	expecting, err := l.host.store.Expecting(ctx, asked, in.From, in.At)
	if err != nil {
		return nil, err
	}
	for i := range may {
		may[i].Expects = slices.Contains(expecting, may[i].ID)
	}
	read := reading.Read(in.Text, reading.Context{Region: asked[0].Region, Zone: asked[0].Zone, At: in.At, Known: len(expecting) > 0})
	return route(read.Intent == reading.Stop, may), nil
}

func (w *Wire) sharer() sharer {
	k := w.house.Kitchen
	return sharer{ID: k.ID, Region: k.Region, Number: k.Number}
}

func kitchensOf(wires []*Wire) []int64 {
	out := make([]int64, len(wires))
	for i, w := range wires {
		out[i] = w.house.Kitchen.ID
	}
	return out
}

// Receipt stores what the network says of a text that left over this line, in
// the kitchen that sent it. What comes before any kitchen has its text on record
// is kept, and joined with a later tick.
func (l *Line) Receipt(ctx context.Context, r adapters.Receipt) error {
	l.hear(nil, &r)
	if len(l.wires) == 1 { // its dispatcher keeps what comes early itself
		return l.wires[0].Dispatcher.Receipt(ctx, r)
	}
	mine := &report{id: r.ID}
	err := l.reports.Do(mine, func(all []*report) error { return l.find(context.WithoutCancel(ctx), all) })
	if err != nil {
		return err
	}
	if mine.of != nil {
		return mine.of.Dispatcher.Receipt(ctx, r)
	}
	now := l.host.Clock.Now().UTC()
	return l.host.store.KeepEarly(ctx, l.Name, r, now, now.Add(-keepEarly))
}

// report is a receipt whose kitchen is looked for. Every kitchen of the line has
// to be asked, so receipts that come at once are looked for together.
type report struct {
	id string
	of *Wire // nil where no kitchen has its text on record
}

// find finds out which kitchens sent what receipts report on.
func (l *Line) find(ctx context.Context, reports []*report) error {
	ids := make([]string, len(reports))
	for i, r := range reports {
		ids[i] = r.id
	}
	senders, err := l.host.store.Senders(ctx, kitchensOf(l.wires), l.Name, ids)
	if err != nil {
		return err
	}
	for _, r := range reports {
		if i := slices.IndexFunc(l.wires, func(w *Wire) bool { return w.house.Kitchen.ID == senders[r.id] }); i >= 0 {
			r.of = l.wires[i]
		}
	}
	return nil
}

// keepEarly is how long a receipt waits for its text: longer than any try to
// send takes. After that it is of something that passbell did not send.
const keepEarly = time.Hour

// joinEarly delivers the receipts that came early and whose texts are on record
// by now. One that is delivered twice does no harm, so it is forgotten after.
func (l *Line) joinEarly(ctx context.Context) error {
	early, err := l.host.store.Early(ctx, l.Name)
	if err != nil || len(early) == 0 {
		return err
	}
	reports := make([]*report, len(early))
	for i, r := range early {
		reports[i] = &report{id: r.ID}
	}
	if err := l.find(ctx, reports); err != nil {
		return err
	}
	var known []string
	for i, r := range reports {
		if r.of == nil {
			continue
		}
		if err := r.of.Dispatcher.Receipt(ctx, early[i]); err != nil {
			return err
		}
		known = append(known, r.id)
	}
	if len(known) == 0 {
		return nil
	}
	return l.host.store.ForgetEarly(ctx, l.Name, known)
}

// hook gives the handler for the provider's calls; nil where it makes none.
func (l *Line) hook() http.Handler {
	if h, ok := l.Sender.(adapters.Hooker); ok {
		return h.Hook(l)
	}
	return nil
}

// receive runs the adapter's own connection until ctx is done; it returns at
// once where it has none.
func (l *Line) receive(ctx context.Context) error {
	if r, ok := l.Sender.(adapters.Receiver); ok {
		return r.Receive(ctx, l)
	}
	return nil
}

// closeSenders closes the adapters that hold something open.
func closeSenders(lines []*Line) error {
	var err error
	for _, l := range lines {
		if c, ok := l.Sender.(io.Closer); ok {
			err = errors.Join(err, c.Close())
		}
	}
	return err
}
