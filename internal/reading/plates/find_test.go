package plates_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/internal/reading/plates"
)

// read gives the surest whole plate and the surest part in a text.
func read(text, region string) (plate, part string) {
	for _, h := range plates.Find(text, region) {
		if h.Part && part == "" {
			part = h.Plate
		}
		if !h.Part && plate == "" {
			plate = h.Plate
		}
	}
	return plate, part
}

// TestFind reads invented texts; the plates are the published examples or follow
// their shapes.
func TestFind(t *testing.T) {
	t.Parallel()

	tests := []struct{ name, region, text, plate, part string }{
		{"spaced", "GB", "outside now AB12 CDE", "AB12CDE", ""},
		{"small letters in three", "GB", "its ab 12 cde", "AB12CDE", ""},
		{"dashes", "GB", "reg: ab-12-cde", "AB12CDE", ""},
		{"cue after", "GB", "AB12 CDE is the reg", "AB12CDE", ""},
		{"letter O for zero", "GB", "KX7O UWD", "KX70UWD", ""},
		{"a van called Custom, with a slip", "GB", "Transit Custom, plate KX7O UWD", "KX70UWD", ""},
		{"a province in short, with a slip", "CA", "tan Sierra, Sask plate 8O2 MWR", "802MWR", ""},
		{"a province in short before the plate", "CA", "brown Tundra, Sask 655 HGL", "655HGL", ""},
		{"Nebraska by county", "US", "tan Corolla, Nebraska 3O-B417", "30B417", ""}, // from memory
		{"a count of plates", "US", "need bout 60 plates", "", ""},
		{"letter I for one", "GB", "AB I2 CDE", "AB12CDE", ""},
		{"zero for letter O", "GB", "AB12 CD0", "AB12CDO", ""},
		{"S for five", "GB", "AB1S CDE", "AB15CDE", ""},
		{"last three an everyday word", "GB", "reg ab12 egg", "AB12EGG", ""},
		{"prefix", "GB", "D123 ABC old rover", "D123ABC", ""},
		{"suffix", "GB", "ABC 123D, green Morris", "ABC123D", ""},
		{"private, short", "GB", "private plate K1 NGS", "K1NGS", ""},
		{"dateless with a cue", "GB", "plate is 123 ABC", "123ABC", ""},
		{"Northern Ireland with a slip", "GB", "ABZ I234", "ABZ1234", ""},
		{"Irish in Britain", "GB", "191-D-12345", "191D12345", ""},
		{"British in Ireland", "IE", "ab 12 cde", "AB12CDE", ""},
		{"Irish", "IE", "12 ke 44 outside", "12KE44", ""},
		{"Irish with slips", "IE", "reg 15I M0 233", "151MO233", ""},
		{"German", "DE", "Kennzeichen M-AB 1234", "MAB1234", ""},
		{"German with an umlaut", "DE", "MÜ-AB 123", "MÜAB123", ""},
		{"French", "FR", "clio rouge AB-123-CD", "AB123CD", ""},
		{"Dutch", "NL", "kenteken 12-BCD-3", "12BCD3", ""},
		{"Spanish", "ES", "matricula 1234 BCD", "1234BCD", ""},
		{"Italian", "IT", "targa AB 123 CD", "AB123CD", ""},
		{"Polish", "PL", "rejestracja WX 12345", "WX12345", ""},
		{"Canadian", "CA", "Ontario plate ABCD 123", "ABCD123", ""},
		{"four letters and spelled digits", "CA", "abcd one two three", "ABCD123", ""},
		{"a piece in it", "CA", "the plate has a 123 in it", "", "123"},
		{"letters on the plate", "CA", "the one with ABD on the plate", "", "ABD"},
		{"first letters", "CA", "first letters are ABD", "", "ABD"},
		{"Victorian", "AU", "rego 1ab 2cd", "1AB2CD", ""},
		{"Queensland with a slip", "AU", "QLD plate 12O ABC", "120ABC", ""},
		{"state before", "US", "white truck, TX RXB 4410", "RXB4410", ""},
		{"state name", "US", "Kansas tag 482 RFK", "482RFK", ""},
		{"state decides a letter", "US", "TN BR0 4471", "BRO4471", ""},
		{"usual serial with a digit before", "US", "black Civic 4RTX9O2", "4RTX902", ""},
		{"Ontario with a slip", "CA", "plate CWXR O48", "CWXR048", ""},
		{"Ontario truck with a slip", "CA", "BR73O45", "BR73045", ""},
		{"vanity keeps its L", "US", "vanity plate BUNL4N", "BUNL4N", ""},
		{"like a postcode behind a car", "GB", "blue Polo, CX63 0AB", "CX63OAB", ""},
		{"a postcode", "GB", "I live at CX63 0AB", "", ""},
		{"private number", "GB", "private number KD 4", "KD4", ""},
		{"Italian in Britain", "GB", "red Fiat, targa FB 219 KD", "FB219KD", ""},
		{"a car called Targa", "GB", "black Porsche Targa AB12 CDE", "AB12CDE", ""},
		{"Polish in Britain", "GB", "grey Passat, WGM 40718", "WGM40718", ""},
		{"usual serial without a state", "US", "RXB 44I0", "RXB4410", ""},
		{"no state, no change in letters", "US", "BR0 4471", "BR04471", ""},
		{"digits alone with a state", "US", "plate 12O 456, Rhode Island", "120456", ""},
		{"vanity", "US", "my plate says DUMPLNG", "DUMPLNG", ""},
		{"vanity keeps its zero", "US", "vanity plate H0TBUN", "H0TBUN", ""},
		{"vanity after a car", "US", "Black Charger BUN-K2R", "BUNK2R", ""},
		{"vanity of two words", "US", "plate: GO STEAM", "GOSTEAM", ""},
		{"look for", "US", "look for STEAM4U", "STEAM4U", ""},
		{"vanity behind a comma", "US", "it's a vanity, GRAVYMN, can't miss it", "GRAVYMN", ""},
		{"vanity that is an everyday word", "US", "license plate HUNGRY", "HUNGRY", ""},
		{"the state is no part of it", "US", "plate is NY L0T 4420", "LOT4420", ""},
		{"the state before two words", "US", "plate IL CT 71O39", "CT71039", ""},
		{"called a plate behind it", "IE", "ZB 4471 is on it", "ZB4471", ""},
		{"French abroad", "GB", "french plates AB-123-CD", "AB123CD", ""},
		{"Dutch abroad", "GB", "it's dutch, 12-GBB-3", "12GBB3", ""},
		{"Italian abroad", "IE", "italian plate FK 123 LM", "FK123LM", ""},
		{"Spanish abroad", "GB", "spanish 4412KJH", "4412KJH", ""},
		{"ICAO alphabet", "GB", "alpha bravo one two charlie delta echo", "AB12CDE", ""},
		{"as in", "US", "T as in tom B as in boy X as in xray 4 4 9 2", "TBX4492", ""},
		{"letters' names", "GB", "reg is ay bee one two see dee ee", "AB12CDE", ""},
		{"double", "IE", "two four one D one oh double two seven", "241D10227", ""},
		{"number word between letters", "GB", "ab twelve cde", "AB12CDE", ""},
		{"letters one by one", "GB", "A B 1 2 C D E", "AB12CDE", ""},
		{"ends", "GB", "blue focus, ends CDF", "", "CDF"},
		{"last three", "GB", "last three of the reg are cdf", "", "CDF"},
		{"last four digits", "US", "last 4 on the plate are 8812", "", "8812"},
		{"starts", "GB", "it starts AB12", "", "AB12"},
		{"two words of a beginning", "IE", "number starts 241 D", "", "241D"},
		{"beginning only", "GB", "reg AB12 something", "", "AB12"},
		{"end spelled", "GB", "ends charlie delta foxtrot", "", "CDF"},
		{"looks like a measure", "US", "black 4runner ends in 47K", "", "47K"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			plate, part := read(tt.text, tt.region)
			require.Equal(t, tt.plate, plate, tt.text)
			require.Equal(t, tt.part, part, tt.text)
		})
	}
}

