package email

import (
	"bytes"
	"encoding/base64"
	"io"
	"mime"
	"strings"
	"unicode/utf8"

	"github.com/emersion/go-message/charset"
)

// How much of an e-mail is looked at. Real ones are far below; what is beyond is
// left out, never an error.
const (
	maxDepth      = 8   // multiparts in multiparts
	maxParts      = 100 // in one e-mail
	maxHeaderSize = 256 << 10
	maxFields     = 500
)

// header holds fields by their name in lower case, as they stood but unfolded.
type header map[string][]string

func (h header) get(name string) string {
	if v := h[name]; len(v) > 0 {
		return v[0]
	}
	return ""
}

// decoded is a field with its encoded words (RFC 2047) decoded.
func (h header) decoded(name string) string { return decodeWords(h.get(name)) }

func decodeWords(s string) string {
	d := mime.WordDecoder{CharsetReader: charset.Reader}
	out, err := d.DecodeHeader(s)
	if err != nil {
		out = s
	}
	return strings.ToValidUTF8(out, "\uFFFD")
}

// entity is one part of an e-mail, or all of it.
type entity struct {
	head header
	body []byte // still encoded
	kind string // media type, such as "text/plain"
	with map[string]string
}

// readEntity splits b into header and body. It takes what it can read and passes
// over the rest: a reply must not be lost to a broken header line.
func readEntity(b []byte) entity {
	e := entity{head: header{}}
	rest := b
	var name, value string
	flush := func() {
		if name != "" && len(e.head) < maxFields {
			e.head[name] = append(e.head[name], strings.TrimSpace(value))
		}
		name, value = "", ""
	}
	for read := 0; len(rest) > 0 && read < maxHeaderSize; {
		line, after, _ := bytes.Cut(rest, []byte("\n"))
		read += len(line) + 1
		rest = after
		line = bytes.TrimRight(line, "\r")
		if len(line) == 0 {
			break
		}
		if line[0] == ' ' || line[0] == '\t' {
			value += " " + strings.TrimSpace(string(line))
			continue
		}
		flush()
		if key, v, ok := strings.Cut(string(line), ":"); ok && !strings.ContainsAny(strings.TrimSpace(key), " \t") {
			name, value = strings.ToLower(strings.TrimSpace(key)), v
		}
	}
	flush()
	e.body = rest
	e.kind, e.with = contentType(e.head.get("content-type"))
	return e
}

func contentType(s string) (string, map[string]string) {
	kind, with, err := mime.ParseMediaType(s)
	if err != nil && kind == "" {
		// Many write parameters that cannot be read behind a type that can.
		kind, _, _ = strings.Cut(s, ";")
		kind = strings.ToLower(strings.TrimSpace(kind))
	}
	if !strings.Contains(kind, "/") {
		kind = "text/plain"
	}
	return kind, with
}

// parts splits a multipart body (RFC 2046 §5.1). A missing end is no error: the
// e-mail may have been fetched in part only.
func (e *entity) parts(most int) []entity {
	boundary := e.with["boundary"]
	if boundary == "" {
		return nil
	}
	open, end := []byte("--"+boundary), []byte("--"+boundary+"--")
	var out []entity
	start := -1
	add := func(until int) {
		if start >= 0 && len(out) < most {
			out = append(out, readEntity(bytes.TrimSuffix(bytes.TrimSuffix(e.body[start:until], []byte("\n")), []byte("\r"))))
		}
	}
	for at := 0; at < len(e.body) && len(out) < most; {
		stop := bytes.IndexByte(e.body[at:], '\n')
		next := at + stop + 1
		if stop < 0 {
			next = len(e.body)
		}
		line := bytes.TrimRight(e.body[at:next], " \t\r\n")
		switch {
		case bytes.Equal(line, end):
			add(at)
			return out
		case bytes.Equal(line, open):
			add(at)
			start = next
		}
		at = next
	}
	add(len(e.body))
	return out
}

// content undoes the transfer encoding, as far as it can.
func (e *entity) content() []byte {
	switch strings.ToLower(e.head.get("content-transfer-encoding")) {
	case "base64":
		return fromBase64(e.body)
	case "quoted-printable":
		return fromQuotedPrintable(e.body)
	}
	return e.body
}

func fromBase64(b []byte) []byte {
	clean := make([]byte, 0, len(b))
	for _, c := range b {
		switch {
		case c >= 'A' && c <= 'Z', c >= 'a' && c <= 'z', c >= '0' && c <= '9', c == '+', c == '/':
			clean = append(clean, c)
		}
	}
	clean = clean[:len(clean)-len(clean)%4+map[int]int{2: 2, 3: 3}[len(clean)%4]]
	out := make([]byte, base64.RawStdEncoding.DecodedLen(len(clean)))
	n, _ := base64.RawStdEncoding.Decode(out, clean) // what was decoded before a fault counts
	return out[:n]
}

