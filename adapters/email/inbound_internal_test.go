package email

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

func read(t testing.TB, mail string) (entity, letter) {
	t.Helper()
	l := letter{uid: 7, validity: 3, at: time.Date(2026, 3, 13, 17, 5, 0, 0, time.UTC), raw: crlf(mail)}
	return readEntity(l.raw), l
}

// The encodings are those of RFC 2045, 2046, 2047 and 3676; the bytes were
// written by hand from the tables there (from memory).
func TestInboundText(t *testing.T) {
	t.Parallel()
	const re = "From: zoe@example.net\nSubject: Re: Your order\nMIME-Version: 1.0\n"
	tests := []struct{ name, mail, want string }{
		{name: "no MIME at all", mail: "From: zoe@example.net\nSubject: Re: Your order\n\nI'm here\n", want: "I'm here"},
		{name: "quoted-printable in UTF-8", mail: re + "Content-Type: text/plain; charset=utf-8\nContent-Transfer-Encoding: quoted-printable\n\nZo=C3=AB is he=\nre, =E2=82=AC5\n", want: "Zoë is here, €5"},
		{name: "base64", mail: re + "Content-Type: text/plain; charset=UTF-8\nContent-Transfer-Encoding: BASE64\n\nSSdtIGhlcmUsIGdy\nZXkgZ29sZg==\n", want: "I'm here, grey golf"},
		{name: "Latin-1", mail: re + "Content-Type: text/plain; charset=iso-8859-1\nContent-Transfer-Encoding: quoted-printable\n\nZo=EB\n", want: "Zoë"},
		{name: "windows-1252", mail: re + "Content-Type: text/plain; charset=\"Windows-1252\"\nContent-Transfer-Encoding: quoted-printable\n\nI=92m here, =805\n", want: "I’m here, €5"},
		{name: "Latin-9", mail: re + "Content-Type: text/plain; charset=ISO-8859-15\nContent-Transfer-Encoding: quoted-printable\n\n=A4 5\n", want: "€ 5"},
		{name: "a charset nobody knows", mail: re + "Content-Type: text/plain; charset=x-kitchen\n\nI'm here\n", want: "I'm here"},
		{name: "bytes without a charset", mail: re + "Content-Type: text/plain\nContent-Transfer-Encoding: quoted-printable\n\nZo=EB\n", want: "Zoë"},
		{name: "broken quoted-printable", mail: re + "Content-Type: text/plain\nContent-Transfer-Encoding: quoted-printable\n\n1+1=2 =zz golf=", want: "1+1=2 =zz golf"},
		{name: "flowed", mail: re + "Content-Type: text/plain; format=flowed\n\ngrey \ngolf\n> which \n> car\n", want: "grey golf"},
		{
			name: "the plain one of two",
			mail: re + "Content-Type: multipart/alternative; boundary=b\n\n--b\nContent-Type: text/plain\n\nplain\n--b\nContent-Type: text/html\n\n<p>web</p>\n--b--\n", want: "plain",
		},
		{
			name: "an empty plain one",
			mail: re + "Content-Type: multipart/alternative; boundary=b\n\n--b\nContent-Type: text/plain\n\n \n--b\nContent-Type: text/html\n\n<p>web</p>\n--b--\n", want: "web",
		},
		{
			name: "HTML alone, with the answered e-mail in it",
			mail: re + "Content-Type: text/html; charset=utf-8\n\n<div>I'm here</div><div>On 13/03/2026 16:30, Larkfield wrote:<br></div><blockquote><p>Reply HERE</p></blockquote>\n", want: "I'm here",
		},
		{
			name: "attachments are not read",
			mail: re + "Content-Type: multipart/mixed; boundary=\"b c\"\n\npreamble\n--b c\nContent-Type: multipart/alternative; boundary=d\n\n--d\n\nI'm here\n--d--\n\n" +
				"--b c\nContent-Type: text/plain; name=a.txt\nContent-Disposition: attachment; filename=a.txt\n\nnot this\n--b c\nContent-Type: image/png\n\nXX\n--b c--\nepilogue\n", want: "I'm here",
		},
		{
			name: "round a picture",
			mail: re + "Content-Type: multipart/mixed; boundary=b\n\n--b\n\nI'm here\n--b\nContent-Type: image/png\nContent-Disposition: inline\n\nXX\n--b\n\ngrey golf\n--b--\n", want: "I'm here\n\ngrey golf",
		},
		{name: "cut off in the middle", mail: re + "Content-Type: multipart/mixed; boundary=b\n\n--b\n\nI'm here\n--b\nContent-Type: image/png\nContent-Transfer-Encoding: base64\n\nAAAA", want: "I'm here"},
		{name: "a boundary that never comes", mail: re + "Content-Type: multipart/mixed; boundary=b\n\nI'm here\n", want: mailText},
		{name: "a picture alone", mail: re + "Content-Type: image/png\nContent-Transfer-Encoding: base64\n\nAAAA\n", want: mailText},
		{name: "all in the subject", mail: "From: zoe@example.net\nSubject: =?utf-8?Q?I'm_here=2C_Zo=C3=AB?=\n\n\nSent from my phone\n", want: "I'm here, Zoë"},
		{name: "the subject of a new e-mail belongs to it", mail: "From: zoe@example.net\nSubject: K401 here\n\ngrey golf\n", want: "K401 here\ngrey golf"},
		{name: "the subject once", mail: "From: zoe@example.net\nSubject: here\n\nHere, grey golf\n", want: "Here, grey golf"},
		{name: "the subject of an answer does not", mail: "From: zoe@example.net\nSubject: AW: Your order\n\nBin da\n", want: "Bin da"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			e, l := read(t, tt.mail)
			require.Equal(t, tt.want, l.inbound(&e).Text)
		})
	}
}

