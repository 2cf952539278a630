package gateway

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"passbell/internal/config"
)

// pinFile is beside the embedded database, or beside the configuration of an
// instance whose database is elsewhere: the SIM is in this machine. Two of
// several kitchens may call their modems the same.
func (h *Host) pinFile(a config.Adapter, kitchen string) string {
	name := a.Name + ".pin"
	if kitchen != "" {
		name = kitchen + "." + name
	}
	if h.Config.Embedded() {
		return h.Config.Database + "." + name
	}
	return filepath.Join(h.Config.Folder, "passbell."+name)
}

// pinNotes remembers in a file that a SIM's PIN was tried, so that a program
// that is started again and again does not lock the SIM.
type pinNotes struct{ path string }

// Get gives what was put under key; "" for nothing.
func (n pinNotes) Get(_ context.Context, key string) (string, error) {
	all, err := n.read()
	return all[key], err
}

// Put keeps a value under key.
func (n pinNotes) Put(_ context.Context, key, value string) error {
	all, err := n.read()
	if err != nil {
		return err
	}
	all[key] = value
	b, err := json.Marshal(all)
	if err != nil {
		return fmt.Errorf("note the PIN's tries: %w", err)
	}
	if err := os.WriteFile(n.path, b, 0o600); err != nil {
		return fmt.Errorf("note the PIN's tries: %w", err)
	}
	return nil
}

func (n pinNotes) read() (map[string]string, error) {
	b, err := os.ReadFile(n.path)
	if errors.Is(err, fs.ErrNotExist) {
		return map[string]string{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the PIN's tries: %w", err)
	}
	all := map[string]string{}
	if err := json.Unmarshal(b, &all); err != nil {
		return nil, fmt.Errorf("read the PIN's tries in %s: %w", n.path, err)
	}
	return all, nil
}
