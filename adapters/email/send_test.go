package email_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/textproto"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	smtpserver "github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/email"
)

func message(i int) adapters.Message {
	return adapters.Message{Key: fmt.Sprintf("m%d-1", i), To: fmt.Sprintf("customer-%d@example.net", i), Text: "K401 is ready at 17:10"}
}

// quick is an adapter with its far side, changed as told.
func quick(t *testing.T, o options, change ...func(*email.Config)) (*email.Adapter, *post) {
	t.Helper()
	p := newPost(t, o)
	cfg := config(p, o)
	for _, c := range change {
		c(&cfg)
	}
	return adapter(t, cfg, deps(p, nil)), p
}

func sent(t *testing.T, a *email.Adapter, m adapters.Message) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	acc, err := a.Send(ctx, m)
	require.NoError(t, err)
	require.Len(t, acc.IDs, 1)
	return acc.IDs[0]
}

func refused(t *testing.T, a *email.Adapter, m adapters.Message) *adapters.SendError {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	_, err := a.Send(ctx, m)
	var se *adapters.SendError
	require.ErrorAs(t, err, &se)
	return se
}

// The header fields are those of RFC 5322 and RFC 2045; they are read by the
// standard library.
func TestSentMail(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) { c.ReplyTo = "replies@larkfield.example" })
	m := message(1)
	m.Subject = "Zoë, your\r\nBcc: somebody@example.net order"
	m.Text = "2 < 3 & \"slaw\" <script>\nZoë\n.\nend"
	id := sent(t, a, m)

	got := p.all()[0]
	require.Equal(t, user, got.from)
	require.Equal(t, m.To, got.to)
	require.Equal(t, "<"+id+">", got.head.Get("Message-Id"))
	from, err := got.head.AddressList("From")
	require.NoError(t, err)
	require.Equal(t, "Larkfield Dumpling Kitchen", from[0].Name)
	require.Equal(t, user, from[0].Address)
	reply, err := got.head.AddressList("Reply-To")
	require.NoError(t, err)
	require.Equal(t, "replies@larkfield.example", reply[0].Address)
	to, err := got.head.AddressList("To")
	require.NoError(t, err)
	require.Len(t, to, 1)
	date, err := got.head.Date()
	require.NoError(t, err)
	require.True(t, date.Equal(tonight), "the clock that was handed in")
	subject := got.head.Get("Subject")
	require.Contains(t, subject, "=?UTF-8?q?Zo=C3=AB")
	for _, name := range []string{"Bcc", "User-Agent", "X-Mailer", "Auto-Submitted"} {
		require.Empty(t, got.head.Get(name), name)
	}
	require.Equal(t, m.Text, got.plain)
	require.Contains(t, got.web, "2 &lt; 3 &amp; &#34;slaw&#34; &lt;script&gt;<br>\nZoë<br>\n.<br>\nend")

	// RFC 3461, as the server read it.
	require.Equal(t, id, got.mail.EnvelopeID)
	require.Equal(t, smtpserver.DSNReturnHeaders, got.mail.Return)
	require.Equal(t, []smtpserver.DSNNotify{"SUCCESS", "FAILURE", "DELAY"}, got.rcpt.Notify)
}

func TestParametersThatAreMisread(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{misreads: true})
	m := message(1)
	m.ValidUntil = tonight.Add(time.Hour)
	sent(t, a, m)
	require.Len(t, p.all(), 1)
}

