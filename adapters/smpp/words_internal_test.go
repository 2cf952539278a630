package smpp

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// TestReceiptText holds the table of receipts in section 3 of the check values.
func TestReceiptText(t *testing.T) {
	t.Parallel()
	at := func(y, mo, d, h, m, s int) time.Time {
		return time.Date(y, time.Month(mo), d, h, m, s, 0, time.UTC)
	}
	tests := []struct {
		name   string
		text   string
		want   receipt
		status adapters.Status
		reason string
	}{
		{
			name:   "of a manual",
			text:   "id:0000000012345678 sub:001 dlvrd:001 submit date:1601010100 done date:1601010101 stat:DELIVRD err:000 text:none",
			want:   receipt{id: "0000000012345678", state: "DELIVRD", err: "000", done: at(2016, 1, 1, 1, 1, 0)},
			status: adapters.Delivered,
		},
		{
			name:   "failed",
			text:   "id:0911897980 sub:001 dlvrd:000 submit date:1201121551 done date:1201121551 stat:UNDELIV err:075 text:-PROFILE",
			want:   receipt{id: "0911897980", state: "UNDELIV", err: "075", done: at(2012, 1, 12, 15, 51, 0)},
			status: adapters.Failed, reason: "the network could not deliver the text (the network's error 075)",
		},
		{
			name:   "seconds and a long id",
			text:   "id:64567564356765435676 sub:001 dlvrd:001 submit date:190608165232 done date:190608165237 stat:DELIVRD err:000 text:Hello World",
			want:   receipt{id: "64567564356765435676", state: "DELIVRD", err: "000", done: at(2019, 6, 8, 16, 52, 37)},
			status: adapters.Delivered,
		},
		{
			name:   "no sub, no dlvrd, capital Text, small stat",
			text:   "id:7 submit date:2603131700 done date:2603131701 stat:delivrd err:000 Text:ready",
			want:   receipt{id: "7", state: "DELIVRD", err: "000", done: at(2026, 3, 13, 17, 1, 0)},
			status: adapters.Delivered,
		},
		{
			name:   "the customer's text tells lies",
			text:   "id:7 stat:UNDELIV err:001 text:id:8 stat:DELIVRD err:000",
			want:   receipt{id: "7", state: "UNDELIV", err: "001"},
			status: adapters.Failed, reason: "the network could not deliver the text (the network's error 001)",
		},
		{
			name: "no text", text: "id:7 stat:ACCEPTD", want: receipt{id: "7", state: "ACCEPTD"},
			status: adapters.OnTheWay,
		},
		{
			name: "spaces after the colons", text: "id: 7  stat: EXPIRED err: 0", want: receipt{id: "7", state: "EXPIRED", err: "0"},
			status: adapters.Failed, reason: "the phone could not be reached in time",
		},
		{
			name: "a key within a word is none", text: "xid:9 id:7 stat:DELIVRD", want: receipt{id: "7", state: "DELIVRD"},
			status: adapters.Delivered,
		},
		{
			name: "not known to the network", text: "id:7 stat:UNKNOWN", want: receipt{id: "7", state: "UNKNOWN"},
			status: adapters.OnTheWay, reason: "the network does not know what became of the text",
		},
		{
			name: "a word of its own", text: "id:7 stat:WAITING", want: receipt{id: "7", state: "WAITING"},
			status: adapters.OnTheWay, reason: `the network says "WAITING"`,
		},
		{name: "nothing in it", text: "hello", want: receipt{}, status: adapters.OnTheWay},
		{name: "date that is none", text: "id:7 done date:9913991399 stat:DELETED", want: receipt{id: "7", state: "DELETED"}, status: adapters.Failed, reason: "the network deleted the text"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := parseReceiptText(tt.text, time.UTC)
			require.Equal(t, tt.want, got)
			status, reason := got.status()
			require.Equal(t, tt.status, status)
			require.Equal(t, tt.reason, reason)
		})
	}
}

func TestReceiptZoneAndOptions(t *testing.T) {
	t.Parallel()
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	m := &pdu.SM{TLVs: pdu.TLVs{
		{Tag: pdu.TagReceiptedID, Value: []byte("ABC\x00")},
		{Tag: pdu.TagMessageState, Value: []byte{5}},
		{Tag: pdu.TagNetworkError, Value: []byte{3, 0, 34}},
	}}
	r := parseReceipt(m, "id:9 done date:2607031730 stat:DELIVRD err:000", london)
	// London is an hour ahead of UTC in July.
	require.Equal(t, receipt{id: "ABC", state: "UNDELIV", err: "034", done: time.Date(2026, 7, 3, 16, 30, 0, 0, time.UTC)}, r,
		"where text and options disagree, the options count")
	r = parseReceipt(&pdu.SM{TLVs: pdu.TLVs{{Tag: pdu.TagMessageState, Value: []byte{77}}}}, "id:9 stat:DELIVRD", london)
	require.Equal(t, "DELIVRD", r.state, "a state that there is none of is left aside")
}

