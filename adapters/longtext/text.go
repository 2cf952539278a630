package longtext

import (
	"encoding/binary"
	"errors"
	"strings"
	"sync/atomic"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/warthog618/sms"
	"github.com/warthog618/sms/encoding/gsm7"
	"github.com/warthog618/sms/encoding/gsm7/charset"
	"github.com/warthog618/sms/encoding/tpdu"
)

// The library fills its tables at their first use, without a lock. Package
// initialisation runs in one goroutine, so they are filled here.
func init() {
	charset.DefaultEncoder()
	charset.DefaultExtEncoder()
	charset.DefaultDecoder()
	for language := range 16 {
		charset.NewDecoder(language)
		charset.NewExtDecoder(language)
	}
}

// Why a text cannot be sent at all.
var (
	ErrEmpty   = errors.New("the text is empty")
	ErrNotUTF8 = errors.New("the text holds signs that are none (it is not valid UTF-8)")
	ErrTooLong = errors.New("the text is longer than 255 parts")
)

// maxTextSize is in octets; nothing longer can fit in 255 parts.
const maxTextSize = 255 * 153 * utf8.UTFMax

// refs numbers long texts.
type refs struct{ n atomic.Uint32 }

// Count is for tpdu.Counter. Only 8 bits of it are used, as a phone sees no more.
func (r *refs) Count() int { return int(r.n.Add(1) & 0xFF) }

// Splitter cuts texts into parts. It is safe for concurrent use.
type Splitter struct{ encoder *sms.Encoder }

// NewSplitter numbers long texts from first+1 on, with 8 bits. Choose first so
// that it is another one after a restart: phones may still hold parts of the
// last run.
func NewSplitter(first uint32) *Splitter {
	c := &refs{}
	c.n.Store(first)
	e := sms.NewEncoder(sms.AsSubmit)
	e.ConcatRef = c
	return &Splitter{encoder: e}
}

// Split gives the parts of a text as SMS-SUBMIT without a recipient. The split is
// that of TS 23.038 and 23.040: 160 septets or 70 UTF-16 units alone, 153 or 67 a
// part; no escape sequence and no surrogate pair is cut. With ucs2 it does not
// try septets. The error is one of the three above.
func (s *Splitter) Split(text string, ucs2 bool) ([]tpdu.TPDU, error) {
	switch {
	case text == "":
		return nil, ErrEmpty
	case !utf8.ValidString(text):
		return nil, ErrNotUTF8
	case len(text) > maxTextSize:
		return nil, ErrTooLong
	}
	var (
		out []tpdu.TPDU
		err error
	)
	if ucs2 {
		out, err = s.encoder.Encode(utf16BE(text), sms.AsUCS2)
	} else {
		out, err = s.encoder.Encode([]byte(text))
	}
	if err != nil {
		return nil, err
	}
	if len(out) == 0 || len(out) > 255 {
		return nil, ErrTooLong
	}
	return out, nil
}

func utf16BE(s string) []byte {
	units := utf16.Encode([]rune(s))
	out := make([]byte, 0, 2*len(units))
	for _, u := range units {
		out = binary.BigEndian.AppendUint16(out, u)
	}
	return out
}

// Header is what a user data header says.
type Header struct {
	// Kind is 0 where the part stands alone; else Ref, Total and Seq number it.
	Kind       Kind
	Ref        uint16
	Total, Seq uint8

	Locking, Shift int // national language tables (TS 23.038 §6.2.1.2), 0 for none
}

// Element reads one information element (TS 23.040 §9.2.3.24). Numbers that
// cannot be make it ignored (§9.2.3.24.1).
func (h *Header) Element(id byte, d []byte) {
	switch {
	case id == 0x00 && len(d) == 3 && d[1] > 1 && d[2] >= 1 && d[2] <= d[1]:
		h.Kind, h.Ref, h.Total, h.Seq = Ref8, uint16(d[0]), d[1], d[2]
	case id == 0x08 && len(d) == 4 && d[2] > 1 && d[3] >= 1 && d[3] <= d[2]:
		h.Kind, h.Ref, h.Total, h.Seq = Ref16, binary.BigEndian.Uint16(d), d[2], d[3]
	case id == 0x24 && len(d) == 1:
		h.Shift = int(d[0])
	case id == 0x25 && len(d) == 1:
		h.Locking = int(d[0])
	}
}

// DecodeGSM7 reads septets, one in each octet. It never fails.
func (h Header) DecodeGSM7(b []byte) string {
	septets := make([]byte, len(b))
	for i, c := range b {
		septets[i] = c & 0x7F
	}
	d := gsm7.NewDecoder()
	if h.Locking != 0 {
		d = d.WithCharset(charset.NewDecoder(h.Locking))
	}
	if h.Shift != 0 {
		d = d.WithExtCharset(charset.NewExtDecoder(h.Shift))
	}
	text, err := d.Decode(septets)
	if err != nil { // only a strict decoder fails
		return strings.Repeat(string(utf8.RuneError), len(b))
	}
	return string(text)
}

// DecodeUCS2 reads UTF-16, the high octet first. What cannot be read shows as
// U+FFFD.
func DecodeUCS2(b []byte) string {
	units := make([]uint16, len(b)/2)
	for i := range units {
		units[i] = binary.BigEndian.Uint16(b[2*i:])
	}
	text := string(utf16.Decode(units))
	if len(b)%2 == 1 {
		text += string(utf8.RuneError)
	}
	return text
}