// RFC 2852 §4: BY is a parameter of MAIL, in seconds, with R for "return".
func TestTimeLimitIsHandedOn(t *testing.T) {
	t.Parallel()
	lines := make(chan string, 20)
	port := silent(t, map[string]string{"EHLO": "250-mail.example\r\n250-DSN\r\n250 DELIVERBY 240", "DATA": "354 go"}, "250 taken", lines)
	a, err := email.New(email.Config{From: user, SMTP: email.SMTP{Host: "127.0.0.1", Port: port, TLS: "none"}}, deps(nil, nil))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	for _, left := range []time.Duration{2 * time.Hour, 3 * time.Minute} {
		m := message(1)
		m.ValidUntil = tonight.Add(left)
		sent(t, a, m)
	}
	var mails []string
	for len(lines) > 0 {
		if line := <-lines; strings.HasPrefix(line, "MAIL") || strings.HasPrefix(line, "RCPT") {
			mails = append(mails, line)
		}
	}
	require.Len(t, mails, 4)
	require.Regexp(t, `^MAIL FROM:<orders@larkfield\.example> ENVID=passbell\.m1-1\.[0-9a-f]{16}@larkfield\.example BY=7200;R RET=HDRS$`, mails[0])
	require.Equal(t, "RCPT TO:<customer-1@example.net> NOTIFY=FAILURE,DELAY", mails[1], "no mailbox: failures only")
	require.NotContains(t, mails[2], "BY=", "less than the server's least")
}

func TestMessageIDIsThatOfTheKey(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{noDSN: true})
	first := sent(t, a, message(1))
	again := sent(t, a, message(1))
	require.Equal(t, first, again)
	other := message(1)
	other.Key = "m1-2"
	require.NotEqual(t, first, sent(t, a, other))
	elsewhere := message(1)
	elsewhere.To = "zoe@example.net"
	require.NotEqual(t, first, sent(t, a, elsewhere), "keys begin again with a new database")
	odd := message(1)
	odd.Key = "m1 \r\n>" + strings.Repeat("x", 300)
	require.Regexp(t, `^passbell\.m1_x+\.[0-9a-f]{16}@larkfield\.example$`, sent(t, a, odd))
	require.Empty(t, p.all()[0].mail.EnvelopeID, "no DSN, no parameters")
	require.Empty(t, p.all()[0].rcpt.Notify)
}

func TestSenders(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	for _, tt := range []struct{ from, name, address string }{
		{"", "Larkfield Dumpling Kitchen", user},
		{"Larkfield", "Larkfield", user},
		{"night@larkfield.example", "Larkfield Dumpling Kitchen", "night@larkfield.example"},
		{"Night desk <night@larkfield.example>", "Night desk", "night@larkfield.example"},
	} {
		m := message(1)
		m.From = tt.from
		sent(t, a, m)
		got := p.all()[len(p.all())-1]
		from, err := got.head.AddressList("From")
		require.NoError(t, err)
		require.Equal(t, tt.name, from[0].Name)
		require.Equal(t, tt.address, from[0].Address)
		require.Equal(t, tt.address, got.from)
	}
	m := message(1)
	m.From = "Larkfield\r\nBcc: x@example.net"
	se := refused(t, a, m)
	require.Equal(t, adapters.Permanent, se.Outcome)
	require.True(t, se.Account)
}

func TestAddressesThatAreRefused(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	for name, to := range map[string]string{
		"empty": "", "no domain": "zoe", "no name": "@example.net", "two": "a@example.net,b@example.net", "a name too": "Zoe <zoe@example.net>",
		"header injection": "zoe@example.net\r\nBcc: b@example.net", "line feed": "zoe@example.net\nx", "command injection": "zoe@example.net>\r\nRCPT TO:<b@example.net",
		"space": "zo e@example.net", "brackets": "<zoe@example.net>", "quoted": "\"zoe marsh\"@example.net", "number": "zoe@[192.0.2.1]",
		"long": strings.Repeat("z", 65) + "@example.net", "NUL": "zoe\x00@example.net", "separator": "zoe\u2028@example.net", "phone": "+447700900123",
	} {
		m := message(1)
		m.To = to
		se := refused(t, a, m)
		require.Equal(t, adapters.Permanent, se.Outcome, name)
		require.False(t, se.Account, name)
	}
	m := message(1)
	m.To = "zoë@example.net"
	se := refused(t, a, m)
	require.Equal(t, adapters.Permanent, se.Outcome, "this server takes plain letters only: %v", se)
	require.Empty(t, p.all())
}

