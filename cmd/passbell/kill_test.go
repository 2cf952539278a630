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

// TestKilledFiveTimes runs the built binary through the sending and the
// arrivals of a night, with a practice network that keeps its own count of what
// went out, and kills it with SIGKILL at five different moments: while
// instructions go out, again right after, while customers write, again, and
// while reminders go out. In the end every customer got each text once, or the
// text is shown as in doubt; no text from a customer and no order is lost.
func TestKilledFiveTimes(t *testing.T) {
	k := newKillable(t, evening{orders: 60, instances: 1, perSecond: 100, remindIn: 30 * time.Second, pace: 30 * time.Millisecond})
	one := k.instances[0]

	one.start()
	k.waitJournal(10)
	one.kill() // while instructions go out
	one.start()
	k.waitJournal(25)
	one.kill() // and again
	one.start()
	posts := k.postArrivals()
	posts.waitDone(10)
	one.kill() // while customers write
	one.start()
	posts.waitDone(30)
	one.kill() // and again
	one.start()
	posts.wait()
	k.waitReminders(12)
	one.kill() // while reminders go out
	one.start()
	k.waitQuiet()
	one.interrupt()
	k.check()
}

// evening says what is sent, and how, on the night of the kills.
type evening struct {
	orders, instances int
	perSecond         float64       // texts, of one instance
	remindIn          time.Duration // from the beginning of the test until reminders are due
	pace              time.Duration // from one customer to the next at the gate
}

// killable is the built binary, its folder, and the instances of it that share
// a configuration, a provider and a database: the file in the folder, or what
// PASSBELL_DATABASE names.
type killable struct {
	evening
	t         *testing.T
	dir       string
	bin       string
	journal   string
	instances []*instance
}

// instance is one of them, and the process that runs at the moment.
type instance struct {
	*killable
	addr    string
	config  string
	clock   string // the file that sets its clock
	process *exec.Cmd
}

func newKillable(t *testing.T, e evening) *killable {
	t.Helper()
	dir := t.TempDir()
	k := &killable{evening: e, t: t, dir: dir, bin: filepath.Join(dir, "passbell"), journal: filepath.Join(dir, "journal.jsonl")}
	out, err := exec.Command("go", "build", "-tags", "e2e", "-o", k.bin, ".").CombinedOutput()
	require.NoError(t, err, string(out))

	// The night is today, in a zone where it is past four in the afternoon,
	// whenever the test runs: the built binary goes by the real clock. The slot
	// is near, so that customers may be there.
	now := time.Now().UTC()
	offset := (now.Hour()-16+36)%24 - 12 // Etc/GMT+1 is an hour west
	zone := fmt.Sprintf("Etc/GMT%+d", offset)
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	local := now.In(loc)
	slot := local.Truncate(10 * time.Minute).Add(30 * time.Minute)
	for i := range e.instances {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		in := &instance{killable: k, addr: l.Addr().String(), config: filepath.Join(dir, fmt.Sprintf("instance%d.toml", i+1)), clock: filepath.Join(dir, fmt.Sprintf("clock%d", i+1))}
		require.NoError(t, l.Close())
		require.NoError(t, os.WriteFile(in.config, []byte(fmt.Sprintf(`
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
per_second = %.2f
timeout = "2s"
[adapter.settings]
journal = %q
answer_after = "80ms"
`, in.addr, zone, e.perSecond, k.journal)), 0o600))
		k.instances = append(k.instances, in)
	}

	k.run("night", "add", local.Format("2006-01-02"), "--first", slot.Format("15:04"), "--last", slot.Add(170*time.Minute).Format("15:04"), "--place", "5 Mill Lane",
		"--instruct", local.Format("2006-01-02 15:04"), "--remind-before", slot.Sub(local.Add(e.remindIn)).String(), "--remind-from", local.Format("15:04"))
	var book strings.Builder
	book.WriteString("order,name,phone,slot,items,note\n")
	for i := range e.orders {
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
	cmd := exec.Command(k.bin, append([]string{"--config", k.instances[0].config}, args...)...)
	cmd.Dir = k.dir
	out, err := cmd.CombinedOutput()
	require.NoError(k.t, err, "%v\n%s", args, out)
}

func (i *instance) start() {
	i.t.Helper()
	i.process = exec.Command(i.bin, "--config", i.config, "serve")
	i.process.Dir = i.dir
	i.process.Env = append(os.Environ(), clockFile+"="+i.clock)
	stdout, err := i.process.StdoutPipe()
	require.NoError(i.t, err)
	i.process.Stderr = os.Stderr
	require.NoError(i.t, i.process.Start())
	i.t.Cleanup(func() { _ = i.process.Process.Kill() }) // where the test failed
	line, err := bufio.NewReader(stdout).ReadString('\n')
	require.NoError(i.t, err)
	require.Contains(i.t, line, "http://")
	go func() { _, _ = io.Copy(io.Discard, stdout) }()
}

// set moves the instance's clock from the machine's, at once and while it runs.
func (i *instance) set(offset time.Duration) {
	i.t.Helper()
	require.NoError(i.t, os.WriteFile(i.clock+".new", fmt.Append(nil, int64(offset/time.Second)), 0o600))
	require.NoError(i.t, os.Rename(i.clock+".new", i.clock))
}

func (i *instance) kill() {
	i.t.Helper()
	require.NoError(i.t, i.process.Process.Kill())
	_ = i.process.Wait() // "signal: killed" is what was asked for
}

func (i *instance) interrupt() {
	i.t.Helper()
	require.NoError(i.t, i.process.Process.Signal(os.Interrupt))
	require.NoError(i.t, i.process.Wait(), "Ctrl-C drains cleanly")
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
		r, err := k.look()
		for _, m := range r.messages {
			if m.State == night.Due || m.State == night.Sending {
				return false
			}
		}
		return err == nil
	})
}