// fromQuotedPrintable decodes RFC 2045 §6.7; what is not well formed stands for
// itself, as §6.7 (2) and its note on robustness ask.
func fromQuotedPrintable(b []byte) []byte {
	out := make([]byte, 0, len(b))
	for i := 0; i < len(b); i++ {
		if b[i] != '=' {
			out = append(out, b[i])
			continue
		}
		line := i + 1
		for line < len(b) && (b[line] == ' ' || b[line] == '\t' || b[line] == '\r') {
			line++
		}
		switch {
		case line >= len(b):
			return out
		case b[line] == '\n':
			i = line // a soft line break
		case i+2 < len(b) && hexDigit(b[i+1]) >= 0 && hexDigit(b[i+2]) >= 0:
			out = append(out, byte(hexDigit(b[i+1])<<4|hexDigit(b[i+2])))
			i += 2
		default:
			out = append(out, '=')
		}
	}
	return out
}

func hexDigit(c byte) int {
	switch {
	case c >= '0' && c <= '9':
		return int(c - '0')
	case c >= 'a' && c <= 'f':
		return int(c-'a') + 10
	case c >= 'A' && c <= 'F':
		return int(c-'A') + 10
	}
	return -1
}

// text is the content in UTF-8 with plain line breaks.
func (e *entity) text() string {
	b := e.content()
	name := strings.ToLower(strings.TrimSpace(e.with["charset"]))
	out := ""
	switch {
	case utf8.Valid(b) && (name == "" || name == "us-ascii" || name == "utf-8" || name == "utf8"):
		out = string(b)
	default:
		if name == "" || name == "us-ascii" {
			name = "windows-1252" // what those write who name nothing; common practice, no source
		}
		r, err := charset.Reader(name, bytes.NewReader(b))
		if err != nil && utf8.Valid(b) {
			out = string(b)
			break
		}
		if err != nil {
			r, err = charset.Reader("windows-1252", bytes.NewReader(b))
		}
		if err == nil {
			decoded, _ := io.ReadAll(r) // what was decoded before a fault counts
			out = string(decoded)
		}
	}
	out = strings.TrimPrefix(strings.ToValidUTF8(out, "\uFFFD"), "\uFEFF")
	return strings.ReplaceAll(strings.ReplaceAll(out, "\r\n", "\n"), "\r", "\n")
}

// words is the text of an e-mail: what is plain, else what was made of HTML.
type words struct{ plain, html string }

func (w words) best() string {
	if strings.TrimSpace(w.plain) != "" {
		return w.plain
	}
	return w.html
}

// walk reads the text out of an e-mail.
type walk struct{ parts int }

func (w *walk) words(e *entity, depth int) words {
	if w.parts++; w.parts > maxParts || depth > maxDepth || attached(e) {
		return words{}
	}
	switch {
	case e.kind == "text/plain":
		text := e.text()
		if strings.EqualFold(e.with["format"], "flowed") {
			text = unflow(text, strings.EqualFold(e.with["delsp"], "yes"))
		}
		return words{plain: text}
	case e.kind == "text/html":
		return words{html: fromHTML(e.text())}
	case !strings.HasPrefix(e.kind, "multipart/"):
		return words{}
	}
	var out words
	for _, child := range e.parts(maxParts) {
		got := w.words(&child, depth+1)
		if e.kind == "multipart/alternative" {
			if strings.TrimSpace(out.plain) == "" {
				out.plain = got.plain
			}
			if strings.TrimSpace(out.html) == "" {
				out.html = got.html
			}
			continue
		}
		// Some write a text in pieces, round a picture.
		if text := strings.TrimSpace(got.best()); text != "" {
			out.plain = strings.TrimPrefix(out.plain+"\n\n"+text, "\n\n")
		}
	}
	return out
}

// attached says whether a part is a file that came along.
func attached(e *entity) bool {
	how, with, _ := mime.ParseMediaType(e.head.get("content-disposition"))
	return how == "attachment" || with["filename"] != ""
}

// unflow joins the lines of a flowed paragraph (RFC 3676 §4).
func unflow(s string, delsp bool) string {
	var out strings.Builder
	lines := strings.Split(s, "\n")
	for i, line := range lines {
		quoted := strings.HasPrefix(line, ">")
		line = strings.TrimPrefix(line, " ") // space-stuffing
		flows := !quoted && strings.HasSuffix(line, " ") && line != "-- " && i+1 < len(lines) && !strings.HasPrefix(lines[i+1], ">")
		if flows && delsp {
			line = strings.TrimSuffix(line, " ")
		}
		out.WriteString(line)
		if !flows && i+1 < len(lines) {
			out.WriteByte('\n')
		}
	}
	return out.String()
}
