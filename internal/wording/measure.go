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
	enc := encodingOf(text)
	size := Size{Encoding: enc}
	for p := range cut(text, enc) {
		size.Units += p.units
		size.UnitsPerPart = append(size.UnitsPerPart, p.units)
	}
	size.Parts = len(size.UnitsPerPart)
	return size
}

// Parts counts the parts that a text is sent in.
func Parts(text string) int {
	n := 0
	for range cut(text, encodingOf(text)) {
		n++
	}
	return n
}

// Split gives the parts of a text as a phone network carries them. No part ends
// inside an escape pair or a surrogate pair.
func Split(text string) []string {
	var out []string
	for p := range cut(text, encodingOf(text)) {
		out = append(out, p.text)
	}
	return out
}

type part struct {
	text  string
	units int
}

func cut(text string, enc Encoding) iter.Seq[part] {
	one, limit := oneGSM7, partGSM7
	if enc == UCS2 {
		one, limit = oneUCS2, partUCS2
	}
	return func(yield func(part) bool) {
		total := 0
		for _, r := range text {
			total += unitsOf(r, enc)
		}
		if total <= one {
			limit = one
		}
		start, used := 0, 0
		for i, r := range text {
			n := unitsOf(r, enc)
			if used+n > limit {
				if !yield(part{text: text[start:i], units: used}) {
					return
				}
				start, used = i, 0
			}
			used += n
		}
		if text != "" {
			yield(part{text: text[start:], units: used})
		}
	}
}

func encodingOf(text string) Encoding {
	for _, r := range text {
		if septets(r) == 0 {
			return UCS2
		}
	}
	return GSM7
}

func unitsOf(r rune, enc Encoding) int {
	switch {
	case enc == GSM7:
		return septets(r)
	case r > 0xFFFF:
		return 2 // a surrogate pair
	}
	return 1
}
