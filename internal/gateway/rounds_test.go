package gateway

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// However many rounds wait for something that does not come, stopping ends their
// waiting.
func TestStoppingEndsWhatWaits(t *testing.T) {
	t.Parallel()
	g := &Gateway{host: &Host{Clock: clockwork.NewRealClock()}}
	var begun, ended sync.WaitGroup
	var rounds []round
	for i := range 300 {
		begun.Add(1)
		ended.Add(1)
		rounds = append(rounds, round{fmt.Sprintf("round %d", i), wipeEvery, func(ctx context.Context) {
			begun.Done()
			<-ctx.Done() // as a transaction that waits for its turn
			ended.Done()
		}})
	}
	require.NoError(t, g.startRounds(t.Context(), rounds))
	begun.Wait()
	require.NoError(t, g.Stop(t.Context()))
	ended.Wait()
	assert.NoError(t, g.Stop(t.Context()), "twice is fine")
}
