package wording_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"github.com/warthog618/sms"
	"github.com/warthog618/sms/encoding/tpdu"

	"passbell/internal/wording"
)

// The alphabet, character by character, against a table of 3GPP TS 23.038
// §6.2.1 that agrees with Perl's Encode::GSM0338 3.17.
func TestAlphabetAgainstTheTable(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../../shared/standards/gsm7.csv")
	if err != nil {
		t.Skip("the table of the alphabet is not beside the checkout")
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	cost := map[rune]int{}
	for _, row := range rows[1:] {
		if row[1] == "" {
			continue // the escape itself
		}
		code, err := strconv.ParseUint(row[1], 16, 32)
		require.NoError(t, err)
		cost[rune(code)] = map[string]int{"basic": 1, "extension": 2}[row[2]]
	}
	require.Len(t, cost, 137)
	for r := rune(1); r <= 0x1F9FF; r++ {
		if !utf8.ValidRune(r) {
			continue
		}
		size := wording.Measure(string(r))
		if want, ok := cost[r]; ok {
			require.Equal(t, wording.Size{Encoding: wording.GSM7, Units: want, Parts: 1, UnitsPerPart: []int{want}}, size, "%U", r)
			continue
		}
		if size.Encoding != wording.UCS2 {
			require.Failf(t, "not in the alphabet", "%U", r)
		}
	}
}

// Counts of 3GPP TS 23.040 §9.2.3.24.1 with an 8-bit reference, as standards.md
// §1 tables them; two of its rows catch a plain division by the limit.
func TestSegmentTable(t *testing.T) {
	t.Parallel()
	rep := strings.Repeat
	tests := []struct {
		name, text string
		encoding   wording.Encoding
		units      int
		perPart    []int
	}{
		{"160 a", rep("a", 160), wording.GSM7, 160, []int{160}},
		{"161 a", rep("a", 161), wording.GSM7, 161, []int{153, 8}},
		{"306 a", rep("a", 306), wording.GSM7, 306, []int{153, 153}},
		{"307 a", rep("a", 307), wording.GSM7, 307, []int{153, 153, 1}},
		{"459 a", rep("a", 459), wording.GSM7, 459, []int{153, 153, 153}},
		{"460 a", rep("a", 460), wording.GSM7, 460, []int{153, 153, 153, 1}},
		{"158 a + €", rep("a", 158) + "€", wording.GSM7, 160, []int{160}},
		{"159 a + €", rep("a", 159) + "€", wording.GSM7, 161, []int{153, 8}},
		{"80 €", rep("€", 80), wording.GSM7, 160, []int{160}},
		{"81 €", rep("€", 81), wording.GSM7, 162, []int{152, 10}},
		{"152 a + € + 152 a", rep("a", 152) + "€" + rep("a", 152), wording.GSM7, 306, []int{152, 153, 1}},
		{"152 a + € + 151 a", rep("a", 152) + "€" + rep("a", 151), wording.GSM7, 305, []int{152, 153}},
		{"70 ж", rep("ж", 70), wording.UCS2, 70, []int{70}},
		{"71 ж", rep("ж", 71), wording.UCS2, 71, []int{67, 4}},
		{"134 ж", rep("ж", 134), wording.UCS2, 134, []int{67, 67}},
		{"135 ж", rep("ж", 135), wording.UCS2, 135, []int{67, 67, 1}},
		{"35 cars", rep("🚗", 35), wording.UCS2, 70, []int{70}},
		{"36 cars", rep("🚗", 36), wording.UCS2, 72, []int{66, 6}},
		{"67 cars", rep("🚗", 67), wording.UCS2, 134, []int{66, 66, 2}},
		{"66 ж + car + 66 ж", rep("ж", 66) + "🚗" + rep("ж", 66), wording.UCS2, 134, []int{66, 67, 1}},
		{"66 ж + car + 65 ж", rep("ж", 66) + "🚗" + rep("ж", 65), wording.UCS2, 133, []int{66, 67}},
		{"69 a + ’", rep("a", 69) + "’", wording.UCS2, 70, []int{70}},
		{"70 a + ’", rep("a", 70) + "’", wording.UCS2, 71, []int{67, 4}},
		{"160 a + ’", rep("a", 160) + "’", wording.UCS2, 161, []int{67, 67, 27}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, wording.Size{
				Encoding: tt.encoding, Units: tt.units, Parts: len(tt.perPart), UnitsPerPart: tt.perPart,
			}, wording.Measure(tt.text))
			require.Equal(t, len(tt.perPart), wording.Parts(tt.text))
		})
	}
}

