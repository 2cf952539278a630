package plates

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// fits tells whether a canonical plate fits, without a slip, a format whose name
// begins with name, in the area where one is given.
func fits(t *testing.T, country, name, area, plate string) bool {
	t.Helper()
	of := formats().byCountry[country]
	require.NotNil(t, of, country)
	plate = strings.NewReplacer("Ä", "A", "Ö", "O", "Ü", "U").Replace(plate)
	if len(plate) > maxPlate {
		return false
	}
	var out [maxPlate]byte
	for _, f := range of[len(plate)] {
		if strings.HasPrefix(f.name, name) && (area == "" || f.issuedBy(area)) && f.fit(out[:len(plate)], []byte(plate)) == 0 {
			return true
		}
	}
	return false
}

// TestPublishedExamples checks the formats against the good and bad examples of
// the published tables. Sources: GB and NI: DVLA INF104, V355 and drivearchive;
// IE: extra.ie 2024, fact-archive; DE: FZV Annex 2 (2011) 1-2; FR: sivpro.fr; NL:
// license-plate 2.2.1 (MIT); AU: linkt.com.au help; CA: ontario.ca; ES, IT, BE, FR
// before 2009 and the Crown dependencies: from memory.
func TestPublishedExamples(t *testing.T) {
	t.Parallel()

	tests := []struct {
		country, name, area, good, bad string
	}{
		{"GB", "GB current", "", "AB12CDE SR60BMD BD51SMR CA22ABC LK76ZZZ", "AZ12CDE IB12CDE AB01CDE AB12CIE AB12CDQ A12CDE AB1CDE"},
		{"GB", "GB prefix", "", "A123BCD T1ABC Y999XYB P20CAR", "I123BCD O123BCD U123BCD Z123BCD A0ABC A012BCD A1234BCD"},
		{"GB", "GB suffix", "", "ABC123D TRD567A AYB1Y", "ABC123I ABC123Z ABC1234D AIC123D"},
		{"GB", "GB dateless", "", "A1 AM51 AB1234 1234AB 123ABC ABC123", "A0 ABC1234 ABCD12 12345A"},
		{"GB", "GB Q", "", "Q123ABC", "Q12345 AQ12ABC"},
		{"GB", "GB Northern Ireland", "", "ABZ1234 FGZ9876 OI1234 XIA1 1234AZ AIL123", "ABC1234 AB12CDE ABZ12345"},
		{"GB", "GB diplomatic", "", "123D456 270X101", "123A456"},
		{"GB", "GB Crown", "", "J123456 MN1234 BMN123A MAN12", "J K123"},
		{"IE", "IE 1987", "", "07D654321 92WX1156 12LK1 00MO45", "13D1234 07X123 07D0123 07D1234567"},
		{"IE", "IE 2013", "", "131D1 132WW123456 251D12345 262C99", "133D1 121D1 251X1 251D0"},
		{"DE", "DE", "", "BAB1234 MÜCD123E HHA1 KAB123H ÖHRAB12", "BAB0123 ABCDE12345 B1234"},
		{"FR", "FR", "", "AA001AA AB123CD ZZ999ZZ FY246GW", ""},
		{"FR", "FR temporary", "", "WW123AB", "WX123AB"},
		{"FR", "FR 1950", "", "1234AB75 123ABC69 12AB2A", "1234AB96"},
		{"NL", "NL", "", "AB1234 1234AB 12AB34 AB12CD ABCD12 12ABCD 12BCD3 1BCD23 GB001B B123CD BCD12F B12CDF 1BC234 123BC4", "A12345 ABC123"},
		{"ES", "ES", "", "1234BCD", "1234ABC 1234BQD"},
		{"IT", "IT", "", "AB123CD", "AQ123CD"},
		{"BE", "BE", "", "1ABC234 2XYZ123", ""},
		{"CA", "CA", "ON", "ABCD123 CMHR456", "ABC1234"},
		{"AU", "AU", "NSW", "CK00MC DKY00A ABC123", "1AB2CD"},
		{"AU", "AU", "QLD", "123ABC 123AB4", "ABC123"},
		{"AU", "AU", "VIC", "1AB2CD ABC123", "123ABC"},
		{"AU", "AU", "SA", "S000CAC", "A123BCD"},
		{"AU", "AU", "WA", "1ABC234", "ABC1234"},
		{"AU", "AU", "TAS", "H00QS A12BC", "AB12CD"},
		{"AU", "AU", "ACT", "YLS00A", "ABC12D"},
		{"AU", "AU", "NT", "CC50AA CD15AA", "DC50AA"},
	}
	for _, tt := range tests {
		t.Run(tt.name+tt.area, func(t *testing.T) {
			t.Parallel()
			for _, p := range strings.Fields(tt.good) {
				require.True(t, fits(t, tt.country, tt.name, tt.area, p), "good %s", p)
			}
			for _, p := range strings.Fields(tt.bad) {
				require.False(t, fits(t, tt.country, tt.name, tt.area, p), "bad %s", p)
			}
		})
	}
}

// TestFrenchBans checks what the French system leaves out. Source: sivpro.fr,
// lagazettedescommunes.
func TestFrenchBans(t *testing.T) {
	t.Parallel()
	for _, p := range []string{"AI123AA", "AA000AA", "SS123AA", "AA123SS", "AA12AA"} {
		require.False(t, fits(t, "FR", "FR", "", p), p)
	}
}

// TestStateSerials checks usual passenger serials of the states. Source: the state
// pages of wikimili and Wikipedia for AZ, CA, FL, GA, IL, MD, MI, NY, PA, TX and
// WV; the others from memory.
func TestStateSerials(t *testing.T) {
	t.Parallel()
	for area, plate := range map[string]string{
		"AZ": "ABC1234", "CA": "8ABC123", "FL": "ABCD12", "GA": "ABC1234", "IL": "AB12345", "MD": "1AB2345", "MI": "ABC1234",
		"NY": "ABC1234", "PA": "ABC1234", "TX": "ABC1234", "KS": "482RFL", "LA": "417DKN", "MO": "AB1C2D", "NJ": "A12BCD",
		"OR": "123ABC", "UT": "A123BC", "VT": "ABC123", "MA": "1ABC23", "ME": "1234AB", "RI": "123456", "WV": "1AB234",
	} {
		require.True(t, fits(t, "US", "US", area, plate), "%s %s", area, plate)
	}
}

// TestAgeIdentifiers checks that 01 was never issued and that the identifiers of
// INF104, pages 5 and 6, are taken.
func TestAgeIdentifiers(t *testing.T) {
	t.Parallel()
	for _, id := range strings.Fields("02 10 23 25 26 27 50 51 60 73 75 76 77 99 00") {
		require.True(t, fits(t, "GB", "GB current", "", "AB"+id+"CDE"), id)
	}
	require.False(t, fits(t, "GB", "GB current", "", "AB01CDE"))
}

// TestTableRefuses checks that a wrong row is refused with its reason.
func TestTableRefuses(t *testing.T) {
	t.Parallel()
	const head = "country,area,name,shapes,home,abroad,rule\n"
	for name, row := range map[string]string{
		"no number":     "GB,,X,A1,high,0,\n",
		"no such rule":  "GB,,X,A1,0.5,0,nothing\n",
		"shape too big": "GB,,X,AAAAAAAAAAAA,0.5,0,\n",
		"columns":       "GB,,X,A1\n",
	} {
		_, err := loadFormats(head + row)
		require.Error(t, err, name)
	}
}
