package smpp

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/warthog618/sms"
	"github.com/warthog618/sms/encoding/gsm7"
	"github.com/warthog618/sms/encoding/gsm7/charset"
	"github.com/warthog618/sms/encoding/tpdu"
	"golang.org/x/text/encoding/charmap"

	"passbell/adapters/smpp/pdu"
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

// The data_coding values that are written (§5.2.19).
const (
	codingDefault = 0 // the centre's own alphabet
	codingUCS2    = 8
)

// How long texts are sent.
const (
	longUDH     = "udh"     // a user data header before each part (TS 23.040 §9.2.3.24)
	longPayload = "payload" // whole, in message_payload; the centre splits it
	longSAR     = "sar"     // sar_* TLVs beside each part; the centre makes the headers
)

// What data_coding 0 means to the centre.
const (
	alphabetGSM7   = "gsm7"   // TS 23.038, one septet an octet
	alphabetLatin1 = "latin1" // ISO 8859-1
)

// Why a text cannot be sent at all.
var (
	errEmpty   = errors.New("the text is empty")
	errNotUTF8 = errors.New("the text holds signs that are none (it is not valid UTF-8)")
	errTooLong = errors.New("the text is longer than 255 parts")
)

// maxTextSize is in octets; nothing longer can fit in 255 parts.
const maxTextSize = 255 * 153 * utf8.UTFMax

// refs numbers long texts. It starts where it is told, since a centre may still
// hold parts of the last run.
type refs struct{ n atomic.Uint32 }

// Count is for tpdu.Counter. Only 8 bits of it are used, as a phone sees no more.
func (r *refs) Count() int { return int(r.n.Add(1) & 0xFF) }

// writer turns texts into the bodies of submit_sm.
type writer struct {
	long     string
	alphabet string
	encoder  *sms.Encoder
}

func newWriter(long, alphabet string, first uint32) *writer {
	c := &refs{}
	c.n.Store(first)
	e := sms.NewEncoder(sms.AsSubmit)
	e.ConcatRef = c
	return &writer{long: long, alphabet: alphabet, encoder: e}
}

// parts gives the messages that carry a text: esm_class, data_coding and the
// octets of each, or its TLVs. The split is that of TS 23.038 and 23.040: 160
// septets or 70 UTF-16 units alone, 153 or 67 a part; no escape sequence and no
// surrogate pair is cut.
func (w *writer) parts(text string) ([]pdu.SM, error) {
	switch {
	case text == "":
		return nil, errEmpty
	case !utf8.ValidString(text):
		return nil, errNotUTF8
	case len(text) > maxTextSize:
		return nil, errTooLong
	}
	segments, err := w.segments(text)
	if err != nil {
		return nil, err
	}
	if len(segments) == 0 || len(segments) > 255 {
		return nil, errTooLong
	}
	if len(segments) > 1 && w.long == longPayload {
		return []pdu.SM{w.payload(segments)}, nil
	}
	out := make([]pdu.SM, len(segments))
	for i := range segments {
		s := &segments[i]
		m := &out[i]
		body := w.octets(s)
		m.Coding = coding(s)
		total, seq, ref, long := s.ConcatInfo()
		switch {
		case !long:
			m.Short = body
		case w.long == longSAR:
			m.Short = body
			m.TLVs = pdu.TLVs{
				{Tag: pdu.TagSarRef, Value: binary.BigEndian.AppendUint16(nil, uint16(ref))},
				{Tag: pdu.TagSarTotal, Value: []byte{byte(total)}},
				{Tag: pdu.TagSarSeq, Value: []byte{byte(seq)}},
			}
		default:
			m.ESM = pdu.ESMUDHI
			m.Short = append([]byte{5, 0, 3, byte(ref), byte(total), byte(seq)}, body...)
		}
	}
	return out, nil
}

func (w *writer) segments(text string) ([]tpdu.TPDU, error) {
	if w.alphabet == alphabetLatin1 && !fitsLatin1(text) {
		// The encoder would take septets that this centre cannot be told.
		return w.encoder.Encode(utf16BE(text), sms.AsUCS2)
	}
	return w.encoder.Encode([]byte(text))
}

func (w *writer) payload(segments []tpdu.TPDU) pdu.SM {
	var all []byte
	for i := range segments {
		all = append(all, w.octets(&segments[i])...)
	}
	return pdu.SM{
		Coding: coding(&segments[0]),
		TLVs:   pdu.TLVs{{Tag: pdu.TagMessagePayload, Value: all}},
	}
}

func coding(s *tpdu.TPDU) byte {
	if alpha, _ := s.Alphabet(); alpha == tpdu.AlphaUCS2 {
		return codingUCS2
	}
	return codingDefault
}

// octets is a part's text in the centre's alphabet, without a header.
func (w *writer) octets(s *tpdu.TPDU) []byte {
	if coding(s) == codingUCS2 || w.alphabet != alphabetLatin1 {
		return s.UD
	}
	text, err := gsm7.Decode(s.UD)
	if err != nil {
		return s.UD
	}
	out := make([]byte, 0, len(text))
	for _, r := range string(text) {
		out = append(out, byte(r)) // fitsLatin1 made sure
	}
	return out
}

// fitsLatin1 says whether a centre that takes Latin-1 can turn the text into
// septets: every sign must be in both alphabets.
func fitsLatin1(text string) bool {
	for _, r := range text {
		if r > 0xFF {
			return false
		}
	}
	return true
}

