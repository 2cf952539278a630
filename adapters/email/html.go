package email

import (
	"html"
	"strings"
)

// maxOpen is how many elements may be open at once before the innermost are no
// longer told apart.
const maxOpen = 256

// fromHTML makes plain text of HTML: words and line breaks. What stands in a
// blockquote gets ">" before each line, so that it is cut off like any quoted
// text. It is a reader of what mail programs write, not of all HTML; it never
// fails.
func fromHTML(s string) string {
	var t textWriter
	for len(s) > 0 {
		if t.skip != "" {
			s = t.skipped(s)
			continue
		}
		at := strings.IndexByte(s, '<')
		if at < 0 {
			at = len(s)
		}
		t.text(html.UnescapeString(s[:at]))
		s = s[at:]
		if s == "" {
			break
		}
		s = t.markup(s)
	}
	return t.String()
}

type element struct {
	name   string
	quotes bool
	hidden bool
}

// textWriter writes the text of the elements that it is told of.
type textWriter struct {
	out    strings.Builder
	line   strings.Builder
	gap    bool   // white space is due before the next word
	skip   string // the element whose content is no text, such as "style"
	open   []element
	quotes int
	hidden int
	blank  int // empty lines at the end
}

func (t *textWriter) String() string {
	t.end(0)
	return strings.TrimSpace(t.out.String())
}

// markup reads what begins with "<" and returns what stands behind it.
func (t *textWriter) markup(s string) string {
	if strings.HasPrefix(s, "<!--") {
		if end := strings.Index(s[4:], "-->"); end >= 0 {
			return s[4+end+3:]
		}
		return ""
	}
	end := tagEnd(s)
	if end < 0 || len(s) < 2 || !(s[1] == '/' || s[1] == '!' || s[1] == '?' || isLetter(s[1])) {
		t.text("<")
		return s[1:]
	}
	tag, rest := s[1:end], s[end+1:]
	if tag[0] == '!' || tag[0] == '?' {
		return rest
	}
	closing := tag[0] == '/'
	name := strings.ToLower(strings.TrimLeft(tag, "/"))
	if cut := strings.IndexAny(name, " \t\r\n/"); cut >= 0 {
		name = name[:cut]
	}
	if closing {
		t.close(name)
	} else {
		t.start(name, strings.ToLower(tag))
	}
	return rest
}

// skipped passes over what is no text, up to its end.
func (t *textWriter) skipped(s string) string {
	end := "</" + t.skip
	for {
		at := strings.Index(s, "</")
		if at < 0 {
			return ""
		}
		s = s[at:]
		if len(s) >= len(end) && strings.EqualFold(s[:len(end)], end) {
			t.skip = ""
			_, s, _ = strings.Cut(s, ">")
			return s
		}
		s = s[2:]
	}
}

// tagEnd finds the ">" that ends a tag, outside of quotation marks; -1 for none.
func tagEnd(s string) int {
	var quote byte
	const farthest = 8 << 10 // a quotation mark that nobody closed must not cost time
	for i := 1; i < len(s) && i < farthest; i++ {
		switch c := s[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '>':
			return i
		}
	}
	return strings.IndexByte(s[:min(len(s), farthest)], '>')
}

func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

func (t *textWriter) start(name, tag string) {
	switch name {
	case "script", "style", "head", "title", "template":
		t.skip = name
		return
	case "br":
		t.end(1)
		return
	case "hr":
		t.end(0)
		t.text("________________")
		t.end(0)
		return
	case "img", "meta", "link", "input", "wbr", "area", "base", "col", "embed", "source", "track":
		return
	case "td", "th":
		t.gap = true
	}
	if block(name) {
		t.end(0)
		if name == "p" || name == "blockquote" {
			t.paragraph()
		}
	}
	e := element{
		name:   name,
		quotes: name == "blockquote",
		hidden: strings.Contains(strings.ReplaceAll(tag, " ", ""), "display:none"),
	}
	if len(t.open) == maxOpen {
		return
	}
	t.open = append(t.open, e)
	if e.quotes {
		t.end(0)
		t.quotes++
	}
	if e.hidden {
		t.hidden++
	}
}

func (t *textWriter) close(name string) {
	if block(name) {
		t.end(0)
		if name == "p" || name == "blockquote" {
			t.paragraph()
		}
	}
	for i := len(t.open) - 1; i >= 0; i-- {
		if t.open[i].name != name {
			continue
		}
		for _, e := range t.open[i:] {
			if e.quotes {
				t.end(0)
				t.quotes--
			}
			if e.hidden {
				t.hidden--
			}
		}
		t.open = t.open[:i]
		return
	}
}

func block(name string) bool {
	switch name {
	case "p", "div", "tr", "table", "ul", "ol", "li", "blockquote", "pre", "h1", "h2", "h3", "h4", "h5", "h6",
		"section", "article", "header", "footer", "center", "address", "body", "html", "dl", "dt", "dd":
		return true
	}
	return false
}

// text adds words; white space of any length is one space (no-break spaces too).
func (t *textWriter) text(s string) {
	if t.hidden > 0 {
		return
	}
	for _, r := range s {
		switch r {
		case ' ', '\t', '\n', '\r', '\f', '\u00A0':
			t.gap = true
		case '\u200B', '\u200C', '\uFEFF', '\u00AD':
		default:
			if t.gap && t.line.Len() > 0 {
				t.line.WriteByte(' ')
			}
			t.gap = false
			t.line.WriteRune(r)
		}
	}
}

// end ends the line if there is one; always says how many breaks to write where
// there is none.
func (t *textWriter) end(always int) {
	t.gap = false
	if t.line.Len() == 0 {
		if always > 0 && t.out.Len() > 0 && t.blank < 2 {
			t.newline("")
			t.blank++
		}
		return
	}
	t.newline(t.line.String())
	t.line.Reset()
	t.blank = 0
}

// paragraph leaves one empty line.
func (t *textWriter) paragraph() {
	if t.out.Len() > 0 && t.blank == 0 {
		t.newline("")
		t.blank = 1
	}
}

func (t *textWriter) newline(s string) {
	if t.quotes > 0 {
		t.out.WriteString("> ")
	}
	t.out.WriteString(s)
	t.out.WriteByte('\n')
}
