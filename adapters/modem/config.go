package modem

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"passbell/adapters"
)

// Config describes a modem and its SIM. Everything but port has a default.
type Config struct {
	// Name stands in errors and logs; "modem" where empty.
	Name string `toml:"name"`

	// Port is the serial device: /dev/serial/by-id/... keeps its name when the
	// modem is unplugged and plugged in again, /dev/ttyUSB0 may not.
	Port string `toml:"port"`
	// Baud is the speed, 115200; USB modems do not care.
	Baud int `toml:"baud"`
	// PIN unlocks the SIM; empty for a SIM without.
	PIN adapters.Secret `toml:"pin"`
	// SMSC is the number of the message centre; the SIM's own where empty.
	SMSC string `toml:"smsc"`

	// PartsPerMinute is the even pace, 10. A long text has several parts.
	PartsPerMinute float64 `toml:"parts_per_minute"`
	// Burst is the most parts in any BurstWindow: 25 in 30m. It is a caution for
	// consumer SIMs; raise it when the contract allows.
	Burst       int               `toml:"burst"`
	BurstWindow adapters.Duration `toml:"burst_window"`

	// Validity is "relative", so that the network drops a text that is no use any
	// more, or "none" for networks that refuse it.
	Validity string `toml:"validity"`
	// Receipts is "all" or "none".
	Receipts string `toml:"receipts"`

	// Storage is where incoming texts wait: "SM" (the SIM), "ME" (the modem),
	// "MT" (both); as the modem has it where empty.
	Storage string `toml:"storage"`
	// Indications are the five numbers of AT+CNMI for a modem whose manual says
	// so; found out where empty.
	Indications string `toml:"indications"`

	// Command is how long to wait for an answer to a command, 10s.
	Command adapters.Duration `toml:"command"`
	// SendTime is how long to wait for the result of a part, 2m.
	SendTime adapters.Duration `toml:"send_time"`
	// Poll is how often the store is looked at without being told, and whether
	// the modem is still well, 30s.
	Poll adapters.Duration `toml:"poll"`
	// StoreRetry is the wait after a text could not be stored, 5s.
	StoreRetry adapters.Duration `toml:"store_retry"`
	// ThrottlePause is the wait after the network said "congestion", 30s.
	ThrottlePause adapters.Duration `toml:"throttle_pause"`
	// ReconnectMin and ReconnectMax bound the wait before the port is opened
	// again, 1s and 1m; it doubles from try to try and is shortened by chance by
	// up to a half.
	ReconnectMin adapters.Duration `toml:"reconnect_min"`
	ReconnectMax adapters.Duration `toml:"reconnect_max"`
	// AssembleWithin is how long to wait for the missing parts of a long text
	// before it is handed on with its gaps, 10m.
	AssembleWithin adapters.Duration `toml:"assemble_within"`
}

const (
	validRelative = "relative"
	validNone     = "none"

	receiptsAll  = "all"
	receiptsNone = "none"
)

// withDefaults fills in what was left out.
func (c Config) withDefaults() Config {
	text := func(s *string, def string) {
		if *s == "" {
			*s = def
		}
	}
	text(&c.Name, "modem")
	text(&c.Validity, validRelative)
	text(&c.Receipts, receiptsAll)
	if c.Baud == 0 {
		c.Baud = 115200
	}
	if c.PartsPerMinute == 0 {
		c.PartsPerMinute = 10
	}
	if c.Burst == 0 {
		c.Burst = 25
	}
	length := func(d *adapters.Duration, def time.Duration) { *d = adapters.Duration(d.Or(def)) }
	length(&c.BurstWindow, 30*time.Minute)
	length(&c.Command, 10*time.Second)
	length(&c.SendTime, 2*time.Minute)
	length(&c.Poll, 30*time.Second)
	length(&c.StoreRetry, 5*time.Second)
	length(&c.ThrottlePause, 30*time.Second)
	length(&c.ReconnectMin, time.Second)
	length(&c.ReconnectMax, max(time.Minute, time.Duration(c.ReconnectMin)))
	length(&c.AssembleWithin, 10*time.Minute)
	return c
}

