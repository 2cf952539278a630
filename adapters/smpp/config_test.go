package smpp_test

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/smpp"
	"passbell/adapters/smpp/pdu"
)

func TestValidate(t *testing.T) {
	t.Parallel()
	number := func(n int) *int { return &n }
	tests := []struct {
		name   string
		change func(*smpp.Config)
		want   string // in the error; "" for none
	}{
		{name: "good", change: func(*smpp.Config) {}},
		{name: "password elsewhere", change: func(c *smpp.Config) { c.Password = "env:LARKFIELD_SMPP_PASSWORD" }},
		{name: "pair", change: func(c *smpp.Config) { c.Mode, c.ReceiveAddress = "pair", "127.0.0.1:2776" }},
		{name: "no port", change: func(c *smpp.Config) { c.Address = "smpp.example.net" }, want: "host and port"},
		{name: "no address", change: func(c *smpp.Config) { c.Address = "" }, want: "address"},
		{name: "no system id", change: func(c *smpp.Config) { c.SystemID = "" }, want: "system_id: is missing"},
		{name: "long system id", change: func(c *smpp.Config) { c.SystemID = strings.Repeat("x", 16) }, want: "at most 15"},
		{name: "no password", change: func(c *smpp.Config) { c.Password = "" }, want: "password: is missing"},
		{name: "long password", change: func(c *smpp.Config) { c.Password = "ninesigns" }, want: "at most 8"},
		{name: "sender", change: func(c *smpp.Config) { c.From = "Larkfield Dumplings" }, want: "up to 11"},
		{name: "mode", change: func(c *smpp.Config) { c.Mode = "both" }, want: `"both" is none of transceiver, pair`},
		{name: "long", change: func(c *smpp.Config) { c.Long = "split" }, want: "long"},
		{name: "zone", change: func(c *smpp.Config) { c.Zone = "Larkfield" }, want: "no time zone"},
		{name: "window", change: func(c *smpp.Config) { c.Window = -1 }, want: "window"},
		{name: "pace", change: func(c *smpp.Config) { c.PerSecond = -1 }, want: "per_second"},
		{name: "ton", change: func(c *smpp.Config) { c.FromTON = number(300) }, want: "from_ton"},
		{name: "waits", change: func(c *smpp.Config) { c.ReconnectMax = 5_000_000 }, want: "shorter than reconnect_min"},
		{name: "receive address", change: func(c *smpp.Config) { c.ReceiveAddress = "127.0.0.1:1" }, want: "pair"},
		{name: "tls keys without tls", change: func(c *smpp.Config) { c.TLSName = "centre" }, want: "tls: is off"},
		{name: "half a certificate", change: func(c *smpp.Config) { c.TLS, c.TLSKey = true, "k" }, want: "go together"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cfg := config("127.0.0.1:2775")
			tt.change(&cfg)
			err := cfg.Validate()
			if tt.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.want)
			_, err = smpp.New(cfg, deps(nil))
			require.Error(t, err)
		})
	}
}

func TestConfigIsReadFromTOML(t *testing.T) {
	t.Parallel()
	var cfg smpp.Config
	d := toml.NewDecoder(strings.NewReader(`
address = "smpp.example.net:2775"
system_id = "larkfield"
password = "file:/run/secrets/smpp"
mode = "pair"
from = "LARKFIELD"
from_ton = 5
window = 20
per_second = 1.5
long = "sar"
enquire = "45s"
receipt_ids = "decimal-in-receipt"
`))
	d.DisallowUnknownFields()
	require.NoError(t, d.Decode(&cfg))
	require.NoError(t, cfg.Validate())
	require.Equal(t, adapters.Duration(45*time.Second), cfg.Enquire)
	require.Equal(t, 5, *cfg.FromTON)
	require.NotContains(t, fmt.Sprintf("%v %+v %#v", cfg, cfg, cfg), "run/secrets", "not even where it stands")
}

