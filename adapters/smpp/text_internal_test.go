package smpp

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
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"passbell/adapters/longtext"
	"passbell/adapters/smpp/pdu"
)

// lengths gives the units of each part, its header left out.
func lengths(parts []pdu.SM) []int {
	var out []int
	for _, p := range parts {
		_, body := splitHeader(p.ESM, p.Payload())
		n := len(body)
		if p.Coding == codingUCS2 {
			n /= 2
		}
		out = append(out, n)
	}
	return out
}

// TestSegments holds the table "Segment counts" of section 1 of the check
// values, computed apart from this code after TS 23.038 and 23.040.
func TestSegments(t *testing.T) {
	t.Parallel()
	rep := strings.Repeat
	tests := []struct {
		name string
		text string
		ucs2 bool
		want []int
	}{
		{name: "160 a", text: rep("a", 160), want: []int{160}},
		{name: "161 a", text: rep("a", 161), want: []int{153, 8}},
		{name: "306 a", text: rep("a", 306), want: []int{153, 153}},
		{name: "307 a", text: rep("a", 307), want: []int{153, 153, 1}},
		{name: "459 a", text: rep("a", 459), want: []int{153, 153, 153}},
		{name: "460 a", text: rep("a", 460), want: []int{153, 153, 153, 1}},
		{name: "158 a + €", text: rep("a", 158) + "€", want: []int{160}},
		{name: "159 a + €", text: rep("a", 159) + "€", want: []int{153, 8}},
		{name: "80 €", text: rep("€", 80), want: []int{160}},
		{name: "81 €", text: rep("€", 81), want: []int{152, 10}},
		{name: "152 a + € + 152 a", text: rep("a", 152) + "€" + rep("a", 152), want: []int{152, 153, 1}},
		{name: "152 a + € + 151 a", text: rep("a", 152) + "€" + rep("a", 151), want: []int{152, 153}},
		{name: "70 ж", text: rep("ж", 70), ucs2: true, want: []int{70}},
		{name: "71 ж", text: rep("ж", 71), ucs2: true, want: []int{67, 4}},
		{name: "134 ж", text: rep("ж", 134), ucs2: true, want: []int{67, 67}},
		{name: "135 ж", text: rep("ж", 135), ucs2: true, want: []int{67, 67, 1}},
		{name: "35 cars", text: rep("🚗", 35), ucs2: true, want: []int{70}},
		{name: "36 cars", text: rep("🚗", 36), ucs2: true, want: []int{66, 6}},
		{name: "67 cars", text: rep("🚗", 67), ucs2: true, want: []int{66, 66, 2}},
		{name: "66 ж + car + 66 ж", text: rep("ж", 66) + "🚗" + rep("ж", 66), ucs2: true, want: []int{66, 67, 1}},
		{name: "66 ж + car + 65 ж", text: rep("ж", 66) + "🚗" + rep("ж", 65), ucs2: true, want: []int{66, 67}},
		{name: "69 a + ’", text: rep("a", 69) + "’", ucs2: true, want: []int{70}},
		{name: "70 a + ’", text: rep("a", 70) + "’", ucs2: true, want: []int{67, 4}},
		{name: "160 a + ’", text: rep("a", 160) + "’", ucs2: true, want: []int{67, 67, 27}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, long := range []string{longUDH, longSAR} {
				parts, err := newWriter(long, alphabetGSM7, 0).parts(tt.text)
				require.NoError(t, err)
				require.Equal(t, tt.want, lengths(parts), long)
				require.Equal(t, tt.ucs2, parts[0].Coding == codingUCS2)
				require.Equal(t, tt.text, rejoin(t, parts))
			}
			parts, err := newWriter(longPayload, alphabetGSM7, 0).parts(tt.text)
			require.NoError(t, err)
			require.Len(t, parts, 1)
			require.Equal(t, tt.text, rejoin(t, parts))
		})
	}
}

// rejoin puts a text together from its parts as the far side would.
func rejoin(t *testing.T, parts []pdu.SM) string {
	t.Helper()
	text := ""
	for i, p := range parts {
		require.LessOrEqual(t, len(p.Short), 254)
		h, body := splitHeader(p.ESM, p.Payload())
		if len(parts) > 1 {
			_, _, total, seq, ok := concatOf(&p, h)
			require.True(t, ok)
			require.EqualValues(t, len(parts), total)
			require.EqualValues(t, i+1, seq)
		}
		text += decode(p.Coding, h, body, alphabetGSM7)
	}
	return text
}

