package bench

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// start measures the built binary on the embedded database: from its start to
// the first answer, and how much memory it holds with nothing to do and after a
// night of 200 orders.
func start(t *testing.T) []result {
	dir := t.TempDir()
	bin := filepath.Join(dir, "passbell")
	build := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", bin, "./cmd/passbell")
	build.Dir, build.Env = "../..", append(os.Environ(), "CGO_ENABLED=0")
	out, err := build.CombinedOutput()
	require.NoError(t, err, "%s", out)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := l.Addr().String()
	require.NoError(t, l.Close())
	p := &program{t: t, bin: bin, dir: dir, addr: addr}
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
window = 10
per_second = 1000
`, addr, evening(t))), 0o600))
	var began []time.Duration
	idle := 0
	for range 5 {
		began = append(began, p.start())
		time.Sleep(2 * time.Second)
		idle = max(idle, p.resident())
		p.stop()
	}
	p.night(200)
	busy := p.evening(200)
	p.stop()
	return []result{
		under("start to serving, embedded", middle(began), 300*time.Millisecond),
		{work: "memory of a kitchen idle", ours: fmt.Sprintf("%d MB", idle), goal: "under 60 MB", met: idle < 60},
		{work: "memory on a night of 200 orders", ours: fmt.Sprintf("%d MB", busy), goal: "under 60 MB", met: busy < 60},
	}
}

// program is the built binary in a folder.
type program struct {
	t              *testing.T
	bin, dir, addr string
	process        *exec.Cmd
}

func (p *program) run(args ...string) {
	p.t.Helper()
	c := exec.Command(p.bin, args...)
	c.Dir = p.dir
	out, err := c.CombinedOutput()
	require.NoError(p.t, err, "%v\n%s", args, out)
}

// start starts it and gives the time until it answers.
func (p *program) start() time.Duration {
	p.t.Helper()
	p.process = exec.Command(p.bin, "serve")
	p.process.Dir = p.dir
	began := time.Now()
	require.NoError(p.t, p.process.Start())
	for {
		answer, err := http.Get("http://" + p.addr + "/")
		if err == nil {
			took := time.Since(began)
			require.NoError(p.t, answer.Body.Close())
			return took
		}
		require.Less(p.t, time.Since(began), 10*time.Second, "it does not answer")
		time.Sleep(time.Millisecond)
	}
}

func (p *program) stop() {
	p.t.Helper()
	require.NoError(p.t, p.process.Process.Signal(os.Interrupt))
	require.NoError(p.t, p.process.Wait())
}

// resident gives the memory that it holds, in MB.
func (p *program) resident() int { return p.status("VmRSS") }

func (p *program) status(what string) int {
	p.t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.process.Process.Pid))
	require.NoError(p.t, err)
	found := regexp.MustCompile(what + `:\s+(\d+) kB`).FindSubmatch(b)
	require.NotNil(p.t, found)
	kb, err := strconv.Atoi(string(found[1]))
	require.NoError(p.t, err)
	return kb / 1000
}

// night adds a night that is now, with its order book, and closes it.
func (p *program) night(orders int) {
	p.t.Helper()
	zone, err := time.LoadLocation(evening(p.t))
	require.NoError(p.t, err)
	local := time.Now().In(zone)
	slot := local.Truncate(10 * time.Minute).Add(30 * time.Minute)
	p.run("night", "add", local.Format("2006-01-02"), "--first", slot.Format("15:04"), "--last", slot.Add(170*time.Minute).Format("15:04"),
		"--place", "5 Mill Lane", "--instruct", local.Add(-time.Minute).Format("2006-01-02 15:04"))
	var b strings.Builder
	b.WriteString("order,name,phone,slot,items,note\n")
	for i := range orders {
		fmt.Fprintf(&b, "K%d,Customer Number%d,07700900%03d,%s,2x Pork bao,\n", 401+i, i, i, slot.Format("15:04"))
	}
	require.NoError(p.t, os.WriteFile(filepath.Join(p.dir, "orders.csv"), []byte(b.String()), 0o600))
	p.run("book", "load", "orders.csv")
	p.run("close", "--yes")
}

// evening has every customer write while ten pages are open, and gives the most
// memory that was held.
func (p *program) evening(orders int) int {
	p.t.Helper()
	p.start()
	for range 10 {
		c, err := net.Dial("tcp", p.addr)
		require.NoError(p.t, err)
		defer func() { _ = c.Close() }()
		_, err = fmt.Fprintf(c, "GET /live?of=/ HTTP/1.1\r\nHost: %s\r\n\r\n", p.addr)
		require.NoError(p.t, err)
		go func() { _, _ = bufio.NewReader(c).WriteTo(nowhere{}) }()
	}
	most := 0
	for i := range orders {
		body, _ := json.Marshal(map[string]string{"id": fmt.Sprint("in-", i), "from": number(i), "text": words(i)})
		answer, err := http.Post("http://"+p.addr+"/hook/texts", "application/json", bytes.NewReader(body))
		require.NoError(p.t, err)
		require.Equal(p.t, http.StatusNoContent, answer.StatusCode)
		require.NoError(p.t, answer.Body.Close())
		if i%10 == 0 {
			most = max(most, p.resident())
			time.Sleep(20 * time.Millisecond)
		}
	}
	time.Sleep(3 * time.Second)
	return max(most, p.resident())
}

type nowhere struct{}

func (nowhere) Write(b []byte) (int, error) { return len(b), nil }
