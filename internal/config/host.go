package config

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Host is what one process serves: a database and an address, and the kitchens
// that share them. A kitchen alone is a host with one.
type Host struct {
	// Database and Listen are as in Config.
	Database string
	Listen   string
	Folder   string // where its file is
	// Adapter holds the adapters that all kitchens share; each kitchen has them
	// too, after its own.
	Adapter  []Adapter
	Kitchens []Config // one or more
}

// hostFile is the file of a host with several kitchens: it holds what they share.
type hostFile struct {
	Database string    `toml:"database"`
	Listen   string    `toml:"listen"`
	Kitchens string    `toml:"kitchens"` // the folder with their files
	Adapter  []Adapter `toml:"adapter"`
}

// Alone is the host of one kitchen.
func (c Config) Alone() Host {
	return Host{Database: c.Database, Listen: c.Listen, Folder: c.Folder, Kitchens: []Config{c}}
}

// Load reads the file at path, that of a kitchen or that of a host with several,
// whose key kitchens names the folder with their files. Relative files in it
// count from its folder. PASSBELL_DATABASE in the environment goes before the
// database that it names.
func Load(path string) (Host, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Host{}, fmt.Errorf("there is no %s here: make one with `passbell init`, or name another with --config", path)
	}
	if err != nil {
		return Host{}, fmt.Errorf("read the configuration: %w", err)
	}
	var several struct {
		Kitchens any `toml:"kitchens"`
	}
	_ = toml.Unmarshal(b, &several) // what can't be read is said when it is read in earnest
	read := readAlone
	if several.Kitchens != nil {
		read = readHost
	}
	h, err := read(b, filepath.Dir(path))
	if err != nil {
		return Host{}, fmt.Errorf("%s: %w", path, err)
	}
	if place := os.Getenv("PASSBELL_DATABASE"); place != "" {
		h.Database = place
		if err := h.checkDatabase(); err != nil {
			return Host{}, fmt.Errorf("PASSBELL_DATABASE: %w", err)
		}
	}
	if h.Embedded() {
		h.Database = within(h.Folder, h.Database)
	}
	for i := range h.Kitchens {
		k := &h.Kitchens[i]
		k.Watch = within(k.Folder, k.Watch)
	}
	return h, h.checkWatched()
}

// KitchensFolder gives the folder with the kitchens' files that the file at path
// names; "" where it is the file of a kitchen alone.
func KitchensFolder(path string) (string, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read the configuration: %w", err)
	}
	var f struct {
		Kitchens string `toml:"kitchens"`
	}
	if err := toml.Unmarshal(b, &f); err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return within(filepath.Dir(path), f.Kitchens), nil
}

// Marshal writes what the kitchens of a host share, and that their files are in
// the folder kitchens beside it.
func (h Host) Marshal() ([]byte, error) {
	return marshal("# passbell: what several kitchens share. Each has a file of its own in the folder kitchens.\n# The README explains every key.\n\n",
		hostFile{Database: h.Database, Listen: h.Listen, Kitchens: "kitchens", Adapter: h.Adapter})
}

func within(folder, path string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(folder, path)
}

func readAlone(b []byte, folder string) (Host, error) {
	c, err := Parse(b)
	c.Folder = folder
	return c.Alone(), err
}

func readHost(b []byte, folder string) (Host, error) {
	d := Default()
	f := hostFile{Database: d.Database, Listen: d.Listen}
	if err := decode(b, &f); err != nil {
		return Host{}, fmt.Errorf("%w\nBeside kitchens, this file holds what they share: database, listen and [[adapter]]. What is of one kitchen stands in its own file", err)
	}
	fill(f.Adapter)
	for i := range f.Adapter {
		f.Adapter[i].Shared = true
	}
	h := Host{Database: f.Database, Listen: f.Listen, Folder: folder, Adapter: f.Adapter}
	from := within(folder, f.Kitchens)
	files, err := os.ReadDir(from)
	if err != nil {
		return h, fmt.Errorf("kitchens: name the folder with a file for each kitchen, such as \"kitchens\": %w", err)
	}
	for _, file := range files {
		name, ok := strings.CutSuffix(file.Name(), ".toml")
		if !ok || file.IsDir() || strings.HasPrefix(name, ".") {
			continue
		}
		k, err := readKitchen(from, name)
		if err != nil {
			return h, fmt.Errorf("%s: %w", filepath.Join(f.Kitchens, file.Name()), err)
		}
		k.Adapter = append(k.Adapter, f.Adapter...)
		h.Kitchens = append(h.Kitchens, k)
	}
	if len(h.Kitchens) == 0 {
		return h, fmt.Errorf("kitchens: there is no kitchen in %s: put a file for each there, such as larkfield.toml", from)
	}
	return h, h.Validate()
}

// readKitchen reads the file of one of several kitchens.
func readKitchen(folder, name string) (Config, error) {
	b, err := os.ReadFile(filepath.Join(folder, name+".toml"))
	if err != nil {
		return Config{}, err
	}
	c := Default()
	c.Database, c.Listen = "", ""
	if err := decode(b, &c); err != nil {
		return c, err
	}
	const shared = "all kitchens share the one in the host's file: take the line out here"
	switch {
	case c.Database != "":
		return c, errors.New("database: " + shared)
	case c.Listen != "":
		return c, errors.New("listen: " + shared)
	case c.Host == "":
		return c, errors.New("host: give the name under which this kitchen's pages are opened, such as \"larkfield.example\"")
	}
	if err := CheckHost(c.Host); err != nil {
		return c, err
	}
	c.Host = HostName(c.Host)
	fill(c.Adapter)
	c.Folder, c.File = folder, name
	return c, nil
}