func TestEmptyTextHasNoParts(t *testing.T) {
	t.Parallel()
	require.Equal(t, wording.Size{Encoding: wording.GSM7}, wording.Measure(""))
	require.Empty(t, wording.Split(""))
	require.Zero(t, wording.Parts(""))
}

// Against github.com/warthog618/sms, which puts texts into PDUs.
func TestTenThousandTextsAgainstAPDULibrary(t *testing.T) {
	t.Parallel()
	for i, text := range randomTexts(10_000) {
		pdus, err := sms.Encode([]byte(text))
		require.NoError(t, err)
		var want wording.Size
		alpha, err := pdus[0].Alphabet()
		require.NoError(t, err)
		want.Encoding, want.Parts = wording.UCS2, len(pdus)
		if alpha == tpdu.Alpha7Bit {
			want.Encoding = wording.GSM7
		}
		for _, p := range pdus {
			n := len(p.UD)
			if want.Encoding == wording.UCS2 {
				n /= 2
			}
			want.Units += n
			want.UnitsPerPart = append(want.UnitsPerPart, n)
		}
		if got := wording.Measure(text); !reflect.DeepEqual(want, got) {
			require.Equal(t, want, got, "text %d: %q", i, text)
		}
		checkSplit(t, text)
	}
}

// Against the npm package sms-segments-calculator, where it can be had.
func TestAgainstASegmentCounter(t *testing.T) {
	t.Parallel()
	texts := randomTexts(2_000)
	in, err := json.Marshal(texts)
	require.NoError(t, err)
	const script = `const {SegmentedMessage} = require('sms-segments-calculator');
		const texts = JSON.parse(require('fs').readFileSync(0, 'utf8'));
		console.log(JSON.stringify(texts.map(x => { const m = new SegmentedMessage(x, 'auto');
			const bits = m.encodingName === 'GSM-7' ? 7 : 16;
			return [m.encodingName, ...m.segments.map(s => s.messageSizeInBits() / bits)]; })));`
	cmd := exec.CommandContext(t.Context(), "node", "-e", script)
	cmd.Stdin = strings.NewReader(string(in))
	out, err := cmd.Output()
	if err != nil {
		t.Skip("node with sms-segments-calculator 1.3.0 on NODE_PATH is not here")
	}
	var got [][]any
	require.NoError(t, json.Unmarshal(out, &got))
	for i, text := range texts {
		size := wording.Measure(text)
		want := []any{string(size.Encoding)}
		for _, n := range size.UnitsPerPart {
			want = append(want, float64(n))
		}
		require.Equal(t, want, got[i], "%q", text)
	}
}

// checkSplit holds the parts of a text to the limits by UTF-16, apart from the
// code under test.
func checkSplit(t require.TestingT, text string) {
	parts := wording.Split(text)
	require.Equal(t, text, strings.Join(parts, ""))
	size := wording.Measure(text)
	require.Len(t, parts, size.Parts)
	for i, p := range parts {
		require.True(t, utf8.ValidString(p))
		if size.Encoding == wording.UCS2 {
			require.Len(t, utf16.Encode([]rune(p)), size.UnitsPerPart[i])
		}
	}
}

