//go:build linux

package modem

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

// waitFor waits for something that must come.
func waitFor(t *testing.T, what string, ok func() bool) {
	t.Helper()
	require.Eventually(t, ok, 30*time.Second, 2*time.Millisecond, what)
}

// receive runs Receive until the test, or stop, ends it.
func receive(t *testing.T, a *Adapter, sink adapters.Sink) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = a.Receive(ctx, sink) // it ends with ctx, or with the adapter
	}()
	stop = func() {
		cancel()
		<-done
	}
	t.Cleanup(stop)
	return stop
}

// TestNightWithThePortDroppedThreeTimes sends 60 texts of two parts, takes in 60,
// half of them of two parts, and breaks the port three times on the way, each
// time at an awkward moment. None may be lost, and none doubled but what is shown
// as unknown.
func TestNightWithThePortDroppedThreeTimes(t *testing.T) {
	t.Parallel()
	const n = 60
	tests := []struct {
		name    string
		breaks  func(m *sim)
		unknown int // texts whose fate cannot be known
	}{
		{name: "result lost, list cut, deletion unanswered", unknown: 1, breaks: func(m *sim) {
			m.onPart = once(map[int]string{41: "after"})
			m.onList = func(n int) bool { return n == 6 }
			m.onDelete = func(n int) bool { return n == 31 }
		}},
		{name: "cut in the middle of a PDU's taking, after a result, and in a long text's deletion", unknown: 2, breaks: func(m *sim) {
			m.onPart = once(map[int]string{20: "before", 77: "then"})
			m.onDelete = func(n int) bool { return n == 12 }
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m := newSim(t)
			m.chatty = true
			tt.breaks(m)
			d := simDeps(m)
			cfg := simConfig()
			cfg.SendTime = adapters.Duration(10 * time.Second)
			a := newAdapter(t, m, cfg, d)
			sink := &adapterstest.Sink{}
			receive(t, a, sink)

			var (
				mu      sync.Mutex
				fate    = map[int]adapters.Outcome{} // "" for taken
				ids     = map[string]bool{}
				wg      sync.WaitGroup
				inbound = map[string]string{}
			)
			text := func(i int) string {
				return fmt.Sprintf("Order K%03d: ", i) + strings.Repeat("your dumplings are ready, park by the green gate. ", 4)
			}
			for worker := range 3 {
				wg.Go(func() {
					for i := worker; i < n; i += 3 {
						msg := adapters.Message{Key: fmt.Sprintf("m%d-1", i), To: fmt.Sprintf("+447700900%03d", 100+i), Text: text(i)}
						for {
							acc, err := a.Send(context.Background(), msg)
							o := adapters.Outcome("")
							if err != nil {
								o = adapters.OutcomeOf(err)
							}
							if o == adapters.Temporary {
								time.Sleep(time.Millisecond) // a scheduler would wait, too
								continue
							}
							mu.Lock()
							fate[i] = o
							for _, id := range acc.IDs {
								ids[id] = true
							}
							mu.Unlock()
							break
						}
					}
				})
			}
			for i := range n {
				in := adapters.Inbound{
					ID: fmt.Sprintf("in-%d", i), From: fmt.Sprintf("+447700900%03d", 300+i), At: time.Date(2026, 3, 13, 17, 0, i, 0, time.UTC),
					Text: fmt.Sprintf("HERE K%03d grey golf", i),
				}
				if i%2 == 1 {
					in.Text += strings.Repeat(" at the green gate, with two children and a dog", 4)
				}
				inbound[in.From] = in.Text
				m.Offer(in)
			}
			wg.Wait()
			got := func() map[string]string {
				byID := map[string]string{}
				for _, in := range sink.Inbounds() {
					byID[in.ID] = in.From + "|" + in.Text
				}
				return byID
			}
			waitFor(t, "everything came in and was deleted", func() bool {
				for i := range n {
					if !m.Acknowledged(fmt.Sprintf("in-%d", i)) {
						return false
					}
				}
				return len(got()) >= n
			})
			require.Len(t, got(), n, "one id a text")
			seen := map[string]string{}
			for _, v := range got() {
				from, text, _ := strings.Cut(v, "|")
				seen[from] = text
			}
			require.Equal(t, inbound, seen)

			count := map[string]int{}
			for _, taken := range m.Taken() {
				count[taken.To+"|"+taken.Text]++
			}
			unknown := 0
			for i := range n {
				times := count[fmt.Sprintf("+447700900%03d|%s", 100+i, text(i))]
				switch fate[i] {
				case "":
					require.Equal(t, 1, times, "text %d was taken", i)
				case adapters.Unknown:
					unknown++
					require.LessOrEqual(t, times, 1)
				default:
					require.Fail(t, "refused", "text %d: %s", i, fate[i])
				}
			}
			require.LessOrEqual(t, unknown, tt.unknown)
			require.Len(t, fate, n)
			var parts []simPart
			m.look(func() {
				parts = slices.Clone(m.parts)
				require.GreaterOrEqual(t, m.starts, 4, "the port was dropped three times")
			})

			// Every part that is out has a receipt, those in doubt too.
			for _, p := range parts {
				m.report(p, 0, time.Now())
			}
			waitFor(t, "the receipts came", func() bool {
				delivered := map[string]bool{}
				for _, r := range sink.Receipts() {
					delivered[r.ID] = r.Status == adapters.Delivered
				}
				out := 0
				for id := range ids {
					if delivered[id] {
						out++
					}
				}
				return out >= len(parts)
			})
			t.Logf("%d texts, %d parts taken, %d unknown", n, len(parts), unknown)
		})
	}
}

