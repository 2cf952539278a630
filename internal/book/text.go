package book

import (
	"bytes"
	"encoding/binary"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// decode makes UTF-8 text of a file: by its byte-order mark, by the noughts of
// UTF-16 without one, else as UTF-8. Bytes that are no UTF-8 are read as
// Windows-1252, which is what spreadsheets write where they don't write UTF-8.
func decode(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		return mend(data[3:])
	case bytes.HasPrefix(data, []byte("\xff\xfe")):
		return wide(data[2:], binary.LittleEndian)
	case bytes.HasPrefix(data, []byte("\xfe\xff")):
		return wide(data[2:], binary.BigEndian)
	}
	head := data[:min(len(data), 4096)]
	even, odd := 0, 0
	for i, b := range head {
		if b == 0 && i%2 == 0 {
			even++
		} else if b == 0 {
			odd++
		}
	}
	switch half := len(head) / 2; {
	case half > 1 && odd > half*7/10 && even*10 < odd:
		return wide(data, binary.LittleEndian)
	case half > 1 && even > half*7/10 && odd*10 < even:
		return wide(data, binary.BigEndian)
	}
	return mend(data)
}

func wide(data []byte, order binary.ByteOrder) string {
	units := make([]uint16, len(data)/2)
	for i := range units {
		units[i] = order.Uint16(data[2*i:])
	}
	return strings.ReplaceAll(string(utf16.Decode(units)), "\x00", "")
}

// mend reads what is no UTF-8 as Windows-1252.
func mend(data []byte) string {
	if bytes.IndexByte(data, 0) >= 0 {
		data = bytes.ReplaceAll(data, []byte{0}, nil)
	}
	if utf8.Valid(data) {
		return string(data)
	}
	var b strings.Builder
	b.Grow(len(data) + len(data)/16)
	for len(data) > 0 {
		r, size := utf8.DecodeRune(data)
		if r == utf8.RuneError && size == 1 {
			r = charmap.Windows1252.DecodeByte(data[0])
		}
		b.WriteRune(r)
		data = data[size:]
	}
	return b.String()
}

// cell makes the plain text of a cell: no invisible marks or spaces round it,
// no spreadsheet's guard in front of it. Line breaks inside stay, as \n.
func cell(s string) string {
	if s == "" {
		return s
	}
	if !plainASCII(s) {
		s = strings.Map(visible, s)
	}
	if strings.IndexByte(s, '\r') >= 0 {
		s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	}
	s = strings.TrimSpace(s)
	if len(s) > 3 && strings.HasPrefix(s, `="`) && strings.HasSuffix(s, `"`) {
		s = strings.ReplaceAll(s[2:len(s)-1], `""`, `"`)
	}
	if guarded(s) {
		s = s[1:]
	}
	return s
}

func plainASCII(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' && s[i] != '\n' && s[i] != '\r' || s[i] >= 0x7f {
			return false
		}
	}
	return true
}

// visible turns the many spaces into the plain one and drops marks that can't
// be seen. Joiners stay where scripts and emoji need them.
func visible(r rune) rune {
	switch {
	case r == '\n' || r == '\r':
		return r
	case r == '\u200d' || r == '\u200c':
		return r
	case unicode.IsSpace(r):
		return ' '
	case unicode.Is(unicode.Cc, r), unicode.Is(unicode.Cf, r):
		return -1
	case r == utf8.RuneError:
		return -1
	}
	return r
}

// guarded tells whether s begins with the apostrophe that keeps a spreadsheet
// from reading a formula or a number in it.
func guarded(s string) bool {
	if s == "" || s[0] != '\'' {
		return false
	}
	rest := strings.TrimLeft(s, "'")
	return rest != "" && (risky(rest) || rest[0] >= '0' && rest[0] <= '9')
}

// risky tells whether a spreadsheet might take s for a formula.
func risky(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return strings.ContainsRune("=+-@\t\r\n＝＋－＠|%", r)
}

// fold makes two spellings of the same words equal: lower case, no accents, one
// space between words, nothing but letters and digits.
func fold(s string) string {
	var b strings.Builder
	b.Grow(len(s))
	gap := false
	for _, r := range s {
		r = plainLetter(r)
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			if gap && b.Len() > 0 {
				b.WriteByte(' ')
			}
			gap = false
			b.WriteRune(unicode.ToLower(r))
		case r == '\'' || r == '’':
		case unicode.Is(unicode.Mn, r):
		default:
			gap = true
		}
	}
	return b.String()
}

// accents pairs letters with what they are without their accent.
const (
	accented = "áàâäãåāąăéèêëēęěíìîïīóòôöõøōőúùûüūůűýÿñńňçćčšśşžźżłđðßÁÀÂÄÃÅĀĄĂÉÈÊËĒĘĚÍÌÎÏĪÓÒÔÖÕØŌŐÚÙÛÜŪŮŰÝŸÑŃŇÇĆČŠŚŞŽŹŻŁĐ"
	bare     = "aaaaaaaaaeeeeeeeiiiiioooooooouuuuuuuyynnncccssszzzldds" + "AAAAAAAAAEEEEEEEIIIIIOOOOOOOOUUUUUUUYYNNNCCCSSSZZZLD"
)

func plainLetter(r rune) rune {
	if r < 0x80 {
		return r
	}
	i := 0
	for _, a := range accented {
		if a == r {
			return rune(bare[i])
		}
		i++
	}
	return r
}
