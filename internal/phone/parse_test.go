package phone_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/phone"
)

// The first nine rows are the published pairs of input and E.164 that
// libphonenumber agrees with; the rest are spellings met in real exports, with
// the digits worked out by hand. Numbers are reserved for fiction.
func TestParse(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, typed, region, want string
		line                      phone.Line
	}{
		{"brackets round the area", "(07700) 900-123", "GB", "+447700900123", phone.Mobile},
		{"trunk nought in brackets", "+44 (0)7700 900123", "GB", "+447700900123", phone.Mobile},
		{"double nought", "0044 7700 900123", "GB", "+447700900123", phone.Mobile},
		{"country code without plus", "447700900123", "GB", "+447700900123", phone.Mobile},
		{"Canada", "1 416 555 0123", "CA", "+14165550123", phone.FixedOrMobile},
		{"United States", "202-555-0100", "US", "+12025550100", phone.FixedOrMobile},
		{"Australia", "0491 570 006", "AU", "+61491570006", phone.Mobile},
		{"Ireland", "085 012 3456", "IE", "+353850123456", phone.Mobile},
		{"Germany", "0151 23456789", "DE", "+4915123456789", phone.Mobile},

		{"spreadsheet apostrophe", "'+447700900123", "GB", "+447700900123", phone.Mobile},
		{"curly apostrophe", "’07700900123", "GB", "+447700900123", phone.Mobile},
		{"spreadsheet formula", `="07700900123"`, "GB", "+447700900123", phone.Mobile},
		{"leading nought lost", "7700900123", "GB", "+447700900123", phone.Mobile},
		{"turned into a fraction", "7700900123.0", "GB", "+447700900123", phone.Mobile},
		{"fraction with a comma", "447700900123,00", "GB", "+447700900123", phone.Mobile},
		{"thousands marks", "7,700,900,123", "GB", "+447700900123", phone.Mobile},
		{"trunk nought kept after the code", "+4407700900123", "GB", "+447700900123", phone.Mobile},
		{"trunk nought after a bare code", "4407700900123", "GB", "+447700900123", phone.Mobile},
		{"double nought and trunk nought", "0044(0)7700 900678", "GB", "+447700900678", phone.Mobile},
		{"plus and double nought", "+00447700900123", "GB", "+447700900123", phone.Mobile},
		{"plus before a national number", "+07700900123", "GB", "+447700900123", phone.Mobile},
		{"stroke inside one number", "07700/900448", "GB", "+447700900448", phone.Mobile},
		{"no-break and narrow spaces", "07700\u00a0900\u202f123", "GB", "+447700900123", phone.Mobile},
		{"invisible direction marks", "\u202a+44 7700 900123\u202c", "GB", "+447700900123", phone.Mobile},
		{"full-width digits", "０７７００９００１２３", "GB", "+447700900123", phone.Mobile},
		{"dashes of a word processor", "07700–900‑123", "GB", "+447700900123", phone.Mobile},
		{"label", "Mob: 07700 900123", "GB", "+447700900123", phone.Mobile},
		{"link", "tel:+447700900123", "GB", "+447700900123", phone.Mobile},
		{"the same number twice", "07700900123, +447700900123", "GB", "+447700900123", phone.Mobile},
		{"landline for drama", "020 7946 0123", "GB", "+442079460123", phone.Landline},
		{"area code in no use", "01632 960123", "GB", "+441632960123", phone.Landline},
		{"Irish number for drama", "020 910 1234", "IE", "+353209101234", phone.Mobile},
		{"French number for drama", "06 39 98 12 34", "FR", "+33639981234", phone.Mobile},
		{"Swedish number for drama", "070-174 06 10", "SE", "+46701740610", phone.Mobile},
		{"foreign number", "+1 416 555 0123", "GB", "+14165550123", phone.FixedOrMobile},
		{"dialled from the States", "011 44 7700 900123", "US", "+447700900123", phone.Mobile},
		{"dialled from Europe on an American form", "0044 7700 900123", "US", "+447700900123", phone.Mobile},
		{"American fraction", "2025550123.0", "US", "+12025550123", phone.FixedOrMobile},
		{"toll free for drama", "800-555-0199", "US", "+18005550199", phone.Free},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			n, err := phone.Parse(tt.typed, tt.region)
			require.NoError(t, err)
			require.Equal(t, tt.want, n.E164)
			require.Equal(t, tt.line, n.Line)
			require.Equal(t, tt.typed, n.Typed)
			require.Empty(t, n.Beside)
		})
	}
}

func TestParseRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, typed, region string
		want                phone.Kind
		offer               []string
	}{
		{"empty", "", "GB", phone.NoNumber, nil},
		{"only spaces", " \u00a0 ", "GB", phone.NoNumber, nil},
		{"none", "n/a", "GB", phone.NoNumber, nil},
		{"noughts", "0000", "GB", phone.NoNumber, nil},
		{"digits lost to a power of ten", "7.7009E+09", "GB", phone.DigitsLost, nil},
		{"one digit lost to a power of ten", "7.70090012E+09", "GB", phone.DigitsLost, nil},
		{"power of ten with every digit", "7.700900123E+09", "GB", phone.Confirm, []string{"+447700900123"}},
		{"column too narrow", "########", "GB", phone.DigitsLost, nil},
		{"two numbers", "07700 900123 / 07700 900124", "GB", phone.TwoNumbers, []string{"+447700900123", "+447700900124"}},
		{"two numbers run together", "07700900123 07700900124", "GB", phone.TwoNumbers, []string{"+447700900123", "+447700900124"}},
		{"two numbers with or", "07700900123 or 020 7946 0123", "GB", phone.TwoNumbers, []string{"+447700900123", "+442079460123"}},
		{"a digit missing", "0770090012", "GB", phone.TooShort, nil},
		{"two digits missing", "077009001", "GB", phone.TooShort, nil},
		{"no area code", "555-0123", "US", phone.TooShort, nil},
		{"digits too many", "07700900123456", "GB", phone.TooLong, nil},
		{"as before", "as before", "GB", phone.Words, nil},
		{"an address", "12 Mill Lane", "GB", phone.Words, nil},
		{"letters for digits", "O77OO 900123", "GB", phone.Confirm, []string{"+447700900123"}},
		{"a nought too many", "007700900123", "GB", phone.Confirm, []string{"+447700900123"}},
		{"foreign without a plus", "353850123456", "GB", phone.Confirm, []string{"+353850123456"}},
		{"long enough, not known to be in use", "07999 123456", "IE", phone.Unusual, []string{"+3537999123456"}},
		{"no such region", "07700900123", "XX", phone.NotReal, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			n, err := phone.Parse(tt.typed, tt.region)
			require.Zero(t, n)
			var trouble *phone.Error
			require.ErrorAs(t, err, &trouble)
			require.Equal(t, tt.want, trouble.Kind, "%+v", trouble.Offer)
			require.NotEmpty(t, trouble.What)
			require.NotEmpty(t, trouble.Fix)
			require.NotRegexp(t, `\d{4}`, trouble.Error(), "errors may be logged")
			var offer []string
			for _, o := range trouble.Offer {
				offer = append(offer, o.E164)
			}
			require.Equal(t, tt.offer, offer)
		})
	}
}

func TestParseKeepsWordsBeside(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"07700 900123 (mum)":      "mum",
		"mum 07700 900123":        "mum",
		"07700 900123 after 5pm":  "after 5pm",
		"07700900123 - text only": "text only",
	} {
		n, err := phone.Parse(typed, "GB")
		require.NoError(t, err, typed)
		require.Equal(t, "+447700900123", n.E164)
		require.Equal(t, want, n.Beside)
	}
}

func TestForeign(t *testing.T) {
	t.Parallel()
	tests := []struct {
		typed, region string
		want          bool
	}{
		{"07700 900123", "GB", false},
		{"07624 123456", "GB", false}, // Isle of Man: another region, the same +44
		{"+33 6 39 98 12 34", "GB", true},
		{"+353 20 910 1234", "GB", true},
		{"416 555 0123", "US", true}, // Canada shares +1 and is another country
		{"202 555 0123", "US", false},
	}
	for _, tt := range tests {
		n, err := phone.Parse(tt.typed, tt.region)
		require.NoError(t, err, tt.typed)
		require.Equal(t, tt.want, n.Foreign(tt.region), tt.typed)
	}
}

// The ranges are those published by the regulators named in fiction.go; the
// neighbours of each range are outside of it.
func TestFiction(t *testing.T) {
	t.Parallel()
	in := map[string]string{
		"+447700900000": "GB", "+447700900999": "GB", "+442079460999": "GB", "+441632960000": "GB",
		"+12025550100": "US", "+12025550199": "US", "+18005550199": "US", "+14165550150": "CA",
		"+61491570006": "AU", "+61491579455": "AU", "+61255501234": "AU", "+353209112345": "IE",
		"+493023125000": "DE", "+491713920099": "DE", "+33199001234": "FR", "+33639981234": "FR", "+46701740605": "SE",
	}
	for e164, region := range in {
		n, err := phone.Parse(e164, region)
		require.NoError(t, err, e164)
		require.True(t, n.Fiction, e164)
		require.Equal(t, region, n.Region, e164)
	}
	for e164, region := range map[string]string{
		"+447700800123": "GB", "+12025550200": "US", "+12025550099": "US", "+18005550198": "US",
		"+61491570007": "AU", "+491713920199": "DE", "+46701740604": "SE",
	} {
		n, err := phone.Parse(e164, region)
		if err == nil {
			require.False(t, n.Fiction, e164)
		}
	}
}

func TestMask(t *testing.T) {
	t.Parallel()
	require.Equal(t, "…123", phone.Mask("+447700900123"))
	require.Equal(t, "…", phone.Mask("+123"))
	require.Equal(t, "…", phone.Mask(""))
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"", "'+447700900123", "7.7009E+09", "07700 900123 / 07700 900124", "+44 (0)7700 900123", "O77OO", "#####", "=\"\"", "(0)", "+"} {
		f.Add(s, "GB")
	}
	f.Add("011 44 7700 900123", "US")
	f.Fuzz(func(t *testing.T, typed, region string) {
		n, err := phone.Parse(typed, region)
		if err != nil {
			var trouble *phone.Error
			require.ErrorAs(t, err, &trouble)
			return
		}
		require.Regexp(t, `^\+[1-9]\d{6,14}$`, n.E164)
		again, err := phone.Parse(n.E164, region)
		require.NoError(t, err)
		require.Equal(t, n.E164, again.E164, "an E.164 number reads as itself")
	})
}

func TestNational(t *testing.T) {
	t.Parallel()
	for range 2 { // worked out, then remembered
		require.Equal(t, "07700 900123", phone.National("+447700900123"))
		require.Equal(t, "(555) 555-0123", phone.National("+15555550123"))
		require.Equal(t, "kitchen", phone.National("kitchen"))
		require.Empty(t, phone.National(""))
	}
}
