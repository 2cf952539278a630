package modem

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/warthog618/sms/encoding/gsm7"
	"github.com/warthog618/sms/encoding/pdumode"
	"github.com/warthog618/sms/encoding/tpdu"

	"passbell/adapters/longtext"
)

// submission is what the parts of a text have in common.
type submission struct {
	to       string        // E.164
	smsc     string        // E.164; "" for the SIM's own
	validity time.Duration // 0 for none
	receipt  bool
}

// submit makes the string for AT+CMGS and the length that goes with it (octets
// without the message centre's address). The modem sets TP-MR itself.
func (s submission) submit(part tpdu.TPDU) (pdu string, length int, err error) {
	part.DA = tpdu.NewAddress(tpdu.FromNumber(s.to))
	if s.receipt {
		part.FirstOctet |= tpdu.FoSRR
	}
	part.MR = 0
	b, err := part.MarshalBinary()
	if err != nil {
		return "", 0, fmt.Errorf("the text cannot be put in a PDU: %w", err)
	}
	if s.validity > 0 {
		b = withValidity(b, len(s.to)-1, s.validity)
	}
	frame := pdumode.PDU{TPDU: b}
	if s.smsc != "" {
		frame.SMSC.Address = tpdu.NewAddress(tpdu.FromNumber(s.smsc))
	}
	out, err := frame.MarshalHexString()
	if err != nil {
		return "", 0, fmt.Errorf("the text cannot be put in a PDU: %w", err)
	}
	return strings.ToUpper(out), len(b), nil
}

// withValidity puts a relative TP-VP in an SMS-SUBMIT that has none (TS 23.040
// §9.2.2.2: behind TP-DCS). The library would choose the octet otherwise than the
// standard: it makes 10 minutes of 5.
func withValidity(b []byte, digits int, d time.Duration) []byte {
	at := 2 + 2 + (digits+1)/2 + 2 // first octet and TP-MR; TP-DA; TP-PID and TP-DCS
	out := append([]byte(nil), b[:at]...)
	out[0] = out[0]&^byte(tpdu.FoVPFMask) | 0x10
	return append(append(out, relative(d)), b[at:]...)
}

// relative is the TP-VP for a time (TS 23.040 §9.2.3.12.1): the longest that is
// not longer, but at least the shortest that there is, 5 minutes.
func relative(d time.Duration) byte {
	const day = 24 * time.Hour
	switch {
	case d < 10*time.Minute:
		return 0
	case d <= 12*time.Hour:
		return byte(d/(5*time.Minute)) - 1
	case d <= day:
		return 143 + byte((d-12*time.Hour)/(30*time.Minute))
	case d < 2*day: // 24 hours is the last of the half hours
		return 167
	case d <= 30*day:
		return 166 + byte(d/day)
	case d < 5*7*day:
		return 196
	case d <= 63*7*day:
		return 192 + byte(d/(7*day))
	}
	return 255
}

// delivery is one SMS-DELIVER.
type delivery struct {
	from string // E.164 where the network says so, else as it wrote it
	at   time.Time
	text string
	head longtext.Header
	id   string // of this part alone: sender, time and content
}

// report is one SMS-STATUS-REPORT.
type report struct {
	mr     byte
	to     string
	status byte
	sent   time.Time // when the network took the part over
	at     time.Time // when what it reports happened
}

var errNotForUs = errors.New("neither a text nor a status report")

// parse reads a PDU as a modem gives it. Exactly one of the two is not nil unless
// there is an error.
func parse(pdu []byte) (*delivery, *report, error) {
	if len(pdu) == 0 || int(pdu[0])+1 >= len(pdu) {
		return nil, nil, errors.New("the PDU is cut short")
	}
	b := pdu[int(pdu[0])+1:]
	switch b[0] & tpdu.FoMTIMask {
	case 0:
		d, err := parseDelivery(b)
		return d, nil, err
	case 2:
		r, err := parseReport(b)
		return nil, r, err
	}
	return nil, nil, errNotForUs
}

