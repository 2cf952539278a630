package modem

import (
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

// events reads all that a modem says.
func events(said string) []event {
	var (
		cut splitter
		fr  framer
		out []event
	)
	for _, token := range cut.feed([]byte(said)) {
		if ev, ok := fr.push(token); ok {
			out = append(out, ev)
		}
	}
	return out
}

func TestLines(t *testing.T) {
	t.Parallel()
	const (
		cds = "00062A0C91447700091032623031710000006230317100900000"
		del = "00040C9144770009103200006230922113504002CF25"
	)
	tests := []struct {
		name, said string
		want       []event
	}{
		{name: "answer", said: "\r\n+CSQ: 17,99\r\n\r\nOK\r\n", want: []event{{line: "+CSQ: 17,99"}, {kind: evFinal}}},
		{name: "echo", said: "AT+CSQ\r\r\n+CSQ: 17,99\r\n\r\nOK\r\n", want: []event{{line: "AT+CSQ"}, {line: "+CSQ: 17,99"}, {kind: evFinal}}},
		{name: "prompt", said: "\r\n> ", want: []event{{kind: evPrompt}}},
		{name: "prompt without a space, then an echo", said: "\r\n>0011\x1A\r\n+CMGS: 7\r\n\r\nOK\r\n", want: []event{
			{kind: evPrompt}, {line: "0011"}, {line: "+CMGS: 7"}, {kind: evFinal},
		}},
		{name: "CMS error", said: "\r\n+CMS ERROR: 331\r\n", want: []event{{kind: evFinal, fault: &fault{faultCMS, 331}}}},
		{name: "CME error", said: "\r\n+CME ERROR: 10\r\n", want: []event{{kind: evFinal, fault: &fault{faultCME, 10}}}},
		{name: "error in words", said: "\r\n+CMS ERROR: SIM busy\r\n", want: []event{{kind: evFinal, fault: &fault{}}}},
		{name: "plain error", said: "\r\nERROR\r\n", want: []event{{kind: evFinal, fault: &fault{}}}},
		{name: "noise", said: "\x00\xFF\x00\r\nO\x00K\r\n", want: []event{{line: "\xFF"}, {kind: evFinal}}},
		{name: "report in a list", said: "\r\n+CMGL: 1,0,,21\r\n+CDS: 25\r\n" + cds + "\r\n" + del + "\r\n\r\nOK\r\n", want: []event{
			{kind: evNews, line: "+CDS: 25", pdu: unhex(t, cds)}, {line: "+CMGL: 1,0,,21", pdu: unhex(t, del)}, {kind: evFinal},
		}},
		{name: "a PDU cut short is none", said: "\r\n+CMGL: 1,0,,21\r\n" + del[:30] + "\r\n\r\nOK\r\n", want: []event{{line: del[:30]}, {kind: evFinal}}},
		{name: "stored", said: "\r\n+CMTI: \"SM\",3\r\n", want: []event{{kind: evNews, line: `+CMTI: "SM",3`}}},
		{name: "a line without end", said: strings.Repeat("x", 3*maxLine) + "\r\nOK\r\n", want: []event{{kind: evFinal}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Len(t, unhex(t, cds)[1:], 25)
			require.Equal(t, tt.want, events(tt.said))
		})
	}
	require.Equal(t, []string{"0", "0", "LARKFIELD, MOBILE", "7"}, values(`+COPS: 0,0,"LARKFIELD, MOBILE",7`))
	require.Nil(t, values("OK"))
}

func FuzzLines(f *testing.F) {
	f.Add([]byte("\r\n+CMGL: 1,0,,21\r\n00040C9144770009103200006230922113504002CF25\r\n\r\nOK\r\n"), 3)
	f.Add([]byte("AT+CMGS=20\r\r\n> 0011\x1A\r\n+CMGS: 7\r\n+CDS: 25\r\n\x00\xFF+CMS ERROR: 38\r\n"), 1)
	f.Fuzz(func(t *testing.T, b []byte, at int) {
		whole := (&splitter{}).feed(b)
		at = min(max(at, 0), len(b))
		var cut splitter
		require.Equal(t, whole, append(cut.feed(b[:at]), cut.feed(b[at:])...), "where the octets are cut does not count")
		var fr framer
		for _, token := range whole {
			require.NotEmpty(t, token)
			require.LessOrEqual(t, len(token), maxLine)
			require.False(t, strings.ContainsFunc(token, func(r rune) bool { return r < ' ' && r != utf8.RuneError }))
			ev, ok := fr.push(token)
			require.LessOrEqual(t, len(fr.waiting), maxWaiting)
			if ok && ev.pdu != nil {
				_, _, _ = parse(ev.pdu)
				number(values(ev.line), 0)
			}
		}
	})
}

// TestCodes names at least one code of every class; see rule for the sources.
func TestCodes(t *testing.T) {
	t.Parallel()
	tests := []struct {
		kind    faultKind
		codes   []int
		outcome adapters.Outcome
		account bool
	}{
		{kind: faultCMS, codes: []int{1, 10, 21, 30, 95, 96, 97, 99}, outcome: adapters.Permanent},
		{kind: faultCMS, codes: []int{8, 28, 29, 38, 50, 69, 193, 310, 311, 316, 330, 331}, outcome: adapters.Temporary, account: true},
		{kind: faultCMS, codes: []int{17, 27, 41, 47, 81, 98, 111, 127, 192, 194, 255, 301, 302, 314, 322}, outcome: adapters.Temporary},
		{kind: faultCMS, codes: []int{22, 42}, outcome: adapters.Throttled},
		{kind: faultCMS, codes: []int{128, 144, 176, 195, 196, 304}, outcome: adapters.Permanent},
		{kind: faultCMS, codes: []int{198, 199, 303}, outcome: adapters.Permanent, account: true},
		{kind: faultCMS, codes: []int{197, 300, 332, 500, 512, 999}, outcome: adapters.Unknown},
		{kind: faultCME, codes: []int{10, 11, 12, 30}, outcome: adapters.Temporary, account: true},
		{kind: faultCME, codes: []int{14}, outcome: adapters.Temporary},
		{kind: faultCME, codes: []int{4}, outcome: adapters.Permanent, account: true},
		{kind: faultCME, codes: []int{31, 100}, outcome: adapters.Unknown},
		{kind: faultPlain, codes: []int{0}, outcome: adapters.Unknown},
	}
	for _, tt := range tests {
		for _, code := range tt.codes {
			r := rule(&fault{tt.kind, code})
			require.Equal(t, tt.outcome, r.outcome, "%d", code)
			require.Equal(t, tt.account, r.account, "%d", code)
			require.NotEmpty(t, r.reason)
		}
	}
	// TS 23.040 §9.2.3.15, from memory.
	for st, want := range map[byte]adapters.Status{
		0x00: adapters.Delivered, 0x01: adapters.OnTheWay, 0x02: adapters.OnTheWay, 0x10: adapters.OnTheWay, 0x20: adapters.OnTheWay,
		0x3F: adapters.OnTheWay, 0x40: adapters.Failed, 0x46: adapters.Failed, 0x50: adapters.Failed, 0x60: adapters.Failed,
		0x7F: adapters.Failed, 0x80: adapters.Failed, 0xFF: adapters.Failed,
	} {
		got, reason := statusOf(st)
		require.Equal(t, want, got, "%02X", st)
		require.Equal(t, st == 0, reason == "")
	}
}

func TestPace(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	p := newPacer(10, 25, 30*time.Minute)
	var went []time.Time
	now := start
	for len(went) < 100 {
		at, wait := p.book(now, 2, time.Minute)
		if at == nil {
			require.Greater(t, wait, time.Minute)
			now = now.Add(wait)
			continue
		}
		went = append(went, at...)
	}
	for i := range went {
		if i > 0 {
			require.GreaterOrEqual(t, went[i].Sub(went[i-1]), 6*time.Second)
		}
		if i >= 25 {
			require.GreaterOrEqual(t, went[i].Sub(went[i-25]), 30*time.Minute, "part %d", i)
		}
		if i%2 == 1 {
			require.Less(t, went[i].Sub(went[i-1]), time.Minute, "no text is held up halfway")
		}
	}
	require.Equal(t, 90*time.Minute+24*6*time.Second, p.length(100))

	p = newPacer(10, 25, 30*time.Minute)
	at, _ := p.book(start, 3, time.Minute)
	p.giveBack(at)
	again, _ := p.book(start, 3, time.Minute)
	require.Equal(t, at, again)
	p.pause(start.Add(40 * time.Second))
	at, _ = p.book(start, 1, time.Minute)
	require.Equal(t, start.Add(40*time.Second), at[0])
	at, _ = newPacer(10, 5, time.Hour).book(start, 30, time.Minute)
	require.Len(t, at, 30, "a text with more parts than a window holds still goes")
}

func TestBook(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	rep := func(mr byte, to string, sent time.Time) *report { return &report{mr: mr, to: to, sent: sent} }
	b := newBook()
	first := b.sent(now, "+447700900123", 42)
	other := b.sent(now, "+447700900124", 42)
	require.NotEqual(t, first, other)
	require.NotContains(t, first, "900123")
	join := func(r *report) string {
		id, _ := b.join(r)
		return id
	}
	require.Equal(t, first, join(rep(42, "+447700900123", now)))
	require.Equal(t, other, join(rep(42, "07700900124", now)), "in a national form")
	require.Equal(t, first, join(rep(42, "+447700900123", now.Add(5*time.Hour))), "a clock is wrong")
	require.Empty(t, join(rep(43, "+447700900123", now)))
	require.Empty(t, join(rep(42, "+447700900199", now)))

	wrapped := b.sent(now.Add(time.Hour), "+447700900123", 42)
	require.NotEqual(t, first, wrapped, "in the same slice of time")
	require.Equal(t, wrapped, join(rep(42, "+447700900123", now.Add(time.Hour))))
	require.Equal(t, first, join(rep(42, "+447700900123", now)))

	doubt := b.doubt(now, "+447700900150", "m1-1", 0)
	require.Equal(t, doubt, join(rep(7, "+447700900150", now.Add(time.Minute))))
	require.Equal(t, doubt, join(rep(7, "+447700900150", now.Add(time.Minute))), "again")
	require.Empty(t, join(rep(8, "+447700900150", now)), "another part of it is another text")
	b.doubt(now, "+447700900151", "m2-1", 0)
	b.doubt(now, "+447700900151", "m3-1", 0)
	require.Empty(t, join(rep(9, "+447700900151", now)), "it could be either")

	edge := time.UnixMilli(now.UnixMilli() / slice.Milliseconds() * slice.Milliseconds())
	id := newBook().sent(edge.Add(-time.Minute), "+447700900123", 5)
	require.Contains(t, candidates(rep(5, "+447700900123", edge.Add(time.Minute))), id)
	require.Equal(t, []string{partID("+447700900123", 5, edge.Add(time.Hour))}, candidates(rep(5, "+447700900123", edge.Add(time.Hour))))
	for i := range 2 * maxBook {
		b.sent(now.Add(time.Duration(i)*time.Minute), "+447700900123", i%256)
	}
	require.LessOrEqual(t, len(b.parts), maxBook)
}

func TestValidate(t *testing.T) {
	t.Parallel()
	minute := adapters.Duration(time.Minute)
	tests := []struct {
		name string
		cfg  Config
		says []string // none for a good one
	}{
		{name: "least", cfg: Config{Port: "/dev/ttyUSB0"}},
		{name: "all", cfg: Config{
			Port: "COM3", Baud: 9600, PIN: "1234", SMSC: "+447700900999", PartsPerMinute: 30, Burst: 100, BurstWindow: minute,
			Validity: "none", Receipts: "none", Storage: "ME", Indications: "2,1,0,1,0",
		}},
		{name: "PIN elsewhere", cfg: Config{Port: "COM3", PIN: "env:LARKFIELD_SIM_PIN"}},
		{name: "no port", says: []string{"modem: port: is missing"}},
		{name: "everything wrong", cfg: Config{
			Name: "sim", Baud: 7, PIN: "12x4", SMSC: "07700900999", PartsPerMinute: -1, Burst: -1, Validity: "long", Receipts: "some",
			Storage: "drawer", Indications: "on", ReconnectMin: minute, ReconnectMax: adapters.Duration(time.Second), Poll: 1,
		}, says: []string{
			"sim: port:", "sim: baud:", "sim: pin: a SIM's PIN has 4 to 8 digits", "sim: smsc:", "sim: parts_per_minute:", "sim: burst:",
			"sim: validity:", "sim: receipts:", "sim: storage:", "sim: indications:", "sim: reconnect_max: is shorter", "sim: poll:",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			err := tt.cfg.Validate()
			if len(tt.says) == 0 {
				require.NoError(t, err)
				return
			}
			for _, s := range tt.says {
				require.ErrorContains(t, err, s)
			}
			require.NotContains(t, err.Error(), "12x4")
		})
	}
}

func TestSecret(t *testing.T) {
	t.Parallel()
	env := func(k string) string { return map[string]string{"GOOD": "1234", "BAD": "hunter"}[k] }
	file := func(p string) ([]byte, error) {
		if p == "pin" {
			return []byte("4321\r\n"), nil
		}
		return nil, os.ErrNotExist
	}
	for in, want := range map[adapters.Secret]string{"": "", "0000": "0000", "env:GOOD": "1234", "file:pin": "4321"} {
		got, err := find(in, env, file)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, in := range []adapters.Secret{"env:NONE", "env:BAD", "file:none", "123", "123456789"} {
		_, err := find(in, env, file)
		require.Error(t, err)
		require.NotContains(t, err.Error(), "hunter")
	}
	require.Equal(t, "(hidden)", adapters.Secret("1234").String())
	require.Equal(t, "(hidden)", adapters.Secret("1234").GoString())
	_, err := New(Config{Port: "x", PIN: "env:NONE"}, Deps{Now: time.Now, After: time.After, Getenv: env, ReadFile: file})
	require.Error(t, err)
}
