package smpp_test

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/smpp"
	"passbell/adapters/smpp/pdu"
)

const (
	benchWindow = 50
	benchCount  = 20000
)

// submitMany submits count texts, window of them at a time, and says how long it
// took.
func submitMany(t testing.TB, a *smpp.Adapter, count, window int) time.Duration {
	t.Helper()
	ctx := context.Background()
	_, err := a.Send(ctx, adapters.Message{Key: "warm", To: "+447700900000", Text: "ready"})
	require.NoError(t, err)
	var (
		wg    sync.WaitGroup
		mu    sync.Mutex
		next  int
		first error
	)
	started := time.Now()
	for range window {
		wg.Go(func() {
			for {
				mu.Lock()
				n := next
				next++
				mu.Unlock()
				if n >= count {
					return
				}
				_, err := a.Send(ctx, adapters.Message{
					Key: "m" + strconv.Itoa(n), To: fmt.Sprintf("+447700900%03d", n%1000),
					Text: "Larkfield Dumpling Kitchen: order K" + strconv.Itoa(n) + " is ready at 17:10, park by the green gate.",
				})
				if err != nil {
					mu.Lock()
					first = err
					mu.Unlock()
					return
				}
			}
		})
	}
	wg.Wait()
	took := time.Since(started)
	require.NoError(t, first)
	return took
}

// BenchmarkBesidePeer submits to the npm centre with the npm client and with
// ours in turn, five rounds, and reports the medians and their ratio.
func BenchmarkBesidePeer(b *testing.B) {
	needPeer(b)
	var ours, theirs []float64
	var rss int64
	for b.Loop() {
		ours, theirs = nil, nil
		for range 5 {
			c := startCentre(b, 0, 1, true, func(peerEvent) {})
			run := runPeerClient(b.Context(), b, c.port, benchCount, benchWindow)
			theirs = append(theirs, float64(run.Count)/run.MS*1000)
			rss = max(rss, run.RSS)
			c.kill()

			c = startCentre(b, 0, 1, true, func(peerEvent) {})
			a := adapter(b, config(fmt.Sprintf("127.0.0.1:%d", c.port)), deps(nil))
			ours = append(ours, benchCount/submitMany(b, a, benchCount, benchWindow).Seconds())
			require.NoError(b, a.Close())
			c.kill()
		}
	}
	mine, peer := median(ours), median(theirs)
	b.ReportMetric(mine, "ours/s")
	b.ReportMetric(peer, "peer/s")
	b.ReportMetric(mine/peer, "ratio")
	b.ReportMetric(float64(rss)/(1<<20), "peer-MiB")
	b.ReportMetric(residentMiB(b), "ours-MiB")
}

func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	return x[len(x)/2]
}

// residentMiB is the peak of this process's memory, tests and all.
func residentMiB(t testing.TB) float64 {
	t.Helper()
	f, err := os.Open("/proc/self/status")
	if err != nil {
		return 0 // not on this system
	}
	defer func() { require.NoError(t, f.Close()) }()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if v, ok := strings.CutPrefix(lines.Text(), "VmHWM:"); ok {
			kb, err := strconv.ParseFloat(strings.Fields(v)[0], 64)
			require.NoError(t, err)
			return kb / 1024
		}
	}
	return 0
}

// BenchmarkFastPeer submits to a centre that does next to nothing, which shows
// the cost of the adapter itself.
func BenchmarkFastPeer(b *testing.B) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, ln.Close()) })
	go func() {
		for {
			conn, err := ln.Accept()
			if err != nil {
				return
			}
			go fastPeer(conn)
		}
	}()
	a := adapter(b, config(ln.Addr().String()), deps(nil))
	b.ReportAllocs()
	b.ResetTimer()
	took := submitMany(b, a, b.N, benchWindow)
	b.ReportMetric(float64(b.N)/took.Seconds(), "texts/s")
}

func fastPeer(conn net.Conn) {
	defer func() { _ = conn.Close() }()
	buffered := bufio.NewReaderSize(conn, 64<<10)
	r := pdu.NewReader(buffered)
	var out []byte
	for n := uint64(1); ; n++ {
		h, _, err := r.Next()
		if err != nil {
			return
		}
		h.ID = h.ID.Resp()
		if h.ID == pdu.SubmitSM.Resp() {
			out, _ = pdu.AppendMessageResp(out, h, strconv.FormatUint(n, 16))
		} else {
			out = pdu.AppendBare(out, h)
		}
		if buffered.Buffered() == 0 {
			if _, err := conn.Write(out); err != nil {
				return
			}
			out = out[:0]
		}
	}
}
