package wording

import "iter"

// Encoding is how a text travels.
type Encoding string

// The two encodings of a text message.
const (
	GSM7 Encoding = "GSM-7" // 7-bit default alphabet, 3GPP TS 23.038 §6.2.1
	UCS2 Encoding = "UCS-2" // 16-bit units
)

// Limits of 3GPP TS 23.040 §9.2.3.16 and §9.2.3.24.1, in septets for GSM-7 and
// 16-bit units for UCS-2. A part of a longer text gives room to a header with
// an 8-bit reference.
const (
	oneGSM7, partGSM7 = 160, 153
	oneUCS2, partUCS2 = 70, 67
)

// MaxParts is the most parts that one text can have: the header counts them in
// an octet.
const MaxParts = 255

// Size is what a text costs on the network.
type Size struct {
	Encoding     Encoding
	Units        int   // septets for GSM-7, escapes included; 16-bit units for UCS-2
	Parts        int   // 0 for an empty text
	UnitsPerPart []int // one for each part
}

// Measure counts the parts that a text is sent in. One character outside the
// GSM alphabet turns the whole text to UCS-2.
func Measure(text string) Size {
	enc, parts := cut(text)
	size := Size{Encoding: enc}
	for p := range parts {
		size.Units += p.units
		size.UnitsPerPart = append(size.UnitsPerPart, p.units)
	}
	size.Parts = len(size.UnitsPerPart)
	return size
}

// Parts counts the parts that a text is sent in.
func Parts(text string) int {
	n := 0
	_, parts := cut(text)
	for range parts {
		n++
	}
	return n
}

// Split gives the parts of a text as a phone network carries them. No part ends
// inside an escape pair or a surrogate pair.
func Split(text string) []string {
	var out []string
	_, parts := cut(text)
	for p := range parts {
		out = append(out, p.text)
	}
	return out
}

type part struct {
	text  string
	units int
}

// cut gives how a text travels, and its parts.
func cut(text string) (Encoding, iter.Seq[part]) {
	enc, units := length(text)
	gsm, one, limit := enc == GSM7, oneGSM7, partGSM7
	if !gsm {
		one, limit = oneUCS2, partUCS2
	}
	return enc, func(yield func(part) bool) {
		start, used := 0, units
		if units > one {
			used = 0
			for i, r := range text {
				n := unitsOf(r, gsm)
				if used+n > limit {
					if !yield(part{text: text[start:i], units: used}) {
						return
					}
					start, used = i, 0
				}
				used += n
			}
		}
		if text != "" {
			yield(part{text: text[start:], units: used})
		}
	}
}

// length gives how a text travels, and how many units it has in all.
func length(text string) (enc Encoding, units int) {
	for _, r := range text {
		n := septets(r)
		if n == 0 {
			return UCS2, halves(text)
		}
		units += n
	}
	return GSM7, units
}

// halves counts the 16-bit units of a text.
func halves(text string) (units int) {
	for _, r := range text {
		units += unitsOf(r, false)
	}
	return units
}

func unitsOf(r rune, gsm bool) int {
	switch {
	case gsm:
		return septets(r)
	case r > 0xFFFF:
		return 2 // a surrogate pair
	}
	return 1
}
