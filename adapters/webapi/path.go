package webapi

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// step is one name of a path, or, without a name, one list index.
type step struct {
	name  string
	list  bool // take an element, or every one
	every bool
	index int
}

// path leads to a value in a JSON document; see Fields for the spelling.
type path struct {
	root   bool   // from the whole body
	header string // or from this HTTP header
	steps  []step
}

// paths are alternatives; the first that leads anywhere wins.
type paths []path

func parsePaths(s string) (paths, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	var out paths
	for _, one := range strings.Split(s, " | ") {
		p, err := parsePath(strings.TrimSpace(one))
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

func parsePath(s string) (path, error) {
	var p path
	if h, ok := strings.CutPrefix(s, "header:"); ok {
		if !token(h) {
			return path{}, fmt.Errorf("%q names no HTTP header", s)
		}
		p.header = h
		return p, nil
	}
	if rest, ok := strings.CutPrefix(s, "$."); ok {
		p.root, s = true, rest
	}
	for _, part := range splitDots(s) {
		name, brackets := cutBrackets(part)
		if name == "" && brackets == "" {
			return path{}, fmt.Errorf("%q is no path: a name between two dots is missing", s)
		}
		if name != "" {
			p.steps = append(p.steps, step{name: name})
		}
		for brackets != "" {
			in, rest, _ := strings.Cut(brackets[1:], "]")
			st := step{list: true, every: in == ""}
			if in != "" {
				n, err := strconv.Atoi(in)
				if err != nil || n < 0 {
					return path{}, fmt.Errorf("%q is no path: between [ and ] stands a number or nothing", s)
				}
				st.index = n
			}
			p.steps = append(p.steps, st)
			brackets = rest
		}
	}
	return p, nil
}

// splitDots splits at dots that have no backslash before them.
func splitDots(s string) []string {
	var out []string
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '\\' && i+1 < len(s) && s[i+1] == '.':
			b.WriteByte('.')
			i++
		case s[i] == '.':
			out = append(out, b.String())
			b.Reset()
		default:
			b.WriteByte(s[i])
		}
	}
	return append(out, b.String())
}

// cutBrackets parts "name[][0]" into its name and its brackets; brackets that
// do not close belong to the name.
func cutBrackets(s string) (name, brackets string) {
	end := len(s)
	for end > 0 && s[end-1] == ']' {
		open := strings.LastIndexByte(s[:end], '[')
		if open < 0 || strings.IndexByte(s[open:end-1], ']') >= 0 {
			break
		}
		end = open
	}
	return s[:end], s[end:]
}

// all returns every value that the path leads to from v.
func (p path) all(v any) []any {
	now := []any{v}
	for _, st := range p.steps {
		var next []any
		for _, v := range now {
			next = st.from(v, next)
		}
		if len(next) == 0 {
			return nil
		}
		now = next
	}
	return now
}

func (st step) from(v any, out []any) []any {
	if !st.list {
		if m, ok := v.(map[string]any); ok {
			if x, ok := m[st.name]; ok {
				return append(out, x)
			}
		}
		return out
	}
	l, ok := v.([]any)
	switch {
	case !ok:
	case st.every:
		return append(out, l...)
	case st.index < len(l):
		return append(out, l[st.index])
	}
	return out
}

// strings returns the plain values that the first fruitful alternative leads
// to. Lists, objects, null and the empty string are not values.
func (ps paths) strings(at place) []string {
	for _, p := range ps {
		if vs := p.strings(at); len(vs) > 0 {
			return vs
		}
	}
	return nil
}

func (p path) strings(at place) []string {
	if p.header != "" {
		if h := at.header(p.header); h != "" {
			return []string{h}
		}
		return nil
	}
	from := at.event
	if p.root {
		from = at.body
	}
	var out []string
	for _, v := range p.all(from) {
		if s, ok := scalar(v); ok && s != "" {
			out = append(out, s)
		}
	}
	return out
}

// first is strings for a field that has one value.
func (ps paths) first(at place) string {
	if vs := ps.strings(at); len(vs) > 0 {
		return vs[0]
	}
	return ""
}

// place is where paths start.
type place struct {
	body, event any
	header      func(string) string
}

func scalar(v any) (string, bool) {
	switch x := v.(type) {
	case string:
		return x, true
	case json.Number:
		return x.String(), true
	case bool:
		return strconv.FormatBool(x), true
	}
	return "", false
}

var errNotJSON = errors.New("not JSON")

// decode reads exactly one JSON value; numbers keep their digits.
func decode(body []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var v any
	if d.Decode(&v) != nil {
		return nil, errNotJSON // the decoder's own words quote the body
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errNotJSON
	}
	return v, nil
}

// token says whether s is a token of RFC 9110 §5.6.2, such as a header's name.
func token(s string) bool {
	if s == "" {
		return false
	}
	for _, c := range s {
		if c <= ' ' || c >= 0x7f || strings.ContainsRune(`"(),/:;<=>?@[\]{}`, c) {
			return false
		}
	}
	return true
}
