package web_test

import (
	"fmt"
	"io"
	"net"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/web"
)

// narrow hands out connections that hold back little of what is written to them,
// and tells whose it has closed.
type narrow struct {
	net.Listener
	closed chan string // the far side's address
}

func (l narrow) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return &narrowConn{Conn: c, closed: l.closed}, c.(*net.TCPConn).SetWriteBuffer(1 << 10)
}

type narrowConn struct {
	net.Conn
	once   sync.Once
	closed chan string
}

func (c *narrowConn) Close() error {
	c.once.Do(func() { c.closed <- c.RemoteAddr().String() })
	return c.Conn.Close()
}

// TestAStuckScreenIsLetGo has a page open that takes in nothing more, as on a
// device that lost its line: it holds up nobody, its connection is closed after
// its time, and whoever reads keeps theirs.
func TestAStuckScreenIsLetGo(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	server := httptest.NewUnstartedServer(h.handler(func(c *web.Config) { c.Pace.Stuck = 2 * time.Second }))
	closed := make(chan string, 16)
	server.Listener = narrow{server.Listener, closed}
	server.Start()
	t.Cleanup(server.Close)

	reads := follow(t, server.URL+"/live", "")
	reads.page()
	stuck, err := net.Dial("tcp", server.Listener.Addr().String())
	require.NoError(t, err)
	t.Cleanup(func() { _ = stuck.Close() })
	require.NoError(t, stuck.(*net.TCPConn).SetReadBuffer(1<<10))
	_, err = fmt.Fprintf(stuck, "GET /live HTTP/1.1\r\nHost: %s\r\n\r\n", server.Listener.Addr())
	require.NoError(t, err)

	for n, began := 0, time.Now(); len(closed) == 0; n++ {
		require.Less(t, time.Since(began), 2*time.Minute, "it was not let go")
		_, err = h.desk.Packed(t.Context(), h.act("K422"), n%2 == 0)
		require.NoError(t, err)
		_, ok := reads.next()
		require.True(t, ok, "whoever reads is told")
	}
	require.Equal(t, stuck.LocalAddr().String(), <-closed)
	require.NoError(t, stuck.SetReadDeadline(time.Now().Add(time.Minute)))
	_, err = io.Copy(io.Discard, stuck)
	require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "the far side learns of it")

	h.arrive("K416", "outside, white transit", car("white", "Ford", "Transit", ""), "")
	for !strings.Contains(reads.page().data, "Ford Transit") {
	}
	require.Empty(t, closed, "whoever reads keeps the line")
}