func TestPasswordIsFound(t *testing.T) {
	t.Parallel()
	files := map[string]string{"good": "dumplin8\n", "empty": "\n", "long": "much too long"}
	tests := []struct {
		name     string
		password adapters.Secret
		want     string
	}{
		{name: "environment", password: "env:GOOD"},
		{name: "not in the environment", password: "env:MISSING", want: "MISSING is not set"},
		{name: "file", password: "file:good"},
		{name: "no file", password: "file:none", want: "cannot be read"},
		{name: "empty file", password: "file:empty", want: "is empty"},
		{name: "too long", password: "file:long", want: "at most 8"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cfg := config("127.0.0.1:1")
			cfg.Password = tt.password
			d := deps(nil)
			d.Getenv = func(name string) string { return map[string]string{"GOOD": password}[name] }
			d.ReadFile = func(name string) ([]byte, error) {
				if s, ok := files[name]; ok {
					return []byte(s), nil
				}
				return nil, os.ErrNotExist
			}
			a, err := smpp.New(cfg, d)
			if tt.want != "" {
				require.ErrorContains(t, err, tt.want)
				require.NotContains(t, err.Error(), "much")
				return
			}
			require.NoError(t, err)
			require.NoError(t, a.Close())
		})
	}
	_, err := smpp.New(config("127.0.0.1:1"), smpp.Deps{})
	require.Error(t, err, "clock and chance must be handed in")
}

// authority makes a certificate for 127.0.0.1 that is its own authority.
func authority(t *testing.T) (tls.Certificate, []byte) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	now := time.Now()
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: now.Add(-time.Hour), NotAfter: now.Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key},
		pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
}

func TestTLS(t *testing.T) {
	t.Parallel()
	cert, root := authority(t)
	ln, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12})
	require.NoError(t, err)
	served := make(chan struct{})
	go func() {
		defer close(served)
		for {
			conn, err := ln.Accept()
			if err != nil {
				return
			}
			fastPeer(conn) // one after the other
		}
	}()
	t.Cleanup(func() {
		require.NoError(t, ln.Close())
		<-served
	})
	cfg := config(ln.Addr().String())
	cfg.TLS, cfg.TLSAuthority = true, "root.pem"
	d := deps(nil)
	d.ReadFile = func(string) ([]byte, error) { return root, nil }
	a, err := smpp.New(cfg, d)
	require.NoError(t, err)
	acc, err := a.Send(t.Context(), adapters.Message{To: "+447700900123", Text: "ready"})
	require.NoError(t, err)
	require.Len(t, acc.IDs, 1)
	require.NoError(t, a.Close())

	cfg.TLSAuthority = "" // the machine's authorities do not know this one
	_, err = adapter(t, cfg, deps(nil)).Send(t.Context(), adapters.Message{To: "+447700900123", Text: "ready"})
	var se *adapters.SendError
	require.ErrorAs(t, err, &se)
	require.Equal(t, adapters.Temporary, se.Outcome)
	require.True(t, se.Account)

	d.ReadFile = func(string) ([]byte, error) { return []byte("no certificate"), nil }
	cfg.TLSAuthority = "root.pem"
	_, err = smpp.New(cfg, d)
	require.ErrorContains(t, err, "no certificate in the file")
	d.ReadFile = func(string) ([]byte, error) { return nil, errors.New("gone") }
	_, err = smpp.New(cfg, d)
	require.ErrorContains(t, err, "tls_authority")
}