// TestNoPlate holds what is no plate: postcodes, references, times, telephones,
// prices, house numbers, models, quantities, codes and everyday words.
func TestNoPlate(t *testing.T) {
	t.Parallel()

	tests := map[string][]string{
		"GB": {
			"B12 3AB is the postcode", "is it CF10 3AT?", "LS16 0AB", "PE27 5JL", "cf103at", "your postcode SW1A 1AA?",
			"1815 pls", "can i come at 1830 or 1845", "eta 1745", "ETA 1745", "5ish", "be 15 min", "6pm", "17.10",
			"ring 0161 496 0123", "07700 900123", "£12.50 right?", "I'm at number 12a", "Flat 3B", "room 12B",
			"order K401", "2x pork, 12 pcs and 1x slaw", "8pc veg", "BMW 320d", "audi A3 now", "peugeot 208", "mazda CX5",
			"a 69 plate golf", "its an M reg polo", "M25 is shut", "A40 jammed at J12", "4x4 outside", "use code SAVE15NOW",
			"ref T19 ABC", "is the plate hot?", "paper plates too pls", "A&E", "covid 19", "see u at 10 bob", "my shift ends 6pm",
		},
		"US": {
			"Austin TX 78701", "IL 60614", "my zip is 60614", "order T101", "I35 is backed up", "US 101", "exit 12B",
			"312-555-0142", "apt 4B", "SAT 1730", "NOV 2026", "ETA 1745", "F150", "dodge ram 1500", "model 3", "rav4",
			"look for Helen", "look for the sign", "my tag is dirty", "plate is the same", "a plate of buns", "2 dozen", "gate code 4412",
			"lol 1815", "12 ct", "off hwy 290",
		},
		"AU": {"tues 1830 ok", "unit 2/14 Acacia St 3121", "NSW 2000", "50 mins", "3 for 2"},
		"CA": {"M5V 2T6"},
		"IE": {"is it A65 F4E2?", "be there 10 to 7"},
		"DE": {"um 18 uhr"},
	}
	for region, texts := range tests {
		for _, text := range texts {
			t.Run(region+" "+text, func(t *testing.T) {
				t.Parallel()
				require.Empty(t, plates.Find(text, region))
			})
		}
	}
}