// randomTexts makes texts about every boundary, from what customers and cooks
// type.
func randomTexts(n int) []string {
	rng := rand.New(rand.NewPCG(7, 42)) //nolint:gosec // the same texts on every run
	plain := []rune("abcdefghijklmnopqrstuvwxyz ABCDEFGHIJKLMNOPQRSTUVWXYZ 0123456789 .,:;!?'\"()/&+-@£$¥èéùìòÇØøÅåÆæßÉ¡ÄÖÑܧ¿äöñüàΔΦΓΛΩΠΨΣΘΞ\n\r_#%*<=>¤")
	paired := []rune("^{}\\[~]|€\f")
	wide := []rune("’‘“”–—…çêîôáíóúжЖ中文º½\t`")
	astral := []rune("🚗🚙😀🥟")
	out := make([]string, 0, n)
	for range n {
		kind := rng.IntN(4)
		length := []int{rng.IntN(30) + 1, 60 + rng.IntN(20), 125 + rng.IntN(45), 295 + rng.IntN(180)}[rng.IntN(4)]
		text := make([]rune, 0, length)
		for range length {
			set := plain
			switch p := rng.IntN(20); {
			case p == 0 || kind == 3 && p < 9:
				set = paired
			case p == 1 && kind == 1:
				set = wide
			case p < 6 && kind == 2:
				set = astral
			}
			text = append(text, set[rng.IntN(len(set))])
		}
		out = append(out, string(text))
	}
	slices.Sort(out)
	return out
}

func FuzzSplit(f *testing.F) {
	for _, s := range []string{"", "a", strings.Repeat("€", 81), strings.Repeat("🚗", 36), "\xff\xfe", "a\x00b"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		size := wording.Measure(s)
		parts := wording.Split(s)
		require.Equal(t, s, strings.Join(parts, ""))
		require.Len(t, parts, size.Parts)
		sum, one, limit := 0, 160, 153
		if size.Encoding == wording.UCS2 {
			one, limit = 70, 67
		}
		for _, n := range size.UnitsPerPart {
			require.Positive(t, n)
			require.LessOrEqual(t, n, one)
			require.True(t, size.Parts == 1 || n <= limit, fmt.Sprint(size))
			sum += n
		}
		require.Equal(t, size.Units, sum)
		wording.Warnings(s)
		require.LessOrEqual(t, wording.Measure(wording.Straighten(s)).Units, 3*size.Units)
	})
}

func TestPrice(t *testing.T) {
	t.Parallel()
	tests := []struct {
		in, currency, money string
		perPart, cost       int64 // of 120 parts, in minor units
	}{
		{"0.0395 GBP", "GBP", "4.74 GBP", 3950, 474},
		{"0.04 GBP", "GBP", "4.80 GBP", 4000, 480},
		{"0.00791 USD", "USD", "0.95 USD", 791, 95},
		{"12 JPY", "JPY", "1440 JPY", 12000, 1440}, // ISO 4217: yen have no decimal places
		{"0.011 KWD", "KWD", "1.320 KWD", 11000, 1320},
		{"0 EUR", "EUR", "0.00 EUR", 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.in, func(t *testing.T) {
			t.Parallel()
			p, err := wording.ParsePrice(tt.in)
			require.NoError(t, err)
			require.Equal(t, wording.Price{PerPart: tt.perPart, Currency: tt.currency}, p)
			require.Equal(t, tt.cost, p.Cost(120))
			require.Equal(t, tt.money, wording.Money(p.Cost(120), tt.currency))
		})
	}
	for _, bad := range []string{"", "0.04", "GBP", "GBP 0.04", "-1 GBP", "x GBP", "NaN GBP", "Inf GBP", "0.04 POUNDS", "1e300 GBP", "0,04 GBP"} {
		_, err := wording.ParsePrice(bad)
		require.Error(t, err, bad)
	}
	require.Equal(t, int64(1), wording.Price{PerPart: 1}.Cost(1), "rounded up: a cook would rather know")
}