// once breaks at each part once: after "before" the count stays as it was.
func once(at map[int]string) func(int) string {
	return func(n int) string {
		how := at[n]
		delete(at, n)
		return how
	}
}

// TestCrashLosesNothing ends the program between the parts of a long text, and
// once more after it was stored and before it was deleted.
func TestCrashLosesNothing(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	in := adapters.Inbound{
		ID: "long", From: "+447700900123", At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC),
		Text: strings.Repeat("I am here in the grey golf, ", 14) + "K417",
	}
	pdus := deliverPDUs(t, in)
	require.Len(t, pdus, 3)
	put := func(i int) {
		m.mu.Lock()
		m.queue = append(m.queue, &simDelivery{pdu: pdus[i]})
		m.mu.Unlock()
		m.pump()
	}
	first := &adapterstest.Sink{}
	a := newAdapter(t, m, simConfig(), simDeps(m))
	stop := receive(t, a, first)
	put(2)
	put(0)
	waitFor(t, "both parts are in the store", func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return len(m.stores["SM"]) == 2 && m.lists > 2
	})
	stop()
	require.NoError(t, a.Close())
	require.Empty(t, first.Inbounds())

	// The second run stores it; the port breaks at the first deletion, and the
	// program ends there.
	m.look(func() { m.onDelete = func(n int) bool { return n == 1 } })
	second := &adapterstest.Sink{}
	b := newAdapter(t, m, simConfig(), simDeps(m))
	put(1)
	stop = receive(t, b, second)
	waitFor(t, "the text is whole", func() bool { return len(second.Inbounds()) > 0 })
	stop()
	require.NoError(t, b.Close())
	require.Equal(t, in.Text, second.Inbounds()[0].Text)
	require.Equal(t, in.From, second.Inbounds()[0].From)
}

func TestStoredButNotDeletedKeepsItsID(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	m.refuse["AT+CMGD=1"] = "+CMS ERROR: 320"
	m.Offer(adapters.Inbound{ID: "a", From: "+447700900123", Text: "HERE", At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)})
	ids := map[string]bool{}
	for range 2 {
		sink := &adapterstest.Sink{}
		a := newAdapter(t, m, simConfig(), simDeps(m))
		stop := receive(t, a, sink)
		waitFor(t, "it is handed on", func() bool { return len(sink.Inbounds()) > 0 })
		stop()
		require.NoError(t, a.Close())
		ids[sink.Inbounds()[0].ID] = true
	}
	require.Len(t, ids, 1)
}

func TestMissingPartShowsAsAGap(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	clock := &shifted{}
	d := simDeps(m)
	d.Now = clock.now
	a := newAdapter(t, m, simConfig(), d)
	sink := &adapterstest.Sink{}
	receive(t, a, sink)
	pdus := deliverPDUs(t, adapters.Inbound{
		From: "+447700900123", Text: strings.Repeat("a", 153) + "the end of it", At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC),
	})
	m.mu.Lock()
	m.queue = append(m.queue, &simDelivery{pdu: pdus[1]})
	m.mu.Unlock()
	m.pump()
	waitFor(t, "it waits", func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return m.lists > 3
	})
	require.Empty(t, sink.Inbounds())
	clock.add(11 * time.Minute)
	waitFor(t, "it is handed on", func() bool { return len(sink.Inbounds()) > 0 })
	require.Equal(t, "[part 1 of 2 did not arrive]the end of it", sink.Inbounds()[0].Text)
	waitFor(t, "it is deleted", func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return len(m.stores["SM"]) == 0
	})
}