// parseDelivery reads an SMS-DELIVER. The library is strict; a text is not lost
// for a sender or a time that cannot be read, so these are blanked one after the
// other.
func parseDelivery(b []byte) (*delivery, error) {
	t, err := unmarshal(b)
	from := ""
	if err == nil {
		from = addressOf(t.OA)
	} else if len(b) > 2 {
		end := 3 + (int(b[1])+1)/2 // first octet, length, type, digits
		if end+9 > len(b) {
			return nil, err
		}
		from = lenientAddress(b[1:end])
		blank := append([]byte{b[0], 0, 0x81}, b[end:]...)
		if t, err = unmarshal(blank); err != nil {
			copy(blank[5:12], make([]byte, 7)) // TP-SCTS
			if t, err = unmarshal(blank); err == nil {
				t.SCTS = tpdu.Timestamp{}
			}
		}
	}
	if err != nil {
		return nil, fmt.Errorf("the text cannot be read: %w", err)
	}
	d := &delivery{from: from, text: ""}
	if !t.SCTS.IsZero() && t.SCTS.Year() > 1990 {
		d.at = t.SCTS.UTC()
	}
	for _, ie := range t.UDH {
		d.head.Element(ie.ID, ie.Data)
	}
	d.text = textOf(t, d.head)
	d.id = mark(b)
	return d, nil
}

// unmarshal reads a TPDU from the network.
func unmarshal(b []byte) (*tpdu.TPDU, error) {
	t := &tpdu.TPDU{}
	if err := t.UnmarshalBinary(b); err != nil {
		return nil, err
	}
	return t, nil
}

// textOf reads the user data. What is no text says so.
func textOf(t *tpdu.TPDU, h longtext.Header) string {
	alphabet, err := t.Alphabet()
	_, port8 := t.UDH.IE(0x04)
	_, port16 := t.UDH.IE(0x05)
	switch {
	case err != nil || t.DCS.Compressed() || alphabet == tpdu.Alpha8Bit || port8 || port16:
		return fmt.Sprintf("[no text: %d octets of data]", len(t.UD))
	case alphabet == tpdu.AlphaUCS2:
		return longtext.DecodeUCS2(t.UD)
	}
	return h.DecodeGSM7(t.UD)
}

// addressOf is a number in E.164 where the network says that it is international.
func addressOf(a tpdu.Address) string {
	if a.TypeOfNumber() == tpdu.TonInternational {
		if n := "+" + strings.TrimLeft(a.Addr, "+0"); e164.MatchString(n) {
			return n
		}
	}
	return strings.TrimSpace(a.Addr)
}

// lenientAddress reads an address that the library may refuse: a name with signs
// of the extension table. "" where it cannot be read.
func lenientAddress(b []byte) string {
	var a tpdu.Address
	if _, err := a.UnmarshalBinary(b); err == nil { // it was not the address, then
		return addressOf(a)
	}
	if tpdu.TypeOfNumber(b[1]>>4&7) != tpdu.TonAlphanumeric {
		return ""
	}
	septets := gsm7.Unpack7Bit(b[2:], 0)
	n := int(b[0]) * 4 / 7
	return strings.TrimSpace(longtext.Header{}.DecodeGSM7(septets[:min(n, len(septets))]))
}

// parseReport reads an SMS-STATUS-REPORT (TS 23.040 §9.2.2.3): first octet, TP-MR,
// TP-RA, TP-SCTS, TP-DT, TP-ST. What follows is not needed and may be wrong.
func parseReport(b []byte) (*report, error) {
	if len(b) < 4 {
		return nil, errors.New("the status report is cut short")
	}
	end := 4 + (int(b[2])+1)/2 + 15
	if end > len(b) {
		return nil, errors.New("the status report is cut short")
	}
	t, err := unmarshal(b[:end])
	if err != nil {
		return nil, fmt.Errorf("the status report cannot be read: %w", err)
	}
	return &report{mr: t.MR, to: addressOf(t.RA), status: t.ST, sent: t.SCTS.UTC(), at: t.DT.UTC()}, nil
}

// mark is a stable id made of content.
func mark(fields ...[]byte) string {
	h := sha256.New()
	var n [8]byte
	for _, f := range fields {
		binary.BigEndian.PutUint64(n[:], uint64(len(f)))
		h.Write(n[:])
		h.Write(f)
	}
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:15])
}

// unreadable is what a person sees of a PDU that cannot be read.
func unreadable(pdu []byte) string {
	return "[a text that cannot be read: " + strings.ToUpper(hex.EncodeToString(pdu[:min(len(pdu), 200)])) + "]"
}
