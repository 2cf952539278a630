package gateway

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
)

// hole stands between an instance and its database, and can swallow what goes
// through it without closing a line: as a firewall does that forgot them, or a
// cable that nobody noticed.
type hole struct {
	net.Listener
	to   string
	mu   sync.Mutex
	open chan struct{} // closed while everything passes
	dead map[net.Conn]bool
	all  []net.Conn
}

func newHole(t *testing.T, to string) *hole {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	h := &hole{Listener: l, to: to, open: make(chan struct{}), dead: map[net.Conn]bool{}}
	close(h.open)
	go h.serve()
	t.Cleanup(func() {
		h.pass(false)
		require.NoError(t, l.Close())
		h.mu.Lock()
		defer h.mu.Unlock()
		for _, c := range h.all {
			_ = c.Close() // whoever was first
		}
	})
	return h
}

func (h *hole) serve() {
	for {
		near, err := h.Accept()
		if err != nil {
			return
		}
		far, err := net.Dial("tcp", h.to)
		if err != nil {
			_ = near.Close()
			continue
		}
		h.mu.Lock()
		h.all = append(h.all, near, far)
		h.mu.Unlock()
		go h.carry(near, far, near)
		go h.carry(far, near, near)
	}
}

// carry hands on what comes, or keeps it while the hole is open.
func (h *hole) carry(from, to, line net.Conn) {
	defer func() { _ = to.Close() }()
	buf := make([]byte, 32<<10)
	for {
		n, err := from.Read(buf)
		h.mu.Lock()
		open := h.open
		h.mu.Unlock()
		<-open
		h.mu.Lock()
		dead := h.dead[line]
		h.mu.Unlock()
		if dead {
			n, err = 0, nil
			if _, err = io.Copy(io.Discard, from); err == nil {
				err = io.EOF
			}
		}
		if _, failed := to.Write(buf[:n]); failed != nil || err != nil {
			return
		}
	}
}

// swallow lets nothing through any more.
func (h *hole) swallow() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.open = make(chan struct{})
}

// pass lets everything through again, or with forget only what comes by lines
// that are opened from now on: the others stay silent for ever.
func (h *hole) pass(forget bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, c := range h.all {
		h.dead[c] = forget
	}
	select {
	case <-h.open:
	default:
		close(h.open)
	}
}

// called is a provider that counts also whom it has not answered yet.
type called struct {
	counter
	calls atomic.Int64
}

func (c *called) Send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	c.calls.Add(1)
	return c.counter.Send(ctx, m)
}

// words is a log that can be read while it is written.
type words struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (w *words) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.text.Write(b)
}

func (w *words) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.text.String()
}

// A database that falls silent in the middle of a sending, with every line to it
// standing: nothing more is claimed, the instance says so, and once the silence
// is over it goes on by itself. What a provider answered meanwhile is recorded,
// and nothing goes out twice.
func TestTheDatabaseFallsSilent(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t)
	for name, forget := range map[string]bool{"and its lines come back": false, "and its lines are dead for good": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			direct := server.Database(t)
			u, err := url.Parse(direct)
			require.NoError(t, err)
			line := newHole(t, u.Host)
			u.Host = line.Addr().String()
			u.RawQuery = url.Values{"silence": {"1s"}, "statement_timeout": {"900"}, "connect_timeout": {"1"}}.Encode()

			provider := &called{counter: counter{took: map[string]int{}, to: map[string]int{}, hold: make(chan struct{})}}
			log := &words{}
			g := instanceWith(t, u.String(), provider, slog.New(slog.NewTextHandler(log, nil)))
			n := closedNight(t, g, 30)
			s, err := store.Open(t.Context(), direct)
			require.NoError(t, err)
			t.Cleanup(func() { require.NoError(t, s.Close()) })
			k := s.Kitchen(g.house.Kitchen.ID)
			count := func() map[night.MessageState]int {
				out := map[night.MessageState]int{}
				require.NoError(t, k.Read(t.Context(), func(tx *store.Tx) error {
					messages, err := tx.Messages(t.Context(), n.ID)
					for _, m := range messages {
						if m.Kind == night.Instructions {
							out[m.State]++
						}
					}
					return err
				}))
				return out
			}
			under := map[night.MessageState]int{night.Sending: 3, night.Due: 27}
			require.Eventually(t, func() bool { return provider.calls.Load() == 3 && assert.ObjectsAreEqual(under, count()) }, 20*time.Second, 10*time.Millisecond)

			line.swallow()
			before := len(log.String())
			close(provider.hold) // the provider answers while nobody can write that down
			require.Eventually(t, func() bool { return strings.Contains(log.String()[before:], "level=ERROR") }, 30*time.Second, 10*time.Millisecond)
			answer, err := http.Get("http://" + g.Addr().String() + "/")
			require.NoError(t, err)
			body, err := io.ReadAll(answer.Body)
			require.NoError(t, err)
			require.NoError(t, answer.Body.Close())
			assert.Equal(t, http.StatusServiceUnavailable, answer.StatusCode)
			assert.Contains(t, string(body), "passbell can’t reach its own records just now")
			assert.EqualValues(t, 3, provider.calls.Load(), "nothing is sent that nobody can put on record")
			assert.Equal(t, under, count())

			line.pass(forget)
			require.Eventually(t, func() bool { return count()[night.Sent] == 30 }, 30*time.Second, 20*time.Millisecond)
			for number, times := range provider.to {
				assert.Equal(t, 1, times, number)
			}
			require.Eventually(t, func() bool { // it hears the other instances again
				changed := g.house.Live.Wait()
				require.NoError(t, k.Announce(t.Context()))
				select {
				case <-changed:
					return true
				case <-time.After(100 * time.Millisecond):
					return false
				}
			}, 30*time.Second, time.Millisecond)
		})
	}
}
