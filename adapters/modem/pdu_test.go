package modem

import (
	"encoding/csv"
	"encoding/hex"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"github.com/warthog618/sms"
	"github.com/warthog618/sms/encoding/tpdu"

	"passbell/adapters/longtext"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

func utc(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

// TestDeliveries holds the DELIVERs of section 2 of the check values: P1 and P4
// as published, M6 to M11 made there; M have no message centre before them.
func TestDeliveries(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, pdu, from, text string
		at                    time.Time
		ref                   uint16
		total, seq            uint8
	}{
		{
			name: "P1", pdu: "07917283010010F5040BC87238880900F10000993092516195800AE8329BFD4697D9EC37",
			from: "27838890001", text: "hellohello", at: utc("1999-03-29T15:16:59+02:00"),
		},
		{
			name: "P4", pdu: "0791448720003023240C914477581006500000916042113312800AE8329BFD4697D9EC37",
			from: "+447785016005", text: "hellohello", at: utc("2019-06-24T11:33:21+02:00"),
		},
		{
			name: "M6", pdu: "00040C9144770009103200006230922113504022C9531B842ECBCB2C90985D2F83C661390B046787E965505018938186C422",
			from: "+447700900123", text: "I'm here, blue car, plate AB12 CDE", at: utc("2026-03-29T12:31:05+01:00"),
		},
		{
			name: "M7", pdu: "00040DD0CB2475882C3A0100006211101003000A05D272989C07",
			from: "KITCHEN", text: "Ready", at: utc("2026-11-01T01:30:00-05:00"),
		},
		{
			name: "M8", pdu: "00040B912120550521F30000621110100300690DC8A2B4089297C920E35B4E06",
			from: "+12025550123", text: "HERE red Ford", at: utc("2026-11-01T01:30:00-04:00"),
		},
		{
			name: "M9", pdu: "00040C9144770009103200086201521003000016004A20190061007200720069007600650020D83DDE99",
			from: "+447700900123", text: "J’arrive 🚙", at: utc("2026-10-25T01:30:00Z"),
		},
		{
			name: "M10", pdu: "00440C9144770009103200006230922113504014060804012A0201C8B2BC0C4ABB4174741904",
			from: "+447700900123", text: "Here in the ", at: utc("2026-03-29T12:31:05+01:00"), ref: 0x012A, total: 2, seq: 1,
		},
		{
			name: "M11", pdu: "00440C9144770009103200006230922113704010060804012A02026276BD0C1A87E5",
			from: "+447700900123", text: "blue car", at: utc("2026-03-29T12:31:07+01:00"), ref: 0x012A, total: 2, seq: 2,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, r, err := parse(unhex(t, tt.pdu))
			require.NoError(t, err)
			require.Nil(t, r)
			require.Equal(t, tt.from, d.from)
			require.Equal(t, tt.text, d.text)
			require.Equal(t, tt.at, d.at)
			require.Equal(t, []any{tt.ref, tt.total, tt.seq}, []any{d.head.Ref, d.head.Total, d.head.Seq})
			if tt.total > 0 {
				require.Equal(t, longtext.Ref16, d.head.Kind)
			}
		})
	}
}

