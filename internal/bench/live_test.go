package bench

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
)

// events is how many things happen while the pages are open.
const events = 10

// livePages has things happen on a night that many pages show, and measures from
// each until the last page has it, beside the same bytes written to as many
// sockets.
func livePages(t *testing.T) []result {
	g, h, n := running(t, filepath.Join(t.TempDir(), "passbell.db"), "Larkfield Dumpling Kitchen", 40)
	open := make([]*page, *pages)
	for i := range open {
		open[i] = openPage(t, g.Addr().String())
	}
	got := make(chan arrived, *pages)
	for i, p := range open {
		go p.read(i, got)
	}
	// Each opens with the page as it is; then the texts that went out are shown.
	quiet(got)
	var ours, each []time.Duration
	size := 0
	for i := range events {
		began := time.Now()
		_, err := h.Desk.Packed(t.Context(), desk.Act{Night: n.ID, Ref: fmt.Sprintf("K%d", 401+i), Who: "cook"}, true)
		require.NoError(t, err)
		var last time.Time
		for range open {
			a := <-got
			size, last = a.size, a.at
			each = append(each, a.at.Sub(began))
		}
		ours = append(ours, last.Sub(began))
		quiet(got)
	}
	beside := sockets(t, size)
	r := within(fmt.Sprintf("an event to %d live pages", *pages), middle(ours), beside, fmt.Sprintf("%.1f kB to each socket", float64(size)/1000), 2)
	r.ours += ", p99 " + short(p99(each))
	return []result{r}
}

// silence is how long nothing happens before each event.
const silence = time.Second

// quiet waits until no page hears anything for as long.
func quiet(got chan arrived) {
	for {
		select {
		case <-got:
		case <-time.After(silence):
			return
		}
	}
}

type arrived struct {
	at   time.Time
	size int
}

// page is an open live page.
type page struct{ in *bufio.Reader }

func openPage(t *testing.T, addr string) *page {
	t.Helper()
	c, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	t.Cleanup(func() { _ = c.Close() })
	_, err = fmt.Fprintf(c, "GET /live?of=/ HTTP/1.1\r\nHost: %s\r\nAccept: text/event-stream\r\n\r\n", addr)
	require.NoError(t, err)
	return &page{bufio.NewReader(c)}
}

// read tells of each new content of the page. A sign of life is none.
func (p *page) read(_ int, got chan<- arrived) {
	size, content := 0, false
	for {
		line, err := p.in.ReadSlice('\n')
		if err != nil && err != bufio.ErrBufferFull {
			return
		}
		size += len(line)
		content = content || strings.HasPrefix(string(line[:min(len(line), 3)]), "id:")
		if len(line) == 1 || len(line) == 2 && line[0] == '\r' { // the event is whole
			if content {
				got <- arrived{time.Now(), size}
			}
			size, content = 0, false
		}
	}
}

// sockets gives how long it takes to write so many bytes to each of as many
// connections, until the last has read them, each time after a second of silence as
// the pages have had.
func sockets(t *testing.T, size int) time.Duration {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, l.Close()) }()
	var near []net.Conn
	read := make(chan time.Time, *pages)
	for range *pages {
		c, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		defer func() { _ = c.Close() }()
		go func() {
			in := bufio.NewReader(c)
			for {
				if _, err := io.CopyN(io.Discard, in, int64(size)); err != nil {
					return
				}
				read <- time.Now()
			}
		}()
		s, err := l.Accept()
		require.NoError(t, err)
		near = append(near, s)
	}
	bytes := make([]byte, size)
	var took []time.Duration
	for range events {
		time.Sleep(silence)
		began := time.Now()
		var wg sync.WaitGroup
		for _, c := range near {
			wg.Go(func() { _, _ = c.Write(bytes) })
		}
		wg.Wait()
		var last time.Time
		for range near {
			last = <-read
		}
		took = append(took, last.Sub(began))
	}
	return middle(took)
}