func TestProbe(t *testing.T) {
	t.Parallel()
	for _, mode := range []string{"transceiver", "pair"} {
		t.Run(mode, func(t *testing.T) {
			t.Parallel()
			c := newCentre(t)
			cfg := config(c.addr())
			cfg.Mode = mode
			found, err := adapter(t, cfg, deps(nil)).Probe(t.Context())
			require.NoError(t, err)
			for _, f := range found {
				require.True(t, f.OK, "%s: %s", f.What, f.Note)
			}
			c.mu.Lock()
			defer c.mu.Unlock()
			require.Len(t, c.binds, map[string]int{"transceiver": 1, "pair": 2}[mode])
			require.Equal(t, len(c.binds), c.enquired)
			require.Empty(t, c.submits)
		})
	}
	t.Run("wrong password", func(t *testing.T) {
		t.Parallel()
		c := newCentre(t)
		c.refuseBind = 0x0E
		cfg := config(c.addr())
		cfg.Receipts = "failures"
		found, err := adapter(t, cfg, deps(nil)).Probe(t.Context())
		require.NoError(t, err)
		require.False(t, found[0].OK)
		require.Contains(t, found[0].Note, "check system_id, password")
		require.False(t, found[2].OK)
	})
	t.Run("nobody there", func(t *testing.T) {
		t.Parallel()
		c := newCentre(t)
		addr := c.addr()
		require.NoError(t, c.ln.Close())
		found, err := adapter(t, config(addr), deps(nil)).Probe(t.Context())
		require.NoError(t, err)
		require.False(t, found[0].OK)
		require.Contains(t, found[0].Note, "cannot be reached")
	})
	t.Run("broken off", func(t *testing.T) {
		t.Parallel()
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		_, err := adapter(t, config("127.0.0.1:1"), deps(nil)).Probe(ctx)
		require.ErrorIs(t, err, context.Canceled)
	})
}

// FuzzHostileCentre feeds an adapter octets that are no SMPP after its bind.
func FuzzHostileCentre(f *testing.F) {
	f.Add([]byte("\x00\x00\x00\x10\x80\x00\x00\x04\x00\x00\x00\x00\x00\x00\x00\x02"))
	f.Add([]byte("\x00\x00\x00\x2f\x00\x00\x00\x05\x00\x00\x00\x00\x00\x00\x00\x01\x00\x01\x01447700900123\x00\x01\x01\x00\x40\x00\x00\x00\x00\x00\x00\x00\x00\x06\x05\x00\x03\x01\x02\x01"))
	f.Add([]byte("\x00\x00\x00\x10\x00\x00\x00\x06\x00\x00\x00\x00\x00\x00\x00\x01"))
	f.Fuzz(func(t *testing.T, b []byte) {
		near, far := net.Pipe()
		d := deps(nil)
		dialled := false
		d.Dial = func(context.Context, string, string) (net.Conn, error) {
			if dialled {
				return nil, errors.New("once only")
			}
			dialled = true
			return near, nil
		}
		cfg := config("centre.invalid:2775")
		cfg.Response = adapters.Duration(200 * time.Millisecond)
		cfg.ReconnectMin, cfg.ReconnectMax = adapters.Duration(time.Minute), adapters.Duration(time.Minute)
		a, err := smpp.New(cfg, d)
		require.NoError(t, err)
		stop := receiving(t, a, sinkOfNothing{})
		r := pdu.NewReader(bufio.NewReader(far))
		h, _, err := r.Next()
		require.NoError(t, err)
		out, err := pdu.AppendMessageResp(nil, pdu.Header{ID: h.ID.Resp(), Seq: h.Seq}, "centre")
		require.NoError(t, err)
		drained := make(chan struct{})
		go func() {
			defer close(drained)
			buf := make([]byte, 4096)
			for {
				if _, err := far.Read(buf); err != nil {
					return
				}
			}
		}()
		_, _ = far.Write(append(out, b...)) // it may hang up on us
		require.NoError(t, far.Close())
		<-drained
		stop()
		require.NoError(t, a.Close())
	})
}

type sinkOfNothing struct{}

func (sinkOfNothing) Inbound(context.Context, adapters.Inbound) error { return nil }
func (sinkOfNothing) Receipt(context.Context, adapters.Receipt) error { return nil }