func TestInboundEnvelope(t *testing.T) {
	t.Parallel()
	e, l := read(t, "from: =?utf-8?Q?Zo=C3=AB?= Marsh <Zoe.Marsh@Example.NET>\nTo: someone@example.net, Kitchen <Orders@larkfield.example>\n"+
		"Message-Id: <abc@example.net>\nSubject: Re: x\n\nhere\n")
	in := l.inbound(&e, "orders@larkfield.example")
	require.Equal(t, "Zoe.Marsh@example.net", in.From)
	require.Equal(t, "Orders@larkfield.example", in.To)
	require.Equal(t, "abc@example.net", in.ID)
	require.Equal(t, l.at, in.At)

	e, l = read(t, "From: broken, \"zoe@example.net\nDate: Fri, 13 Mar 2026 17:05:00 +0000\nSubject: Re: x\n\nhere\n")
	in = l.inbound(&e)
	require.Equal(t, "zoe@example.net", in.From, "a broken From is searched for an address")
	again := letter{uid: 99, validity: 4}
	require.Equal(t, in.ID, again.inbound(&e).ID, "without a Message-ID the content makes the id")
	other, _ := read(t, "From: zoe@example.net\nDate: Fri, 13 Mar 2026 17:06:00 +0000\nSubject: Re: x\n\nhere\n")
	require.NotEqual(t, in.ID, again.inbound(&other).ID)

	e, l = read(t, "From: zoe@example.net\n\nhere\n")
	require.Equal(t, "uid-3-7", l.inbound(&e).ID, "without a date only the UID is left")
}

func TestMachine(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, head string
		passed     bool
	}{
		{name: "a person", head: "From: zoe@example.net\nReturn-Path: <zoe@example.net>"},
		{name: "a person, said outright", head: "Auto-Submitted: no"},
		{name: "a vacation notice", head: "Auto-Submitted: auto-replied; owner-email=\"zoe@example.net\"", passed: true},
		{name: "generated", head: "Auto-Submitted: auto-generated (by a shop)", passed: true},
		{name: "bulk", head: "Precedence: bulk", passed: true},
		{name: "an older answering machine", head: "X-Autoreply: yes", passed: true},
		{name: "another", head: "X-Autorespond: out of office", passed: true},
		{name: "a newsletter", head: "List-Id: <offers.shop.example>", passed: true},
		{name: "a mail server", head: "Return-Path: <>", passed: true},
		{name: "our own", head: "Message-ID: <" + ours + ">", passed: true},
		{name: "an answer to our own", head: "In-Reply-To: <" + ours + ">\nMessage-ID: <x@example.net>"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			e, _ := read(t, tt.head+"\n\nhere\n")
			require.Equal(t, tt.passed, machine(e.head) != "")
		})
	}
}

func TestNestingIsBounded(t *testing.T) {
	t.Parallel()
	deep := "I'm too deep\n"
	for range 200 {
		deep = "Content-Type: multipart/mixed; boundary=b\n\n--b\n" + deep
	}
	e, l := read(t, "From: zoe@example.net\nSubject: Re: x\n"+deep)
	require.Equal(t, mailText, l.inbound(&e).Text)

	many := "From: zoe@example.net\nSubject: Re: x\nContent-Type: multipart/mixed; boundary=b\n\n" + strings.Repeat("--b\n\nx\n", 5000)
	e, l = read(t, many)
	require.LessOrEqual(t, strings.Count(l.inbound(&e).Text, "x"), maxParts)
}