// What a code means: RFC 5321 §4.2 and RFC 4954 §6; what is throttling is common
// practice, no source.
func TestOutcomes(t *testing.T) {
	t.Parallel()
	code := func(code int, enhanced [3]int, words string) *smtpserver.SMTPError {
		return &smtpserver.SMTPError{Code: code, EnhancedCode: enhanced, Message: words}
	}
	for _, tt := range []struct {
		name, stage string
		err         *smtpserver.SMTPError
		outcome     adapters.Outcome
		account     bool
		says        string
	}{
		{"wrong password", "auth", code(535, [3]int{5, 7, 8}, "bad"), adapters.Temporary, true, "does not accept the sign-in"},
		{"password for programs wanted", "auth", code(534, [3]int{5, 7, 9}, "bad"), adapters.Temporary, true, "password for programs"},
		{"sign-in out of order", "auth", code(454, [3]int{4, 7, 0}, "later"), adapters.Temporary, true, "sign-in"},
		{"sign-in wanted", "mail", code(530, [3]int{5, 7, 0}, "sign in"), adapters.Temporary, true, "sign-in"},
		{"sender refused", "mail", code(553, [3]int{5, 7, 1}, "not yours"), adapters.Permanent, true, "check from"},
		{"daily limit", "mail", code(550, [3]int{5, 4, 5}, "daily quota"), adapters.Temporary, true, "reached its limit"},
		{"closing down", "mail", code(421, [3]int{4, 3, 2}, "shutting down"), adapters.Temporary, false, "for now"},
		{"too many at once", "mail", code(421, [3]int{4, 7, 0}, "too many messages, slow down"), adapters.Throttled, false, "too fast"},
		{"no such mailbox", "rcpt", code(550, [3]int{5, 1, 1}, "unknown"), adapters.Permanent, false, "there is no such mailbox"},
		{"mailbox full for good", "rcpt", code(552, [3]int{5, 2, 2}, "no room"), adapters.Permanent, false, "the mailbox is full"},
		{"mailbox full for now", "rcpt", code(452, [3]int{4, 2, 2}, "over quota limit"), adapters.Temporary, false, "for now"},
		{"greylisted", "rcpt", code(450, [3]int{4, 7, 1}, "greylisted, try again later"), adapters.Temporary, false, "for now"},
		{"congestion", "rcpt", code(451, [3]int{4, 4, 5}, "busy"), adapters.Throttled, false, "too fast"},
		{"rate", "rcpt", code(450, [3]int{4, 2, 1}, "receiving mail at a rate that"), adapters.Throttled, false, "too fast"},
		{"too many recipients", "rcpt", code(452, [3]int{4, 5, 3}, "later"), adapters.Throttled, false, "too fast"},
		{"local fault", "data", code(451, [3]int{4, 3, 0}, "disk"), adapters.Temporary, false, "fault of its own"},
		{"taken for unwanted", "data", code(554, [3]int{5, 7, 1}, "spam"), adapters.Permanent, false, "does not want it"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := newPost(t, options{})
			var later atomic.Int64
			d := deps(p, nil)
			d.Now = func() time.Time { return tonight.Add(time.Duration(later.Load())) }
			a := adapter(t, config(p, options{}), d)
			p.mu.Lock()
			p.refuse[tt.stage] = tt.err
			p.mu.Unlock()
			se := refused(t, a, message(1))
			require.Equal(t, tt.outcome, se.Outcome, "%v", se)
			require.Equal(t, tt.account, se.Account, "%v", se)
			require.Contains(t, se.Reason, tt.says)
			require.Contains(t, se.Reason, fmt.Sprint(tt.err.Code), "whoever asks the provider needs the code")
			require.NotContains(t, se.Reason, tt.err.Message)

			p.mu.Lock()
			delete(p.refuse, tt.stage)
			p.mu.Unlock()
			later.Store(int64(time.Minute))
			sent(t, a, message(2)) // one refusal does not hold up the next
		})
	}
}