// TestSubmissions holds the SUBMITs of section 2 that have an international
// number. P3 and M2 have none, and this adapter writes no others. In M1 the octet
// of TP-MR is 01; the modem sets it, so 00 is written.
func TestSubmissions(t *testing.T) {
	t.Parallel()
	long := "Your order 1042 is ready. Please come to the side gate on Mill Lane at 12:30, park in bay 3, " +
		"and reply HERE with your name, the car colour and number plate. Reply HELP for help or STOP to opt out."
	tests := []struct {
		name string
		sub  submission
		text string
		ref  uint32
		want []string
	}{
		{
			name: "P2", sub: submission{to: "+46708251358", validity: 4 * 24 * time.Hour}, text: "hellohello",
			want: []string{"0011000B916407281553F80000AA0AE8329BFD4697D9EC37"},
		},
		{
			name: "P5", sub: submission{to: "+12345", smsc: "+61412290191"}, text: "Hello world",
			want: []string{"07911614220991F1010005912143F500000BC8329BFD06DDDF723619"},
		},
		{
			name: "M1", sub: submission{to: "+447700900123", validity: 24 * time.Hour, receipt: true},
			text: "Order 1042: collect 12:30 at 5 Mill Lane. Reply STOP to opt out",
			want: []string{"0031000C914477000910320000A73F4F39B92C07C56034990E347EB3D9E5311D1493E9663050980EAA819A69361BC40CBBCB2E90B40C67E74153EA130AA2BF416F381DF4AED301"},
		},
		{
			name: "M3", sub: submission{to: "+447700900123", validity: 4 * 24 * time.Hour}, text: "Ready 🚗",
			want: []string{"0011000C914477000910320008AA10005200650061006400790020D83DDE97"},
		},
		{name: "M4 and M5", sub: submission{to: "+447700900123"}, text: long, ref: 0x29, want: []string{
			"0041000C914477000910320000A00500032A0201B2EFBA1CF49693CB72500C469381D27390BC1C26E741F43768FC66B3CB633AC82C7FB741355033CD668398617719242ED3EFE5B21B1493E9663050D84D06C5643A5ACD058286E56B50DA0D0A83DA61F9BA4C0689C37950D84D06C9CB70761E842C4A8BA07B9A8E06E5DF7539681C9683C66FF6BB2E0785DD6490BBDE1697E520383B4C2FBB40",
			"0041000C9144770009103200002E0500032A0202A465383B0F4216995090F92D07A1CB6C38E82D074DA94F2888FE06BDE174D0BB4E7701",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			text := tt.text
			if tt.ref != 0 { // the two parts' own text, read by the library
				text = ""
				for _, p := range tt.want {
					seg, err := sms.Unmarshal(unhex(t, p)[1:], sms.AsMO)
					require.NoError(t, err)
					b, err := sms.Decode([]*tpdu.TPDU{seg})
					require.NoError(t, err)
					text += string(b)
				}
				require.Len(t, text, 153+39)
			}
			parts, err := longtext.NewSplitter(tt.ref).Split(text, false)
			require.NoError(t, err)
			var got []string
			for _, p := range parts {
				pdu, n, err := tt.sub.submit(p)
				require.NoError(t, err)
				require.Equal(t, len(pdu)/2-1-int(unhex(t, pdu[:2])[0]), n)
				got = append(got, pdu)
			}
			require.Equal(t, tt.want, got)
		})
	}
}

// TestRelativeValidity checks every octet's neighbourhood against the standard's
// own formulas (TS 23.040 §9.2.3.12.1), written out here the other way round.
func TestRelativeValidity(t *testing.T) {
	t.Parallel()
	length := func(v int) time.Duration {
		switch {
		case v <= 143:
			return time.Duration(v+1) * 5 * time.Minute
		case v <= 167:
			return 12*time.Hour + time.Duration(v-143)*30*time.Minute
		case v <= 196:
			return time.Duration(v-166) * 24 * time.Hour
		}
		return time.Duration(v-192) * 7 * 24 * time.Hour
	}
	for v := range 256 {
		require.EqualValues(t, v, relative(length(v)), "exactly %v", length(v))
		require.EqualValues(t, v, relative(length(v)+time.Second), "%v and a second", length(v))
	}
	require.EqualValues(t, 0, relative(time.Second), "the shortest that there is")
	require.EqualValues(t, 255, relative(10000*24*time.Hour))
}

