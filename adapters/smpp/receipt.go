package smpp

import (
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// receipt is what a delivery receipt says, in the centre's own words.
type receipt struct {
	id    string
	state string // one of the words of Table B-2, "" where not told
	err   string // the err field, or the network's error code
	done  time.Time
}

// The keys of a receipt's text (Appendix B), in small letters. Their order is
// that of the specification, which calls its text "a typical example".
var receiptKeys = [...]string{"id:", "sub:", "dlvrd:", "submit date:", "done date:", "stat:", "err:", "text:"}

// parseReceiptText reads a text like
//
//	id:IIIIIIIIII sub:SSS dlvrd:DDD submit date:YYMMDDhhmm done date:YYMMDDhhmm stat:DDDDDDD err:E text: . . .
//
// from left to right, whichever keys are there and in whatever case. What comes
// after "text:" is the customer's text and is not looked at: a text may hold
// "stat:DELIVRD" of its own. The dates have no zone; zone is the centre's.
func parseReceiptText(s string, zone *time.Location) receipt {
	var r receipt
	for rest := s; rest != ""; {
		key, value, tail := nextField(rest)
		switch key {
		case "id:":
			r.id = firstWord(value)
		case "done date:":
			r.done = receiptTime(firstWord(value), zone)
		case "stat:":
			r.state = strings.ToUpper(firstWord(value))
		case "err:":
			r.err = firstWord(value)
		case "", "text:":
			return r
		}
		rest = tail
	}
	return r
}

// nextField finds the first key in s that stands at its beginning or after a
// space, and gives its value up to the next key.
func nextField(s string) (key, value, tail string) {
	at, key := findKey(s)
	if key == "" {
		return "", "", ""
	}
	rest := s[at+len(key):]
	if end, next := findKey(rest); next != "" {
		return key, rest[:end], rest[end:]
	}
	return key, rest, ""
}

func findKey(s string) (int, string) {
	for i := range len(s) {
		if i > 0 && s[i-1] != ' ' && s[i-1] != '\n' && s[i-1] != '\t' {
			continue
		}
		for _, k := range receiptKeys {
			if len(s)-i >= len(k) && strings.EqualFold(s[i:i+len(k)], k) {
				return i, k
			}
		}
	}
	return 0, ""
}

func firstWord(s string) string {
	f := strings.Fields(s)
	if len(f) == 0 {
		return ""
	}
	return f[0]
}

// receiptTime reads YYMMDDhhmm, or YYMMDDhhmmss as many centres write. The year
// is of this century. Zero where it is neither.
func receiptTime(s string, zone *time.Location) time.Time {
	layout := "0601021504"
	if len(s) == 12 {
		layout = "060102150405"
	}
	t, err := time.ParseInLocation(layout, s, zone)
	if err != nil {
		return time.Time{}
	}
	if t.Year() < 2000 { // Go reads 69 to 99 as of the last century
		t = t.AddDate(100, 0, 0)
	}
	return t.UTC()
}

// stateWords are the words of Table B-2 by message_state (§5.2.28); 0 and 9 are
// of v5.0.
var stateWords = [...]string{
	"SCHEDULED", "ENROUTE", "DELIVRD", "EXPIRED", "DELETED", "UNDELIV", "ACCEPTD", "UNKNOWN", "REJECTD", "SKIPPED",
}

// parseReceipt reads a receipt from its text and its TLVs. Where both tell the
// same thing, the TLV counts.
func parseReceipt(m *pdu.SM, text string, zone *time.Location) receipt {
	r := parseReceiptText(text, zone)
	if id, ok := m.TLVs.CString(pdu.TagReceiptedID); ok && id != "" {
		r.id = id
	}
	if st, ok := m.TLVs.Byte(pdu.TagMessageState); ok && int(st) < len(stateWords) {
		r.state = stateWords[st]
	}
	if code, ok := m.TLVs.Get(pdu.TagNetworkError); ok && len(code) == 3 {
		if n := binary.BigEndian.Uint16(code[1:]); n != 0 {
			r.err = fmt.Sprintf("%03d", n)
		}
	}
	return r
}

// status sorts a state and gives the cook's reason for anything that is not
// plainly well.
func (r receipt) status() (adapters.Status, string) {
	code := ""
	if strings.Trim(r.err, "0") != "" {
		code = fmt.Sprintf(" (the network's error %s)", printable(r.err, 16))
	}
	switch r.state {
	case "DELIVRD", "DELIVERED":
		return adapters.Delivered, ""
	case "EXPIRED":
		return adapters.Failed, "the phone could not be reached in time" + code
	case "DELETED":
		return adapters.Failed, "the network deleted the text" + code
	case "UNDELIV", "UNDELIVERABLE":
		return adapters.Failed, "the network could not deliver the text" + code
	case "REJECTD", "REJECTED":
		return adapters.Failed, "the network rejected the text" + code
	case "SKIPPED":
		return adapters.Failed, "the network left the text out" + code
	case "UNKNOWN":
		return adapters.OnTheWay, "the network does not know what became of the text" + code
	case "SCHEDULED", "ENROUTE", "ACCEPTD", "ACCEPTED", "":
		return adapters.OnTheWay, ""
	}
	return adapters.OnTheWay, fmt.Sprintf("the network says %q%s", printable(r.state, 16), code)
}

// printable makes a word of the far side fit for a person: plain signs, and not
// too many.
func printable(s string, most int) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return -1
		}
		return r
	}, s)
	return s[:min(len(s), most)]
}
