package phone

import "strings"

// reserved is one range of numbers that a regulator keeps for films and
// examples. A number is in it when it starts with prefix, has size digits more
// and, as far as first and last are given, those digits lie between them.
type reserved struct {
	prefix      string // E.164 with the plus
	size        int
	first, last string
	region      string
	line        Line   // set where the number tables call the range unused
	source      string // where the range was read
}

// The published lists as read in public copies; "from memory" where no copy was
// at hand.
const (
	ofcom  = "Ofcom, numbers for drama use"
	acma   = "ACMA, numbers for use in TV shows, films and creative works"
	comreg = "ComReg, numbers for drama use; second-hand"
	bnetza = "Bundesnetzagentur, Mitteilung 148/2021"
	arcep  = "ARCEP, numbers for audiovisual works; from memory"
	pts    = "PTS, numbers for books and films"
)

// ranges is never written to.
var ranges = []reserved{
	{prefix: "+447700900", size: 3, region: "GB", line: Mobile, source: ofcom},
	{prefix: "+442079460", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441134960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441144960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441154960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441164960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441174960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441184960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441214960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441314960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441414960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441514960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441614960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+441914980", size: 3, region: "GB", line: Landline, source: ofcom + "; from memory"},
	{prefix: "+442896496", size: 3, region: "GB", line: Landline, source: ofcom + "; from memory"},
	{prefix: "+442920180", size: 3, region: "GB", line: Landline, source: ofcom + "; from memory"},
	{prefix: "+441632960", size: 3, region: "GB", line: Landline, source: ofcom},
	{prefix: "+448081570", size: 3, region: "GB", line: Free, source: ofcom},
	{prefix: "+449098790", size: 3, region: "GB", line: Premium, source: ofcom},
	{prefix: "+443069990", size: 3, region: "GB", line: Company, source: ofcom},

	{prefix: "+6125550", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6135550", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6175550", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6185550", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6127010", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6137010", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6177010", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+6187010", size: 4, region: "AU", line: Landline, source: acma},
	{prefix: "+611800160401", region: "AU", line: Free, source: acma},
	{prefix: "+611800975", size: 3, first: "707", last: "711", region: "AU", line: Free, source: acma},
	{prefix: "+611300975", size: 3, first: "707", last: "711", region: "AU", line: Shared, source: acma},

	{prefix: "+3532091", size: 5, region: "IE", line: Mobile, source: comreg},

	{prefix: "+493023125", size: 3, region: "DE", line: Landline, source: bnetza},
	{prefix: "+496990009", size: 3, region: "DE", line: Landline, source: bnetza + "; from memory"},
	{prefix: "+494066969", size: 3, region: "DE", line: Landline, source: bnetza + "; from memory"},
	{prefix: "+492214710", size: 3, region: "DE", line: Landline, source: bnetza + "; from memory"},
	{prefix: "+498999998", size: 3, region: "DE", line: Landline, source: bnetza + "; from memory"},
	{prefix: "+4917139200", size: 2, region: "DE", line: Mobile, source: bnetza},

	{prefix: "+3319900", size: 4, region: "FR", line: Landline, source: arcep},
	{prefix: "+3326191", size: 4, region: "FR", line: Landline, source: arcep},
	{prefix: "+3335301", size: 4, region: "FR", line: Landline, source: arcep},
	{prefix: "+3346571", size: 4, region: "FR", line: Landline, source: arcep},
	{prefix: "+3353649", size: 4, region: "FR", line: Landline, source: arcep},
	{prefix: "+3363998", size: 4, region: "FR", line: Mobile, source: arcep},

	{prefix: "+467017406", size: 2, first: "05", last: "99", region: "SE", line: Mobile, source: pts},
}

// australian holds the reserved mobiles of Australia, which are single numbers:
// +61 491 and these six digits (ACMA).
const australian = " 570006 570156 570157 570158 570159 570110 570313 570737 571266 571491" +
	" 571804 572549 572665 572983 573770 573087 574118 574632 575254 575789 576398 576801" +
	" 577426 577644 578957 578148 578888 579212 579760 579455 "

// fiction finds the reserved range that an E.164 number lies in.
func fiction(e164 string) (reserved, bool) {
	if rest, ok := strings.CutPrefix(e164, "+1"); ok {
		return northAmerican(rest)
	}
	if rest, ok := strings.CutPrefix(e164, "+61491"); ok && len(rest) == 6 && strings.Contains(australian, " "+rest+" ") {
		return reserved{region: "AU", line: Mobile, source: acma}, true
	}
	for _, r := range ranges {
		rest, ok := strings.CutPrefix(e164, r.prefix)
		if ok && len(rest) == r.size && (r.first == "" || rest >= r.first && rest <= r.last) {
			return r, true
		}
	}
	return reserved{}, false
}

// northAmerican knows 555-0100 to 555-0199 behind any area code, and behind 800
// only 555-0199 (North American Numbering Plan).
func northAmerican(national string) (reserved, bool) {
	if len(national) != 10 || national[3:8] != "55501" {
		return reserved{}, false
	}
	if national[:3] == "800" && national[8:] != "99" {
		return reserved{}, false
	}
	return reserved{source: "North American Numbering Plan, 555-01XX"}, true
}
