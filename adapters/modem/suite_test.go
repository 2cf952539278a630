//go:build linux

package modem

import (
	"log/slog"
	"testing"

	"go.uber.org/goleak"

	"passbell/adapters/adapterstest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const simPIN = "73912846"

func TestSuite(t *testing.T) {
	t.Parallel()
	modes := []struct {
		name string
		set  func(*sim, *Config)
	}{
		{name: "reports stored", set: func(*sim, *Config) {}},
		{name: "reports direct", set: func(m *sim, _ *Config) { m.noSR = true }},
		{name: "texts direct, chatty", set: func(m *sim, c *Config) {
			m.noSR, m.chatty = true, true
			c.Indications = "2,2,0,1,0"
		}},
	}
	for _, mode := range modes {
		t.Run(mode.name, func(t *testing.T) {
			t.Parallel()
			adapterstest.Run(t, adapterstest.Rig{
				New: func(t *testing.T, log *slog.Logger) adapterstest.Fixture {
					m := newSim(t)
					m.pin = simPIN
					cfg := simConfig()
					cfg.PIN = simPIN
					mode.set(m, &cfg)
					d := simDeps(m)
					d.Log = log
					return adapterstest.Fixture{Adapter: newAdapter(t, m, cfg, d), Peer: m, Secrets: []string{simPIN}}
				},
				Lacks: adapterstest.Lacks{Wait: true},
			})
		})
	}
}
