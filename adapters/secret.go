package adapters

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
)

// Secret is a password, a PIN or a token in a configuration: as it is, or where
// to find it, as env:NAME or file:PATH. It does not print.
type Secret string

// String hides the secret.
func (Secret) String() string { return hidden }

// GoString hides the secret.
func (Secret) GoString() string { return hidden }

// LogValue hides the secret.
func (Secret) LogValue() slog.Value { return slog.StringValue(hidden) }

const hidden = "(hidden)"

// Find gives the secret itself, in one line. With no way to look, as when a
// configuration is only checked, a reference is not followed and found is
// false. No error holds the secret.
func (s Secret) Find(getenv func(string) string, readFile func(string) ([]byte, error)) (value string, found bool, err error) {
	value = string(s)
	if name, ok := strings.CutPrefix(value, "env:"); ok {
		if getenv == nil {
			return "", false, nil
		}
		if value = getenv(name); value == "" {
			return "", false, fmt.Errorf("the environment variable %s is not set", name)
		}
	} else if file, ok := strings.CutPrefix(value, "file:"); ok {
		if readFile == nil {
			return "", false, nil
		}
		b, err := readFile(file)
		if err != nil {
			return "", false, fmt.Errorf("the file with the secret cannot be read: %w", err)
		}
		if value = strings.TrimRight(string(b), " \t\r\n"); value == "" {
			return "", false, errors.New("the file with the secret is empty")
		}
	}
	if strings.ContainsAny(value, "\r\n\x00") {
		return "", false, errors.New("the secret must be one line")
	}
	return value, true, nil
}
