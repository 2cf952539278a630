package book

import (
	"bytes"
	"strings"
)

// open finds the format by content and lays the file out as rows.
func open(data []byte, name string) (sheet, error) {
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return sheet{}, &FileError{Name: name, What: "it is empty", Fix: "export the orders again"}
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return openPacked(data, name)
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return sheet{}, &FileError{Name: name, What: "it is a spreadsheet of the old kind, or locked with a password", Fix: "save it as .xlsx or .csv without a password"}
	case bytes.HasPrefix(data, []byte("%PDF")):
		return sheet{}, &FileError{Name: name, What: "it is a PDF", Fix: "export the orders as CSV or as a spreadsheet"}
	}
	text := decode(data)
	switch trimmed := strings.TrimSpace(text); {
	case trimmed == "":
		return sheet{}, &FileError{Name: name, What: "it is empty", Fix: "export the orders again"}
	case trimmed[0] == '{', trimmed[0] == '[' && jsonStart(trimmed):
		return openJSON(trimmed, name)
	case strings.HasPrefix(strings.ToLower(trimmed), "<!doctype"), strings.HasPrefix(strings.ToLower(trimmed), "<html"):
		return sheet{}, &FileError{Name: name, What: "it is a web page, not an export", Fix: "sign in where the orders are and download the export again"}
	}
	return openCSV(text), nil
}

// jsonStart tells a JSON list from a text that begins with a bracket.
func jsonStart(s string) bool {
	rest := strings.TrimSpace(s[1:])
	return rest == "" || strings.ContainsRune(`{["]`, rune(rest[0]))
}
