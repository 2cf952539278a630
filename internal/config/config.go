// Package config reads passbell.toml. It refuses keys that it does not know: a
// misspelt rule that is silently ignored costs a customer.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// Config is one kitchen: the whole of passbell.toml where there is one, or its
// file among those of a Host.
type Config struct {
	// Database is the file of the embedded database, relative to the
	// configuration file, or the postgres:// URL of a server that several
	// instances share. PASSBELL_DATABASE in the environment goes before it, so
	// that a password need not stand in the file.
	Database string `toml:"database,omitempty"`
	// Folder is where the configuration file is, and File what it is called
	// without .toml among those of a host; "" for a kitchen alone.
	Folder string `toml:"-"`
	File   string `toml:"-"`
	// Host is the name in the address under which one of several kitchens is
	// served, such as "larkfield.example"; "" where there is one, which is
	// served under every name.
	Host string `toml:"host,omitempty"`
	// Listen is where the pass is served, such as "127.0.0.1:8737".
	Listen string `toml:"listen,omitempty"`
	// Watch is a folder whose order books are loaded as they come; "" for none.
	Watch string `toml:"watch,omitempty"`
	// Passphrase is the bcrypt hash of the passphrase for the pages. Without
	// it only this machine can open them.
	Passphrase string `toml:"passphrase,omitempty"`
	// Token is the SHA-256 of the API's token, in hex. Without it the API
	// answers this machine only.
	Token   string            `toml:"token,omitempty"`
	Kitchen Kitchen           `toml:"kitchen"`
	Night   Night             `toml:"night"`
	Texts   map[string]string `toml:"texts,omitempty"`
	Adapter []Adapter         `toml:"adapter,omitempty"`
}

// Kitchen is the business.
type Kitchen struct {
	Name      string      `toml:"name"`
	Region    string      `toml:"region"`   // ISO 3166-1 alpha-2
	Zone      string      `toml:"zone"`     // IANA
	Number    string      `toml:"number"`   // that customers write to
	Language  string      `toml:"language"` // of the texts: en or es
	QuietFrom night.Clock `toml:"quiet_from"`
	QuietTo   night.Clock `toml:"quiet_to"`
	Price     string      `toml:"price,omitempty"` // of one SMS part, such as "0.04 GBP"
	// KeepDays is for how many days after a night its names, numbers and texts
	// are kept; 0 keeps them until somebody wipes them by hand.
	KeepDays int `toml:"keep_days"`
}

// Night holds what a new night starts from.
type Night struct {
	Every        int               `toml:"every"` // minutes
	Capacity     int               `toml:"capacity"`
	Place        string            `toml:"place"`
	Parking      string            `toml:"parking"`
	InstructDays int               `toml:"instruct_days"` // before the night
	InstructAt   night.Clock       `toml:"instruct_at"`
	RemindBefore adapters.Duration `toml:"remind_before"`
	RemindFrom   night.Clock       `toml:"remind_from"`
	// CloseByItself closes orders at their time without a person. By default a
	// person looks at the plan first (common practice, no source).
	CloseByItself bool `toml:"close_by_itself"`
}

// OwnNumber as an adapter's From stands for the number of the kitchen that sends.
const OwnNumber = "{number}"

// Adapter is one way in and out.
type Adapter struct {
	Name      string            `toml:"name"`
	Kind      string            `toml:"kind"`
	From      string            `toml:"from,omitempty"`
	Shared    bool              `toml:"-"`                    // by all kitchens of a host
	Window    int               `toml:"window,omitempty"`     // sends under way at once
	PerSecond float64           `toml:"per_second,omitempty"` // sends a second
	Timeout   adapters.Duration `toml:"timeout,omitempty"`    // for one send
	Gap       adapters.Duration `toml:"gap,omitempty"`        // between two texts to one number
	// What goes by this adapter, the first that fits counting; empty for all.
	Countries []string            `toml:"countries,omitempty"` // of the number, such as GB
	Lines     []phone.Line        `toml:"lines,omitempty"`     // such as "mobile"
	Kinds     []night.MessageKind `toml:"kinds,omitempty"`     // such as "reminder"
	// FallAfter is how long after its time a message that this adapter could
	// not bring takes the next; zero waits for the last try.
	FallAfter adapters.Duration `toml:"fall_after,omitempty"`
	// FallUnconfirmed is how long after the provider took a message over it
	// takes the next adapter if no delivery report came; zero for never.
	FallUnconfirmed adapters.Duration `toml:"fall_unconfirmed,omitempty"`
	// Settings is what the adapter's kind needs.
	Settings map[string]any `toml:"settings,omitempty"`
}

// Default is a configuration with every value that can have a default. The
// times are common practice, no source.
func Default() Config {
	return Config{
		Database: "passbell.db",
		Listen:   "127.0.0.1:8737",
		Kitchen:  Kitchen{Language: "en", QuietFrom: 21 * 60, QuietTo: 8 * 60, KeepDays: 90},
		Night: Night{
			Every: 10, InstructDays: 3, InstructAt: 18 * 60,
			RemindBefore: adapters.Duration(5 * time.Hour), RemindFrom: 9 * 60,
		},
	}
}