func TestRandomTextsComeBackWhole(t *testing.T) {
	t.Parallel()
	signs := []rune("aB9 @£$¥èéùìòÇ\nØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ!\"#¤%&'()*+,-./:;<=>?¡ÄÖÑÜ§¿äöñüà^{}\\[~]|€")
	wide := append([]rune("’“ж漢🚗👩🏽‍🍳ç"), signs...)
	rng := rand.New(rand.NewPCG(7, 7))
	w := newWriter(longUDH, alphabetGSM7, 250)
	for range 3000 {
		from := signs
		if rng.IntN(2) == 0 {
			from = wide
		}
		var b strings.Builder
		for range 1 + rng.IntN(500) {
			b.WriteRune(from[rng.IntN(len(from))])
		}
		parts, err := w.parts(b.String())
		require.NoError(t, err)
		require.Equal(t, b.String(), rejoin(t, parts))
	}
}

func TestReferencesDiffer(t *testing.T) {
	t.Parallel()
	w := newWriter(longUDH, alphabetGSM7, 254)
	var refs []byte
	for range 3 {
		parts, err := w.parts(strings.Repeat("a", 200))
		require.NoError(t, err)
		require.Equal(t, parts[0].Short[3], parts[1].Short[3])
		refs = append(refs, parts[0].Short[3])
	}
	require.Equal(t, []byte{255, 0, 1}, refs, "8 bits, one after the other")
}

func TestTextsThatCannotGo(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		text string
		want error
	}{
		{name: "empty", text: "", want: longtext.ErrEmpty},
		{name: "not UTF-8", text: "ready \xff", want: longtext.ErrNotUTF8},
		{name: "256 parts", text: strings.Repeat("a", 255*153+1), want: longtext.ErrTooLong},
		{name: "a megabyte", text: strings.Repeat("a", 1<<20), want: longtext.ErrTooLong},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := newWriter(longUDH, alphabetGSM7, 0).parts(tt.text)
			require.ErrorIs(t, err, tt.want)
		})
	}
	parts, err := newWriter(longUDH, alphabetGSM7, 0).parts(strings.Repeat("a", 255*153))
	require.NoError(t, err)
	require.Len(t, parts, 255)
}

func TestLatin1Centre(t *testing.T) {
	t.Parallel()
	w := newWriter(longUDH, alphabetLatin1, 0)
	parts, err := w.parts("Crème £5 [hot]")
	require.NoError(t, err)
	require.Equal(t, []byte("Cr\xe8me \xa35 [hot]"), parts[0].Short)
	require.EqualValues(t, codingDefault, parts[0].Coding)
	for _, text := range []string{"€5", "ΔΦ", "ça", "🚗"} { // not in both alphabets
		parts, err = w.parts(text)
		require.NoError(t, err)
		require.EqualValues(t, codingUCS2, parts[0].Coding, text)
		require.Equal(t, text, decode(codingUCS2, longtext.Header{}, parts[0].Short, alphabetLatin1))
	}
	long := strings.Repeat("ça ", 40)
	parts, err = w.parts(long)
	require.NoError(t, err)
	require.Equal(t, []int{67, 53}, lengths(parts))
	require.Equal(t, long, rejoin(t, parts))
	require.Equal(t, "Crème £5", decode(0, longtext.Header{}, []byte("Cr\xe8me \xa35"), alphabetLatin1))
}

// TestAlphabet reads every code of gsm7.csv (TS 23.038 §6.2.1) and writes it.
func TestAlphabet(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../../shared/standards/gsm7.csv")
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("the table of check values is not here")
	}
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	w := newWriter(longUDH, alphabetGSM7, 0)
	seen := 0
	for _, row := range rows[1:] {
		code, err := strconv.ParseUint(row[0], 16, 8)
		require.NoError(t, err)
		if row[1] == "" {
			continue // the escape
		}
		point, err := strconv.ParseUint(strings.TrimPrefix(row[1], "U+"), 16, 32)
		require.NoError(t, err)
		octets := []byte{byte(code)}
		if !strings.HasPrefix(row[2], "basic") {
			octets = []byte{0x1B, byte(code)}
		}
		sign := string(rune(point))
		require.Equal(t, sign, decode(0, longtext.Header{}, octets, alphabetGSM7), row[3])
		parts, err := w.parts(sign)
		require.NoError(t, err)
		require.Equal(t, octets, parts[0].Short, row[3])
		require.Zero(t, parts[0].Coding)
		seen++
	}
	require.Equal(t, 137, seen, "127 of the alphabet and 10 of its extension")
}

