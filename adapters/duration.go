package adapters

import (
	"fmt"
	"time"
)

// Duration is a length of time as it stands in a configuration file: "90s",
// "5m", "1h30m" (the spelling of time.ParseDuration).
type Duration time.Duration

// UnmarshalText reads the spelling above and refuses a negative length.
func (d *Duration) UnmarshalText(text []byte) error {
	v, err := time.ParseDuration(string(text))
	if err != nil {
		return fmt.Errorf("%q is no length of time; write it like \"90s\" or \"5m\"", text)
	}
	if v < 0 {
		return fmt.Errorf("%q is less than nothing; write a length of time like \"90s\" or \"5m\"", text)
	}
	*d = Duration(v)
	return nil
}

// MarshalText writes the spelling that UnmarshalText reads.
func (d Duration) MarshalText() ([]byte, error) { return []byte(time.Duration(d).String()), nil }

// Or returns the length, or def where none is set.
func (d Duration) Or(def time.Duration) time.Duration {
	if d == 0 {
		return def
	}
	return time.Duration(d)
}