func FuzzReceiptText(f *testing.F) {
	f.Add("id:0911897980 sub:001 dlvrd:000 submit date:1201121551 done date:1201121551 stat:UNDELIV err:075 text:-PROFILE")
	f.Add("ID:1 STAT:x TEXT:")
	f.Fuzz(func(t *testing.T, s string) {
		r := parseReceiptText(s, time.UTC)
		require.NotContains(t, r.id, " ")
		_, reason := r.status()
		for _, c := range reason {
			require.True(t, c >= ' ' && c <= '~')
		}
		if r.id != "" {
			for _, relation := range []string{idsAuto, idsSame, idsExact, idsDecimalInReceipt, idsHexInReceipt} {
				_, _ = newIDBook(relation).receipt(r.id)
			}
		}
	})
}

func TestIDs(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name     string
		relation string
		answer   string
		receipt  string
		differ   bool
	}{
		{name: "the same", relation: idsSame, answer: "abc-1", receipt: "abc-1"},
		{name: "case", relation: idsSame, answer: "1A2B3C4D", receipt: "1a2b3c4d"},
		{name: "lost zeros", relation: idsSame, answer: "0000000012345678", receipt: "12345678"},
		{name: "zero", relation: idsSame, answer: "0000", receipt: "0"},
		{name: "longer than 64 bits", relation: idsSame, answer: "64567564356765435676", receipt: "064567564356765435676"},
		{name: "another id", relation: idsSame, answer: "123", receipt: "124", differ: true},
		{name: "exact", relation: idsExact, answer: "aB3", receipt: "Ab3", differ: true},
		// 0x1A2B3C4D = 439041101: section 3 of the check values.
		{name: "hexadecimal answer", relation: idsDecimalInReceipt, answer: "1A2B3C4D", receipt: "439041101"},
		{name: "hexadecimal answer with zeros", relation: idsDecimalInReceipt, answer: "000A", receipt: "0000000010"},
		{name: "hexadecimal receipt", relation: idsHexInReceipt, answer: "439041101", receipt: "1a2b3c4d"},
		{name: "relation that cannot be", relation: idsDecimalInReceipt, answer: "xyz", receipt: "XYZ"},
		{name: "auto, the same", relation: idsAuto, answer: "0012", receipt: "12"},
		{name: "auto, hexadecimal answer", relation: idsAuto, answer: "1A2B3C4D", receipt: "439041101"},
		{name: "auto, hexadecimal receipt", relation: idsAuto, answer: "439041101", receipt: "1A2B3C4D"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newIDBook(tt.relation)
			answer := b.answer(tt.answer)
			got, sure := b.receipt(tt.receipt)
			require.True(t, sure)
			require.Equal(t, tt.differ, answer != got)
		})
	}
}

func TestIDsAreLearnt(t *testing.T) {
	t.Parallel()
	b := newIDBook(idsAuto)
	spelled := func(id string, wantSure bool) string {
		t.Helper()
		out, sure := b.receipt(id)
		require.Equal(t, wantSure, sure)
		return out
	}
	require.Empty(t, b.now())
	require.Equal(t, "16", spelled("16", false), "nothing is known yet")
	b.answer("7")
	require.Equal(t, "7", spelled("7", true))
	require.Empty(t, b.now(), "a digit is the same in every base and tells nothing")
	b.answer("1F")
	require.Equal(t, "1f", spelled("31", true))
	require.Equal(t, idsDecimalInReceipt, b.now())
	require.Equal(t, "10", spelled("16", true), "an answer of before a restart")

	// Now "16" is the answer to one text, and its receipt is 22; the receipt 16
	// belongs to answer 10.
	b.answer("16")
	b.answer("10")
	require.Equal(t, "10", spelled("16", true))
	require.Equal(t, "16", spelled("22", true))

	// A single accident does not outvote what many receipts say.
	b.answer("99")
	require.Equal(t, "99", spelled("99", true))
	require.Equal(t, idsDecimalInReceipt, b.now())
}

