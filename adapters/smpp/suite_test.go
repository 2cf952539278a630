package smpp_test

import (
	"log/slog"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/smpp"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const password = "dumplin8"

func config(addr string) smpp.Config {
	return smpp.Config{
		Address: addr, SystemID: "larkfield", Password: password, From: "LARKFIELD", Window: 50,
		ReconnectMin: adapters.Duration(10 * time.Millisecond), ReconnectMax: adapters.Duration(50 * time.Millisecond),
		ThrottlePause: adapters.Duration(10 * time.Millisecond),
	}
}

func deps(log *slog.Logger) smpp.Deps {
	return smpp.Deps{Now: time.Now, After: time.After, Rand: rand.New(rand.NewPCG(1, 2)), Log: log}
}

// adapter makes an adapter that is closed at the end of the test.
func adapter(t testing.TB, cfg smpp.Config, d smpp.Deps) *smpp.Adapter {
	t.Helper()
	a, err := smpp.New(cfg, d)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a
}

func TestSuite(t *testing.T) {
	t.Parallel()
	for _, mode := range []string{"transceiver", "pair"} {
		t.Run(mode, func(t *testing.T) {
			t.Parallel()
			adapterstest.Run(t, adapterstest.Rig{
				New: func(t *testing.T, log *slog.Logger) adapterstest.Fixture {
					c := newCentre(t)
					cfg := config(c.addr())
					cfg.Mode = mode
					return adapterstest.Fixture{Adapter: adapter(t, cfg, deps(log)), Peer: c, Secrets: []string{password}}
				},
				Lacks: adapterstest.Lacks{Wait: true},
			})
		})
	}
}
