//go:build e2e

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/config"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

const killOrders = 60

// TestKilledFiveTimes runs the built binary through the sending and the
// arrivals of a night, with a practice network that keeps its own count of what
// went out, and kills it with SIGKILL at five different moments: while
// instructions go out, again right after, while customers write, again, and
// while reminders go out. In the end every customer got each text once, or the
// text is shown as in doubt; no text from a customer and no order is lost.
func TestKilledFiveTimes(t *testing.T) {
	k := newKillable(t)

	k.start()
	k.waitJournal(10)
	k.kill() // while instructions go out
	k.start()
	k.waitJournal(25)
	k.kill() // and again
	k.start()
	posts := k.postArrivals()
	posts.waitDone(10)
	k.kill() // while customers write
	k.start()
	posts.waitDone(30)
	k.kill() // and again
	k.start()
	posts.wait()
	k.waitReminders(12)
	k.kill() // while reminders go out
	k.start()
	k.waitQuiet()
	k.interrupt()
	k.check()
}

// killable is a binary, its folder, and the process that runs at the moment.
type killable struct {
	t       *testing.T
	dir     string
	bin     string
	addr    string
	journal string
	process *exec.Cmd
}

func newKillable(t *testing.T) *killable {
	t.Helper()
	dir := t.TempDir()
	k := &killable{t: t, dir: dir, bin: filepath.Join(dir, "passbell"), journal: filepath.Join(dir, "journal.jsonl")}
	out, err := exec.Command("go", "build", "-o", k.bin, ".").CombinedOutput()
	require.NoError(t, err, string(out))

	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	k.addr = l.Addr().String()
	require.NoError(t, l.Close())

	// The night is today, in a zone where it is past four in the afternoon,
	// whenever the test runs: the built binary goes by the real clock. The first
	// slot is near, so that customers may be there.
	now := time.Now().UTC()
	offset := (now.Hour()-16+36)%24 - 12 // Etc/GMT+1 is an hour west
	zone := fmt.Sprintf("Etc/GMT%+d", offset)
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	local := now.In(loc)
	first := local.Truncate(10 * time.Minute).Add(30 * time.Minute)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "passbell.toml"), []byte(fmt.Sprintf(`
database = "passbell.db"
listen = %q
[kitchen]
name = "Larkfield Dumpling Kitchen"
region = "GB"
zone = %q
quiet_from = "00:00"
quiet_to = "00:00"
[[adapter]]
name = "texts"
kind = "practice"
window = 4
per_second = 100.0
timeout = "2s"
[adapter.settings]
journal = %q
answer_after = "80ms"
`, k.addr, zone, k.journal)), 0o600))

	k.run("night", "add", local.Format("2006-01-02"), "--first", first.Format("15:04"), "--last", first.Add(170*time.Minute).Format("15:04"), "--place", "5 Mill Lane",
		"--instruct", local.Format("2006-01-02 15:04"), "--remind-before", "10h", "--remind-from", local.Add(100*time.Second).Format("15:04"))
	var book strings.Builder
	book.WriteString("order,name,phone,slot,items,note\n")
	for i := range killOrders {
		slot := first.Add(time.Duration(i%18) * 10 * time.Minute)
		fmt.Fprintf(&book, "K%d,Customer Number%d,07700900%03d,%s,1x Pork bao,\n", 401+i, i, i, slot.Format("15:04"))
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "orders.csv"), []byte(book.String()), 0o600))
	k.run("book", "load", "orders.csv")
	k.run("close", "--yes")
	return k
}

// run runs a command of the binary to its end.
func (k *killable) run(args ...string) {
	k.t.Helper()
	cmd := exec.Command(k.bin, args...)
	cmd.Dir = k.dir
	out, err := cmd.CombinedOutput()
	require.NoError(k.t, err, "%v\n%s", args, out)
}

func (k *killable) start() {
	k.t.Helper()
	k.process = exec.Command(k.bin, "serve")
	k.process.Dir = k.dir
	stdout, err := k.process.StdoutPipe()
	require.NoError(k.t, err)
	k.process.Stderr = os.Stderr
	require.NoError(k.t, k.process.Start())
	line, err := bufio.NewReader(stdout).ReadString('\n')
	require.NoError(k.t, err)
	require.Contains(k.t, line, "http://")
	go func() { _, _ = io.Copy(io.Discard, stdout) }()
}

func (k *killable) kill() {
	k.t.Helper()
	require.NoError(k.t, k.process.Process.Kill())
	_ = k.process.Wait() // "signal: killed" is what was asked for
}

func (k *killable) interrupt() {
	k.t.Helper()
	require.NoError(k.t, k.process.Process.Signal(os.Interrupt))
	require.NoError(k.t, k.process.Wait(), "Ctrl-C drains cleanly")
}

type journalLine struct {
	Key  string `json:"key"`
	To   string `json:"to"`
	Text string `json:"text"`
}

// sent reads what went out, as the network counted it.
func (k *killable) sent() []journalLine {
	k.t.Helper()
	b, err := os.ReadFile(k.journal)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	require.NoError(k.t, err)
	var out []journalLine
	for line := range bytes.Lines(b) {
		var l journalLine
		require.NoError(k.t, json.Unmarshal(line, &l))
		out = append(out, l)
	}
	return out
}

// until waits for something that the running binary does.
func (k *killable) until(what string, done func() bool) {
	k.t.Helper()
	require.Eventually(k.t, done, 4*time.Minute, 20*time.Millisecond, what)
}