func FuzzInbound(f *testing.F) {
	f.Add([]byte("From: zoe@example.net\r\nSubject: Re: x\r\nContent-Type: multipart/alternative; boundary=b\r\n\r\n--b\r\n\r\nhere\r\n--b\r\nContent-Type: text/html\r\n\r\n<p>web\r\n--b--\r\n"))
	f.Add([]byte("From: x\r\nContent-Type: text/plain; charset=iso-2022-jp; format=flowed; delsp=yes\r\nContent-Transfer-Encoding: base64\r\n\r\nGyRC\r\n"))
	f.Add([]byte("From: =?utf-8?B?Wm/Dqw==?= <z@example.net>\nContent-Transfer-Encoding: quoted-printable\n\n=C3=AB=\n=E"))
	f.Add(crlf(notification("Reporting-MTA: dns; mail.example\n\nAction: failed\nStatus: 5.2.2\n", "Message-ID: <"+ours+">\n")))
	f.Fuzz(func(t *testing.T, raw []byte) {
		l := letter{uid: 1, validity: 1, raw: raw}
		e := readEntity(raw)
		in := l.inbound(&e, "orders@larkfield.example")
		require.True(t, utf8.ValidString(in.Text))
		require.LessOrEqual(t, utf8.RuneCountInString(in.Text), maxReply)
		require.NotEmpty(t, in.Text)
		require.NotEmpty(t, in.ID)
		require.LessOrEqual(t, len(in.ID), 250)
		require.False(t, strings.ContainsAny(in.From, "\r\n"))
		again := readEntity(raw)
		require.Equal(t, in, l.inbound(&again, "orders@larkfield.example"), "reading twice gives the same")
	})
}

func FuzzReply(f *testing.F) {
	f.Add("I'm here\n\nOn Fri, 13 Mar 2026 at 16:30, Larkfield <orders@larkfield.example>\nwrote:\n\n> Reply HERE\n-- \nZoë")
	f.Add("Bin da\n\n________________\nVon: x\nGesendet: y\nAn: z\n")
	f.Add("Kind regards\nZoë\n01632 960 014\nSent from my phone")
	f.Fuzz(func(t *testing.T, text string) {
		text = strings.ToValidUTF8(text, "")
		got := reply(text)
		require.True(t, utf8.ValidString(got))
		require.Equal(t, strings.TrimSpace(got), got)
		require.LessOrEqual(t, utf8.RuneCountInString(got), maxReply)
		// Nothing is made up: every line that is left stood in the text.
		whole := strings.Join(clean(text), "\n")
		for _, line := range strings.Split(got, "\n") {
			require.Contains(t, whole, strings.TrimSuffix(line, "…"))
		}
		for _, line := range strings.Split(got, "\n") {
			require.False(t, strings.HasPrefix(strings.TrimSpace(line), ">"), "quoted text is left: %q", line)
		}
	})
}

func FuzzHTML(f *testing.F) {
	f.Add("<div>here<br>grey<blockquote><p>quoted</p></blockquote><style>p{}</style>&amp;<!-- x -->")
	f.Add("<a href='x>y'>gate</a><script>a</b</script>&#8364;<p")
	f.Fuzz(func(t *testing.T, s string) {
		s = strings.ToValidUTF8(s, "")
		got := fromHTML(s)
		require.True(t, utf8.ValidString(got))
		require.LessOrEqual(t, len(got), 24*len(s)+24)
	})
}

func FuzzReport(f *testing.F) {
	f.Add(crlf(notification("Reporting-MTA: dns; mail.example\nOriginal-Envelope-Id: "+ours+"\n\nAction: failed\nStatus: 5.2.2\n", "Message-ID: <"+ours+">\n")))
	f.Add([]byte("X-Failed-Recipients: zoe@example.net\n\nMessage-ID: <" + ours + ">\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		e := readEntity(raw)
		r, ok := readReport(&e)
		if !ok {
			return
		}
		require.Equal(t, r.id, ownIDIn(r.id))
		require.NotContains(t, r.reason, "@", "a reason holds no address")
		if r.reason != "" {
			require.Equal(t, "failed", string(r.status))
		}
	})
}
