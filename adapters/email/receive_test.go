package email_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-imap/v2/imapserver/imapmemserver"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/email"
)

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	require.Eventually(t, ok, 20*time.Second, 2*time.Millisecond, what)
}

func offer(i int) adapters.Inbound {
	return adapters.Inbound{
		ID: fmt.Sprintf("in-%d", i), From: fmt.Sprintf("customer-%d@example.net", i),
		Text: fmt.Sprintf("I'm here, car %d", i), At: tonight,
	}
}

// count says how many e-mails in a folder have a flag; all of them for "".
func (p *post) count(folder string, flag imap.Flag) int {
	s := imapmemserver.NewUserSession(p.user)
	_, err := s.Select(folder, nil)
	require.NoError(p.t, err)
	defer func() { _ = s.Close() }()
	c := &imap.SearchCriteria{}
	if flag != "" {
		c.Flag = []imap.Flag{flag}
	}
	data, err := s.Search(imapserver.NumKindUID, c, &imap.SearchOptions{})
	require.NoError(p.t, err)
	return int(data.Count)
}

// The server tells of new e-mail: with looks an hour apart nothing else can bring
// it. Several are offered, since the server library forgets what comes while IDLE
// begins.
func TestIdleTells(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) { c.IMAP.LookEvery = adapters.Duration(time.Hour) })
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	p.Offer(offer(0))
	eventually(t, "the first look", func() bool { return p.Acknowledged("in-0") })
	n := 1
	eventually(t, "told of", func() bool {
		p.Offer(offer(n))
		n++
		return len(sink.Inbounds()) > 1
	})
}

func TestReadByTheCookIsNotMissed(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	p.putSeen(offer(1))
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	eventually(t, "it comes all the same", func() bool { return len(sink.Inbounds()) == 1 })
	eventually(t, "it is marked", func() bool { return p.count("INBOX", "passbell") == 1 })
}

func (p *post) putSeen(in adapters.Inbound) {
	raw := fmt.Sprintf("From: %s\r\nSubject: Re: x\r\nMessage-ID: <%s@customer.example>\r\n\r\n%s\r\n", in.From, in.ID, in.Text)
	_, err := p.user.Append("INBOX", literal{bytes.NewReader([]byte(raw))}, &imap.AppendOptions{Time: in.At, Flags: []imap.Flag{imap.FlagSeen}})
	require.NoError(p.t, err)
}

func TestOldMailIsLeftAlone(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	old := offer(1)
	old.At = tonight.Add(-4 * 24 * time.Hour)
	p.Offer(old)
	p.Offer(offer(2))
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	eventually(t, "tonight's", func() bool { return p.Acknowledged("in-2") })
	require.Len(t, sink.Inbounds(), 1)
	require.False(t, p.Acknowledged("in-1"))
}

func TestMovedOnceStored(t *testing.T) {
	t.Parallel()
	for name, caps := range map[string]imap.CapSet{
		"with MOVE":    {imap.CapIMAP4rev1: {}, imap.CapUIDPlus: {}, imap.CapMove: {}},
		"without MOVE": {imap.CapIMAP4rev1: {}, imap.CapUIDPlus: {}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a, p := quick(t, options{caps: caps}, func(c *email.Config) { c.IMAP.DoneFolder = "Done" })
			var mu sync.Mutex
			full := true
			sink := &adapterstest.Sink{OnInbound: func(adapters.Inbound) error {
				mu.Lock()
				defer mu.Unlock()
				if full {
					return errors.New("the disk is full")
				}
				return nil
			}}
			runs(t, a, sink)
			for i := range 3 {
				p.Offer(offer(i))
			}
			eventually(t, "tried several times", func() bool { return len(sink.Inbounds()) > 9 })
			require.Equal(t, 3, p.count("INBOX", ""))
			require.Equal(t, 0, p.count("INBOX", imap.FlagSeen), "fetching does not mark as read")
			mu.Lock()
			full = false
			mu.Unlock()
			eventually(t, "moved", func() bool { return p.count("INBOX", "") == 0 && p.count("Done", "") == 3 })
		})
	}
}

func TestMachinesArePassedOver(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	p.put("INBOX", []byte("From: zoe@example.net\r\nAuto-Submitted: auto-replied\r\nMessage-ID: <away@customer.example>\r\n\r\nI'm here until Monday\r\n"), tonight)
	p.put("INBOX", []byte("Subject: nobody\r\nMessage-ID: <nobody@customer.example>\r\n\r\nhere\r\n"), tonight)
	p.put("INBOX", []byte("From: mailer-daemon@mail.example\r\nMessage-ID: <b@customer.example>\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; x\r\n\r\nAction: failed\r\nStatus: 5.1.1\r\n--b--\r\n"), tonight)
	p.Offer(offer(1))
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	eventually(t, "all are marked", func() bool { return p.count("INBOX", imap.FlagSeen) == 4 })
	require.Len(t, sink.Inbounds(), 1)
	require.Empty(t, sink.Receipts(), "a bounce of somebody else's")
}

