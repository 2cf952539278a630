package webapi

import (
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
)

// piece is literal text or a placeholder.
type piece struct {
	lit    string
	name   string
	number bool
}

// template is a text with placeholders.
type template []piece

var placeholder = regexp.MustCompile(`\{\{|\}\}|\{([a-z_]+)(:number)?\}`)

// parseTemplate reads a text with placeholders and refuses any that is not
// among names.
func parseTemplate(s string, names []string) (template, error) {
	var t template
	at := 0
	for _, m := range placeholder.FindAllStringSubmatchIndex(s, -1) {
		if m[0] > at {
			t = append(t, piece{lit: s[at:m[0]]})
		}
		at = m[1]
		if m[2] < 0 {
			t = append(t, piece{lit: s[m[0] : m[0]+1]})
			continue
		}
		name := s[m[2]:m[3]]
		if !slices.Contains(names, name) {
			return nil, fmt.Errorf("{%s} is not known here; there are {%s}", name, strings.Join(names, "}, {"))
		}
		t = append(t, piece{name: name, number: m[4] >= 0})
	}
	if at < len(s) {
		t = append(t, piece{lit: s[at:]})
	}
	return t, nil
}

// fill puts the values in, each through escape.
func (t template) fill(values map[string]string, escape func(string) string) string {
	var b strings.Builder
	for _, p := range t {
		if p.name == "" {
			b.WriteString(p.lit)
			continue
		}
		b.WriteString(escape(values[p.name]))
	}
	return b.String()
}

// alone returns the placeholder's name where it is the whole template.
func (t template) alone() (p piece, ok bool) {
	if len(t) == 1 && t[0].name != "" {
		return t[0], true
	}
	return piece{}, false
}

func plain(s string) string { return s }

// percent escapes all but the unreserved characters of RFC 3986 §2.3, which is
// right in a path and in a query alike.
func percent(s string) string { return strings.ReplaceAll(url.QueryEscape(s), "+", "%20") }

// jsonTemplate is a JSON document whose strings are templates.
type jsonTemplate struct{ root any }

func parseJSONTemplate(s string, names []string) (jsonTemplate, error) {
	v, err := decode([]byte(s))
	if err != nil {
		return jsonTemplate{}, fmt.Errorf("is not JSON; a placeholder stands between quotes, as in \"{to}\"")
	}
	root, err := compileJSON(v, names)
	return jsonTemplate{root: root}, err
}

func compileJSON(v any, names []string) (any, error) {
	switch x := v.(type) {
	case string:
		return parseTemplate(x, names)
	case []any:
		for i := range x {
			c, err := compileJSON(x[i], names)
			if err != nil {
				return nil, err
			}
			x[i] = c
		}
	case map[string]any:
		for k := range x {
			c, err := compileJSON(x[k], names)
			if err != nil {
				return nil, err
			}
			x[k] = c
		}
	}
	return v, nil
}

// fill returns the document with the values in; encoding/json does the quoting.
func (t jsonTemplate) fill(values map[string]string) ([]byte, error) {
	v, _ := fillJSON(t.root, values)
	return json.Marshal(v)
}

// fillJSON says false for a value that is to be left out.
func fillJSON(v any, values map[string]string) (any, bool) {
	switch x := v.(type) {
	case template:
		if p, ok := x.alone(); ok {
			s := values[p.name]
			if p.number && jsonNumber.MatchString(s) {
				return json.Number(s), true
			}
			return s, s != ""
		}
		return x.fill(values, plain), true
	case []any:
		out := make([]any, 0, len(x))
		for _, e := range x {
			if f, ok := fillJSON(e, values); ok {
				out = append(out, f)
			}
		}
		return out, true
	case map[string]any:
		out := make(map[string]any, len(x))
		for k, e := range x {
			if f, ok := fillJSON(e, values); ok {
				out[k] = f
			}
		}
		return out, true
	}
	return v, true
}

// jsonNumber is the grammar of RFC 8259 §6.
var jsonNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)
