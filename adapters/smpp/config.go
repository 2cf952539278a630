package smpp

import (
	"errors"
	"fmt"
	"math"
	"net"
	"os"
	"regexp"
	"strings"
	"time"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// Config describes the account at a message centre (SMSC) that speaks SMPP v3.4.
// Times that are left out have the default given; so has everything else but
// address, system_id and password.
type Config struct {
	// Name stands in errors and logs; "smpp" where empty.
	Name string `toml:"name"`

	// Address is host:port of the centre.
	Address string `toml:"address"`
	// ReceiveAddress is where the receiver of a pair signs in; Address where
	// empty.
	ReceiveAddress string `toml:"receive_address"`
	// TLS wraps the connection (1.2 or newer; the certificate is checked).
	TLS bool `toml:"tls"`
	// TLSName is the name in the centre's certificate where it is not the host.
	TLSName string `toml:"tls_name"`
	// TLSAuthority is a PEM file with the authority to trust instead of the
	// machine's.
	TLSAuthority string `toml:"tls_authority"`
	// TLSCertificate and TLSKey are PEM files by which the kitchen shows itself.
	TLSCertificate string `toml:"tls_certificate"`
	TLSKey         string `toml:"tls_key"`

	SystemID   string          `toml:"system_id"`
	Password   adapters.Secret `toml:"password"`
	SystemType string          `toml:"system_type"`
	// Mode is "transceiver" (one connection both ways) or "pair" (a transmitter
	// and a receiver).
	Mode string `toml:"mode"`

	// From is the sender of texts that name none: an E.164 number, a short
	// code, or a name of up to 11 signs. Empty lets the centre choose.
	From string `toml:"from"`
	// FromTON and FromNPI overrule what the sender looks like: 1/1 for a number
	// with a plus, 0/0 for digits alone, 5/0 for a name.
	FromTON *int `toml:"from_ton"`
	FromNPI *int `toml:"from_npi"`
	// ToTON and ToNPI are those of recipients, 1/1.
	ToTON *int `toml:"to_ton"`
	ToNPI *int `toml:"to_npi"`
	// ServiceType is as the centre's operator says; mostly empty.
	ServiceType string `toml:"service_type"`

	// Window is how many submits may be unanswered at once, 10.
	Window int `toml:"window"`
	// PerSecond is the most submits a second, parts of long texts counted each;
	// 0 for no limit.
	PerSecond float64 `toml:"per_second"`
	// ThrottlePause is how long nothing is submitted after the centre said "too
	// fast", 1s.
	ThrottlePause adapters.Duration `toml:"throttle_pause"`

	// Alphabet is what the centre takes data_coding 0 for: "gsm7" or "latin1".
	Alphabet string `toml:"alphabet"`
	// Long is how long texts go: "udh", "payload" or "sar".
	Long string `toml:"long"`
	// Validity is how the moment after which a text is no use is told:
	// "relative", "absolute" or "none".
	Validity string `toml:"validity"`
	// Receipts asks for them: "all", "failures" or "none".
	Receipts string `toml:"receipts"`
	// ReceiptIDs is how the ids in receipts relate to those in answers: "auto",
	// "same", "exact", "decimal-in-receipt" or "hex-in-receipt".
	ReceiptIDs string `toml:"receipt_ids"`
	// Zone is the time zone of the dates in receipts, "UTC".
	Zone string `toml:"zone"`

	// Enquire is how long a connection may be silent before enquire_link asks,
	// 30s.
	Enquire adapters.Duration `toml:"enquire"`
	// Response is how long to wait for an answer, 30s.
	Response adapters.Duration `toml:"response"`
	// ReconnectMin and ReconnectMax bound the wait before the next try to sign
	// in, 1s and 1m; it doubles from try to try and is shortened by chance by up
	// to a half.
	ReconnectMin adapters.Duration `toml:"reconnect_min"`
	ReconnectMax adapters.Duration `toml:"reconnect_max"`

	// HoldParts is how long a part of a long text is left unanswered while the
	// others are missing, 3s; it must be shorter than the centre's own wait.
	HoldParts adapters.Duration `toml:"hold_parts"`
	// AssembleWithin is how long to wait for missing parts before the text is
	// handed on with its gaps, 5m.
	AssembleWithin adapters.Duration `toml:"assemble_within"`
	// RepeatWindow is how long the same text of the same sender is taken for a
	// repeat, 2m.
	RepeatWindow adapters.Duration `toml:"repeat_window"`
}

const (
	modeTransceiver = "transceiver"
	modePair        = "pair"

	validRelative = "relative"
	validAbsolute = "absolute"
	validNone     = "none"

	receiptsAll      = "all"
	receiptsFailures = "failures"
	receiptsNone     = "none"
)

// withDefaults fills in what was left out.
func (c Config) withDefaults() Config {
	text := func(s *string, def string) {
		if *s == "" {
			*s = def
		}
	}
	text(&c.Name, "smpp")
	text(&c.ReceiveAddress, c.Address)
	text(&c.Mode, modeTransceiver)
	text(&c.Alphabet, alphabetGSM7)
	text(&c.Long, longUDH)
	text(&c.Validity, validRelative)
	text(&c.Receipts, receiptsAll)
	text(&c.ReceiptIDs, idsAuto)
	text(&c.Zone, "UTC")
	if c.Window == 0 {
		c.Window = 10
	}
	length := func(d *adapters.Duration, def time.Duration) { *d = adapters.Duration(d.Or(def)) }
	length(&c.ThrottlePause, time.Second)
	length(&c.Enquire, 30*time.Second)
	length(&c.Response, 30*time.Second)
	length(&c.ReconnectMin, time.Second)
	length(&c.ReconnectMax, max(time.Minute, time.Duration(c.ReconnectMin)))
	length(&c.HoldParts, 3*time.Second)
	length(&c.AssembleWithin, 5*time.Minute)
	length(&c.RepeatWindow, 2*time.Minute)
	return c
}

// Validate names everything that cannot be, without looking for the password.
func (c Config) Validate() error {
	c = c.withDefaults()
	f := faults{name: c.Name}
	c.checkConnection(&f)
	c.checkSender(&f)
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

func (c Config) checkConnection(f *faults) {
	for key, addr := range map[string]string{"address": c.Address, "receive_address": c.ReceiveAddress} {
		if addr == "" && key == "receive_address" {
			continue // said once
		}
		if host, port, err := net.SplitHostPort(addr); err != nil || host == "" || port == "" {
			f.add(key, "%q is no address; write the centre's host and port, like \"smpp.example.net:2775\"", addr)
		}
	}
	if c.Mode == modeTransceiver && c.ReceiveAddress != c.Address {
		f.add("receive_address", "goes with mode = \"pair\" only; a transceiver has one connection")
	}
	if !c.TLS && c.TLSName+c.TLSAuthority+c.TLSCertificate+c.TLSKey != "" {
		f.add("tls", "is off, though other tls_ keys are set; write tls = true")
	}
	if (c.TLSCertificate == "") != (c.TLSKey == "") {
		f.add("tls_certificate", "and tls_key go together; one of them is missing")
	}
	if c.SystemID == "" {
		f.add("system_id", "is missing; it is the user name that the centre's operator gave you")
	}
	// The lengths are those of §5.2.1 to §5.2.3, without the closing NUL.
	for _, field := range []struct {
		key, value string
		most       int
	}{{"system_id", c.SystemID, 15}, {"system_type", c.SystemType, 12}, {"service_type", c.ServiceType, 5}} {
		if len(field.value) > field.most || !ascii(field.value) {
			f.add(field.key, "must be at most %d plain signs", field.most)
		}
	}
	if c.Password == "" {
		f.add("password", "is missing; write it, or env:NAME or file:PATH to say where it stands")
	} else if _, err := find(c.Password, nil, nil); err != nil {
		f.add("password", "%w", err)
	}
}

var (
	digitsOnly = regexp.MustCompile(`^[0-9]{1,20}$`)
	e164       = regexp.MustCompile(`^\+[1-9][0-9]{0,14}$`)
	// Names of senders: 11 signs (TS 23.040 §9.1.2.5: 20 semi-octets of 7-bit
	// signs); which signs the networks let through is common practice, no source.
	senderName = regexp.MustCompile(`^[A-Za-z0-9 &._-]{0,10}[A-Za-z][A-Za-z0-9 &._-]{0,10}$`)
)

func (c Config) checkSender(f *faults) {
	if c.From != "" {
		if _, err := source(c.From); err != nil {
			f.add("from", "%w", err)
		}
	}
	for key, v := range map[string]*int{
		"from_ton": c.FromTON, "from_npi": c.FromNPI, "to_ton": c.ToTON, "to_npi": c.ToNPI,
	} {
		if v != nil && (*v < 0 || *v > 255) {
			f.add(key, "must be 0 to 255; the centre's operator says which")
		}
	}
}

func (c Config) checkWords(f *faults) {
	for _, w := range []struct {
		key, value string
		choices    []string
	}{
		{"mode", c.Mode, []string{modeTransceiver, modePair}},
		{"alphabet", c.Alphabet, []string{alphabetGSM7, alphabetLatin1}},
		{"long", c.Long, []string{longUDH, longPayload, longSAR}},
		{"validity", c.Validity, []string{validRelative, validAbsolute, validNone}},
		{"receipts", c.Receipts, []string{receiptsAll, receiptsFailures, receiptsNone}},
		{"receipt_ids", c.ReceiptIDs, []string{idsAuto, idsSame, idsExact, idsDecimalInReceipt, idsHexInReceipt}},
	} {
		known := false
		for _, choice := range w.choices {
			known = known || w.value == choice
		}
		if !known {
			f.add(w.key, "%q is none of %s", w.value, strings.Join(w.choices, ", "))
		}
	}
	if _, err := time.LoadLocation(c.Zone); err != nil || c.Zone == "Local" {
		f.add("zone", "%q is no time zone; write it like \"Europe/London\" or \"UTC\"", c.Zone)
	}
}

func (c Config) checkNumbers(f *faults) {
	if c.Window < 1 || c.Window > 1000 {
		f.add("window", "must be 1 to 1000; the centre's operator says how many")
	}
	if c.PerSecond < 0 || math.IsNaN(c.PerSecond) || c.PerSecond > 1e6 {
		f.add("per_second", "must be 0 (no limit) or more")
	}
	for key, d := range map[string]adapters.Duration{
		"throttle_pause": c.ThrottlePause, "enquire": c.Enquire, "response": c.Response,
		"reconnect_min": c.ReconnectMin, "reconnect_max": c.ReconnectMax, "hold_parts": c.HoldParts,
		"assemble_within": c.AssembleWithin, "repeat_window": c.RepeatWindow,
	} {
		if time.Duration(d) < time.Millisecond {
			f.add(key, "must be at least 1ms")
		}
	}
	if c.ReconnectMax < c.ReconnectMin {
		f.add("reconnect_max", "is shorter than reconnect_min")
	}
	if c.AssembleWithin < c.HoldParts {
		f.add("assemble_within", "is shorter than hold_parts")
	}
}

// find returns the password itself; "" where a reference is not followed.
func find(secret adapters.Secret, getenv func(string) string, readFile func(string) ([]byte, error)) (string, error) {
	out, found, err := secret.Find(getenv, readFile)
	if err != nil || !found {
		return "", err
	}
	if len(out) > 8 || !ascii(out) { // §5.2.2
		return "", errors.New("SMPP allows at most 8 plain signs")
	}
	return out, nil
}

func ascii(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}

// source says what kind of sender from is.
func source(from string) (pdu.Address, error) {
	switch {
	case from == "":
		return pdu.Address{}, nil
	case e164.MatchString(from):
		return pdu.Address{TON: pdu.TONInternational, NPI: pdu.NPIE164, Addr: from[1:]}, nil
	case digitsOnly.MatchString(from):
		return pdu.Address{TON: pdu.TONUnknown, NPI: pdu.NPIUnknown, Addr: from}, nil
	case len(from) <= 11 && senderName.MatchString(from):
		return pdu.Address{TON: pdu.TONAlphanumeric, NPI: pdu.NPIUnknown, Addr: from}, nil
	}
	return pdu.Address{}, errors.New("the sender must be a number with a plus, a short code, or a name of up to 11 plain letters and digits")
}

// from is the source address of a text.
func (c *Config) from(name string) (pdu.Address, error) {
	if name == "" {
		name = c.From
	}
	a, err := source(name)
	overrule(&a.TON, c.FromTON)
	overrule(&a.NPI, c.FromNPI)
	return a, err
}

// to is the destination address of a text.
func (c *Config) to(number string) (pdu.Address, error) {
	if !e164.MatchString(number) {
		return pdu.Address{}, errors.New("the recipient is no number in international form")
	}
	a := pdu.Address{TON: pdu.TONInternational, NPI: pdu.NPIE164, Addr: number[1:]}
	overrule(&a.TON, c.ToTON)
	overrule(&a.NPI, c.ToNPI)
	return a, nil
}

func overrule(b *byte, v *int) {
	if v != nil {
		*b = byte(*v)
	}
}

// number reads an address that came in: E.164 where the centre says that it is
// international, else as it stands.
func number(a pdu.Address) string {
	if a.TON != pdu.TONInternational {
		return a.Addr
	}
	digits := strings.TrimPrefix(strings.TrimPrefix(a.Addr, "+"), "00")
	if !digitsOnly.MatchString(digits) {
		return a.Addr
	}
	return "+" + digits
}

// validity is the validity_period of a text (§7.1.1), "" where there is none.
// Relative periods beyond four weeks are left to the centre, since its months
// have no length.
func (c *Config) validity(now, until time.Time) string {
	if until.IsZero() || c.Validity == validNone {
		return ""
	}
	if c.Validity == validAbsolute {
		return until.UTC().Format("060102150405") + "000+"
	}
	s := int64(until.Sub(now) / time.Second)
	if s < 1 || s > 28*24*3600 {
		return ""
	}
	return fmt.Sprintf("0000%02d%02d%02d%02d000R", s/86400, s/3600%24, s/60%60, s%60)
}

// registered is registered_delivery (§5.2.17).
func (c *Config) registered() byte {
	switch c.Receipts {
	case receiptsNone:
		return 0
	case receiptsFailures:
		return 2
	}
	return 1
}

// osLookups are where secrets and certificates are found unless told otherwise.
func osLookups(d *Deps) {
	if d.Getenv == nil {
		d.Getenv = os.Getenv
	}
	if d.ReadFile == nil {
		d.ReadFile = os.ReadFile
	}
}