func (k *killable) waitJournal(n int) {
	k.t.Helper()
	k.until("texts went out", func() bool { return len(k.sent()) >= n })
}

func (k *killable) waitReminders(n int) {
	k.t.Helper()
	k.until("reminders went out", func() bool {
		reminders := 0
		for _, l := range k.sent() {
			if !strings.Contains(l.Text, "STOP") { // only the instructions say how to opt out
				reminders++
			}
		}
		return reminders >= n
	})
}

// waitQuiet waits until nothing is due and nothing is under way.
func (k *killable) waitQuiet() {
	k.t.Helper()
	k.until("everything is settled", func() bool {
		_, messages := k.look()
		for _, m := range messages {
			if m.State == night.Due || m.State == night.Sending {
				return false
			}
		}
		return true
	})
}

// look reads the database beside the running binary.
func (k *killable) look() ([]night.Order, []night.Message) {
	k.t.Helper()
	ctx := context.Background()
	c, err := config.Load(filepath.Join(k.dir, "passbell.toml"))
	require.NoError(k.t, err)
	h, err := gateway.Open(ctx, c, gateway.Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.DiscardHandler)})
	require.NoError(k.t, err)
	defer h.Close()
	n, err := h.Desk.Current(ctx)
	require.NoError(k.t, err)
	orders, err := h.Desk.Orders(ctx, n.ID)
	require.NoError(k.t, err)
	messages, err := h.Desk.Messages(ctx, n.ID)
	require.NoError(k.t, err)
	return orders, messages
}

// posting is a provider that delivers customers' texts to the hook and, as
// providers do, delivers again what was not acknowledged, and now and then what
// was.
type posting struct {
	t    *testing.T
	mu   sync.Mutex
	done int
	all  sync.WaitGroup
}

// postArrivals has every third customer write that they are here.
func (k *killable) postArrivals() *posting {
	p := &posting{t: k.t}
	client := &http.Client{Timeout: 3 * time.Second}
	p.all.Go(func() {
		for i := 0; i < killOrders; i += 1 {
			if i%3 != 0 {
				time.Sleep(30 * time.Millisecond) // the pace of a crowd, not a test of time
				continue
			}
			body := fmt.Sprintf(`{"id":"in-%d","from":"+447700900%03d","text":"here, blue van"}`, i, i)
			for copies := 0; copies < 2; {
				resp, err := client.Post("http://"+k.addr+"/hook/texts/", "application/json", strings.NewReader(body))
				if err != nil {
					time.Sleep(50 * time.Millisecond)
					continue
				}
				_ = resp.Body.Close()
				if resp.StatusCode/100 == 2 {
					copies++
				}
			}
			p.mu.Lock()
			p.done++
			p.mu.Unlock()
		}
	})
	return p
}

func (p *posting) waitDone(percent int) {
	p.t.Helper()
	require.Eventually(p.t, func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		return p.done*100 >= percent*killOrders/3
	}, time.Minute, 5*time.Millisecond)
}

func (p *posting) wait() { p.all.Wait() }

// check compares what the network counted with what passbell shows.
func (k *killable) check() {
	k.t.Helper()
	orders, messages := k.look()
	require.Len(k.t, orders, killOrders, "no order is lost")
	for i, o := range byRef(orders) {
		if i%3 == 0 {
			assert.Equal(k.t, night.Arrived, o.State, "the text of %s is not lost", o.Ref)
		} else {
			assert.NotEqual(k.t, night.Arrived, o.State, o.Ref)
		}
	}

	went := map[int64]int{}
	for _, l := range k.sent() {
		var id int64
		var attempt int
		_, err := fmt.Sscanf(l.Key, "m%d-%d", &id, &attempt)
		require.NoError(k.t, err, l.Key)
		went[id]++
	}
	doubtful := 0
	for _, m := range messages {
		switch m.State {
		case night.Sent, night.Delivered:
			assert.Equal(k.t, 1, went[m.ID], "%s %d went out once", m.Kind, m.ID)
		case night.InDoubt:
			doubtful++
			assert.LessOrEqual(k.t, went[m.ID], 1, "%s %d", m.Kind, m.ID)
		case night.Dropped, night.Missed:
			assert.Zero(k.t, went[m.ID], "%s %d", m.Kind, m.ID)
		default:
			k.t.Errorf("%s %d ended %s", m.Kind, m.ID, m.State)
		}
		delete(went, m.ID)
	}
	assert.Empty(k.t, went, "texts that passbell does not know of")
	instructed := map[int64]int{}
	for _, m := range messages {
		if m.Kind == night.Instructions {
			for _, c := range m.Covers {
				instructed[c.OrderID]++
			}
		}
	}
	for _, o := range orders {
		if o.State != night.Arrived { // whoever came before theirs went out needs none
			assert.Equal(k.t, 1, instructed[o.ID], "instructions of %s", o.Ref)
		}
		assert.LessOrEqual(k.t, instructed[o.ID], 1, o.Ref)
	}
	k.t.Logf("%d texts, %d in doubt and shown", len(messages), doubtful)
}

func byRef(orders []night.Order) []night.Order {
	out := make([]night.Order, len(orders))
	for _, o := range orders {
		var n int
		_, _ = fmt.Sscanf(o.Ref, "K%d", &n)
		out[n-401] = o
	}
	return out
}
