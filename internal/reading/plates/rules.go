package plates

import "strings"

// rules gives the rule of that name, nil where there is none. A rule is told a
// plate that already fits the shape.
func rules(name string) func(string) bool {
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
		return func(p string) bool { return !strings.ContainsAny(p, "IQZ") }
	case "gb-q":
		return func(p string) bool { return !strings.ContainsAny(p[1:], "IQZ") }
	case "ie-1987":
		return ie1987
	case "ie-2013":
		return ie2013
	case "de":
		return german
	case "fr-siv":
		return french
	case "fr-fni":
		return frenchOld
	case "es":
		return func(p string) bool { return !strings.ContainsAny(p, "AEIOUQ") }
	case "it":
		return func(p string) bool { return !strings.ContainsAny(p, "IOQU") }
	case "pl":
		return func(p string) bool { return strings.IndexByte("BCDEFGKLNOPRSTWZ", p[0]) >= 0 }
	}
	return nil
}

// gbCurrent: tag without I, Q, Z; age identifier never 01; last three without I
// and Q (DVLA INF104).
func gbCurrent(p string) bool {
	return !strings.ContainsAny(p[:2], "IQZ") && p[2:4] != "01" && !strings.ContainsAny(p[4:], "IQ")
}

// gbTag tells whether four signs can begin a current plate: "LX19".
func gbTag(p []byte) bool {
	return !strings.ContainsAny(string(p[:2]), "IQZ") && string(p[2:4]) != "01"
}

// gbPrefix: year letter without I, O, Q, U, Z; last three without I, Q, Z.
func gbPrefix(p string) bool {
	return !strings.ContainsAny(p[:1], "IOQUZ") && !strings.ContainsAny(p[len(p)-3:], "IQZ")
}

// gbSuffix: the prefix format turned round.
func gbSuffix(p string) bool {
	return !strings.ContainsAny(p[len(p)-1:], "IOQUZ") && !strings.ContainsAny(p[:3], "IQZ")
}

// gbNorthernIreland: the two letters of the district hold a Z or an I (drivearchive;
// the list of codes from memory).
func gbNorthernIreland(p string) bool {
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
	switch code {
	case "IA", "IB", "IG", "IJ", "IL", "IW", "JI", "OI", "UI", "XI":
		return true
	}
	return false
}

// irishCounty holds the county codes since 2014 and, apart, those that ended then.
func irishCounty(code string) (ok, old bool) {
	switch code {
	case "C", "CE", "CN", "CW", "D", "DL", "G", "KE", "KK", "KY", "L", "LD", "LH", "LM", "LS", "MH", "MN", "MO",
		"OY", "RN", "SO", "T", "W", "WH", "WW", "WX":
		return true, false
	case "LK", "TN", "TS", "WD":
		return true, true
	}
	return false, false
}

func ieCounty(p string, from int) string {
	to := from
	for to < len(p) && !isDigit(p[to]) {
		to++
	}
	return p[from:to]
}

func ie1987(p string) bool {
	y := p[:2]
	if y > "12" && y < "87" {
		return false
	}
	code := ieCounty(p, 2)
	ok, _ := irishCounty(code)
	return ok && code != "T"
}

func ie2013(p string) bool {
	if y := p[:2]; y < "13" || y > "39" {
		return false
	}
	if p[2] != '1' && p[2] != '2' {
		return false
	}
	ok, old := irishCounty(ieCounty(p, 3))
	return ok && (!old || p[:2] == "13")
}

// german: eight characters at most; no district is a whole word's length without
// its recognition letters, which the shapes see to (FZV Annex 2).
func german(p string) bool { return len(p) <= 8 }

// french: no I, O, U, no SS in either block, no WW on the left, not 000.
func french(p string) bool {
	return !strings.ContainsAny(p, "IOU") && p[:2] != "SS" && p[5:] != "SS" && p[:2] != "WW" && p[2:5] != "000"
}

// frenchOld: the department is 01 to 95, 2A, 2B or 971 to 976.
func frenchOld(p string) bool {
	d := p[len(p)-2:]
	return d >= "01" && d <= "95" && !strings.ContainsAny(p[:len(p)-2], "IO")
}
