package email_test

import (
	"fmt"
	"log/slog"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/email"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// tonight is the clock of these tests.
var tonight = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)

// config fits the far side as it was opened.
func config(p *post, o options) email.Config {
	how := "starttls"
	switch {
	case o.implicit:
		how = "tls"
	case o.plainTCP:
		how = "none"
	}
	return email.Config{
		From: user, FromName: "Larkfield Dumpling Kitchen", TLSAuthority: "authority.pem",
		SMTP: email.SMTP{
			Host: "127.0.0.1", Port: p.smtp.port(), TLS: how, User: user, Password: password, Connections: 4,
			SignInPause: adapters.Duration(time.Millisecond),
		},
		IMAP: email.IMAP{
			Host: "127.0.0.1", Port: p.imap.port(), TLS: how,
			PollEvery: adapters.Duration(5 * time.Millisecond), RetryEvery: adapters.Duration(5 * time.Millisecond),
			// The server library forgets what comes while IDLE begins.
			LookEvery:    adapters.Duration(500 * time.Millisecond),
			ReconnectMin: adapters.Duration(5 * time.Millisecond), ReconnectMax: adapters.Duration(20 * time.Millisecond),
		},
	}
}

func deps(p *post, log *slog.Logger) email.Deps {
	return email.Deps{
		Now: func() time.Time { return tonight }, After: time.After, Rand: rand.New(rand.NewPCG(1, 2)), Log: log,
		ReadFile: func(string) ([]byte, error) { return p.pem, nil },
	}
}

// adapter makes an adapter that is closed at the end of the test.
func adapter(t testing.TB, cfg email.Config, d email.Deps) *email.Adapter {
	t.Helper()
	a, err := email.New(cfg, d)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a
}

func TestSuite(t *testing.T) {
	t.Parallel()
	for name, kind := range map[string]struct {
		options
		done string
	}{
		"starttls and idle":           {},
		"tls, polling and moving":     {options: options{implicit: true, noIdle: true}, done: "Done"},
		"on this machine without tls": {options: options{plainTCP: true}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			adapterstest.Run(t, adapterstest.Rig{
				New: func(t *testing.T, log *slog.Logger) adapterstest.Fixture {
					p := newPost(t, kind.options)
					cfg := config(p, kind.options)
					cfg.IMAP.DoneFolder = kind.done
					return adapterstest.Fixture{Adapter: adapter(t, cfg, deps(p, log)), Peer: p, Secrets: []string{password}}
				},
				Lacks:  adapterstest.Lacks{Wait: true},
				Number: func(i int) string { return fmt.Sprintf("customer-%03d@example.net", i) },
			})
		})
	}
}
