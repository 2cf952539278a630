package webapi

import (
	"errors"
	"fmt"
	"strings"
)

// secrets finds secrets and remembers them, so that nothing that is written
// for a person can hold one.
type secrets struct {
	getenv   func(string) string
	readFile func(string) ([]byte, error)
	known    []string
}

// find returns the secret itself. With no way to look (Validate), a reference
// stands for itself.
func (s *secrets) find(v Secret) (string, error) {
	out := string(v)
	if name, ok := strings.CutPrefix(out, "env:"); ok && s.getenv != nil {
		out = s.getenv(name)
		if out == "" {
			return "", fmt.Errorf("the environment variable %s is not set", name)
		}
	} else if file, ok := strings.CutPrefix(out, "file:"); ok && s.readFile != nil {
		b, err := s.readFile(file)
		if err != nil {
			return "", fmt.Errorf("the file with the secret cannot be read: %w", err)
		}
		out = strings.TrimRight(string(b), "\r\n")
		if out == "" {
			return "", errors.New("the file with the secret is empty")
		}
	}
	if strings.ContainsAny(out, "\r\n\x00") {
		return "", errors.New("the secret must be one line")
	}
	if len(out) >= 4 {
		s.known = append(s.known, out)
	}
	return out, nil
}
