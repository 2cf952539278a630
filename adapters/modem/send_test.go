//go:build linux

package modem

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/warthog618/sms/encoding/tpdu"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

func TestLongTextIsNumberedAndHasTwoIDs(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	a := newAdapter(t, m, simConfig(), simDeps(m))
	long := msg
	long.Text = strings.Repeat("ready ", 40)
	long.ValidUntil = time.Now().Add(2*time.Hour + 3*time.Minute)
	acc, err := a.Send(context.Background(), long)
	require.NoError(t, err)
	require.Len(t, acc.IDs, 2)
	m.look(func() {
		for _, p := range m.parts {
			require.Equal(t, tpdu.VpfRelative, p.t.VP.Format)
			require.Equal(t, 2*time.Hour, p.t.VP.Duration, "TP-VP never says longer than the text is of use")
			require.True(t, p.t.FirstOctet.SRR())
		}
	})
	require.Equal(t, []adapterstest.Taken{{To: long.To, Text: long.Text}}, m.Taken())
}

func TestLaterPart(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		breaks map[int]string
		want   adapters.Outcome
		ids    int
	}{
		{name: "refused for now, then taken", breaks: map[int]string{2: "code 41"}, ids: 2},
		{name: "congestion, then taken", breaks: map[int]string{2: "code 42"}, ids: 2},
		{name: "refused for good", breaks: map[int]string{2: "code 1"}, want: adapters.Unknown, ids: 1},
		{name: "the port breaks with it", breaks: map[int]string{2: "after"}, want: adapters.Unknown, ids: 2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m := newSim(t)
			m.onPart = once(tt.breaks)
			a := newAdapter(t, m, simConfig(), simDeps(m))
			long := msg
			long.Text = strings.Repeat("ready ", 40)
			acc, err := a.Send(context.Background(), long)
			require.Len(t, acc.IDs, tt.ids)
			if tt.want == "" {
				require.NoError(t, err)
				require.Equal(t, []adapterstest.Taken{{To: long.To, Text: long.Text}}, m.Taken())
				return
			}
			require.Equal(t, tt.want, adapters.OutcomeOf(err))
			require.ErrorContains(t, err, "only 1 of 2 parts")
		})
	}
}

func TestWhatCannotGo(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	a := newAdapter(t, m, simConfig(), simDeps(m))
	for name, bad := range map[string]adapters.Message{
		"no number":    {To: "07700900123", Text: "x"},
		"empty":        {To: msg.To},
		"not UTF-8":    {To: msg.To, Text: "\xff"},
		"too late":     {To: msg.To, Text: "x", ValidUntil: time.Now().Add(-time.Second)},
		"endless text": {To: msg.To, Text: strings.Repeat("a", 256*153)},
	} {
		_, err := a.Send(context.Background(), bad)
		require.Equal(t, adapters.Permanent, adapters.OutcomeOf(err), name)
	}
	require.Empty(t, m.Taken())
}

func TestPaceThrottles(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	cfg := simConfig()
	cfg.Burst = 2
	a := newAdapter(t, m, cfg, simDeps(m))
	for range 2 {
		_, err := a.Send(context.Background(), msg)
		require.NoError(t, err)
	}
	_, err := a.Send(context.Background(), msg)
	var se *adapters.SendError
	require.ErrorAs(t, err, &se)
	require.Equal(t, adapters.Throttled, se.Outcome)
	require.InDelta(t, 30*time.Minute, se.Wait, float64(10*time.Second))
	require.Len(t, m.Taken(), 2)
}

// TestBrokenOff cancels at a prompt that does not come, and after the PDU went
// out, when the result comes late.
func TestBrokenOff(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	cfg := simConfig()
	cfg.Command = adapters.Duration(time.Second)
	a := newAdapter(t, m, cfg, simDeps(m))
	require.NoError(t, persist(t, a))
	refuseTexts(m, "silence")
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		asked := func() bool {
			m.mu.Lock()
			defer m.mu.Unlock()
			n := 0
			for _, c := range m.commands {
				if strings.HasPrefix(c, "AT+CMGS") {
					n++
				}
			}
			return n == 2
		}
		for !asked() {
			time.Sleep(time.Millisecond)
		}
		cancel()
	}()
	_, err := a.Send(ctx, msg)
	require.Equal(t, adapters.Temporary, adapters.OutcomeOf(err))
	refuseTexts(m, "")
	require.NoError(t, persist(t, a))
	require.Len(t, m.Taken(), 2)
}

// refuseTexts lets no AT+CMGS come to its prompt.
func refuseTexts(m *sim, result string) {
	m.look(func() {
		for length := range 165 {
			m.refuse[fmt.Sprintf("AT+CMGS=%d", length)] = result
		}
	})
}

func TestRefusedAtThePrompt(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	a := newAdapter(t, m, simConfig(), simDeps(m))
	for result, want := range map[string]adapters.Outcome{
		"+CMS ERROR: 330": adapters.Temporary, "+CMS ERROR: 500": adapters.Temporary, "ERROR": adapters.Temporary, "OK": adapters.Temporary,
	} {
		refuseTexts(m, result)
		_, err := a.Send(context.Background(), msg)
		require.Equal(t, want, adapters.OutcomeOf(err), result)
	}
	require.Empty(t, m.Taken(), "nothing was handed over")
}