// shifted is the clock, put forward.
type shifted struct {
	mu  sync.Mutex
	off time.Duration
}

func (s *shifted) now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return time.Now().Add(s.off)
}

func (s *shifted) add(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.off += d
}

// TestDirectLongText takes in the parts of a long text that the modem does not
// store by itself: they are put in its store, or, where it refuses, kept.
func TestDirectLongText(t *testing.T) {
	t.Parallel()
	for _, refuses := range []bool{false, true} {
		t.Run(fmt.Sprintf("store refuses %t", refuses), func(t *testing.T) {
			t.Parallel()
			m := newSim(t)
			m.noWrite = refuses
			cfg := simConfig()
			cfg.Indications, cfg.Storage = "2,2,0,1,0", "ME"
			a := newAdapter(t, m, cfg, simDeps(m))
			sink := &adapterstest.Sink{}
			receive(t, a, sink)
			in := adapters.Inbound{
				ID: "x", From: "+447700900123", Text: strings.Repeat("I am here, ", 30), At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC),
			}
			m.Offer(in)
			waitFor(t, "it is whole", func() bool { return len(sink.Inbounds()) > 0 })
			require.Equal(t, in.Text, sink.Inbounds()[0].Text)
			waitFor(t, "nothing is left behind", func() bool {
				m.mu.Lock()
				defer m.mu.Unlock()
				return len(m.stores["ME"]) == 0 && m.pending == nil && len(m.queue) == 0
			})
		})
	}
}

func TestWhatTheSIMHoldsAlready(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	deliver := deliverPDUs(t, adapters.Inbound{From: "+447700900123", Text: "HERE", At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)})[0]
	broken := "00040C91447700091032000062309221135040FFAABB" // a DELIVER whose user data is cut off
	m.stores["SM"] = map[int]simText{
		1: {stat: 3, pdu: "0001000B817007900021F3000002CF25"}, // sent with this SIM
		2: {stat: 1, pdu: deliver},
		3: {stat: 0, pdu: broken},
	}
	a := newAdapter(t, m, simConfig(), simDeps(m))
	sink := &adapterstest.Sink{}
	receive(t, a, sink)
	waitFor(t, "all but the sent one are gone", func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return len(m.stores["SM"]) == 1 && m.stores["SM"][1].stat == 3
	})
	got := sink.Inbounds()
	require.Len(t, got, 2)
	require.Equal(t, "HERE", got[0].Text)
	require.Contains(t, got[1].Text, "[a text that cannot be read: 00040C91")
}

// TestReceiptAfterARestart has no memory of the text.
func TestReceiptAfterARestart(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	a := newAdapter(t, m, simConfig(), simDeps(m))
	acc, err := a.Send(context.Background(), adapters.Message{Key: "m1-1", To: "+447700900123", Text: "Ready"})
	require.NoError(t, err)
	require.NoError(t, a.Close())
	b := newAdapter(t, m, simConfig(), simDeps(m))
	sink := &adapterstest.Sink{}
	receive(t, b, sink)
	var p simPart
	m.look(func() { p = m.parts[0] })
	m.report(p, 0, time.Now())
	waitFor(t, "its id is found", func() bool {
		for _, r := range sink.Receipts() {
			if r.ID == acc.IDs[0] && r.Status == adapters.Delivered {
				return true
			}
		}
		return false
	})
}

func TestModemThatForgetsItsSettings(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	d := simDeps(m)
	log := &strings.Builder{}
	d.Log = slog.New(slog.NewTextHandler(&locked{w: log}, nil))
	a := newAdapter(t, m, simConfig(), d)
	sink := &adapterstest.Sink{}
	receive(t, a, sink)
	set := func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return m.cnmi[0] == "2"
	}
	waitFor(t, "it is set up and read", func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return m.lists > 0
	})
	m.look(func() { m.cnmi = []string{"0", "0", "0", "0", "0"} })
	waitFor(t, "it is set up again", set)
	m.Offer(adapters.Inbound{ID: "a", From: "+447700900123", Text: "HERE", At: time.Now()})
	waitFor(t, "a text comes in", func() bool { return len(sink.Inbounds()) > 0 })
}

// locked lets several goroutines write a log.
type locked struct {
	mu sync.Mutex
	w  *strings.Builder
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.w.Write(p)
}