// TestOddDeliveries are from memory of what networks send, and made here.
func TestOddDeliveries(t *testing.T) {
	t.Parallel()
	const scts = "62309221135040"
	tests := []struct{ name, pdu, from, text string }{
		{name: "national number", pdu: "00040B817007900021F30000" + scts + "02CF25", from: "07700900123", text: "OK"},
		{name: "name of signs that the library refuses", pdu: "000404D09B320000" + scts + "02CF25", from: "€", text: "OK"},
		{name: "time that cannot be", pdu: "00040C91447700091032000062FF92211350FF02CF25", from: "+447700900123", text: "OK"},
		{name: "empty", pdu: "00040C9144770009103200006230922113504000", from: "+447700900123", text: ""},
		{name: "data", pdu: "00040C91447700091032000462309221135040030102FF", from: "+447700900123", text: "[no text: 3 octets of data]"},
		{name: "waiting indicator, UCS-2", pdu: "00040C9144770009103200E2" + scts + "0400480049", from: "+447700900123", text: "HI"},
		{name: "to a port", pdu: "00440C914477000910320004" + scts + "0806050415811581FF", from: "+447700900123", text: "[no text: 1 octets of data]"},
		{name: "Turkish shift table", pdu: "00440C914477000910320000" + scts + "0703240101D89C01", from: "+447700900123", text: "ğ"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, _, err := parse(unhex(t, tt.pdu))
			require.NoError(t, err)
			require.Equal(t, tt.from, d.from)
			require.Equal(t, tt.text, d.text)
		})
	}
	a, _, err := parse(unhex(t, "00040B817007900021F30000"+scts+"02CF25"))
	require.NoError(t, err)
	b, _, err := parse(unhex(t, "07917283010010F5040B817007900021F30000"+scts+"02CF25"))
	require.NoError(t, err)
	require.Equal(t, a.id, b.id, "the way by which it came does not count")
	for _, bad := range []string{"", "00", "0004", "07917283", "0001000B817007900021F3000002CF25", "00040C9144770009", "0006"} {
		d, r, err := parse(unhex(t, bad))
		require.Error(t, err)
		require.Nil(t, d)
		require.Nil(t, r)
	}
}

func TestReports(t *testing.T) {
	t.Parallel()
	// Made here after TS 23.040 §9.2.2.3: MR 42, to +447700900123, taken over
	// 2026-03-13 17:00:00Z, done 17:00:09Z, status 00; then with octets behind.
	const pdu = "00062A0C91447700091032" + "62303171000000" + "62303171009000" + "00"
	for _, tail := range []string{"", "00", "FF", "0100AABB"} {
		d, r, err := parse(unhex(t, pdu+tail))
		require.NoError(t, err)
		require.Nil(t, d)
		require.Equal(t, &report{
			mr: 42, to: "+447700900123", sent: utc("2026-03-13T17:00:00Z"), at: utc("2026-03-13T17:00:09Z"),
		}, r)
	}
}

// ownSplit cuts a text after TS 23.038 §6.2.1 and 23.040 §9.2.3.24.1 with the
// published alphabet alone, without the library.
func ownSplit(text string, cost map[rune]int) []int {
	gsm, units := true, 0
	var costs []int
	for _, r := range text {
		c, ok := cost[r]
		gsm = gsm && ok
		costs = append(costs, c)
	}
	one, part := 160, 153
	if !gsm {
		one, part = 70, 67
		costs = costs[:0]
		for _, r := range text {
			costs = append(costs, utf16.RuneLen(r))
		}
	}
	for _, c := range costs {
		units += c
	}
	if units <= one {
		return []int{units}
	}
	var out []int
	fill := 0
	for _, c := range costs {
		if fill+c > part {
			out = append(out, fill)
			fill = 0
		}
		fill += c
	}
	return append(out, fill)
}

// alphabet reads the published table: what each sign costs in septets.
func alphabet(t *testing.T) map[rune]int {
	t.Helper()
	f, err := os.Open("../../../shared/standards/gsm7.csv")
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("the published alphabet is not at hand")
	}
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	cost := map[rune]int{}
	for _, row := range rows[1:] {
		if row[1] == "" {
			continue
		}
		n, err := strconv.ParseUint(strings.TrimPrefix(row[1], "U+"), 16, 32)
		require.NoError(t, err)
		cost[rune(n)] = 1
		if strings.HasPrefix(row[2], "ext") {
			cost[rune(n)] = 2
		}
	}
	require.Len(t, cost, 137)
	return cost
}

