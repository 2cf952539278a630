package plates

import (
	"bytes"
	"strings"
)

// rules gives the rule of that name, nil where there is none. A rule is told a
// plate that already fits the shape.
func rules(name string) func([]byte) bool {
	switch name {
	case "gb-current":
		return gbCurrent
	case "gb-prefix":
		return gbPrefix
	case "gb-suffix":
		return gbSuffix
	case "gb-ni":
		return gbNorthernIreland
	case "gb-dateless":
		return func(p []byte) bool { return !bytes.ContainsAny(p, "IQZ") }
	case "gb-q":
		return func(p []byte) bool { return !bytes.ContainsAny(p[1:], "IQZ") }
	case "ie-1987":
		return ie1987
	case "ie-2013":
		return ie2013
	case "de":
		return german
	case "fr-siv":
		return french
	case "fr-ww":
		return func(p []byte) bool { return !bytes.ContainsAny(p[5:], "IOU") }
	case "fr-fni":
		return frenchOld
	case "es":
		return func(p []byte) bool { return !bytes.ContainsAny(p, "AEIOUQ") }
	case "it":
		return func(p []byte) bool { return !bytes.ContainsAny(p, "IOQU") }
	case "pl":
		return func(p []byte) bool { return strings.IndexByte("BCDEFGKLNOPRSTWZ", p[0]) >= 0 }
	}
	return nil
}

// gbCurrent: tag without I, Q, Z; age identifier never 01; last three without I
// and Q (DVLA INF104).
func gbCurrent(p []byte) bool {
	return !bytes.ContainsAny(p[:2], "IQZ") && string(p[2:4]) != "01" && !bytes.ContainsAny(p[4:], "IQ")
}

// gbTag tells whether four signs can begin a current plate: "LX19".
func gbTag(p []byte) bool {
	return !bytes.ContainsAny(p[:2], "IQZ") && string(p[2:4]) != "01"
}

// gbPrefix: year letter without I, O, Q, U, Z; last three without I, Q, Z.
func gbPrefix(p []byte) bool {
	return !bytes.ContainsAny(p[:1], "IOQUZ") && !bytes.ContainsAny(p[len(p)-3:], "IQZ")
}

// gbSuffix: the prefix format turned round.
func gbSuffix(p []byte) bool {
	return !bytes.ContainsAny(p[len(p)-1:], "IOQUZ") && !bytes.ContainsAny(p[:3], "IQZ")
}

// gbNorthernIreland: the two letters of the district hold a Z or an I (drivearchive;
// the list of codes from memory).
func gbNorthernIreland(p []byte) bool {
	from, to := 0, 0
	for i := range len(p) {
		if isDigit(p[i]) {
			continue
		}
		if to == 0 {
			from = i
		}
		to = i + 1
	}
	letters := p[from:to]
	code := letters[max(0, len(letters)-2):]
	if len(letters) == 3 && letters[0] == 'Q' {
		return false
	}
	if code[1] == 'Z' {
		return code[0] != 'Q' && code[0] != 'Z'
	}
	switch string(code) {
	case "IA", "IB", "IG", "IJ", "IL", "IW", "JI", "OI", "UI", "XI":
		return true
	}
	return false
}

// irishCounty holds the county codes since 2014 and, apart, those that ended then.
func irishCounty(code []byte) (ok, old bool) {
	switch string(code) {
	case "C", "CE", "CN", "CW", "D", "DL", "G", "KE", "KK", "KY", "L", "LD", "LH", "LM", "LS", "MH", "MN", "MO",
		"OY", "RN", "SO", "T", "W", "WH", "WW", "WX":
		return true, false
	case "LK", "TN", "TS", "WD":
		return true, true
	}
	return false, false
}

func ieCounty(p []byte, from int) []byte {
	to := from
	for to < len(p) && !isDigit(p[to]) {
		to++
	}
	return p[from:to]
}

func ie1987(p []byte) bool {
	y := string(p[:2])
	if y > "12" && y < "87" {
		return false
	}
	code := ieCounty(p, 2)
	ok, _ := irishCounty(code)
	return ok && string(code) != "T"
}

func ie2013(p []byte) bool {
	if y := string(p[:2]); y < "13" || y > "39" {
		return false
	}
	if p[2] != '1' && p[2] != '2' {
		return false
	}
	ok, old := irishCounty(ieCounty(p, 3))
	return ok && (!old || string(p[:2]) == "13")
}

// german: eight characters at most; no district is a whole word's length without
// its recognition letters, which the shapes see to (FZV Annex 2).
func german(p []byte) bool { return len(p) <= 8 }

// french: no I, O, U, no SS in either block, no WW on the left, not 000.
func french(p []byte) bool {
	return !bytes.ContainsAny(p, "IOU") && string(p[:2]) != "SS" && string(p[5:]) != "SS" && string(p[:2]) != "WW" && string(p[2:5]) != "000"
}

// frenchOld: the department is 01 to 95, 2A, 2B or 971 to 976.
func frenchOld(p []byte) bool {
	d := string(p[len(p)-2:])
	return (d >= "01" && d <= "95" || d == "2A" || d == "2B") && !bytes.ContainsAny(p[:len(p)-2], "IO")
}