func TestRefusedSignInIsNotRepeated(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) {
		c.SMTP.Password = "wrong"
		c.SMTP.SignInPause = adapters.Duration(time.Hour)
	})
	for range 5 {
		se := refused(t, a, message(1))
		require.Equal(t, adapters.Temporary, se.Outcome)
		require.True(t, se.Account)
	}
	require.Equal(t, 1, p.smtp.accepted(), "servers lock accounts that try too often")
}

func TestUnreachable(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	port := l.Addr().(*net.TCPAddr).Port
	require.NoError(t, l.Close())
	a, _ := quick(t, options{}, func(c *email.Config) { c.SMTP.Port = port })
	se := refused(t, a, message(1))
	require.Equal(t, adapters.Temporary, se.Outcome)
	require.True(t, se.Account)
	require.Contains(t, se.Reason, "cannot be reached")
}

func TestInsecureIsRefused(t *testing.T) {
	t.Parallel()
	t.Run("no STARTTLS", func(t *testing.T) {
		t.Parallel()
		a, p := quick(t, options{plainTCP: true}, func(c *email.Config) { c.SMTP.TLS = "starttls" })
		se := refused(t, a, message(1))
		require.Equal(t, adapters.Temporary, se.Outcome)
		require.True(t, se.Account)
		require.Contains(t, se.Reason, "port 465")
		require.Empty(t, p.all())
	})
	for name, o := range map[string]options{"starttls": {}, "tls": {implicit: true}} {
		t.Run("a certificate that nobody vouches for, "+name, func(t *testing.T) {
			t.Parallel()
			p := newPost(t, o)
			d := deps(p, nil)
			_, other := certificate(t)
			d.ReadFile = func(string) ([]byte, error) { return other, nil }
			a := adapter(t, config(p, o), d)
			se := refused(t, a, message(1))
			require.Equal(t, adapters.Temporary, se.Outcome)
			require.True(t, se.Account)
			require.Contains(t, se.Reason, "cannot be secured")
			require.Empty(t, p.all())
		})
	}
}

func TestConnectionsAreKept(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) { c.SMTP.Idle = adapters.Duration(time.Hour) })
	for i := range 10 {
		sent(t, a, message(i))
	}
	require.Equal(t, 1, p.smtp.accepted(), "one sign-in for ten e-mails")
	// The server hangs up on what is idle: the next e-mail takes a fresh one and
	// nothing is in doubt.
	for range 3 {
		p.smtp.breakAll()
		sent(t, a, message(11))
	}
	require.Len(t, p.all(), 13)
}

func TestIdleConnectionsAreGivenUp(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) { c.SMTP.Idle = adapters.Duration(time.Millisecond) })
	sent(t, a, message(1))
	require.Eventually(t, func() bool {
		sent(t, a, message(2))
		return p.smtp.accepted() > 1
	}, 20*time.Second, 5*time.Millisecond)
}

func TestClosed(t *testing.T) {
	t.Parallel()
	a, _ := quick(t, options{})
	sent(t, a, message(1))
	require.NoError(t, a.Close())
	require.NoError(t, a.Close(), "closing twice is safe")
	se := refused(t, a, message(2))
	require.Equal(t, adapters.Temporary, se.Outcome)
}

func TestTooLateIsNotSent(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	m := message(1)
	m.ValidUntil = tonight
	se := refused(t, a, m)
	require.Equal(t, adapters.Permanent, se.Outcome)
	require.Empty(t, p.all())
}

