package bench

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"
)

// growth sends the instructions of 1, 10, 100, … kitchens of 100 orders each
// from one process on one server, all at once.
func growth(t *testing.T) []result {
	s := server(t)
	var out []result
	for n := 1; n <= *kitchens; n *= 10 {
		d := onServer(t, s)
		houses := make([]*house, n)
		for i := range houses {
			houses[i] = d.kitchen(t, fmt.Sprintf("Larkfield Dumpling Kitchen %d", i))
		}
		d.fill(t, 100)
		d.due(t)
		var all errgroup.Group
		began := time.Now()
		for _, h := range houses {
			out := h.dispatcher(t)
			all.Go(func() error { return out.Drain(t.Context()) })
		}
		require.NoError(t, all.Wait())
		took := time.Since(began)
		assert.Equal(t, 100*n, d.count(t, `SELECT count(*) FROM orders WHERE state = 'told'`))
		out = append(out, result{work: fmt.Sprintf("growth, %d kitchens of 100 orders", n), ours: fmt.Sprintf("%.0f texts/s, all out in %s", float64(100*n)/took.Seconds(), short(took))})
	}
	return out
}