func TestIDMemoryIsBounded(t *testing.T) {
	t.Parallel()
	b := newIDBook(idsAuto)
	for i := range 2*idMemory + 10 {
		b.answer("k" + strings.Repeat("x", i%7) + time.Duration(i).String())
	}
	require.LessOrEqual(t, len(b.known), idMemory)
	require.Len(t, b.ring, idMemory)
}

// TestStatusTable holds the classes of the table in section 3 of the check
// values, which names its sources.
func TestStatusTable(t *testing.T) {
	t.Parallel()
	classes := map[adapters.Outcome][]pdu.Status{
		adapters.Throttled: {0x58, 0x14},
		adapters.Temporary: {0x08, 0x64, 0x66, 0xFE, 0xFF, 0x45, 0x00, 0x04, 0x05, 0x0D, 0x0E, 0x0F, 0x53, 0x400, 0x4FF},
		adapters.Permanent: {
			0x01, 0x0A, 0x0B, 0x0C, 0x15, 0x43, 0x48, 0x49, 0x50, 0x51, 0x61, 0x62, 0x65, 0xC0, 0xC1, 0xC2, 0xC3, 0xC4,
			0x02, 0x03, 0x06, 0x07, 0x33, 0x40, 0x54, 0x55, 0x63, 0x11, 0x13, 0x34, 0x42, 0x44, 0x67,
		},
	}
	account := map[pdu.Status]bool{0x04: true, 0x05: true, 0x0D: true, 0x0E: true, 0x0F: true, 0x53: true}
	for want, list := range classes {
		for _, s := range list {
			r := rule(s)
			require.Equal(t, want, r.outcome, s.String())
			require.NotEmpty(t, r.reason)
			if want == adapters.Temporary {
				require.Equal(t, account[s], r.account, s.String())
			}
			require.Contains(t, r.err("smpp", s).Reason, s.String(), "the number is for whoever asks the operator")
		}
	}
}

func TestValidity(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	tests := []struct {
		name  string
		how   string
		until time.Time
		want  string
	}{
		{name: "none", how: validRelative, want: ""},
		// 24 h: the example of section 3 of the check values.
		{name: "a day", how: validRelative, until: now.Add(24 * time.Hour), want: "000001000000000R"},
		{name: "90 minutes", how: validRelative, until: now.Add(90*time.Minute + 5*time.Second), want: "000000013005000R"},
		{name: "too far", how: validRelative, until: now.Add(29 * 24 * time.Hour), want: ""},
		{name: "absolute", how: validAbsolute, until: now.Add(90 * time.Minute), want: "260313183000000+"},
		{name: "switched off", how: validNone, until: now.Add(time.Hour), want: ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := Config{Validity: tt.how}
			require.Equal(t, tt.want, c.validity(now, tt.until))
		})
	}
}

func TestSource(t *testing.T) {
	t.Parallel()
	tests := []struct {
		from string
		want pdu.Address
		bad  bool
	}{
		{from: "", want: pdu.Address{}},
		{from: "+447700900999", want: pdu.Address{TON: 1, NPI: 1, Addr: "447700900999"}},
		{from: "60123", want: pdu.Address{Addr: "60123"}},
		{from: "LARKFIELD", want: pdu.Address{TON: 5, Addr: "LARKFIELD"}},
		{from: "Larkfield D", want: pdu.Address{TON: 5, Addr: "Larkfield D"}},
		{from: "LARKFIELDXYZ", bad: true},
		{from: "Küche", bad: true},
		{from: "+44 7700", bad: true},
	}
	for _, tt := range tests {
		t.Run(tt.from, func(t *testing.T) {
			t.Parallel()
			got, err := source(tt.from)
			require.Equal(t, tt.bad, err != nil)
			require.Equal(t, tt.want, got)
		})
	}
}

func TestNumber(t *testing.T) {
	t.Parallel()
	require.Equal(t, "+447700900123", number(pdu.Address{TON: 1, Addr: "447700900123"}))
	require.Equal(t, "+447700900123", number(pdu.Address{TON: 1, Addr: "+447700900123"}))
	require.Equal(t, "+447700900123", number(pdu.Address{TON: 1, Addr: "00447700900123"}))
	require.Equal(t, "07700900123", number(pdu.Address{TON: 2, Addr: "07700900123"}))
	require.Equal(t, "BANK", number(pdu.Address{TON: 5, Addr: "BANK"}))
	require.Equal(t, "odd one", number(pdu.Address{TON: 1, Addr: "odd one"}))
}