var plainHost = regexp.MustCompile(`\A[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?\.?\z`)

// CheckHost refuses what is no name to serve a kitchen under.
func CheckHost(host string) error {
	if net.ParseIP(host) == nil && !plainHost.MatchString(host) {
		return errors.New("host: give a name without https://, port or path, such as \"larkfield.example\"")
	}
	return nil
}

// HostName gives the name in a Host header as names are compared: without a
// port, in lower case, without the dot of the root, an IP address in its usual
// spelling and without brackets.
func HostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	if ip := net.ParseIP(host); ip != nil {
		return ip.String()
	}
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

// Embedded tells whether the database is a file of this machine.
func (h Host) Embedded() bool { return !strings.Contains(h.Database, "://") }

func (h Host) checkDatabase() error {
	switch {
	case h.Database == "":
		return errors.New("database: name the file to keep everything in, such as \"passbell.db\"")
	case !h.Embedded() && !strings.HasPrefix(h.Database, "postgres://") && !strings.HasPrefix(h.Database, "postgresql://"):
		return errors.New("database: only a file or a postgres:// URL can be used")
	}
	return nil
}

// Validate names the first key that is wrong, in which kitchen, and what to
// write there.
func (h Host) Validate() error {
	if err := checkAdapters(h.Adapter, OwnNumber); err != nil {
		return err
	}
	for _, k := range h.Kitchens {
		if err := k.check(); err != nil {
			return k.named(err)
		}
	}
	if err := h.checkDatabase(); err != nil {
		return err
	}
	address, _, err := net.SplitHostPort(h.Listen)
	if err != nil {
		return fmt.Errorf("listen: %q is no address: write it like \"127.0.0.1:8737\"", h.Listen)
	}
	for i, k := range h.Kitchens {
		if err := h.checkReach(k, address); err != nil {
			return k.named(err)
		}
		for _, other := range h.Kitchens[:i] {
			if err := k.clash(other); err != nil {
				return k.named(err)
			}
		}
	}
	return nil
}

// checkReach refuses what others could open without a passphrase, and what
// nobody could open.
func (h Host) checkReach(k Config, address string) error {
	const set = "set one with `passbell init --secret passphrase`"
	switch {
	case k.Host == "" && len(h.Kitchens) > 1:
		return errors.New("host: each of several kitchens needs a name of its own")
	case k.Host != "" && k.File == "":
		return errors.New("host: this is the file of one of several kitchens: name the host's file with --config, and the kitchen with --kitchen")
	case k.Passphrase != "":
		return nil
	case !Loopback(address):
		return fmt.Errorf("listen: %s can be reached from other machines, and no passphrase is set: %s, or listen on 127.0.0.1", h.Listen, set)
	case k.Host != "" && !Loopback(k.Host) && !strings.HasSuffix(k.Host, ".localhost"):
		return fmt.Errorf("host: without a passphrase only this machine may open the pages, and %s is not its name: %s, or use a name such as larkfield.localhost", k.Host, set)
	}
	return nil
}

// clash says what two kitchens may not have in common.
func (c Config) clash(other Config) error {
	switch {
	case c.Host == other.Host:
		return fmt.Errorf("host: %s is the name of %s.toml too", c.Host, other.File)
	case strings.EqualFold(strings.TrimSpace(c.Kitchen.Name), strings.TrimSpace(other.Kitchen.Name)):
		return fmt.Errorf("kitchen.name: %s is the name of %s.toml too", c.Kitchen.Name, other.File)
	}
	return nil
}

// checkWatched refuses a folder that two kitchens take order books from.
func (h Host) checkWatched() error {
	for i, k := range h.Kitchens {
		for _, other := range h.Kitchens[:i] {
			if k.Watch != "" && k.Watch == other.Watch {
				return k.named(fmt.Errorf("watch: %s.toml takes its order books from there too", other.File))
			}
		}
	}
	return nil
}

// named says in which file something is wrong, where there are several.
func (c Config) named(err error) error {
	if c.File == "" {
		return err
	}
	return fmt.Errorf("%s.toml: %w", c.File, err)
}

// Only gives the host with one of its kitchens: that of the file name, or the
// only one where name is empty.
func (h Host) Only(name string) (Host, error) {
	names := make([]string, len(h.Kitchens))
	for i, k := range h.Kitchens {
		names[i] = k.File
	}
	i := 0
	switch {
	case name != "":
		i = slices.Index(names, name)
	case len(names) > 1:
		return h, fmt.Errorf("there are several kitchens: say which with --kitchen: %s", strings.Join(names, ", "))
	}
	if i < 0 {
		if len(names) == 1 && names[0] == "" {
			return h, errors.New("there is one kitchen in this configuration: leave --kitchen out")
		}
		return h, fmt.Errorf("there is no kitchen %q: the kitchens are %s", name, strings.Join(names, ", "))
	}
	h.Kitchens = h.Kitchens[i : i+1]
	return h, nil
}
