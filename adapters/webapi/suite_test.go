package webapi_test

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/webapi"
)

// describe reads a description from testdata and points it at a provider.
func describe(t *testing.T, file, address string) webapi.Config {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("testdata", file))
	require.NoError(t, err)
	if address != "" {
		raw = bytes.ReplaceAll(raw, []byte("https://api.example.net"), []byte(address))
	}
	var cfg webapi.Config
	dec := toml.NewDecoder(bytes.NewReader(raw)).DisallowUnknownFields()
	require.NoError(t, dec.Decode(&cfg))
	return cfg
}

// deps are those of a kitchen at the moment of the tests, with a client that
// ends with the test.
func deps(t *testing.T, log *slog.Logger) webapi.Deps {
	t.Helper()
	transport := &http.Transport{}
	t.Cleanup(transport.CloseIdleConnections)
	return webapi.Deps{
		Client: &http.Client{Transport: transport},
		Now:    func() time.Time { return night },
		After:  func(time.Duration) <-chan time.Time { return time.After(time.Millisecond) },
		Getenv: func(name string) string { return environment[name] },
		Log:    log,
	}
}

func newAdapter(t *testing.T, cfg webapi.Config) *webapi.Adapter {
	t.Helper()
	a, err := webapi.New(cfg, deps(t, nil))
	require.NoError(t, err)
	return a
}

// serveHook serves an adapter's hook to a provider until the test ends.
func serveHook(t *testing.T, p *provider, a adapters.Hooker, sink adapters.Sink) {
	t.Helper()
	srv := httptest.NewServer(http.StripPrefix("/hooks/sms", a.Hook(sink)))
	p.mu.Lock()
	p.hook = srv.URL + "/hooks/sms"
	p.mu.Unlock()
	t.Cleanup(srv.Close)
}

func TestSuite(t *testing.T) {
	t.Parallel()
	for _, make := range []func() dialect{forms, polled, signed} {
		d := make()
		t.Run(strings.TrimSuffix(d.file, ".toml"), func(t *testing.T) {
			t.Parallel()
			adapterstest.Run(t, adapterstest.Rig{New: func(t *testing.T, log *slog.Logger) adapterstest.Fixture {
				p := newProvider(t, make())
				a, err := webapi.New(describe(t, d.file, p.url()), deps(t, log))
				require.NoError(t, err)
				fx := adapterstest.Fixture{Adapter: a, Peer: p}
				for _, secret := range environment {
					fx.Secrets = append(fx.Secrets, secret)
				}
				if p.d.inbound != nil {
					fx.Listen = func(_ context.Context, sink adapters.Sink) { serveHook(t, p, a, sink) }
				}
				return fx
			}})
		})
	}
}
