package gateway

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/internal/fault"
	"passbell/internal/web"
)

// Gateway runs the kitchens of a host: it sends what is due, takes in what
// comes, and serves each one's pages under its name.
type Gateway struct {
	host     *Host
	kitchens []*kitchen
	lines    []*Line
	server   *http.Server
	addr     net.Addr

	running sync.WaitGroup // sending and receiving
	acting  sync.WaitGroup // what the rounds began
	stop    []step         // undone last in, first out
	once    sync.Once
	stopErr error
	failed  chan error
}

// step is one thing to undo when the gateway stops.
type step struct {
	name string
	undo func(context.Context) error
}

// New wires a gateway for the kitchens of a host. With no sender given, the
// adapters are those of the configuration; a rehearsal hands in its own for the
// first.
func New(h *Host, first adapters.Sender) (*Gateway, error) {
	kitchens, lines, err := h.connect(first)
	if err != nil {
		return nil, err
	}
	return &Gateway{host: h, kitchens: kitchens, lines: lines, failed: make(chan error, 1)}, nil
}

// Wires gives the adapters as the kitchens use them, kitchen by kitchen and in
// the order of the configuration.
func (g *Gateway) Wires() []*Wire {
	var out []*Wire
	for _, k := range g.kitchens {
		out = append(out, k.wires...)
	}
	return out
}

// Start begins to serve and to send. It returns once the pass can be opened.
func (g *Gateway) Start(ctx context.Context) error {
	if err := g.start(ctx); err != nil {
		return errors.Join(err, g.Stop(ctx))
	}
	return nil
}

// Serve opens the pass and runs nothing else: a rehearsal drives the clock, the
// sending and the receiving by itself.
func (g *Gateway) Serve(ctx context.Context) error {
	if err := g.serve(ctx); err != nil {
		return errors.Join(err, g.Stop(ctx))
	}
	return nil
}

func (g *Gateway) start(ctx context.Context) error {
	g.onStop("adapters", func(context.Context) error { return closeSenders(g.lines) })
	if err := g.serve(ctx); err != nil {
		return err
	}
	work, cancel := context.WithCancel(context.WithoutCancel(ctx))
	g.onStop("sending and receiving", func(ctx context.Context) error {
		cancel()
		return waitFor(ctx, &g.running)
	})
	g.keep(work, func() { g.host.store.Listen(work, g.heard) })
	for _, k := range g.kitchens {
		g.keep(work, func() { k.tell(work) })
		for _, w := range k.wires {
			g.keep(work, func() { w.Dispatcher.Run(work) })
		}
	}
	for _, l := range g.lines {
		g.keep(work, func() {
			if err := l.receive(work); err != nil && work.Err() == nil {
				g.host.log.Error("an adapter stopped receiving", "adapter", l.Name, "error", err)
			}
		})
	}
	return g.startRounds(work, g.rounds())
}

// keep has something run beside everything else until it ends or ctx does. A fault
// in it ends nothing else, and it begins anew a little later.
func (g *Gateway) keep(ctx context.Context, run func()) {
	g.running.Go(func() {
		for g.caught(run) {
			select {
			case <-ctx.Done():
				return
			case <-g.host.Clock.After(tick):
			}
		}
	})
}

// caught runs something and tells whether a fault in the code ended it.
func (g *Gateway) caught(run func()) (faulty bool) {
	defer func() { faulty = fault.Caught(recover(), g.host.log) != nil }()
	run()
	return false
}

// heard acts on the word of another instance, or on a silence in which anything
// may have changed: the pages are looked at anew. What is due in the kitchen that
// was named is looked for at once, and everywhere else with the next tick.
func (g *Gateway) heard(id int64) {
	for _, k := range g.kitchens {
		if id == 0 || id == k.house.Kitchen.ID {
			k.house.Live.Changed()
		}
		if id == k.house.Kitchen.ID {
			k.wake()
		}
	}
}

// wake has the kitchen's dispatchers look for what is due.
func (k *kitchen) wake() {
	for _, w := range k.wires {
		w.Dispatcher.Wake()
	}
}

// breath is how long after one word to the other instances the next one waits at
// least.
const breath = 50 * time.Millisecond

// tell passes on what changed here, until ctx is done: a change at once, and what
// changes just after it in one word. Each word wakes every instance, and has the
// dispatchers of the kitchen look for what is due.
func (k *kitchen) tell(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-k.house.news:
			k.house.announce(ctx)
		}
		select {
		case <-ctx.Done():
			return
		case <-k.house.Clock.After(breath):
		}
	}
}

// serve opens the pass.
func (g *Gateway) serve(ctx context.Context) error {
	pages, looks := front{}, new(web.Looks)
	for _, k := range g.kitchens {
		handler, err := k.pages(looks)
		if err != nil {
			return err
		}
		pages[k.house.Config.Host] = handler
	}
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", g.host.Config.Listen)
	if err != nil {
		return fmt.Errorf("the pass can't be opened on %s: %w; is passbell running already? Set listen in passbell.toml to another port", g.host.Config.Listen, err)
	}
	g.addr = listener.Addr()
	open, cancel := context.WithCancel(context.WithoutCancel(ctx))
	g.server = &http.Server{
		Handler: pages, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		BaseContext: func(net.Listener) context.Context { return open },
	}
	g.onStop("pages", func(ctx context.Context) error {
		cancel() // open live pages would hold the shutdown up
		return g.server.Shutdown(ctx)
	})
	go func() { // ends with Shutdown
		if err := g.server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			g.failed <- fmt.Errorf("serve the pass: %w", err)
		}
	}()
	return nil
}

// Failed gives the error that ended serving by itself, if one did.
func (g *Gateway) Failed() <-chan error { return g.failed }

// Addr gives the address on which the pass is served.
func (g *Gateway) Addr() net.Addr { return g.addr }

// Stop ends everything: no new sends, those under way are waited for and
// settled. ctx bounds the wait. It may be called twice.
func (g *Gateway) Stop(ctx context.Context) error {
	g.once.Do(func() {
		for i := len(g.stop) - 1; i >= 0; i-- {
			if err := g.stop[i].undo(ctx); err != nil {
				g.stopErr = errors.Join(g.stopErr, fmt.Errorf("stop %s: %w", g.stop[i].name, err))
			}
		}
	})
	return g.stopErr
}

func (g *Gateway) onStop(name string, undo func(context.Context) error) {
	g.stop = append(g.stop, step{name, undo})
}

func waitFor(ctx context.Context, wg *sync.WaitGroup) error {
	done := make(chan struct{})
	go func() {
		wg.Wait()
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