// Parse reads the configuration of a kitchen alone and checks it.
func Parse(b []byte) (Config, error) {
	c := Default()
	if err := decode(b, &c); err != nil {
		return c, err
	}
	fill(c.Adapter)
	return c, c.Validate()
}

// decode reads a file and refuses what it does not know.
func decode(b []byte, to any) error {
	err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(to)
	var strict *toml.StrictMissingError
	var broken *toml.DecodeError
	switch {
	case errors.As(err, &strict):
		return fmt.Errorf("passbell does not know this key:\n%s", strict.String())
	case errors.As(err, &broken):
		return fmt.Errorf("it can't be read:\n%s", broken.String())
	}
	return err
}

// NewAdapter gives an adapter with everything that can have a default.
func NewAdapter(name, kind string) Adapter {
	a := []Adapter{{Name: name, Kind: kind}}
	fill(a)
	return a[0]
}

func fill(all []Adapter) {
	for i := range all {
		a := &all[i]
		if a.Window == 0 {
			a.Window = 4
		}
		if a.PerSecond == 0 {
			a.PerSecond = 1
		}
		if a.Timeout == 0 {
			a.Timeout = adapters.Duration(30 * time.Second)
		}
	}
}

// Validate checks the configuration of a kitchen alone: it names the first key
// that is wrong, and what to write there.
func (c Config) Validate() error { return c.Alone().Validate() }

// check checks what is the kitchen's own.
func (c Config) check() error {
	if _, err := c.House(); err != nil {
		return err
	}
	switch {
	case c.Night.Every < 1:
		return errors.New("night.every: give the minutes from slot to slot, 10 is usual")
	case c.Kitchen.KeepDays < 0:
		return errors.New("kitchen.keep_days: give the days for which names and numbers are kept after a night, or 0 to keep them")
	case c.Night.InstructDays < 0:
		return errors.New("night.instruct_days: give the days before the night, 3 is usual")
	}
	return checkAdapters(c.Adapter, c.Kitchen.Number)
}

func checkAdapters(all []Adapter, number string) error {
	names := map[string]bool{}
	for _, a := range all {
		switch {
		case a.Name == "" || strings.ContainsAny(a.Name, "/ ?#"):
			return fmt.Errorf("adapter: %q can't be a name: give each adapter one of its own, without spaces, such as \"texts\"", a.Name)
		case names[a.Name]:
			return fmt.Errorf("adapter %s: two adapters have this name", a.Name)
		case a.Window < 1 || a.PerSecond <= 0:
			return fmt.Errorf("adapter %s: window and per_second must be above zero", a.Name)
		case a.From == OwnNumber && number == "":
			return fmt.Errorf("adapter %s: from is the kitchen's number, and kitchen.number is not given", a.Name)
		}
		names[a.Name] = true
	}
	return nil
}

// Mail tells whether an adapter carries mail and no texts.
func (a Adapter) Mail() bool { return a.Kind == "email" }

// Loopback tells whether a host can only be this machine.
func Loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// House gives the kitchen that the configuration describes.
func (c Config) House() (night.Kitchen, error) {
	k := night.Kitchen{
		Name: strings.TrimSpace(c.Kitchen.Name), Region: strings.ToUpper(c.Kitchen.Region),
		Quiet: night.Quiet{From: c.Kitchen.QuietFrom, To: c.Kitchen.QuietTo},
	}
	if k.Name == "" {
		return k, errors.New("kitchen.name: give the name that customers know you by")
	}
	if !phone.Region(k.Region) {
		return k, fmt.Errorf("kitchen.region: %q is no country: give two letters, such as GB, IE or US", c.Kitchen.Region)
	}
	zone, err := time.LoadLocation(c.Kitchen.Zone)
	if err != nil || c.Kitchen.Zone == "" || c.Kitchen.Zone == "Local" {
		return k, fmt.Errorf("kitchen.zone: %q is no time zone: write it like \"Europe/London\" or \"America/Chicago\"", c.Kitchen.Zone)
	}
	k.Zone = zone
	if c.Kitchen.Number != "" {
		n, err := phone.Parse(c.Kitchen.Number, k.Region)
		if err != nil {
			return k, fmt.Errorf("kitchen.number: %w", err)
		}
		k.Number = n.E164
	}
	return k, nil
}

// NightOn gives a new night on a date with the configured defaults.
func (c Config) NightOn(date night.Date, first, last night.Clock, zone *time.Location) night.Night {
	instruct, _ := night.Instant(date.AddDays(-c.Night.InstructDays), c.Night.InstructAt, zone)
	return night.Night{
		Date: date, First: first, Last: last, Every: c.Night.Every, Capacity: c.Night.Capacity,
		Place: c.Night.Place, Parking: c.Night.Parking, ClosesAt: instruct, InstructAt: instruct,
		RemindBefore: time.Duration(c.Night.RemindBefore), RemindFrom: c.Night.RemindFrom,
	}
}

// Marshal writes a configuration as TOML.
func (c Config) Marshal() ([]byte, error) {
	return marshal("# passbell: who you are, what a night starts from, and how texts leave and enter.\n# Times are local. The README explains every key.\n\n", c)
}

func marshal(head string, v any) ([]byte, error) {
	b := bytes.NewBufferString(head)
	e := toml.NewEncoder(b)
	e.SetIndentTables(false)
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("write the configuration: %w", err)
	}
	return b.Bytes(), nil
}