// record is what passbell shows of the night.
type record struct {
	orders   []night.Order
	messages []night.Message
	inbounds []night.Inbound
	trouble  map[int64]bool // texts that the pass says a person has to see to
}

// look reads the database beside the running binary.
func (k *killable) look() (r record, err error) {
	ctx := context.Background()
	c, err := config.Load(k.instances[0].config)
	if err != nil {
		return r, err
	}
	host, err := gateway.Open(ctx, c, gateway.Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, host.Close()) }()
	h := host.Houses[0]
	n, err := h.Desk.Current(ctx)
	if err != nil {
		return r, err
	}
	if r.orders, err = h.Desk.Orders(ctx, n.ID); err != nil {
		return r, err
	}
	if r.messages, err = h.Desk.Messages(ctx, n.ID); err != nil {
		return r, err
	}
	if r.inbounds, err = h.Desk.Inbounds(ctx, n.ID); err != nil {
		return r, err
	}
	board, err := h.Desk.Board(ctx, n.ID)
	r.trouble = map[int64]bool{}
	for _, t := range board.Trouble {
		r.trouble[t.Message.ID] = true
	}
	return r, err
}

// posting is a provider that delivers customers' texts to the hook and, as
// providers do, delivers again what was not acknowledged, and now and then what
// was: each text until it was acknowledged twice, at any of the instances.
type posting struct {
	*killable
	mu   sync.Mutex
	done int
	all  sync.WaitGroup
}

// writes tells whether the customer with that number writes that they are here.
func writes(customer int) bool { return customer%3 == 0 }

