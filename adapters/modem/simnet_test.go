//go:build linux

package modem

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/warthog618/sms"
	"github.com/warthog618/sms/encoding/tpdu"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

// pump brings in what the network holds: into a store with room, or directly, one
// at a time until it is acknowledged.
func (m *sim) pump() {
	for {
		m.mu.Lock()
		if len(m.queue) == 0 || m.master == nil || m.unplugged || m.cnmi[0] == "0" {
			m.mu.Unlock()
			return
		}
		d := m.queue[0]
		how, mem, news := m.cnmi[1], "SM", "+CMTI"
		if d.report {
			how, mem, news = m.cnmi[3], "SR", "+CDSI"
			if how != "0" {
				how = map[string]string{"1": "2", "2": "1"}[how] // the numbers are the other way round
			}
		}
		var lines []string
		switch {
		case how == "0", how == "2" && m.pending != nil, how == "1" && len(m.stores[mem]) >= m.capacity:
			m.mu.Unlock()
			return
		case how == "1":
			lines = []string{fmt.Sprintf(`%s: "%s",%d`, news, mem, m.place(mem, simText{pdu: d.pdu, d: d}))}
		default:
			if m.csms {
				m.pending = d
			} else {
				d.acked = true
			}
			head := fmt.Sprintf("+CMT: ,%d", simLength(d.pdu))
			if d.report {
				head = fmt.Sprintf("+CDS: %d", simLength(d.pdu))
			}
			lines = []string{head + "\r\n" + d.pdu}
		}
		m.queue = m.queue[1:]
		m.mu.Unlock()
		m.say(lines...)
	}
}

// submit takes a PDU over, or does what is scripted for the text.
func (m *sim) submit(pdu, length string) {
	b, err := hex.DecodeString(pdu)
	if err != nil || length != strconv.Itoa(simLength(pdu)) {
		m.say("+CMS ERROR: 304")
		return
	}
	t, err := sms.Unmarshal(b[1+int(b[0]):], sms.AsMO)
	if err != nil {
		m.say("+CMS ERROR: 304")
		return
	}
	how := adapterstest.Accept
	m.mu.Lock()
	if _, seq, _, long := t.ConcatInfo(); (!long || seq == 1) && len(m.script) > 0 {
		how, m.script = m.script[0], m.script[1:]
	}
	refusal := map[adapterstest.Behaviour]string{
		adapterstest.Temporary: "41", adapterstest.Permanent: "1", adapterstest.Throttle: "42",
	}[how]
	if refusal != "" {
		m.mu.Unlock()
		m.say("+CMS ERROR: " + refusal)
		return
	}
	breaks := ""
	if f, n := m.onPart, len(m.parts)+1; f != nil {
		m.mu.Unlock()
		breaks = f(n)
		m.mu.Lock()
	}
	if code, ok := strings.CutPrefix(breaks, "code "); ok {
		m.mu.Unlock()
		m.say("+CMS ERROR: " + code)
		return
	}
	if breaks == "before" {
		m.mu.Unlock()
		m.replug()
		return
	}
	m.mr = (m.mr + 1) & 0xFF
	p := simPart{to: t.DA.Number(), mr: m.mr, t: t, when: time.Now()}
	m.parts = append(m.parts, p)
	m.mu.Unlock()

	switch {
	case how == adapterstest.Silent:
		return
	case how == adapterstest.Drop || breaks == "after":
		m.replug()
		return
	case how == adapterstest.ReceiptFirst:
		m.report(p, 0x00, p.when)
	}
	m.say(fmt.Sprintf("+CMGS: %d", p.mr), "OK")
	if breaks == "then" {
		m.replug()
	}
}

// report sends a status report about a part.
func (m *sim) report(p simPart, st byte, at time.Time) {
	t := tpdu.TPDU{
		Direction: tpdu.MT, FirstOctet: 2, MR: byte(p.mr), RA: tpdu.NewAddress(tpdu.FromNumber(p.to)),
		SCTS: tpdu.Timestamp{Time: p.when.UTC()}, DT: tpdu.Timestamp{Time: at.UTC()}, ST: st,
	}
	b, err := t.MarshalBinary()
	require.NoError(m.t, err)
	m.mu.Lock()
	m.queue = append(m.queue, &simDelivery{pdu: "00" + hex.EncodeToString(b), report: true})
	m.mu.Unlock()
	m.pump()
}

// Taken puts together what the network took over.
func (m *sim) Taken() []adapterstest.Taken {
	m.mu.Lock()
	defer m.mu.Unlock()
	var (
		out  []adapterstest.Taken
		open = map[string][]*tpdu.TPDU{}
	)
	for _, p := range m.parts {
		total, _, ref, long := p.t.ConcatInfo()
		key := fmt.Sprintf("%s %d %d", p.to, ref, total)
		segs := append(open[key], p.t)
		open[key] = segs
		if long && len(segs) < total {
			continue
		}
		delete(open, key)
		text, err := sms.Decode(segs)
		if err != nil {
			text = []byte(err.Error())
		}
		out = append(out, adapterstest.Taken{To: p.to, Text: string(text)})
	}
	return out
}

func (m *sim) Next(b ...adapterstest.Behaviour) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.script = append(m.script, b...)
}

func (m *sim) Unreachable(yes bool) {
	m.mu.Lock()
	m.unreachable = yes
	m.mu.Unlock()
	if yes {
		m.replug()
	}
}

// Offer puts a text on its way, in parts where it is long.
func (m *sim) Offer(in adapters.Inbound) {
	pdus := deliverPDUs(m.t, in)
	m.mu.Lock()
	for _, p := range pdus {
		d := &simDelivery{pdu: p}
		m.offers[in.ID] = append(m.offers[in.ID], d)
		m.queue = append(m.queue, d)
	}
	m.mu.Unlock()
	m.pump()
}

// deliverPDUs makes the SMS-DELIVERs of a text with the library's encoder. Parts
// come a second apart.
func deliverPDUs(t testing.TB, in adapters.Inbound) []string {
	segs, err := sms.Encode([]byte(in.Text), sms.AsDeliver, sms.From(in.From))
	require.NoError(t, err)
	var out []string
	for i := range segs {
		segs[i].Direction = tpdu.MT
		segs[i].SCTS = tpdu.Timestamp{Time: in.At.Add(time.Duration(i) * time.Second)}
		b, err := segs[i].MarshalBinary()
		require.NoError(t, err)
		out = append(out, "00"+strings.ToUpper(hex.EncodeToString(b)))
	}
	return out
}

func (m *sim) Acknowledged(id string) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, d := range m.offers[id] {
		if !d.acked {
			return false
		}
	}
	return len(m.offers[id]) > 0
}

func (m *sim) Repeat(id string) {
	m.mu.Lock()
	for _, d := range m.offers[id] {
		m.queue = append(m.queue, &simDelivery{pdu: d.pdu})
	}
	m.mu.Unlock()
	m.pump()
}

func (m *sim) Receipt(r adapters.Receipt) {
	number, mr := m.book(r.ID)
	st := map[adapters.Status]byte{adapters.Delivered: 0x00, adapters.Failed: 0x46, adapters.OnTheWay: 0x20}[r.Status]
	m.mu.Lock()
	i := slices.IndexFunc(m.parts, func(p simPart) bool { return p.to == number && p.mr == mr })
	p := m.parts[i]
	m.mu.Unlock()
	m.report(p, st, r.At)
}
