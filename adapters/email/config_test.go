package email_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/email"
)

func kitchen() email.Config {
	return email.Config{
		From: user, FromName: "Larkfield Dumpling Kitchen",
		SMTP: email.SMTP{Host: "mail.example.net", User: user, Password: "env:LARKFIELD_MAIL_PASSWORD"},
		IMAP: email.IMAP{Host: "mail.example.net"},
	}
}

func TestConfigOfAFile(t *testing.T) {
	t.Parallel()
	const file = `
from = "orders@larkfield.example"
from_name = "Larkfield Dumpling Kitchen"
reply_to = "replies@larkfield.example"
subject = "Friday dumplings"
per_minute = 30
receipts = "failures"
[smtp]
host = "mail.example.net"
port = 587
tls = "starttls"
user = "orders@larkfield.example"
password = "env:LARKFIELD_MAIL_PASSWORD"
[imap]
host = "mail.example.net"
port = 993
tls = "tls"
user = "replies@larkfield.example"
password = "file:/run/secrets/mail"
folder = "Replies"
done_folder = "Done"
poll_every = "30s"
look_every = "2m"
`
	var c email.Config
	require.NoError(t, toml.NewDecoder(strings.NewReader(file)).DisallowUnknownFields().Decode(&c))
	require.NoError(t, c.Validate())
	require.Equal(t, 587, c.SMTP.Port)
	require.Equal(t, adapters.Duration(30*time.Second), c.IMAP.PollEvery)
	require.Equal(t, "Done", c.IMAP.DoneFolder)
}

func TestValidate(t *testing.T) {
	t.Parallel()
	require.NoError(t, kitchen().Validate(), "the settings in the package's description")
	for _, tt := range []struct {
		name   string
		change func(*email.Config)
		says   []string // parts of the error; none for a good configuration
	}{
		{"nothing", func(c *email.Config) { *c = email.Config{} }, []string{"from: is missing", "smtp.host: is missing"}},
		{"only out", func(c *email.Config) { c.IMAP = email.IMAP{} }, nil},
		{"no sign-in", func(c *email.Config) { c.SMTP.User, c.SMTP.Password, c.IMAP = "", "", email.IMAP{} }, nil},
		{"a name in from", func(c *email.Config) { c.From = "Larkfield <orders@larkfield.example>" }, []string{"from: that is no e-mail address", "from_name"}},
		{"injection in from", func(c *email.Config) { c.From = "orders@larkfield.example\r\nBcc: x@example.net" }, []string{"from: the address holds a line break"}},
		{"injection in the name", func(c *email.Config) { c.FromName = "Larkfield\nBcc: x@example.net" }, []string{"from_name: must be one line"}},
		{"reply_to", func(c *email.Config) { c.ReplyTo = "replies" }, []string{"reply_to"}},
		{"subject", func(c *email.Config) { c.Subject = "a\rb" }, []string{"subject: must be one line"}},
		{"host with port", func(c *email.Config) { c.SMTP.Host = "mail.example.net:465" }, []string{"smtp.host", "under port"}},
		{"an IPv6 host", func(c *email.Config) { c.SMTP.Host, c.SMTP.TLS = "::1", "none" }, nil},
		{"port", func(c *email.Config) { c.IMAP.Port = 99999 }, []string{"imap.port"}},
		{"tls", func(c *email.Config) { c.SMTP.TLS = "ssl" }, []string{`smtp.tls: "ssl" is none of tls, starttls, none`}},
		{"without tls far away", func(c *email.Config) { c.SMTP.TLS, c.IMAP.TLS = "none", "none" }, []string{"smtp.tls", "imap.tls", "password could be read"}},
		{"without tls here", func(c *email.Config) {
			c.SMTP.TLS, c.SMTP.Host, c.IMAP.TLS, c.IMAP.Host = "none", "localhost", "none", "127.0.0.1"
		}, nil},
		{"no password", func(c *email.Config) { c.SMTP.Password = "" }, []string{"smtp.password: is missing", "env:NAME or file:PATH"}},
		{"no user", func(c *email.Config) { c.SMTP.User = "" }, []string{"smtp.user: is missing"}},
		{"a folder twice", func(c *email.Config) { c.IMAP.DoneFolder = "INBOX" }, []string{"imap.done_folder"}},
		{"done without a mailbox", func(c *email.Config) { c.IMAP.Host, c.IMAP.DoneFolder = "", "Done" }, []string{"imap.host: is missing"}},
		{"receipts", func(c *email.Config) { c.Receipts = "some" }, []string{"receipts"}},
		{"pace", func(c *email.Config) { c.PerMinute = -1 }, []string{"per_minute"}},
		{"connections", func(c *email.Config) { c.SMTP.Connections = 99 }, []string{"smtp.connections"}},
		{"waits", func(c *email.Config) {
			c.IMAP.ReconnectMin, c.IMAP.ReconnectMax = adapters.Duration(time.Hour), adapters.Duration(time.Minute)
		}, []string{"imap.reconnect_max"}},
		{"size", func(c *email.Config) { c.IMAP.MaxBytes = 1 }, []string{"imap.max_bytes"}},
		{"too short a time", func(c *email.Config) { c.Response, c.IMAP.PollEvery = 1, 1 }, []string{"response", "imap.poll_every"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := kitchen()
			tt.change(&c)
			err := c.Validate()
			if len(tt.says) == 0 {
				require.NoError(t, err)
				return
			}
			for _, part := range tt.says {
				require.ErrorContains(t, err, part)
			}
		})
	}
}

func TestNew(t *testing.T) {
	t.Parallel()
	full := email.Deps{
		Now: time.Now, After: time.After, Rand: rand.New(rand.NewPCG(1, 2)),
		Getenv:   func(string) string { return "from the environment" },
		ReadFile: func(string) ([]byte, error) { return []byte("from a file\n"), nil },
	}
	_, err := email.New(kitchen(), full)
	require.NoError(t, err)

	c := kitchen()
	c.SMTP.Password = "file:/run/secrets/mail"
	_, err = email.New(c, full)
	require.NoError(t, err)

	_, err = email.New(kitchen(), email.Deps{})
	require.ErrorContains(t, err, "Now, After and Rand")

	unset := full
	unset.Getenv = func(string) string { return "" }
	_, err = email.New(kitchen(), unset)
	require.ErrorContains(t, err, "LARKFIELD_MAIL_PASSWORD is not set")

	unset.ReadFile = func(string) ([]byte, error) { return nil, errors.New("no such file") }
	_, err = email.New(c, unset)
	require.ErrorContains(t, err, "no such file")

	c = kitchen()
	c.TLSAuthority = "authority.pem"
	_, err = email.New(c, full)
	require.ErrorContains(t, err, "there is no certificate in the file")
}

func TestSecretsDoNotPrint(t *testing.T) {
	t.Parallel()
	c := kitchen()
	c.SMTP.Password = "steamed-buns"
	for _, s := range []string{fmt.Sprintf("%v %+v %#v %s", c, c, c, c.SMTP.Password), c.SMTP.Password.LogValue().String()} {
		require.NotContains(t, s, "steamed-buns")
		require.Contains(t, s, "(hidden)")
	}
}