// postArrivals has every third customer write that they are here.
func (k *killable) postArrivals() *posting {
	p := &posting{killable: k}
	client := &http.Client{Timeout: 3 * time.Second}
	p.all.Go(func() {
		calls := 0
		for i := range k.orders {
			if !writes(i) {
				time.Sleep(k.pace) // the pace of a crowd, not a test of time
				continue
			}
			body := fmt.Sprintf(`{"id":"in-%d","from":"+447700900%03d","text":"here, blue van"}`, i, i)
			for copies := 0; copies < 2; {
				calls++
				resp, err := client.Post("http://"+k.instances[calls%len(k.instances)].addr+"/hook/texts/", "application/json", strings.NewReader(body))
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
		return p.done*100 >= percent*p.orders/3
	}, time.Minute, 5*time.Millisecond)
}

func (p *posting) wait() { p.all.Wait() }

// check compares what the network counted with what passbell shows.
func (k *killable) check() {
	k.t.Helper()
	r, err := k.look()
	require.NoError(k.t, err)
	k.checkCustomers(r)
	k.checkTexts(r)
}

// checkCustomers sees that no order and no customer's text is lost or doubled.
func (k *killable) checkCustomers(r record) {
	k.t.Helper()
	require.Len(k.t, r.orders, k.orders, "no order is lost")
	came := map[string]int{}
	for _, in := range r.inbounds {
		came[in.ProviderID]++
		assert.NotEqual(k.t, night.Fresh, in.State, "%s was read", in.ProviderID)
	}
	for i, o := range byRef(r.orders) {
		if !writes(i) {
			assert.NotEqual(k.t, night.Arrived, o.State, o.Ref)
			continue
		}
		assert.Equal(k.t, night.Arrived, o.State, "the text of %s is not lost", o.Ref)
		id := fmt.Sprintf("in-%d", i)
		assert.Equal(k.t, 1, came[id], "%s is on record once", id)
		delete(came, id)
	}
	assert.Empty(k.t, came, "texts that nobody wrote")
}

// checkTexts sees that every text went out once, or is shown as in doubt.
func (k *killable) checkTexts(r record) {
	k.t.Helper()
	went, read := map[int64]int{}, map[journalLine]int{}
	for _, l := range k.sent() {
		var id int64
		var attempt int
		_, err := fmt.Sscanf(l.Key, "m%d-%d", &id, &attempt)
		require.NoError(k.t, err, l.Key)
		went[id]++
		l.Key = ""
		read[l]++
	}
	for l, times := range read {
		assert.Equal(k.t, 1, times, "%s read %q", l.To, l.Text)
	}
	here := map[int64]bool{}
	for _, o := range r.orders {
		here[o.ID] = o.State == night.Arrived
	}
	states := map[night.MessageState]int{}
	for _, m := range r.messages {
		states[m.State]++
		switch m.State {
		case night.Sent, night.Delivered:
			assert.Equal(k.t, 1, went[m.ID], "%s %d went out once", m.Kind, m.ID)
		case night.InDoubt:
			assert.LessOrEqual(k.t, went[m.ID], 1, "%s %d", m.Kind, m.ID)
			if !here[m.Covers[0].OrderID] { // whoever is here needs the text no more
				assert.True(k.t, r.trouble[m.ID], "%s %d is shown", m.Kind, m.ID)
			}
		case night.Dropped, night.Missed:
			assert.Zero(k.t, went[m.ID], "%s %d", m.Kind, m.ID)
		default:
			k.t.Errorf("%s %d ended %s", m.Kind, m.ID, m.State)
		}
		delete(went, m.ID)
	}
	assert.Empty(k.t, went, "texts that passbell does not know of")
	instructed := map[int64]int{}
	for _, m := range r.messages {
		if m.Kind == night.Instructions {
			for _, c := range m.Covers {
				instructed[c.OrderID]++
			}
		}
	}
	for _, o := range r.orders {
		if o.State != night.Arrived { // whoever came before theirs went out needs none
			assert.Equal(k.t, 1, instructed[o.ID], "instructions of %s", o.Ref)
		}
		assert.LessOrEqual(k.t, instructed[o.ID], 1, o.Ref)
	}
	k.t.Logf("%d texts: %v; those in doubt are shown", len(r.messages), states)
}

// byRef puts the orders into the order of the book.
func byRef(orders []night.Order) []night.Order {
	out := make([]night.Order, len(orders))
	for _, o := range orders {
		var n int
		_, _ = fmt.Sscanf(o.Ref, "K%d", &n)
		out[n-401] = o
	}
	return out
}
