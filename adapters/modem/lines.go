package modem

import (
	"encoding/hex"
	"strconv"
	"strings"
)

// maxLine bounds a line; the longest that the standards know is a PDU of 164
// octets in hex, or a list of what a command takes.
const maxLine = 4096

// splitter cuts what a modem says into lines and prompts (TS 27.005 §3.5: the
// prompt is <CR><LF><greater_than><space>, without an end of line). Whatever is
// no sign of a text is left out: a plug in its socket makes noise.
type splitter struct {
	line  []byte
	long  bool // the line is too long and thrown away
	after bool // just after a prompt: its space is not a line's
}

// prompt is the token that stands for a prompt.
const prompt = ">"

// feed takes octets in and gives the tokens that they complete.
func (s *splitter) feed(b []byte) []string {
	var out []string
	for _, c := range b {
		switch {
		case c == '\r' || c == '\n':
			if len(s.line) > 0 && !s.long {
				if t := strings.TrimSpace(string(s.line)); t != "" {
					out = append(out, t)
				}
			}
			s.line, s.long, s.after = s.line[:0], false, false
		case s.long || c < ' ' || c == 0x7F:
		case c == ' ' && s.after:
			s.after = false
		case c == '>' && len(s.line) == 0:
			out = append(out, prompt)
			s.after = true
		case len(s.line) >= maxLine:
			s.line, s.long = s.line[:0], true
		default:
			s.line, s.after = append(s.line, c), false
		}
	}
	return out
}

// eventKind is what a modem's word means.
type eventKind int

const (
	evInfo   eventKind = iota // a line of an answer, or noise
	evPrompt                  // the modem waits for a PDU
	evFinal                   // the end of an answer; fault tells how it ended
	evNews                    // said unasked
)

// event is one word of the modem.
type event struct {
	kind  eventKind
	line  string // of evInfo and evNews
	pdu   []byte // the PDU that follows the line, where one does
	fault *fault // of evFinal; nil for OK
}

// The lines that come unasked (TS 27.005 §3.4.1). Those that announce a PDU are
// followed by it on a line of its own; so are two kinds of answer.
const (
	newsStored       = "+CMTI:" // a text was stored
	newsText         = "+CMT:"  // a text, with its PDU
	newsReportStored = "+CDSI:" // a status report was stored
	newsReport       = "+CDS:"  // a status report, with its PDU
	answerList       = "+CMGL:"
	answerRead       = "+CMGR:"
)

// framer joins lines to events. A line that belongs to a PDU waits for it; news
// may come in between, so several may wait, and the last is the first to be
// served.
type framer struct{ waiting []string }

// maxWaiting bounds the lines that wait for a PDU which never comes.
const maxWaiting = 8

// push takes a token in; false where there is nothing to tell yet.
func (f *framer) push(token string) (event, bool) {
	if token == prompt {
		return event{kind: evPrompt}, true
	}
	if n := len(f.waiting); n > 0 {
		if pdu, ok := pduOf(token, f.waiting[n-1]); ok {
			head := f.waiting[n-1]
			f.waiting = f.waiting[:n-1]
			return event{kind: kindOf(head), line: head, pdu: pdu}, true
		}
	}
	if fl, ok := finalOf(token); ok {
		f.waiting = nil
		return event{kind: evFinal, fault: fl}, true
	}
	for _, p := range []string{newsText, newsReport, answerList, answerRead} {
		if strings.HasPrefix(token, p) {
			f.waiting = append(f.waiting, token)
			if len(f.waiting) > maxWaiting {
				f.waiting = f.waiting[1:]
			}
			return event{}, false
		}
	}
	return event{kind: kindOf(token), line: token}, true
}

func kindOf(line string) eventKind {
	for _, p := range []string{newsStored, newsText, newsReportStored, newsReport} {
		if strings.HasPrefix(line, p) {
			return evNews
		}
	}
	return evInfo
}

// pduOf reads a PDU and checks it against the length that its line gives: the
// octets without the address of the message centre (TS 27.005 §3.1, <length>).
func pduOf(token, head string) ([]byte, bool) {
	b, err := hex.DecodeString(token)
	if err != nil || len(b) == 0 || int(b[0])+1 > len(b) {
		return nil, false
	}
	_, values, _ := strings.Cut(head, ":")
	fields := strings.Split(values, ",")
	want, err := strconv.Atoi(strings.TrimSpace(fields[len(fields)-1]))
	if err != nil || want != len(b)-int(b[0])-1 {
		return nil, false
	}
	return b, true
}

// finalOf recognises the end of an answer.
func finalOf(line string) (*fault, bool) {
	switch line {
	case "OK":
		return nil, true
	case "ERROR", "COMMAND NOT SUPPORT":
		return &fault{kind: faultPlain}, true
	}
	for prefix, kind := range map[string]faultKind{"+CMS ERROR:": faultCMS, "+CME ERROR:": faultCME} {
		if rest, ok := strings.CutPrefix(line, prefix); ok {
			code, err := strconv.Atoi(strings.TrimSpace(rest))
			if err != nil || code < 0 {
				return &fault{kind: faultPlain}, true
			}
			return &fault{kind: kind, code: code}, true
		}
	}
	return nil, false
}

// values splits what stands behind a line's prefix at its commas; quotes are
// taken off, and commas within them do not count.
func values(line string) []string {
	_, rest, ok := strings.Cut(line, ":")
	if !ok {
		return nil
	}
	var (
		out    []string
		cur    strings.Builder
		quoted bool
	)
	for _, r := range rest {
		switch {
		case r == '"':
			quoted = !quoted
		case r == ',' && !quoted:
			out = append(out, strings.TrimSpace(cur.String()))
			cur.Reset()
		default:
			cur.WriteRune(r)
		}
	}
	return append(out, strings.TrimSpace(cur.String()))
}

// number is a value as a number; -1 where it is none.
func number(v []string, i int) int {
	if i >= len(v) {
		return -1
	}
	n, err := strconv.Atoi(v[i])
	if err != nil {
		return -1
	}
	return n
}