// silent is a server of a few fixed answers, for what the server library cannot
// be made to do. It answers each line by its first word.
func silent(t *testing.T, answers map[string]string, afterDot string, seen chan<- string) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	done := make(chan struct{})
	t.Cleanup(func() { _ = l.Close(); <-done })
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			serve(textproto.NewConn(conn), answers, afterDot, seen)
			_ = conn.Close()
		}
	}()
	return l.Addr().(*net.TCPAddr).Port
}

func serve(c *textproto.Conn, answers map[string]string, afterDot string, seen chan<- string) {
	_ = c.PrintfLine("220 mail.example")
	for {
		line, err := c.ReadLine()
		if err != nil {
			return
		}
		if seen != nil {
			seen <- line
		}
		word, _, _ := strings.Cut(line, " ")
		answer, ok := answers[word]
		if !ok {
			answer = "250 fine"
		}
		if answer == "" {
			return
		}
		_ = c.PrintfLine("%s", answer)
		if word == "DATA" && strings.HasPrefix(answer, "354") {
			_, _ = io.Copy(io.Discard, c.DotReader())
			if afterDot == "" {
				return
			}
			_ = c.PrintfLine("%s", afterDot)
		}
	}
}

func TestFateAtEachStage(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name     string
		answers  map[string]string
		afterDot string
		outcome  adapters.Outcome
	}{
		{"hangs up at the greeting", map[string]string{"EHLO": "", "HELO": ""}, "", adapters.Temporary},
		{"hangs up at MAIL", map[string]string{"MAIL": ""}, "", adapters.Temporary},
		{"hangs up at RCPT", map[string]string{"RCPT": ""}, "", adapters.Temporary},
		{"hangs up at DATA", map[string]string{"DATA": ""}, "", adapters.Temporary},
		{"hangs up after the dot", map[string]string{"DATA": "354 go"}, "", adapters.Unknown},
		{"a strange answer after the dot", map[string]string{"DATA": "354 go"}, "299 hm", adapters.Unknown},
		{"no SMTP after the dot", map[string]string{"DATA": "354 go"}, "hello", adapters.Unknown},
		{"refused after the dot", map[string]string{"DATA": "354 go"}, "554 no", adapters.Permanent},
		{"refused for now after the dot", map[string]string{"DATA": "354 go"}, "451 no", adapters.Temporary},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			port := silent(t, tt.answers, tt.afterDot, nil)
			a, err := email.New(email.Config{From: user, SMTP: email.SMTP{Host: "127.0.0.1", Port: port, TLS: "none"}},
				deps(nil, slog.New(slog.DiscardHandler)))
			require.NoError(t, err)
			t.Cleanup(func() { require.NoError(t, a.Close()) })
			m := message(1)
			m.Text = strings.Repeat("a long text goes out in several writes\n", 2000)
			require.Equal(t, tt.outcome, refused(t, a, m).Outcome)
		})
	}
}

func TestResponseTime(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) { c.Response = adapters.Duration(300 * time.Millisecond) })
	sent(t, a, message(1))
	p.Next(adapterstest.Silent)
	se := refused(t, a, message(2))
	require.Equal(t, adapters.Unknown, se.Outcome)
	require.Contains(t, se.Reason, "in time")
	require.Len(t, p.all(), 2)
	require.NotErrorIs(t, se, context.Canceled)
}

func TestPace(t *testing.T) {
	t.Parallel()
	p := newPost(t, options{})
	cfg := config(p, options{})
	cfg.PerMinute = 30
	d := deps(p, nil)
	waits := make(chan time.Duration, 10)
	d.After = func(w time.Duration) <-chan time.Time {
		waits <- w
		return time.After(time.Millisecond)
	}
	a := adapter(t, cfg, d)
	for i := range 3 {
		sent(t, a, message(i))
	}
	close2 := map[time.Duration]bool{}
	for len(waits) > 0 {
		close2[<-waits] = true
	}
	require.True(t, close2[2*time.Second] && close2[4*time.Second], "30 a minute is one every 2 s: %v", close2)
}
