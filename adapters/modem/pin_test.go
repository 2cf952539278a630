//go:build linux

package modem

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

// notes is a Notes in memory.
type notes struct {
	mu   sync.Mutex
	m    map[string]string
	fail bool
}

func (n *notes) Get(_ context.Context, key string) (string, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.fail {
		return "", errors.New("the disk is gone")
	}
	return n.m[key], nil
}

func (n *notes) Put(_ context.Context, key, value string) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.m == nil {
		n.m = map[string]string{}
	}
	n.m[key] = value
	return nil
}

var msg = adapters.Message{Key: "m1-1", To: "+447700900123", Text: "Ready at 17:10"}

// persist sends until the outcome is settled or has been tried often enough.
func persist(t *testing.T, a *Adapter) error {
	t.Helper()
	var err error
	for range 10 {
		if _, err = a.Send(context.Background(), msg); err == nil {
			return nil
		}
		require.Equal(t, adapters.Temporary, adapters.OutcomeOf(err))
		time.Sleep(a.link.wait()) // until the port may be opened again
	}
	return err
}

// quick makes every wait a hundredth, so that a SIM that is slow to start does
// not hold up a test.
func quick(d time.Duration) <-chan time.Time { return time.After(d / 100) }

func TestPIN(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		pin   adapters.Secret
		set   func(m *sim, d *Deps)
		tries []string // PINs that reached the SIM
		says  string   // "" for a text that goes out
	}{
		{name: "right", pin: "1234", tries: []string{"1234"}},
		{name: "right, the SIM is slow to start", pin: "1234", tries: []string{"1234"}, set: func(m *sim, _ *Deps) { m.busy = 3 }},
		{name: "wrong is tried once", pin: "9999", tries: []string{"9999"}, says: "refused the PIN"},
		{name: "wrong is tried once where the modem does not count", pin: "9999", tries: []string{"9999"}, says: "refused the PIN", set: func(m *sim, _ *Deps) {
			m.noPINCount = true
		}},
		{name: "somebody was wrong before", pin: "1234", says: "a wrong PIN was tried", set: func(m *sim, _ *Deps) { m.pinTries = 2 }},
		{name: "PUK", pin: "1234", says: "PUK", set: func(m *sim, _ *Deps) { m.pinTries = 0 }},
		{name: "none given", says: "write pin"},
		{name: "the try cannot be noted", pin: "1234", says: "not tried", set: func(_ *sim, d *Deps) { d.Notes = &notes{fail: true} }},
		{name: "noted", pin: "1234", tries: []string{"1234"}, set: func(_ *sim, d *Deps) { d.Notes = &notes{} }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m := newSim(t)
			m.pin = "1234"
			cfg := simConfig()
			cfg.PIN, cfg.Command, cfg.SendTime = tt.pin, adapters.Duration(time.Hour), adapters.Duration(time.Hour)
			d := simDeps(m)
			d.After = quick
			if tt.set != nil {
				tt.set(m, &d)
			}
			a := newAdapter(t, m, cfg, d)
			err := persist(t, a)
			m.look(func() { require.Equal(t, tt.tries, m.pinGiven) })
			if tt.says == "" {
				require.NoError(t, err)
				return
			}
			var se *adapters.SendError
			require.ErrorAs(t, err, &se)
			require.True(t, se.Account)
			require.Contains(t, se.Reason, tt.says)
			require.Empty(t, m.Taken())
		})
	}
}

func TestWrongPINIsNotTriedAgainAfterARestart(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	m.pin, m.noPINCount = "1234", true
	n := &notes{}
	run := func(pin adapters.Secret) error {
		cfg := simConfig()
		cfg.PIN = pin
		d := simDeps(m)
		d.Notes = n
		a := newAdapter(t, m, cfg, d)
		defer func() { require.NoError(t, a.Close()) }()
		return persist(t, a)
	}
	for range 4 {
		require.Error(t, run("9999"))
	}
	m.look(func() { require.Equal(t, []string{"9999"}, m.pinGiven) })
	require.NoError(t, run("1234"), "a corrected PIN is tried")
	m.look(func() { m.pin = "1234" })
	require.NoError(t, run("1234"), "one that worked is tried again")
}

func TestPINAgainAfterReplugging(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	m.pin = "1234"
	cfg := simConfig()
	cfg.PIN = "1234"
	a := newAdapter(t, m, cfg, simDeps(m))
	require.NoError(t, persist(t, a))
	m.unplug()
	m.look(func() { m.pin = "1234" })
	m.plug()
	require.NoError(t, persist(t, a))
	m.look(func() { require.Len(t, m.pinGiven, 2) })
}

// TestPINWhoseAnswerWasLost counts as wrong: the SIM asks again.
func TestPINWhoseAnswerWasLost(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	m.pin, m.noPINCount = "1234", true
	m.refuse[`AT+CPIN="9999"`] = "silence"
	cfg := simConfig()
	cfg.PIN, cfg.Command = "9999", adapters.Duration(600*time.Millisecond)
	a := newAdapter(t, m, cfg, simDeps(m))
	require.Error(t, persist(t, a))
	given := 0
	m.look(func() {
		for _, c := range m.commands {
			if c == `AT+CPIN="9999"` {
				given++
			}
		}
	})
	require.Equal(t, 1, given)
}
