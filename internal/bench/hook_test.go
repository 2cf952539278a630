package bench

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/store/pgtest"
)

// kitchensAtTheGate is how many kitchens take texts at once.
const kitchensAtTheGate = 4

// gateOrders is how many orders each of their nights has.
const gateOrders = 200

// turns is in how many parts each rate is measured, ours and the baseline's by turns:
// the pace of a machine goes up and down.
const turns = 3

// hook posts customers' texts to the hooks of kitchens that share a server, as
// many at once as pgbench -N has clients on the same server, and then at half
// the rate for the time that one takes. A text counts once it is stored, read,
// matched, applied and acknowledged. The more come at once the more share a round,
// and those of one kitchen share more.
func hook(t *testing.T) []result {
	s := server(t)
	var out []result
	for _, n := range []int{*clients, 4 * *clients} {
		beside := pgbench(t, s, n)
		many, one := gate(t, s, kitchensAtTheGate), gate(t, s, 1)
		many.post(t, n, *posts/turns, 0) // what is warm for one is for the other
		one.post(t, n, *posts/turns, 0)
		var tps, ours, alone float64
		for range turns {
			tps += beside() / turns
			ours += many.rate(t, n, *posts/turns) / turns
			alone += one.rate(t, n, *posts/turns) / turns
		}
		took := many.post(t, n, *posts/2, time.Duration(2*float64(time.Second)/ours))
		single := faster(fmt.Sprintf("hook of one kitchen, %d at once", n), alone, tps, "texts/s", "pgbench -N/s", 1/1.5)
		single.goal = ""
		out = append(out,
			faster(fmt.Sprintf("hooks of %d kitchens, %d at once, stored to applied", kitchensAtTheGate, n), ours, tps, "texts/s", "pgbench -N/s", 1/1.5),
			under(fmt.Sprintf("at half that load, %d at once, p99", n), p99(took), 50*time.Millisecond),
			single,
		)
	}
	return out
}

// hooks are those of kitchens in the middle of a night, and how many texts were posted
// to them.
type hooks struct {
	addresses []string
	posted    int
}

// gate opens the hooks of so many kitchens.
func gate(t *testing.T, s *pgtest.Server, n int) *hooks {
	t.Helper()
	place := s.Database(t) + "?pool_max_conns=8"
	h := &hooks{addresses: make([]string, n)}
	for i := range h.addresses {
		g, _, _ := running(t, place, fmt.Sprintf("Larkfield Dumpling Kitchen %d", i), gateOrders)
		h.addresses[i] = g.Addr().String()
	}
	return h
}

// post posts n more texts, as post does.
func (h *hooks) post(t *testing.T, clients, n int, apart time.Duration) []time.Duration {
	t.Helper()
	from := h.posted
	h.posted += n
	return post(t, clients, func(i int) call {
		at := h.addresses[i%len(h.addresses)]
		return call{at, at, "/hook/texts", text(i, "+447700900000", number(i/len(h.addresses)%gateOrders))}
	}, from, n, apart)
}

// rate gives the rate at which n more texts are taken.
func (h *hooks) rate(t *testing.T, clients, n int) float64 {
	t.Helper()
	began := time.Now()
	h.post(t, clients, n, 0)
	return float64(n) / time.Since(began).Seconds()
}

// call is a text as the practice network hands it over.
type call struct {
	addr, host, path string
	body             map[string]string
}

// text is the i-th of all texts, from a customer to a kitchen's number.
func text(i int, to, from string) map[string]string {
	return map[string]string{"id": fmt.Sprintf("in-%d", i), "from": from, "to": to, "text": words(i)}
}

// post sends n texts, so many at once, the first being the from-th of all, spaced
// so far apart, and gives how long each took until it was acknowledged.
func post(t *testing.T, clients int, calls func(i int) call, from, n int, apart time.Duration) []time.Duration {
	t.Helper()
	took := make([]time.Duration, n)
	next := make(chan int)
	began := time.Now()
	var wg sync.WaitGroup
	for range clients {
		wg.Go(func() {
			mine := caller{}
			defer mine.hangUp()
			for i := range next {
				due := time.Now()
				if apart > 0 {
					due = began.Add(time.Duration(i) * apart)
				}
				if err := mine.call(calls(from + i)); err != nil {
					t.Errorf("a text was not taken: %v", err)
					continue
				}
				took[i] = time.Since(due)
			}
		})
	}
	for i := range n {
		if apart > 0 {
			time.Sleep(time.Until(began.Add(time.Duration(i) * apart)))
		}
		next <- i
	}
	close(next)
	wg.Wait()
	return took
}

// caller is a provider that calls hooks, one after the other, and holds a
// connection to each address. It writes its calls by itself: pgbench costs little
// too.
type caller map[string]*wire

type wire struct {
	net.Conn
	in *bufio.Reader
}

func (c caller) call(to call) error {
	w := c[to.addr]
	if w == nil {
		conn, err := net.Dial("tcp", to.addr)
		if err != nil {
			return err
		}
		w = &wire{conn, bufio.NewReader(conn)}
		c[to.addr] = w
	}
	body, err := json.Marshal(to.body)
	if err != nil {
		return err
	}
	const head = "POST %s HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s"
	if _, err := fmt.Fprintf(w, head, to.path, to.host, len(body), body); err != nil {
		return err
	}
	return w.taken()
}

// taken reads the answer to a call, which has no body where the text was taken.
func (w *wire) taken() error {
	status, err := w.in.ReadString('\n')
	if err == nil && !strings.HasPrefix(status, "HTTP/1.1 204 ") {
		return errors.New(strings.TrimSpace(status))
	}
	for err == nil {
		var line []byte
		if line, err = w.in.ReadSlice('\n'); len(bytes.TrimSpace(line)) == 0 {
			break
		}
	}
	return err
}

func (c caller) hangUp() {
	for _, w := range c {
		_ = w.Close()
	}
}

// words gives what customers write, in about the mix of an evening: the i-th
// text of all.
func words(i int) string {
	all := []string{
		"here, red Ford Fiesta AB12 CDE", "I'm outside", "running late, about 10 minutes", "thanks!", "Hi im here, silver golf",
		"just pulled up, black astra", "on our way", "Great thank you see you later", "white van, LX19 KTO", "where do I park?",
	}
	return all[i/3%len(all)]
}

// pgbench gives what measures the rate of its simple updates on the same server, by as
// many clients: three statements that write two rows.
func pgbench(t *testing.T, s *pgtest.Server, clients int) func() float64 {
	t.Helper()
	u, err := url.Parse(s.Database(t))
	require.NoError(t, err)
	run := func(args ...string) string {
		found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/pgbench")
		require.NotEmpty(t, found, "no pgbench")
		out, err := exec.Command(found[len(found)-1], append(args, u.String())...).CombinedOutput()
		require.NoError(t, err, "%s", out)
		return string(out)
	}
	run("-i", "-s", "10", "-q")
	return func() float64 {
		out := run("-N", "-c", strconv.Itoa(clients), "-j", "2", "-T", "3")
		found := regexp.MustCompile(`tps = ([0-9.]+)`).FindStringSubmatch(out)
		require.NotNil(t, found, out)
		tps, err := strconv.ParseFloat(strings.TrimSpace(found[1]), 64)
		require.NoError(t, err)
		return tps
	}
}
