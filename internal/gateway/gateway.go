package gateway

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/go-co-op/gocron/v2"

	"passbell/adapters"
	"passbell/internal/web"
)

// Gateway runs a house: it sends what is due, takes in what comes, and serves
// the pass.
type Gateway struct {
	house  *House
	wires  []*Wire
	server *http.Server
	addr   net.Addr
	ticks  gocron.Scheduler

	running sync.WaitGroup
	stop    []step // undone last in, first out
	once    sync.Once
	stopErr error
	failed  chan error
}

// step is one thing to undo when the gateway stops.
type step struct {
	name string
	undo func(context.Context) error
}

// New wires a gateway for the house. With no sender given, the adapters are
// those of the configuration; a rehearsal hands in its own for the first.
func New(h *House, first adapters.Sender) (*Gateway, error) {
	if len(h.Config.Adapter) == 0 {
		return nil, errors.New("no adapter is configured, so nothing can be sent: add an [[adapter]] to passbell.toml; kind \"practice\" reaches no real phone")
	}
	g := &Gateway{house: h, failed: make(chan error, 1)}
	for _, a := range h.Config.Adapter {
		w, err := h.Wire(a, first)
		if err != nil {
			return nil, errors.Join(err, g.closeSenders())
		}
		first = nil
		g.wires = append(g.wires, w)
	}
	return g, nil
}

// Wires gives the gateway's adapters in the order of the configuration.
func (g *Gateway) Wires() []*Wire { return g.wires }

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
	g.onStop("adapters", func(context.Context) error { return g.closeSenders() })
	if err := g.serve(ctx); err != nil {
		return err
	}
	work, cancel := context.WithCancel(context.WithoutCancel(ctx))
	g.onStop("sending and receiving", func(ctx context.Context) error {
		cancel()
		return waitFor(ctx, &g.running)
	})
	g.running.Go(func() { g.house.store.Listen(work, g.heard) })
	g.running.Go(func() { g.tell(work) })
	for _, w := range g.wires {
		g.running.Go(func() { w.Dispatcher.Run(work) })
		g.running.Go(func() {
			if err := w.receive(work); err != nil && work.Err() == nil {
				g.house.log.Error("an adapter stopped receiving", "adapter", w.Name, "error", err)
			}
		})
	}
	return g.tick(work)
}

// heard acts on the word of another instance, or on a silence in which anything
// may have changed: the pages are looked at anew and what is due is looked for.
func (g *Gateway) heard(kitchen int64) {
	if kitchen != 0 && kitchen != g.house.Kitchen.ID {
		return
	}
	g.house.Live.Changed()
	for _, w := range g.wires {
		w.Dispatcher.Wake()
	}
}

// tell passes on what changed here, until ctx is done.
func (g *Gateway) tell(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-g.house.news:
			g.house.announce(ctx)
		}
	}
}

// tick sets off what has to be looked at again and again. gocron only ticks:
// what is due is decided by the database.
func (g *Gateway) tick(ctx context.Context) error {
	var err error
	g.ticks, err = gocron.NewScheduler(gocron.WithClock(g.house.Clock), gocron.WithLocation(time.UTC), gocron.WithStopTimeout(10*time.Second))
	if err != nil {
		return fmt.Errorf("start the ticks: %w", err)
	}
	g.onStop("ticks", func(context.Context) error { return g.ticks.Shutdown() })
	shown := int64(0)
	beat := func() {
		for _, w := range g.wires {
			w.Dispatcher.Wake()
		}
		if err := g.house.Inbox.CatchUp(ctx); err != nil && ctx.Err() == nil {
			g.house.log.Error("texts wait to be read; passbell tries again", "error", err)
		}
		if err := g.house.Watch(ctx); err != nil && ctx.Err() == nil {
			g.house.log.Error("an order book waits in the folder; passbell tries again", "error", err)
		}
		last, err := g.house.lastEvent(ctx)
		if err != nil {
			return // the pass says by itself how old it is
		}
		if last != shown { // another process may have changed something
			shown = last
			g.house.Live.Changed()
		}
	}
	_, err = g.ticks.NewJob(gocron.DurationJob(tick), gocron.NewTask(beat),
		gocron.WithSingletonMode(gocron.LimitModeReschedule), gocron.WithStartAt(gocron.WithStartImmediately()))
	if err != nil {
		return fmt.Errorf("start the ticks: %w", err)
	}
	g.ticks.Start()
	return nil
}

// serve opens the pass.
func (g *Gateway) serve(ctx context.Context) error {
	hooks := map[string]http.Handler{}
	for _, w := range g.wires {
		if h := w.hook(); h != nil {
			hooks[w.Name] = h
		}
	}
	handler, err := web.New(web.Config{
		Desk: g.house.Desk, Inbox: g.house.Inbox, Live: g.house.Live, Kitchen: g.house.Kitchen, Keep: g.house.rows, Price: g.house.Price, Language: g.house.Config.Kitchen.Language, Hooks: hooks,
		Passphrase: g.house.Config.Passphrase, Token: g.house.Config.Token,
		NewNight: g.house.newNight, Ways: ways{g.house, g.wires},
		ClosesItself: g.house.Config.Night.CloseByItself, KeepDays: g.house.Config.Kitchen.KeepDays,
		Sessions: g.house.rows.Sessions(g.house.Clock.Now), Now: g.house.Clock.Now, Log: g.house.log,
		Demo: g.house.OnlyPractice(),
	})
	if err != nil {
		return err
	}
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", g.house.Config.Listen)
	if err != nil {
		return fmt.Errorf("the pass can't be opened on %s: %w; is passbell running already? Set listen in passbell.toml to another port", g.house.Config.Listen, err)
	}
	g.addr = listener.Addr()
	pages, cancel := context.WithCancel(context.WithoutCancel(ctx))
	g.server = &http.Server{
		Handler: handler, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		BaseContext: func(net.Listener) context.Context { return pages },
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

// closeSenders closes the adapters that hold something open.
func (g *Gateway) closeSenders() error {
	var err error
	for _, w := range g.wires {
		if c, ok := w.Sender.(io.Closer); ok {
			err = errors.Join(err, c.Close())
		}
	}
	return err
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
