// Package config reads passbell.toml. It refuses keys that it does not know: a
// misspelt rule that is silently ignored costs a customer.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"passbell/adapters"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// Config is the whole of passbell.toml.
type Config struct {
	// Database is the file of the embedded database, relative to the
	// configuration file, or the postgres:// URL of a server that several
	// instances share. PASSBELL_DATABASE in the environment goes before it, so
	// that a password need not stand in the file.
	Database string `toml:"database"`
	// Folder is where the configuration file is.
	Folder string `toml:"-"`
	// Listen is where the pass is served, such as "127.0.0.1:8737".
	Listen string `toml:"listen"`
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
	Adapter []Adapter         `toml:"adapter"`
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

// Adapter is one way in and out.
type Adapter struct {
	Name      string            `toml:"name"`
	Kind      string            `toml:"kind"`
	From      string            `toml:"from,omitempty"`
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

// Load reads the file at path. Relative files in it count from its folder.
func Load(path string) (Config, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Config{}, fmt.Errorf("there is no %s here: make one with `passbell init`, or name another with --config", path)
	}
	if err != nil {
		return Config{}, fmt.Errorf("read the configuration: %w", err)
	}
	c, err := Parse(b)
	if err != nil {
		return Config{}, fmt.Errorf("%s: %w", path, err)
	}
	c.Folder = filepath.Dir(path)
	if place := os.Getenv("PASSBELL_DATABASE"); place != "" {
		if c.Database = place; !c.Embedded() {
			if err := c.checkDatabase(); err != nil {
				return Config{}, fmt.Errorf("PASSBELL_DATABASE: %w", err)
			}
		}
	}
	files := []*string{&c.Watch}
	if c.Embedded() {
		files = append(files, &c.Database)
	}
	for _, p := range files {
		if *p != "" && !filepath.IsAbs(*p) {
			*p = filepath.Join(c.Folder, *p)
		}
	}
	return c, nil
}

// Embedded tells whether the database is a file of this machine.
func (c Config) Embedded() bool { return !strings.Contains(c.Database, "://") }

func (c Config) checkDatabase() error {
	switch {
	case c.Database == "":
		return errors.New("database: name the file to keep everything in, such as \"passbell.db\"")
	case !c.Embedded() && !strings.HasPrefix(c.Database, "postgres://") && !strings.HasPrefix(c.Database, "postgresql://"):
		return errors.New("database: only a file or a postgres:// URL can be used")
	}
	return nil
}

// Parse reads a configuration and checks it.
func Parse(b []byte) (Config, error) {
	c := Default()
	err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(&c)
	var strict *toml.StrictMissingError
	var decode *toml.DecodeError
	switch {
	case errors.As(err, &strict):
		return c, fmt.Errorf("passbell does not know this key:\n%s", strict.String())
	case errors.As(err, &decode):
		return c, fmt.Errorf("it can't be read:\n%s", decode.String())
	case err != nil:
		return c, err
	}
	for i := range c.Adapter {
		c.Adapter[i].fill()
	}
	return c, c.Validate()
}

// NewAdapter gives an adapter with everything that can have a default.
func NewAdapter(name, kind string) Adapter {
	a := Adapter{Name: name, Kind: kind}
	a.fill()
	return a
}

func (a *Adapter) fill() {
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

// Validate names the first key that is wrong, and what to write there.
func (c Config) Validate() error {
	if _, err := c.House(); err != nil {
		return err
	}
	if err := c.checkDatabase(); err != nil {
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
	names := map[string]bool{}
	for _, a := range c.Adapter {
		switch {
		case a.Name == "" || strings.ContainsAny(a.Name, "/ ?#"):
			return fmt.Errorf("adapter: %q can't be a name: give each adapter one of its own, without spaces, such as \"texts\"", a.Name)
		case names[a.Name]:
			return fmt.Errorf("adapter %s: two adapters have this name", a.Name)
		case a.Window < 1 || a.PerSecond <= 0:
			return fmt.Errorf("adapter %s: window and per_second must be above zero", a.Name)
		}
		names[a.Name] = true
	}
	return c.checkListen()
}

// Mail tells whether an adapter carries mail and no texts.
func (a Adapter) Mail() bool { return a.Kind == "email" }

// checkListen refuses to be reachable from outside without a passphrase.
func (c Config) checkListen() error {
	host, _, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return fmt.Errorf("listen: %q is no address: write it like \"127.0.0.1:8737\"", c.Listen)
	}
	if !Loopback(host) && c.Passphrase == "" {
		return fmt.Errorf("listen: %s can be reached from other machines, and no passphrase is set: set one with `passbell init --passphrase`, or listen on 127.0.0.1", c.Listen)
	}
	return nil
}

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
	var b bytes.Buffer
	b.WriteString("# passbell: who you are, what a night starts from, and how texts leave and enter.\n# Times are local. The README explains every key.\n\n")
	e := toml.NewEncoder(&b)
	e.SetIndentTables(false)
	if err := e.Encode(c); err != nil {
		return nil, fmt.Errorf("write the configuration: %w", err)
	}
	return b.Bytes(), nil
}