func utf16BE(s string) []byte {
	units := utf16.Encode([]rune(s))
	out := make([]byte, 0, 2*len(units))
	for _, u := range units {
		out = binary.BigEndian.AppendUint16(out, u)
	}
	return out
}

// header is what a user data header says.
type header struct {
	concat struct {
		kind       refKind
		ref        uint16
		total, seq uint8
	}
	locking, shift int // national language tables (TS 23.038 §6.2.1.2), 0 for none
}

// splitHeader takes the user data header off a message that has one. A header
// that cannot be is left where it is: better a text with a few odd signs before
// it than none.
func splitHeader(esm byte, b []byte) (header, []byte) {
	var h header
	if esm&pdu.ESMUDHI == 0 || len(b) == 0 || int(b[0])+1 > len(b) {
		return h, b
	}
	body := b[int(b[0])+1:]
	for e := b[1 : int(b[0])+1]; len(e) >= 2; {
		id, n := e[0], int(e[1])
		if n+2 > len(e) {
			break
		}
		h.element(id, e[2:n+2])
		e = e[n+2:]
	}
	return h, body
}

// element reads one information element (TS 23.040 §9.2.3.24). Numbers that
// cannot be make it ignored (§9.2.3.24.1).
func (h *header) element(id byte, d []byte) {
	switch {
	case id == 0x00 && len(d) == 3 && d[1] > 1 && d[2] >= 1 && d[2] <= d[1]:
		h.concat.kind, h.concat.ref, h.concat.total, h.concat.seq = ref8, uint16(d[0]), d[1], d[2]
	case id == 0x08 && len(d) == 4 && d[2] > 1 && d[3] >= 1 && d[3] <= d[2]:
		h.concat.kind, h.concat.ref, h.concat.total, h.concat.seq = ref16, binary.BigEndian.Uint16(d), d[2], d[3]
	case id == 0x24 && len(d) == 1:
		h.shift = int(d[0])
	case id == 0x25 && len(d) == 1:
		h.locking = int(d[0])
	}
}

// reading is how the octets of a message are to be read.
type reading int

const (
	readDefault reading = iota
	readGSM7
	readLatin1
	readUCS2
	readCyrillic
	readHebrew
	readBinary
	readOther
)

// readingOf sorts data_coding (§5.2.19). Values that SMPP leaves to GSM, and
// those of the general group that centres hand on, are read as TS 23.038 §4.
func readingOf(coding byte) reading {
	switch coding {
	case 0:
		return readDefault
	case 1, 3:
		return readLatin1
	case 2, 4:
		return readBinary
	case 6:
		return readCyrillic
	case 7:
		return readHebrew
	case 8:
		return readUCS2
	}
	switch {
	case coding >= 0xF0: // message class: bit 2 says 8-bit
		if coding&0x04 != 0 {
			return readBinary
		}
		return readGSM7
	case coding >= 0xE0: // message waiting, kept, UCS-2
		return readUCS2
	case coding >= 0xC0: // message waiting, 7-bit
		return readGSM7
	case coding >= 0x10 && coding < 0x40: // general group
		return [...]reading{readGSM7, readBinary, readUCS2, readGSM7}[coding>>2&3]
	}
	return readOther
}

// decode reads the octets of an inbound message. It never fails: a sign that
// cannot be read shows as U+FFFD, and a message that is no text says so.
func decode(coding byte, h header, b []byte, alphabet string) string {
	r := readingOf(coding)
	if r == readDefault {
		r = readGSM7
		if alphabet == alphabetLatin1 {
			r = readLatin1
		}
	}
	switch r {
	case readGSM7:
		return decodeGSM7(h, b)
	case readLatin1:
		return mapped(charmap.ISO8859_1, b)
	case readCyrillic:
		return mapped(charmap.ISO8859_5, b)
	case readHebrew:
		return mapped(charmap.ISO8859_8, b)
	case readUCS2:
		units := make([]uint16, len(b)/2)
		for i := range units {
			units[i] = binary.BigEndian.Uint16(b[2*i:])
		}
		text := string(utf16.Decode(units))
		if len(b)%2 == 1 {
			text += string(utf8.RuneError)
		}
		return text
	case readBinary:
		return fmt.Sprintf("[no text: %d octets of data]", len(b))
	}
	return strings.Map(func(r rune) rune {
		if r > '~' {
			return utf8.RuneError
		}
		return r
	}, mapped(charmap.ISO8859_1, b))
}

func mapped(m *charmap.Charmap, b []byte) string {
	var out strings.Builder
	for _, c := range b {
		out.WriteRune(m.DecodeByte(c))
	}
	return out.String()
}

func decodeGSM7(h header, b []byte) string {
	septets := make([]byte, len(b))
	for i, c := range b {
		septets[i] = c & 0x7F
	}
	d := gsm7.NewDecoder()
	if h.locking != 0 {
		d = d.WithCharset(charset.NewDecoder(h.locking))
	}
	if h.shift != 0 {
		d = d.WithExtCharset(charset.NewExtDecoder(h.shift))
	}
	text, err := d.Decode(septets)
	if err != nil { // only a strict decoder fails
		return strings.Repeat(string(utf8.RuneError), len(b))
	}
	return string(text)
}