func TestOptions(t *testing.T) {
	t.Parallel()

	t.Run("a reference is never a plate", func(t *testing.T) {
		t.Parallel()
		opts := plates.Options{Refs: map[string]struct{}{"ABC123": {}}}
		require.Empty(t, plates.FindWith("reg abc123", "AU", opts))
	})
	t.Run("a known plate needs no cause", func(t *testing.T) {
		t.Parallel()
		opts := plates.Options{Known: map[string]string{plates.Fold("DUMPLNG"): "DUMPLNG", plates.Fold("480216"): "480216"}}
		require.Equal(t, "DUMPLNG", plates.FindWith("dumplng here", "US", opts)[0].Plate)
		require.Equal(t, "480216", plates.FindWith("back again 48O 216", "US", opts)[0].Plate)
	})
}

func TestSpanAndWhy(t *testing.T) {
	t.Parallel()
	const text = "grey golf, reg ab12 cde, by the gate"
	hits := plates.Find(text, "GB")
	require.Len(t, hits, 1)
	require.Equal(t, "ab12 cde", text[hits[0].Start:hits[0].End])
	require.Equal(t, "GB current", hits[0].Format)
	require.NotEmpty(t, hits[0].Why)
}

// A plate's last letters may spell a word for a car.
func TestLettersThatSpellACar(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"grey golf aa02 cab": "AA02CAB", "ab12 van": "AB12VAN", "blue corsa ab12 suv": "AB12SUV", "AA02 CAB": "AA02CAB",
		"red van": "", "black cab outside": "",
	} {
		plate, _ := read(text, "GB")
		require.Equal(t, want, plate, text)
	}
}

// TestWritten checks that a current British plate is read however it is written.
func TestWritten(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		letter := func(set string) string { return string(set[rapid.IntRange(0, len(set)-1).Draw(rt, "letter")]) }
		tag := letter("ABCDEFGHKLMNOPRSVWY") + letter("ABCDEFGHJKLMNOPRSTUVWXY")
		age := rapid.SampledFrom([]string{"02", "12", "19", "26", "51", "60", "70", "76"}).Draw(rt, "age")
		last := letter("ABCDEFGHJKLMNOPRSTUVWXYZ") + letter("ABCDEFGHJKLMNOPRSTUVWXYZ") + letter("ABCDEFGHJKLMNOPRSTUVWXYZ")
		if slices.Contains([]string{"VRM", "VRN", "REG", "LIC", "TAG", "NUM", "VIN"}, last) {
			return // they announce a plate: "aa02 reg" may go either way
		}
		sep := rapid.SampledFrom([]string{"", " ", "-"}).Draw(rt, "sep")
		typed := tag + age + sep + last
		if rapid.Bool().Draw(rt, "slip") {
			typed = tag + strings.NewReplacer("0", "O", "1", "I").Replace(age) + sep + last
		}
		if rapid.Bool().Draw(rt, "small") {
			typed = strings.ToLower(typed)
		}
		text := rapid.SampledFrom([]string{"reg %s", "%s", "grey golf %s", "im outside, plate is %s x", "%s is my reg"}).Draw(rt, "text")
		plate, _ := read(strings.Replace(text, "%s", typed, 1), "GB")
		require.Equal(rt, tag+age+last, plate, typed)
	})
}

func TestFoldAndCanonical(t *testing.T) {
	t.Parallel()
	require.Equal(t, "AB10CDE", plates.Fold("AB1OCDE"))
	require.Equal(t, plates.Fold("IOI"), plates.Fold("101"))
	for _, s := range []string{"ab12 cde", "AB12-CDE", "AB 12 CDE"} {
		require.Equal(t, "AB12CDE", plates.Canonical(s)) // source: check values, canonical form
	}
	require.Equal(t, "MÜAB1", plates.Canonical("mü-ab 1"))
}

// FuzzFind checks that no text panics and that every hit keeps its promises.
func FuzzFind(f *testing.F) {
	for _, s := range []string{"", "reg AB12 CDE", "TN BR0 4471", "M as in", "\xff\xfe", "🚗 ＡＢ１２ ＣＤＥ", "plate says", "ends in", "x ray double", "MÜ-AB 1", "a b c d e f g h i j k l m n o p q r"} {
		f.Add(s, "GB")
		f.Add(s, "US")
		f.Add(s, "DE")
	}
	f.Fuzz(func(t *testing.T, text, region string) {
		if len(text) > 6400 {
			return
		}
		last := 1.0
		for _, h := range plates.Find(text, region) {
			require.True(t, 0 <= h.Start && h.Start < h.End && h.End <= len(text))
			require.NotEmpty(t, h.Plate)
			require.NotEmpty(t, h.Why)
			require.True(t, h.Score >= 0.5 && h.Score <= last)
			last = h.Score
		}
	})
}