func TestSplitAgainstTheStandardsAlone(t *testing.T) {
	t.Parallel()
	cost := alphabet(t)
	var signs []rune
	for r := range cost {
		signs = append(signs, r)
	}
	wide := []rune("’“ж漢🚗👩🏽‍🍳ç`")
	s := longtext.NewSplitter(0)
	lengths := func(text string) []int {
		parts, err := s.Split(text, false)
		require.NoError(t, err)
		var out []int
		for _, p := range parts {
			n := len(p.UD)
			if a, _ := p.Alphabet(); a == tpdu.AlphaUCS2 {
				n /= 2
			}
			out = append(out, n)
		}
		return out
	}
	for r := range cost {
		require.Equal(t, []int{cost[r]}, lengths(string(r)), "%U", r)
	}
	rng := rand.New(rand.NewPCG(4, 2026))
	for range 10_000 {
		var b strings.Builder
		mixed := rng.IntN(2) == 0
		for range 1 + rng.IntN(400) {
			if mixed && rng.IntN(20) == 0 {
				b.WriteRune(wide[rng.IntN(len(wide))])
			} else {
				b.WriteRune(signs[rng.IntN(len(signs))])
			}
		}
		require.Equal(t, ownSplit(b.String(), cost), lengths(b.String()), "%q", b.String())
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"07917283010010F5040BC87238880900F10000993092516195800AE8329BFD4697D9EC37",
		"00040DD0CB2475882C3A0100006211101003000A05D272989C07",
		"00440C9144770009103200006230922113504014060804012A0201C8B2BC0C4ABB4174741904",
		"00040C9144770009103200086201521003000016004A20190061007200720069007600650020D83DDE99",
		"00062A0C914477000910326230317100000062303171009000FF", "000404D09B32000062309221135040" + "02CF25",
	} {
		b, err := hex.DecodeString(s)
		require.NoError(f, err)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		d, r, err := parse(b)
		switch {
		case err != nil:
			require.Nil(t, d)
			require.Nil(t, r)
			require.NotEmpty(t, unreadable(b))
		case d != nil:
			require.Nil(t, r)
			require.True(t, utf8.ValidString(d.text), "%q", d.text)
			require.True(t, utf8.ValidString(d.from), "%q", d.from)
			require.NotEmpty(t, d.id)
			if d.head.Kind != 0 {
				require.True(t, d.head.Seq >= 1 && d.head.Seq <= d.head.Total)
			}
		default:
			require.NotNil(t, r)
			candidates(r)
		}
	})
}

func FuzzSubmit(f *testing.F) {
	f.Add("Ready 🚗", int64(3600), true)
	f.Add(strings.Repeat("[€]", 100), int64(0), false)
	f.Fuzz(func(t *testing.T, text string, seconds int64, receipt bool) {
		parts, err := longtext.NewSplitter(7).Split(text, false)
		if err != nil {
			return
		}
		sub := submission{to: "+447700900123", validity: time.Duration(seconds%1e8) * time.Second, receipt: receipt}
		var segs []*tpdu.TPDU
		for _, p := range parts {
			pdu, n, err := sub.submit(p)
			require.NoError(t, err)
			require.LessOrEqual(t, n, 164, "TS 23.040: a TPDU has at most 164 octets")
			seg, err := sms.Unmarshal(unhex(t, pdu)[1:], sms.AsMO)
			require.NoError(t, err)
			require.Equal(t, receipt, seg.FirstOctet.SRR())
			segs = append(segs, seg)
		}
		b, err := sms.Decode(segs)
		require.NoError(t, err)
		require.Equal(t, text, string(b))
	})
}
