package wording

import (
	"strings"
	"unicode/utf8"
)

// The GSM 7-bit default alphabet of 3GPP TS 23.038 §6.2.1 in the order of its
// codes, without the escape at 1B, and the characters of its extension table
// (§6.2.1.1), each of which costs an escape more.
const (
	basicTable = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ" +
		" !\"#¤%&'()*+,-./0123456789:;<=>?" +
		"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§" +
		"¿abcdefghijklmnopqrstuvwxyzäöñüà"
	extensionTable = "\f^{}\\[~]|€"
)

// septetsASCII is what septets gives for the first characters.
var septetsASCII = func() (out [utf8.RuneSelf]uint8) {
	for r := range out {
		out[r] = uint8(looked(rune(r)))
	}
	return out
}()

// septets gives what a character costs in the GSM 7-bit alphabet: 1, 2 with its
// escape, or 0 where it is not in it.
func septets(r rune) int {
	if r < utf8.RuneSelf { // most of any text, for speed
		return int(septetsASCII[r])
	}
	return looked(r)
}

// looked looks a character up in the tables.
func looked(r rune) int {
	switch {
	case strings.ContainsRune(basicTable, r):
		return 1
	case strings.ContainsRune(extensionTable, r):
		return 2
	}
	return 0
}
