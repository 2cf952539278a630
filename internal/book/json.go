package book

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// object is a JSON object with its members in their order.
type object []member

type member struct {
	name  string
	value any // string, json.Number, bool, nil, object or []any
}

// deepest is how far JSON may be nested: more is no order book.
const deepest = 32

var errDeep = errors.New("nested too deeply")

// parseJSON reads one JSON value, numbers as they stand.
func parseJSON(data []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	v, err := jsonValue(d, 0)
	if err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return v, errors.New("more than one value")
	}
	return v, nil
}

func jsonValue(d *json.Decoder, depth int) (any, error) {
	if depth > deepest {
		return nil, errDeep
	}
	t, err := d.Token()
	if err != nil {
		return nil, err
	}
	switch t {
	case json.Delim('{'):
		var o object
		for d.More() {
			key, err := d.Token()
			if err != nil {
				return nil, err
			}
			v, err := jsonValue(d, depth+1)
			if err != nil {
				return nil, err
			}
			name, _ := key.(string)
			o = append(o, member{name, v})
		}
		_, err = d.Token()
		return o, err
	case json.Delim('['):
		list := []any{}
		for d.More() {
			v, err := jsonValue(d, depth+1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		_, err = d.Token()
		return list, err
	}
	return t, nil
}

// openJSON reads a list of orders, an object that holds one, or a line for each.
func openJSON(text, name string) (sheet, error) {
	v, err := parseJSON([]byte(text))
	if err != nil {
		lines, ok := jsonLines(text)
		if !ok {
			return sheet{}, &FileError{Name: name, What: "it begins like JSON and is not", Fix: "export it again, or as CSV", Err: err}
		}
		s := tabulate(lines)
		s.format = "json lines"
		return s, nil
	}
	list := longestList(v, 0)
	if list == nil {
		if o, ok := v.(object); ok {
			list = []any{o}
		}
	}
	if list == nil {
		return sheet{}, &FileError{Name: name, What: "there is no list of orders in it", Fix: "export the orders as CSV or as a list in JSON"}
	}
	return tabulate(list), nil
}

func jsonLines(text string) ([]any, bool) {
	var out []any
	for line := range strings.Lines(text) {
		if strings.TrimSpace(line) == "" {
			continue
		}
		v, err := parseJSON([]byte(line))
		if err != nil {
			return nil, false
		}
		out = append(out, v)
	}
	return out, len(out) > 0
}

// longestList finds the list of orders: the outermost list of objects, and of
// several beside each other the one called orders, else the longest.
func longestList(v any, depth int) []any {
	if list, ok := v.([]any); ok {
		if len(list) > 0 {
			if _, ok := list[0].(object); ok {
				return list
			}
			if first, ok := list[0].([]any); ok && len(first) > 0 && len(list) > 1 {
				return list // rows of cells
			}
		}
		return nil
	}
	o, ok := v.(object)
	if !ok || depth > 3 {
		return nil
	}
	var best []any
	for _, m := range o {
		found := longestList(m.value, depth+1)
		if found != nil && (strings.EqualFold(m.name, "orders") || strings.EqualFold(m.name, "pedidos")) {
			return found
		}
		if readHeading(m.name).field == fItems && o.looksLikeOrder() {
			return nil
		}
		if len(found) > len(best) {
			best = found
		}
	}
	return best
}

// looksLikeOrder tells whether an object is itself one order, so that a list in
// it is its items.
func (o object) looksLikeOrder() bool {
	hits := 0
	for _, m := range o {
		switch readHeading(m.name).field {
		case fRef, fName, fPhone, fSlot, fFirst:
			hits++
		}
	}
	return hits > 1
}

// tabulate lays objects out as rows under one heading, nested members as
// headings of several words.
func tabulate(list []any) sheet {
	s := sheet{format: "json"}
	var head []string
	at := map[string]int{}
	rows := make([]row, 0, len(list))
	for i, v := range list {
		var cells []string
		put := func(title, text string) {
			c, ok := at[title]
			if !ok {
				c = len(head)
				at[title] = c
				head = append(head, title)
			}
			for len(cells) <= c {
				cells = append(cells, "")
			}
			cells[c] = cell(text)
		}
		switch v := v.(type) {
		case object:
			flatten(v, "", put)
		case []any:
			for c, x := range v {
				put(fmt.Sprint(c), jsonText(x))
			}
		default:
			put("value", jsonText(v))
		}
		if slices.ContainsFunc(cells, func(c string) bool { return c != "" }) {
			rows = append(rows, row{num: i + 1, cells: cells})
		}
	}
	if _, isRow := list[0].([]any); isRow {
		s.rows = rows
		return s
	}
	s.rows = append([]row{{num: 0, cells: head}}, rows...)
	return s
}

func flatten(o object, path string, put func(title, text string)) {
	for _, m := range o {
		title := strings.TrimSpace(path + " " + m.name)
		switch v := m.value.(type) {
		case object:
			if text, ok := countedItems(m.name, v); ok {
				put(title, text)
				continue
			}
			flatten(v, title, put)
		case []any:
			if len(v) > 0 {
				put(title, listText(v))
			}
		default:
			put(title, jsonText(v))
		}
	}
}

// countedItems reads an object such as {"Pork bao": 2, "Slaw": 1}.
func countedItems(name string, o object) (string, bool) {
	if readHeading(name).field != fItems || len(o) == 0 {
		return "", false
	}
	parts := make([]string, len(o))
	for i, m := range o {
		n, ok := m.value.(json.Number)
		if !ok {
			return "", false
		}
		parts[i] = n.String() + "x " + m.name
	}
	return strings.Join(parts, "; "), true
}

// listText writes a list as one cell: plain values behind each other, objects as
// JSON for the reader of items.
func listText(list []any) string {
	parts := make([]string, len(list))
	for i, v := range list {
		switch v.(type) {
		case object, []any:
			b, err := json.Marshal(plainJSON(list))
			if err != nil {
				return ""
			}
			return string(b)
		}
		parts[i] = jsonText(v)
	}
	return strings.Join(parts, "; ")
}

// plainJSON turns ordered objects into what encoding/json writes.
func plainJSON(v any) any {
	switch v := v.(type) {
	case object:
		m := make(map[string]any, len(v))
		for _, x := range v {
			m[x.name] = plainJSON(x.value)
		}
		return m
	case []any:
		out := make([]any, len(v))
		for i, x := range v {
			out[i] = plainJSON(x)
		}
		return out
	}
	return v
}

func jsonText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	case json.Number:
		return v.String()
	case bool:
		if v {
			return "true"
		}
		return "false"
	case []any:
		return listText(v)
	case object:
		return listText([]any{v})
	}
	return fmt.Sprint(v)
}
