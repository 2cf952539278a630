package webapi_test

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/webapi"
)

func TestExamplesAreSound(t *testing.T) {
	t.Parallel()
	for _, file := range []string{"form-basic.toml", "json-bearer.toml", "json-signed.toml"} {
		require.NoError(t, describe(t, file, "").Validate(), file)
	}
}

func TestValidateNamesTheKey(t *testing.T) {
	t.Parallel()
	hook := func(v webapi.Verify) func(*webapi.Config) {
		return func(c *webapi.Config) {
			c.Hooks.Inbound = &webapi.Hook{Fields: webapi.Fields{ID: "id", From: "from", Text: "text"}, Verify: v}
		}
	}
	poll := func(change func(*webapi.Poll)) func(*webapi.Config) {
		return func(c *webapi.Config) {
			c.Poll.Receipts = &webapi.Poll{URL: "https://api.example.net/r", Fields: webapi.Fields{ID: "id", Status: "s"}}
			change(c.Poll.Receipts)
		}
	}
	tests := []struct {
		name   string
		change func(c *webapi.Config)
		want   string
	}{
		{name: "no address", change: func(c *webapi.Config) { c.Send.URL = "" }, want: "webapi: send.url: is missing"},
		{name: "no web address", change: func(c *webapi.Config) { c.Send.URL = "api.example.net/x" }, want: "send.url: is no web address"},
		{name: "in the open", change: func(c *webapi.Config) { c.Send.URL = "http://api.example.net/x" }, want: "send.url: must start with https://"},
		{name: "password in the address", change: func(c *webapi.Config) { c.Send.URL = "https://a:b@api.example.net/x" }, want: "send.url: must not hold a password"},
		{name: "placeholder in the host", change: func(c *webapi.Config) { c.Send.URL = "https://{to}.example.net/x" }, want: "send.url: a placeholder cannot stand in the host"},
		{name: "placeholder for the host's end", change: func(c *webapi.Config) { c.Send.URL = "https://example{to}/x" }, want: "send.url: a placeholder cannot stand in the host"},
		{name: "placeholder for the port", change: func(c *webapi.Config) { c.Send.URL = "https://example.net:1{to}/x" }, want: "send.url: a placeholder cannot stand in the host"},
		{name: "unknown placeholder", change: func(c *webapi.Config) { c.Send.Form["to"] = "{phone}" }, want: "send.form.to: {phone} is not known here; there are {to}, {to_digits}"},
		{name: "GET", change: func(c *webapi.Config) { c.Send.Method = "get" }, want: "send.method: must be POST, PUT or PATCH"},
		{name: "no body", change: func(c *webapi.Config) { c.Send.Body = "xml" }, want: "send.body: must be"},
		{name: "empty form", change: func(c *webapi.Config) { c.Send.Form = nil }, want: "send.form: is empty"},
		{name: "JSON unquoted", change: func(c *webapi.Config) { c.Send.Body, c.Send.JSON = "json", `{"to": {to}}` }, want: "send.json: is not JSON; a placeholder stands between quotes"},
		{name: "header", change: func(c *webapi.Config) { c.Send.Headers = map[string]string{"X Y": "z"} }, want: `send.headers: "X Y" is no HTTP header`},
		{name: "auth kind", change: func(c *webapi.Config) { c.Auth.Kind = "magic" }, want: `auth.kind: "magic" is not known`},
		{name: "no secret", change: func(c *webapi.Config) { c.Auth.Kind = "bearer" }, want: "auth.secret: is missing"},
		{name: "auth header", change: func(c *webapi.Config) { c.Auth = webapi.Auth{Kind: "header", Secret: "x"} }, want: "auth.header: must be the name"},
		{name: "senders", change: func(c *webapi.Config) { c.Senders = map[string]string{"GB": "x"} }, want: `senders: "GB" is no calling prefix`},
		{name: "path", change: func(c *webapi.Config) { c.Send.Answer.ID = "a..b" }, want: "send.answer.id: "},
		{name: "path index", change: func(c *webapi.Config) { c.Send.Answer.ID = "a[x]" }, want: "send.answer.id: "},
		{name: "pattern", change: func(c *webapi.Config) { c.Send.Answer.Pattern = "OK" }, want: "send.answer.pattern: must be"},
		{name: "verdict", change: func(c *webapi.Config) { c.Send.Answer.Codes = map[string]string{"9": "maybe"} }, want: `send.answer.codes.9: "maybe" is not known`},
		{name: "status", change: func(c *webapi.Config) { c.Send.Answer.HTTP = map[string]string{"900": "permanent"} }, want: `send.answer.http: "900" is no HTTP status`},
		{name: "ok field alone", change: func(c *webapi.Config) { c.Send.Answer.OKField = "s" }, want: "send.answer.ok_field: "},
		{name: "lookup", change: func(c *webapi.Config) { c.Lookup = &webapi.Lookup{URL: "https://api.example.net/{to}"} }, want: "lookup: field says"},
		{name: "check", change: func(c *webapi.Config) { c.Check = &webapi.Check{URL: "https://api.example.net/{to}"} }, want: "check.url: {to} is not known"},

		{name: "hook unverified", change: hook(webapi.Verify{}), want: "hooks.inbound.verify.kind: is missing: anybody could report arrivals"},
		{name: "hook kind", change: hook(webapi.Verify{Kind: "md5", Secret: "x"}), want: "hooks.inbound.verify.kind: \"md5\""},
		{name: "hook secret", change: hook(webapi.Verify{Kind: "standard"}), want: "hooks.inbound.verify.secret: is missing"},
		{name: "hook secret not base64", change: hook(webapi.Verify{Kind: "standard", Secret: "whsec_!"}), want: "hooks.inbound.verify.secret: is no Standard Webhooks secret"},
		{name: "hmac header", change: hook(webapi.Verify{Kind: "hmac", Secret: "x"}), want: "hooks.inbound.verify.header: is missing"},
		{name: "hmac algorithm", change: hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S", Algorithm: "md5"}), want: "verify.algorithm: \"md5\""},
		{name: "hmac encoding", change: hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S", Encoding: "rot13"}), want: "verify.encoding: \"rot13\""},
		{name: "hmac without the body", change: hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S", Signed: "{url}", PublicURL: "https://k.example"}), want: "verify.signed: must hold {body}"},
		{name: "hmac time not signed", change: hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S", TimestampHeader: "T"}), want: "verify.timestamp_header: and {timestamp} in signed belong together"},
		{name: "hmac id", change: hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S", Signed: "{id}{body}"}), want: "verify.id_header: is missing"},
		{name: "hmac url", change: hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S", Signed: "{url}{body}"}), want: "verify.public_url: is missing"},
		{name: "token where", change: hook(webapi.Verify{Kind: "token", Secret: "x"}), want: "verify.header: name the header"},
		{name: "basic user", change: hook(webapi.Verify{Kind: "basic", Secret: "x"}), want: "verify.user: is missing"},
		{
			name: "GET cannot be signed", want: "hooks.inbound.method: a GET has no body",
			change: func(c *webapi.Config) {
				hook(webapi.Verify{Kind: "hmac", Secret: "x", Header: "S"})(c)
				c.Hooks.Inbound.Method = "GET"
			},
		},
		{
			name: "inbound fields", want: "hooks.inbound.from: is missing",
			change: func(c *webapi.Config) { c.Hooks.Inbound = &webapi.Hook{Verify: webapi.Verify{Kind: "none"}} },
		},
		{
			name: "receipt fields", want: "hooks.receipts.status: is missing",
			change: func(c *webapi.Config) { c.Hooks.Receipts = &webapi.Hook{Verify: webapi.Verify{Kind: "none"}} },
		},
		{
			name: "list in a form", want: "hooks.inbound.each: is for JSON",
			change: func(c *webapi.Config) {
				hook(webapi.Verify{Kind: "none"})(c)
				c.Hooks.Inbound.Format, c.Hooks.Inbound.Each = "form", "x[]"
			},
		},
		{name: "poll statuses", change: poll(func(p *webapi.Poll) { p.Statuses = map[string]string{"X": "gone"} }), want: `poll.receipts.statuses: "gone" is not known`},
		{name: "poll too often", change: poll(func(p *webapi.Poll) { p.Every = 5 }), want: "poll.receipts.every: must be 1s or more"},
		{name: "poll next", change: poll(func(p *webapi.Poll) { p.Next.Kind = "scroll" }), want: `poll.receipts.next.kind: "scroll"`},
		{name: "poll link", change: poll(func(p *webapi.Poll) { p.Next.Kind = "link" }), want: "poll.receipts.next.path: is missing"},
		{name: "poll token", change: poll(func(p *webapi.Poll) { p.Next = webapi.Next{Kind: "token", Path: "n"} }), want: "poll.receipts.url: must hold {cursor}"},
		{name: "poll page", change: poll(func(p *webapi.Poll) { p.Next.Kind = "page" }), want: "poll.receipts.url: must hold {page}"},
		{name: "poll done", change: poll(func(p *webapi.Poll) { p.Done = &webapi.Done{Method: "GET", URL: "https://api.example.net/{id}"} }), want: "poll.receipts.done.method: must be"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cfg := sendable()
			tt.change(&cfg)
			require.ErrorContains(t, cfg.Validate(), tt.want)
			_, err := webapi.New(cfg, deps(t, nil))
			require.ErrorContains(t, err, tt.want)
		})
	}
	t.Run("all faults at once", func(t *testing.T) {
		t.Parallel()
		err := webapi.Config{Name: "x", Auth: webapi.Auth{Kind: "basic"}}.Validate()
		for _, want := range []string{"x: auth.user: ", "x: auth.secret: ", "x: send.url: ", "x: send.body: "} {
			require.ErrorContains(t, err, want)
		}
	})
}

// Nothing but a description is needed.
func TestNoDeps(t *testing.T) {
	t.Parallel()
	p := newProvider(t, forms())
	cfg := describe(t, p.d.file, p.url())
	cfg.Hooks = webapi.Hooks{}
	cfg.Auth.User, cfg.Auth.Secret = adapters.Secret(environment["SMS_USER"]), adapters.Secret(environment["SMS_PASSWORD"])
	a, err := webapi.New(cfg, webapi.Deps{})
	require.NoError(t, err)
	_, err = a.Send(t.Context(), instructions)
	require.NoError(t, err)
	findings, err := a.Probe(t.Context())
	require.NoError(t, err)
	require.Len(t, findings, 1)
}

func TestSecretsAreFoundAndDoNotPrint(t *testing.T) {
	t.Parallel()
	cfg := sendable()
	build := func(s adapters.Secret) error {
		c := cfg
		c.Auth = webapi.Auth{Kind: "bearer", Secret: s}
		d := deps(t, nil)
		d.ReadFile = func(name string) ([]byte, error) {
			switch name {
			case "/run/sms":
				return []byte("from-a-file\n"), nil
			case "/run/empty":
				return []byte("\n"), nil
			}
			return nil, errors.New("no such file")
		}
		_, err := webapi.New(c, d)
		return err
	}
	require.NoError(t, build("env:SMS_TOKEN"))
	require.NoError(t, build("file:/run/sms"))
	require.NoError(t, build("as it is"))
	require.ErrorContains(t, build("env:NOT_SET"), "auth.secret: the environment variable NOT_SET is not set")
	require.ErrorContains(t, build("file:/run/none"), "auth.secret: the file with the secret cannot be read")
	require.ErrorContains(t, build("file:/run/empty"), "auth.secret: the file with the secret is empty")
	require.ErrorContains(t, build("two\nlines"), "auth.secret: the secret must be one line")

	cfg.Auth = webapi.Auth{Kind: "basic", User: "larkfield", Secret: "steam&bun"}
	var log bytes.Buffer
	slog.New(slog.NewJSONHandler(&log, nil)).Info("x", "secret", cfg.Auth.Secret)
	for _, s := range []string{fmt.Sprint(cfg), fmt.Sprintf("%+v", cfg), fmt.Sprintf("%#v", cfg), log.String()} {
		require.NotContains(t, s, "steam&bun")
		require.NotContains(t, s, "larkfield")
	}
}

func TestDurationsInWords(t *testing.T) {
	t.Parallel()
	var d adapters.Duration
	require.NoError(t, d.UnmarshalText([]byte("1m30s")))
	text, err := d.MarshalText()
	require.NoError(t, err)
	require.Equal(t, "1m30s", string(text))
	require.ErrorContains(t, d.UnmarshalText([]byte("90")), `"90" is no length of time`)
	require.ErrorContains(t, d.UnmarshalText([]byte("-1s")), "less than nothing")
}
