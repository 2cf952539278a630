package email_test

import (
	"context"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

// 300 e-mails while the server breaks every connection again and again: none is
// lost and none is doubled that is not reported as not known.
func TestServerKilledOften(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	const n = 300
	var (
		mu      sync.Mutex
		fate    = map[string]adapters.Outcome{}
		wg      sync.WaitGroup
		jobs    = make(chan int)
		settled int
	)
	settle := func(to string, o adapters.Outcome) {
		mu.Lock()
		fate[to] = o
		settled++
		kill := settled%20 == 0
		mu.Unlock()
		if kill {
			p.smtp.breakAll()
		}
	}
	for range 4 {
		wg.Go(func() {
			for i := range jobs {
				m := message(i)
				_, err := a.Send(context.Background(), m)
				for err != nil && adapters.OutcomeOf(err) == adapters.Temporary {
					_, err = a.Send(context.Background(), m)
				}
				if err == nil {
					settle(m.To, "")
				} else {
					settle(m.To, adapters.OutcomeOf(err))
				}
			}
		})
	}
	for i := range n {
		jobs <- i
	}
	close(jobs)
	wg.Wait()

	taken := map[string]int{}
	for _, g := range p.all() {
		taken[g.to]++
	}
	unknown := 0
	for i := range n {
		to := message(i).To
		switch fate[to] {
		case "":
			require.Equal(t, 1, taken[to], "accepted is taken once")
		case adapters.Unknown:
			unknown++
			require.LessOrEqual(t, taken[to], 1)
		default:
			require.Fail(t, "another outcome", "%s", fate[to])
		}
	}
	t.Logf("%d accepted, %d not known", n-unknown, unknown)
}