var (
	e164 = regexp.MustCompile(`^\+[1-9][0-9]{0,14}$`)
	// A SIM's PIN has 4 to 8 digits (ETSI TS 102 221 §9.5.1, from memory).
	pinDigits  = regexp.MustCompile(`^[0-9]{4,8}$`)
	cnmiValues = regexp.MustCompile(`^[0-3](,[0-3]){0,4}$`)
)

// Validate names everything that cannot be, without looking for the PIN and
// without touching the modem.
func (c Config) Validate() error {
	c = c.withDefaults()
	f := faults{name: c.Name}
	if c.Port == "" || strings.ContainsFunc(c.Port, func(r rune) bool { return r < ' ' }) {
		f.add("port", "is missing; it is the modem's device, like \"/dev/serial/by-id/usb-modem-if00\" or \"COM3\"")
	}
	if c.Baud < 300 || c.Baud > 4_000_000 {
		f.add("baud", "%d is no speed of a serial port; leave it out, or write 9600 or 115200 as the modem's manual says", c.Baud)
	}
	if c.PIN != "" {
		if _, err := find(c.PIN, nil, nil); err != nil {
			f.add("pin", "%w", err)
		}
	}
	if c.SMSC != "" && !e164.MatchString(c.SMSC) {
		f.add("smsc", "must be the message centre's number with a plus, like \"+447700900999\"; leave it out to use the SIM's own")
	}
	c.checkWords(&f)
	c.checkNumbers(&f)
	return errors.Join(f.all...)
}

// faults gathers faults, so that a cook reads all of them at once.
type faults struct {
	name string
	all  []error
}

func (f *faults) add(key, format string, args ...any) {
	f.all = append(f.all, fmt.Errorf("%s: %s: %w", f.name, key, fmt.Errorf(format, args...)))
}

func (c Config) checkWords(f *faults) {
	for _, w := range []struct {
		key, value string
		choices    []string
	}{
		{"validity", c.Validity, []string{validRelative, validNone}},
		{"receipts", c.Receipts, []string{receiptsAll, receiptsNone}},
	} {
		if !slices.Contains(w.choices, w.value) {
			f.add(w.key, "%q is none of %s", w.value, strings.Join(w.choices, ", "))
		}
	}
	if c.Storage != "" && !slices.Contains([]string{"SM", "ME", "MT"}, c.Storage) {
		f.add("storage", "%q is none of SM (the SIM), ME (the modem), MT (both); leave it out if you are not sure", c.Storage)
	}
	if c.Indications != "" && !cnmiValues.MatchString(c.Indications) {
		f.add("indications", "must be the numbers of AT+CNMI, like \"2,1,0,1,0\"; leave it out if you are not sure")
	}
}

func (c Config) checkNumbers(f *faults) {
	if math.IsNaN(c.PartsPerMinute) || c.PartsPerMinute < 0.1 || c.PartsPerMinute > 1e6 {
		f.add("parts_per_minute", "must be 0.1 or more; 10 is a caution that most SIMs bear")
	}
	if c.Burst < 1 || c.Burst > 1_000_000 {
		f.add("burst", "must be 1 or more; it is the most parts of texts in any burst_window")
	}
	for key, d := range map[string]adapters.Duration{
		"burst_window": c.BurstWindow, "command": c.Command, "send_time": c.SendTime, "poll": c.Poll, "store_retry": c.StoreRetry,
		"throttle_pause": c.ThrottlePause, "reconnect_min": c.ReconnectMin, "reconnect_max": c.ReconnectMax,
		"assemble_within": c.AssembleWithin,
	} {
		if time.Duration(d) < time.Millisecond {
			f.add(key, "must be at least 1ms")
		}
	}
	if c.ReconnectMax < c.ReconnectMin {
		f.add("reconnect_max", "is shorter than reconnect_min")
	}
}

// find returns the PIN itself; "" where a reference is not followed.
func find(secret adapters.Secret, getenv func(string) string, readFile func(string) ([]byte, error)) (string, error) {
	out, _, err := secret.Find(getenv, readFile)
	if err != nil {
		return "", err
	}
	if out != "" && !pinDigits.MatchString(out) {
		return "", errors.New("a SIM's PIN has 4 to 8 digits; write it in quotes, or env:NAME or file:PATH to say where it stands")
	}
	return out, nil
}