func TestDecode(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		coding byte
		hex    string
		want   string
	}{
		// Unknown escapes and the lone one at the end: TS 23.038 §6.2.1.1 notes,
		// as quoted in section 1 of the check values.
		{name: "unknown escape shows the basic sign", coding: 0, hex: "1B41", want: "A"},
		{name: "lone escape shows a space", coding: 0, hex: "411B", want: "A "},
		{name: "octets above septets", coding: 0, hex: "C8E5", want: "He"},
		{name: "ASCII", coding: 1, hex: "40245B", want: "@$["},
		{name: "Latin-1", coding: 3, hex: "4372E86D65", want: "Crème"},
		{name: "UCS-2 with a pair", coding: 8, hex: "004A20190061D83DDE99", want: "J’a🚙"},
		{name: "UCS-2 with half a pair", coding: 8, hex: "0041D83D", want: "A\uFFFD"},
		{name: "UCS-2 with an odd octet", coding: 8, hex: "004142", want: "A\uFFFD"},
		{name: "Cyrillic", coding: 6, hex: "B6D6", want: "Жж"}, // ISO 8859-5: B6 U+0416, D6 U+0436 (from memory)
		{name: "Hebrew", coding: 7, hex: "E0", want: "א"},      // ISO 8859-8: E0 U+05D0 (from memory)
		{name: "binary", coding: 4, hex: "010203", want: "[no text: 3 octets of data]"},
		{name: "GSM class 0, 7-bit", coding: 0xF0, hex: "00", want: "@"},
		{name: "GSM class 0, 8-bit", coding: 0xF4, hex: "00", want: "[no text: 1 octets of data]"},
		{name: "GSM general, UCS-2", coding: 0x18, hex: "0041", want: "A"},
		{name: "GSM message waiting, UCS-2", coding: 0xE0, hex: "0041", want: "A"},
		{name: "something else", coding: 0x0E, hex: "4841FF", want: "HA\uFFFD"},
		{name: "nothing", coding: 0, hex: "", want: ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b, err := hex.DecodeString(tt.hex)
			require.NoError(t, err)
			require.Equal(t, tt.want, decode(tt.coding, longtext.Header{}, b, alphabetGSM7))
		})
	}
}

func TestHeader(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		hex   string
		kind  longtext.Kind
		ref   uint16
		total uint8
		seq   uint8
		body  string
	}{
		{name: "8-bit", hex: "0500032A020141", kind: longtext.Ref8, ref: 0x2A, total: 2, seq: 1, body: "41"},
		{name: "16-bit", hex: "060804012A020241", kind: longtext.Ref16, ref: 0x12A, total: 2, seq: 2, body: "41"},
		{name: "after ports", hex: "0B0504158200000003070201" + "41", kind: longtext.Ref8, ref: 7, total: 2, seq: 1, body: "41"},
		// "ignore the element": GSM 03.40 as quoted in section 1 of the check values.
		{name: "total 0", hex: "0500032A000041", body: "41"},
		{name: "part 0", hex: "0500032A020041", body: "41"},
		{name: "part beyond total", hex: "0500032A020341", body: "41"},
		{name: "one of one", hex: "0500032A010141", body: "41"},
		{name: "header longer than the message", hex: "2000032A0201", body: "2000032A0201"},
		{name: "element longer than the header", hex: "0500FF2A020141", body: "41"},
		{name: "empty header", hex: "0041", body: "41"},
		{name: "nothing at all", hex: "", body: ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b, err := hex.DecodeString(tt.hex)
			require.NoError(t, err)
			h, body := splitHeader(pdu.ESMUDHI, b)
			require.Equal(t, tt.kind, h.Kind)
			require.Equal(t, []any{tt.ref, tt.total, tt.seq}, []any{h.Ref, h.Total, h.Seq})
			require.Equal(t, strings.ToUpper(tt.body), strings.ToUpper(hex.EncodeToString(body)))
		})
	}
	// The Spanish shift table has á at 1B 61 (TS 23.038 §A.2.2, from memory).
	h, body := splitHeader(pdu.ESMUDHI, []byte{3, 0x24, 1, 2, 0x1B, 0x61})
	require.Equal(t, "á", decode(0, h, body, alphabetGSM7))
}

func FuzzInboundText(f *testing.F) {
	f.Add(byte(0), byte(pdu.ESMUDHI), []byte("\x05\x00\x03\x2a\x02\x01HERE"))
	f.Add(byte(8), byte(0), []byte("\x00J\xd8\x3d"))
	f.Fuzz(func(t *testing.T, coding, esm byte, b []byte) {
		h, body := splitHeader(esm, b)
		require.LessOrEqual(t, len(body), len(b))
		for _, alphabet := range []string{alphabetGSM7, alphabetLatin1} {
			text := decode(coding, h, body, alphabet)
			require.Equal(t, text, string([]rune(text)), "it is UTF-8")
			_ = utf16.Encode([]rune(text))
		}
	})
}