func TestReconnects(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	const n = 30
	for i := range n {
		p.Offer(offer(i))
		if i%10 == 5 {
			p.imap.breakAll()
		}
	}
	eventually(t, "all are acknowledged", func() bool {
		for i := range n {
			if !p.Acknowledged(fmt.Sprintf("in-%d", i)) {
				return false
			}
		}
		return true
	})
	ids := map[string]string{}
	for _, in := range sink.Inbounds() {
		if text, ok := ids[in.ID]; ok {
			require.Equal(t, text, in.Text)
		}
		ids[in.ID] = in.Text
	}
	require.Len(t, ids, n)
}

// A mailbox set up anew has a new UIDVALIDITY and may give old UIDs to other
// e-mails (RFC 3501 §2.3.1.1).
func TestNewMailboxUnderOldUIDs(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	p.Offer(offer(1))
	eventually(t, "the first", func() bool { return p.Acknowledged("in-1") })
	require.NoError(t, p.user.Delete("INBOX"))
	require.NoError(t, p.user.Create("INBOX", nil))
	p.Offer(offer(2))
	p.imap.breakAll()
	eventually(t, "the e-mail under the first one's UID", func() bool { return p.Acknowledged("in-2") })
	require.Len(t, sink.Inbounds(), 2)
}

func TestLargeMailIsReadInPart(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{}, func(c *email.Config) { c.IMAP.MaxBytes = 8 << 10 })
	p.put("INBOX", []byte("From: zoe@example.net\r\nSubject: Re: x\r\nMessage-ID: <big@customer.example>\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n"+
		"--b\r\n\r\nI'm here, see the picture\r\n--b\r\nContent-Type: image/jpeg\r\nContent-Transfer-Encoding: base64\r\n\r\n"+strings.Repeat("AAAA\r\n", 500_000)+"--b--\r\n"), tonight)
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	eventually(t, "it comes", func() bool { return len(sink.Inbounds()) == 1 })
	require.Equal(t, "I'm here, see the picture", sink.Inbounds()[0].Text)
}

func TestWhyTheMailboxCannotBeRead(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		change func(*email.Config)
		says   string
	}{
		"wrong password": {func(c *email.Config) { c.IMAP.User, c.IMAP.Password = user, "wrong-one" }, "does not accept the sign-in"},
		"no folder":      {func(c *email.Config) { c.IMAP.Folder = "Replies" }, "no folder"},
		"no TLS there":   {func(c *email.Config) { c.IMAP.TLS = "tls" }, "cannot be secured"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a, _ := quick(t, options{}, tt.change)
			found, err := a.Probe(context.Background())
			require.NoError(t, err)
			last := found[len(found)-1]
			require.False(t, last.OK)
			require.Contains(t, last.Note, tt.says)
			require.NotContains(t, last.Note, "wrong-one")
		})
	}
}

func TestProbe(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	p.Offer(offer(1))
	found, err := a.Probe(context.Background())
	require.NoError(t, err)
	require.Len(t, found, 4)
	for _, f := range found {
		require.True(t, f.OK, "%+v", f)
	}
	require.Contains(t, found[0].Note, "with TLS 1.3")
	require.Contains(t, found[2].Note, "1 e-mails")
	require.Empty(t, p.all(), "no e-mail goes out")
	require.Equal(t, 0, p.count("INBOX", imap.FlagSeen), "none is marked")

	p.Unreachable(true)
	found, err = a.Probe(context.Background())
	require.NoError(t, err)
	require.Len(t, found, 2)
	for _, f := range found {
		require.False(t, f.OK)
		require.NotEmpty(t, f.Note)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = a.Probe(ctx)
	require.ErrorIs(t, err, context.Canceled)
}

func TestWithoutAMailbox(t *testing.T) {
	t.Parallel()
	p := newPost(t, options{})
	cfg := config(p, options{})
	cfg.IMAP = email.IMAP{}
	a := adapter(t, cfg, deps(p, slog.New(slog.DiscardHandler)))
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Receive(ctx, &adapterstest.Sink{}) }()
	cancel()
	require.NoError(t, <-done)
	found, err := a.Probe(context.Background())
	require.NoError(t, err)
	require.False(t, found[len(found)-1].OK)
}

func TestReceiveOnlyOnce(t *testing.T) {
	t.Parallel()
	a, p := quick(t, options{})
	sink := &adapterstest.Sink{}
	runs(t, a, sink)
	p.Offer(offer(1))
	eventually(t, "it runs", func() bool { return len(sink.Inbounds()) > 0 })
	require.Error(t, a.Receive(context.Background(), sink))
}