// TestLateResult gives an id to a text whose result is not waited for; its
// receipt is joined to it.
func TestLateResult(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	cfg := simConfig()
	cfg.SendTime = adapters.Duration(time.Minute)
	a := newAdapter(t, m, cfg, simDeps(m))
	sink := &adapterstest.Sink{}
	ctx, cancel := context.WithCancel(context.Background())
	release := make(chan struct{})
	m.onPart = func(int) string {
		cancel()
		<-release // the simulator answers nothing meanwhile
		return ""
	}
	acc, err := a.Send(ctx, msg)
	require.Equal(t, adapters.Unknown, adapters.OutcomeOf(err))
	require.Len(t, acc.IDs, 1)
	close(release)
	receive(t, a, sink)
	waitFor(t, "the result is noted", func() bool { _, mr := a.find(acc.IDs[0]); return mr > 0 })
	m.Receipt(adapters.Receipt{ID: acc.IDs[0], Status: adapters.Delivered, At: time.Now()})
	waitFor(t, "the receipt is joined", func() bool {
		for _, r := range sink.Receipts() {
			if r.ID == acc.IDs[0] {
				return true
			}
		}
		return false
	})
}

func TestProbe(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	m.noise = "\x00\x01~~garbage~~\xFE"
	a := newAdapter(t, m, simConfig(), simDeps(m))
	got, err := a.Probe(context.Background())
	require.NoError(t, err)
	notes := map[string]adapters.Finding{}
	for _, f := range got {
		notes[f.What] = f
		require.True(t, f.OK, "%+v", f)
	}
	require.Equal(t, "LARKFIELD, MOBILE", notes["operator"].Note)
	require.Equal(t, "good (-79 dBm)", notes["signal"].Note, "TS 27.007 §8.5: -113 + 2 * 17")
	require.Equal(t, "at home", notes["registered with the network"].Note)
	require.Equal(t, "SM: 0 of 20 places taken", notes["store for incoming texts"].Note)

	m.Unreachable(true)
	waitFor(t, "it is found out", func() bool {
		got, err := a.Probe(context.Background())
		return err == nil && len(got) == 1 && !got[0].OK && strings.Contains(got[0].Note, "plugged in")
	})
}

func TestProbeOfABadPlace(t *testing.T) {
	t.Parallel()
	tests := []struct{ ask, answer, what, note string }{
		{"AT+CREG?", "+CREG: 0,3\r\n\r\nOK", "registered with the network", "refuses this SIM"},
		{"AT+CREG?", "+CREG: 0,5\r\n\r\nOK", "registered with the network", "roaming"},
		{"AT+CREG?", "+CREG: 2,2\r\n\r\nOK", "registered with the network", "looking for one"},
		{"AT+CREG?", "+CME ERROR: 4", "registered with the network", "does not know"},
		{"AT+CSQ", "+CSQ: 99,99\r\n\r\nOK", "signal", "not known"},
		{"AT+CSQ", "+CSQ: 2,99\r\n\r\nOK", "signal", "very weak: move the modem to a window (-109 dBm)"},
		{"AT+COPS?", "+COPS: 0\r\n\r\nOK", "operator", "none"},
		{"AT+CSCA?", "+CSCA: \"\",129\r\n\r\nOK", "message centre", "write smsc"},
	}
	for _, tt := range tests {
		t.Run(tt.ask+" "+tt.note, func(t *testing.T) {
			t.Parallel()
			m := newSim(t)
			m.refuse[tt.ask] = tt.answer
			a := newAdapter(t, m, simConfig(), simDeps(m))
			got, err := a.Probe(context.Background())
			require.NoError(t, err)
			for _, f := range got {
				if f.What == tt.what {
					require.Contains(t, f.Note, tt.note)
					require.Equal(t, tt.note == "roaming", f.OK)
				}
			}
		})
	}
}

// TestSMSCAndValidityOff writes the configured message centre into the PDU and
// leaves TP-VP out.
func TestSMSCAndValidityOff(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	cfg := simConfig()
	cfg.SMSC, cfg.Validity, cfg.Receipts = "+447700900999", "none", "none"
	a := newAdapter(t, m, cfg, simDeps(m))
	late := msg
	late.ValidUntil = time.Now().Add(time.Hour)
	_, err := a.Send(context.Background(), late)
	require.NoError(t, err)
	m.look(func() {
		p := m.parts[0].t
		require.Equal(t, tpdu.VpfNotPresent, p.VP.Format)
		require.False(t, p.FirstOctet.SRR())
		require.Equal(t, "0", m.cnmi[3], "no reports are asked for")
	})
}

func TestModemThatLacksMuch(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	m.noCNMI, m.noSR = true, true
	m.refuse["AT+CSMS=1"] = "ERROR"
	m.refuse["AT+CMEE=1"] = "ERROR"
	m.refuse["ATE0"] = "ERROR"
	cfg := simConfig()
	cfg.Storage = ""
	a := newAdapter(t, m, cfg, simDeps(m))
	require.NoError(t, persist(t, a), "with the echo on")
	require.Len(t, m.Taken(), 1)
	got, err := a.Probe(context.Background())
	require.NoError(t, err)
	for _, f := range got {
		if f.What == "receipts" {
			require.False(t, f.OK)
		}
	}
}

func TestClosedAdapter(t *testing.T) {
	t.Parallel()
	m := newSim(t)
	a := newAdapter(t, m, simConfig(), simDeps(m))
	require.NoError(t, persist(t, a))
	require.NoError(t, a.Close())
	require.NoError(t, a.Close())
	_, err := a.Send(context.Background(), msg)
	require.Equal(t, adapters.Temporary, adapters.OutcomeOf(err))
	require.Error(t, a.Receive(context.Background(), &adapterstest.Sink{}))
}
