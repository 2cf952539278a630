package smpp

import (
	"encoding/binary"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/warthog618/sms/encoding/gsm7"
	"github.com/warthog618/sms/encoding/tpdu"
	"golang.org/x/text/encoding/charmap"

	"passbell/adapters/longtext"
	"passbell/adapters/smpp/pdu"
)

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

// writer turns texts into the bodies of submit_sm.
type writer struct {
	long     string
	alphabet string
	splitter *longtext.Splitter
}

func newWriter(long, alphabet string, first uint32) *writer {
	return &writer{long: long, alphabet: alphabet, splitter: longtext.NewSplitter(first)}
}

// parts gives the messages that carry a text: esm_class, data_coding and the
// octets of each, or its TLVs. The split is that of TS 23.038 and 23.040: 160
// septets or 70 UTF-16 units alone, 153 or 67 a part; no escape sequence and no
// surrogate pair is cut.
func (w *writer) parts(text string) ([]pdu.SM, error) {
	// The encoder would take septets that a centre of Latin-1 cannot be told.
	segments, err := w.splitter.Split(text, w.alphabet == alphabetLatin1 && !fitsLatin1(text))
	if err != nil {
		return nil, err
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

// splitHeader takes the user data header off a message that has one. A header
// that cannot be is left where it is: better a text with a few odd signs before
// it than none.
func splitHeader(esm byte, b []byte) (longtext.Header, []byte) {
	var h longtext.Header
	if esm&pdu.ESMUDHI == 0 || len(b) == 0 || int(b[0])+1 > len(b) {
		return h, b
	}
	body := b[int(b[0])+1:]
	for e := b[1 : int(b[0])+1]; len(e) >= 2; {
		id, n := e[0], int(e[1])
		if n+2 > len(e) {
			break
		}
		h.Element(id, e[2:n+2])
		e = e[n+2:]
	}
	return h, body
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
func decode(coding byte, h longtext.Header, b []byte, alphabet string) string {
	r := readingOf(coding)
	if r == readDefault {
		r = readGSM7
		if alphabet == alphabetLatin1 {
			r = readLatin1
		}
	}
	switch r {
	case readGSM7:
		return h.DecodeGSM7(b)
	case readLatin1:
		return mapped(charmap.ISO8859_1, b)
	case readCyrillic:
		return mapped(charmap.ISO8859_5, b)
	case readHebrew:
		return mapped(charmap.ISO8859_8, b)
	case readUCS2:
		return longtext.DecodeUCS2(b)
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

// concatOf finds how a message is numbered among the parts of a long text: in
// its user data header or in its sar TLVs. False where it stands alone or where
// the numbers cannot be ("ignore the element", TS 23.040).
func concatOf(m *pdu.SM, h longtext.Header) (kind longtext.Kind, ref uint16, total, seq uint8, ok bool) {
	if h.Kind != 0 {
		return h.Kind, h.Ref, h.Total, h.Seq, true
	}
	r, ok1 := m.TLVs.Uint16(pdu.TagSarRef)
	t, ok2 := m.TLVs.Byte(pdu.TagSarTotal)
	s, ok3 := m.TLVs.Byte(pdu.TagSarSeq)
	if ok1 && ok2 && ok3 && t > 1 && s >= 1 && s <= t {
		return longtext.RefSAR, r, t, s, true
	}
	return 0, 0, 0, 0, false
}
