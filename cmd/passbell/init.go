package main

import (
	"bufio"
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/crypto/bcrypt"
	"golang.org/x/term"

	"passbell/internal/config"
	"passbell/internal/gateway"
)

// initFlags are the answers to what init asks.
type initFlags struct {
	kitchen, region, zone, number, language string
	place, parking, provider, listen        string
	passphraseFile, secret, host            string
	noInput                                 bool
}

func newInitCmd(a *app) *cobra.Command {
	var f initFlags
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Set up a kitchen: ask the few things passbell must know",
		Long: `Set up a kitchen. What no flag answers is asked; an empty answer takes what
stands in brackets. The answers go into passbell.toml, which you can edit
later; an existing one is never overwritten. With --secret, a passphrase or an
API token is made for a passbell.toml that exists: the line to add is printed.

One passbell can work for several kitchens. With --host, the kitchen is one of
them: it gets a file of its own in the folder kitchens, and passbell.toml holds
what all share. Do it again for each.`,
		Example: "  passbell init\n  passbell init --host larkfield.localhost\n  passbell init --kitchen \"Larkfield Dumpling Kitchen\" --region GB --zone Europe/London --place \"5 Mill Lane\" --provider practice --no-input\n  passbell init --secret passphrase",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.secret != "" {
				return a.printSecret(f.secret)
			}
			return a.init(cmd, f)
		},
	}
	cmd.Flags().StringVar(&f.kitchen, "kitchen", "", "the name that customers know you by")
	cmd.Flags().StringVar(&f.region, "region", "", "your country in two letters")
	cmd.Flags().StringVar(&f.zone, "zone", "", "your time zone, such as Europe/London")
	cmd.Flags().StringVar(&f.number, "number", "", "the number that customers write to")
	cmd.Flags().StringVar(&f.language, "language", "", "of the texts to customers: en or es")
	cmd.Flags().StringVar(&f.place, "place", "", "where customers come, as they are told")
	cmd.Flags().StringVar(&f.parking, "parking", "", "where to park and stand")
	cmd.Flags().StringVar(&f.provider, "provider", "", "how texts leave: practice (no real phone) or webapi")
	cmd.Flags().StringVar(&f.listen, "listen", "", "where the pass is served")
	cmd.Flags().StringVar(&f.passphraseFile, "passphrase-file", "", "a file with the passphrase for the pages, to open them to other devices")
	cmd.Flags().StringVar(&f.host, "host", "", "add one of several kitchens: the name under which its pages are opened, such as larkfield.example")
	cmd.Flags().StringVar(&f.secret, "secret", "", "only make a secret for an existing configuration: passphrase or token")
	cmd.Flags().BoolVar(&f.noInput, "no-input", false, "ask nothing: what no flag answers takes its default")
	return cmd
}

func (a *app) init(cmd *cobra.Command, f initFlags) error {
	folder := "" // with the kitchens' files, where there are several
	_, err := os.Stat(a.configPath)
	made := errors.Is(err, fs.ErrNotExist) // passbell.toml is made now
	switch {
	case !made && f.host == "":
		return fmt.Errorf("%s exists already and is left as it is: edit it, name another with --config, or add one of several kitchens with --host", a.configPath)
	case !made:
		if folder, err = config.KitchensFolder(a.configPath); err != nil {
			return err
		}
		if folder == "" {
			return fmt.Errorf("%s is the file of one kitchen: move all of it but database, listen and [[adapter]] into kitchens/NAME.toml, with a line host = \"NAME.example\", and write kitchens = \"kitchens\" in its place", a.configPath)
		}
	case f.host != "":
		folder = filepath.Join(filepath.Dir(a.configPath), "kitchens")
	}
	c := config.Default()
	if err := a.ask(f, made, &c); err != nil {
		return err
	}
	if f.passphraseFile != "" {
		b, err := os.ReadFile(f.passphraseFile)
		if err != nil {
			return fmt.Errorf("read the passphrase: %w", err)
		}
		if c.Passphrase, err = hashPassphrase(strings.TrimRight(string(b), "\r\n")); err != nil {
			return err
		}
	}
	var files []newFile
	if f.host == "" {
		files, err = alone(a.configPath, c)
	} else {
		files, err = among(a.configPath, folder, f.host, made, c)
	}
	if err != nil {
		return err
	}
	return a.make(cmd.Context(), files)
}

// newFile is a file to make.
type newFile struct {
	path string
	text interface{ Marshal() ([]byte, error) }
}

// alone gives the file of a kitchen alone.
func alone(path string, c config.Config) ([]newFile, error) {
	if err := c.Validate(); err != nil {
		return nil, &usageError{err}
	}
	return []newFile{{path, c}}, nil
}

// among gives the file of one of several kitchens, which is called as its host
// begins, and with first that of what they share.
func among(path, folder, host string, first bool, c config.Config) ([]newFile, error) {
	if err := config.CheckHost(host); err != nil {
		return nil, &usageError{err}
	}
	name, _, _ := strings.Cut(config.HostName(host), ".")
	shared := config.Host{Database: c.Database, Listen: c.Listen, Adapter: c.Adapter}
	if c.Kitchen.Number != "" {
		for i := range shared.Adapter {
			shared.Adapter[i].From = config.OwnNumber
		}
	}
	c.Host, c.Database, c.Listen, c.Adapter = host, "", "", nil
	mine := newFile{filepath.Join(folder, name+".toml"), c}
	if first {
		return []newFile{{path, shared}, mine}, nil
	}
	return []newFile{mine}, nil
}

// make writes files, the last one being the kitchen's, and opens the kitchen:
// either all is ready, or nothing is left of it.
func (a *app) make(ctx context.Context, files []newFile) (err error) {
	var done []string
	defer func() {
		for _, path := range slices.Backward(done) {
			if err != nil {
				err = errors.Join(err, os.Remove(path))
			}
		}
	}()
	for _, f := range files {
		b, err := f.text.Marshal()
		if err != nil {
			return err
		}
		folder := filepath.Dir(f.path)
		if _, err := os.Stat(folder); errors.Is(err, fs.ErrNotExist) {
			if err := os.Mkdir(folder, 0o700); err != nil {
				return fmt.Errorf("write the configuration: %w", err)
			}
			done = append(done, folder)
		}
		// 0600: the file may come to hold secrets.
		file, err := os.OpenFile(f.path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("%s exists already and is left as it is: edit it, or give another name", f.path)
		}
		if err != nil {
			return fmt.Errorf("write the configuration: %w", err)
		}
		done = append(done, f.path)
		_, err = file.Write(b)
		if err = errors.Join(err, file.Close()); err != nil {
			return fmt.Errorf("write the configuration: %w", err)
		}
	}
	mine := files[len(files)-1].path
	a.kitchen = ""
	next := "passbell"
	if mine != a.configPath {
		a.kitchen = strings.TrimSuffix(filepath.Base(mine), ".toml")
		next += " --kitchen " + a.kitchen
	}
	if _, err := config.Load(a.configPath); err != nil {
		return &usageError{err}
	}
	if err := a.house(ctx, func(*gateway.House) error { return nil }); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s and the database are ready. Next: %s night add DATE\n", mine, next)
	return nil
}

// ask fills the configuration from flags, and from answers where there is no
// flag. How texts leave is asked where that is not said yet.
func (a *app) ask(f initFlags, ways bool, c *config.Config) error {
	in := bufio.NewReader(a.in)
	var err error
	question := func(flag, words, def string) string {
		if err != nil || flag != "" || f.noInput {
			return cmp.Or(flag, def)
		}
		fmt.Fprintf(a.out, "%s [%s]: ", words, def)
		line, readErr := in.ReadString('\n')
		if readErr != nil && (!errors.Is(readErr, io.EOF) || line == "") {
			err = &usageError{fmt.Errorf("no answer to %q: give it as a flag, or --no-input to take the defaults", words)}
		}
		return cmp.Or(strings.TrimSpace(line), def)
	}
	c.Kitchen.Name = question(f.kitchen, "Name of the kitchen", "")
	c.Kitchen.Region = strings.ToUpper(question(f.region, "Country, two letters", "GB"))
	c.Kitchen.Zone = question(f.zone, "Time zone", "Europe/London")
	c.Kitchen.Number = question(f.number, "Number that customers write to, if you know it", "")
	c.Kitchen.Language = question(f.language, "Language of the texts, en or es", "en")
	c.Night.Place = question(f.place, "Where customers come", "")
	c.Night.Parking = question(f.parking, "Where to park and stand", "")
	if !ways {
		if f.provider != "" || f.listen != "" {
			return &usageError{fmt.Errorf("--provider and --listen stand in %s already, for all kitchens: edit them there", a.configPath)}
		}
		return err
	}
	kind := question(f.provider, "How texts leave, practice or webapi", "practice")
	c.Listen = cmp.Or(f.listen, c.Listen)
	c.Adapter = []config.Adapter{config.NewAdapter("texts", kind)}
	if kind == "webapi" {
		c.Adapter[0].Settings = webapiStart()
	}
	return err
}

// webapiStart is a description to fill in: the provider's manual has the
// values. It can't send before the address is put right.
func webapiStart() map[string]any {
	return map[string]any{
		"auth": map[string]any{"kind": "bearer", "secret": "env:PASSBELL_SECRET"},
		"send": map[string]any{
			"url":    "https://provider.invalid/messages",
			"body":   "json",
			"json":   `{"to":"{to}","from":"{from}","text":"{text}"}`,
			"answer": map[string]any{"id": "id"},
		},
	}
}

// printSecret makes a secret and prints the line that passbell.toml needs.
func (a *app) printSecret(kind string) error {
	switch kind {
	case "passphrase":
		words, err := a.askSecret("Passphrase for the pages (12 characters or more): ")
		if err != nil {
			return err
		}
		hash, err := hashPassphrase(words)
		if err != nil {
			return err
		}
		fmt.Fprintf(a.out, "Add this line to %s, above the first [section]:\npassphrase = '%s'\n", a.configPath, hash)
		return nil
	case "token":
		token := rand.Text()
		sum := sha256.Sum256([]byte(token))
		fmt.Fprintf(a.out, "The token, shown this once: %s\nAdd this line to %s, above the first [section]:\ntoken = '%s'\n",
			token, a.configPath, hex.EncodeToString(sum[:]))
		return nil
	}
	return &usageError{fmt.Errorf("--secret takes passphrase or token, not %q", kind)}
}

// askSecret reads a line without showing it where a terminal allows that.
func (a *app) askSecret(words string) (string, error) {
	fmt.Fprint(a.err, words)
	if file, ok := a.in.(*os.File); ok && term.IsTerminal(int(file.Fd())) {
		b, err := term.ReadPassword(int(file.Fd()))
		fmt.Fprintln(a.err)
		return string(b), err
	}
	line, err := bufio.NewReader(a.in).ReadString('\n')
	if err != nil && (!errors.Is(err, io.EOF) || line == "") {
		return "", fmt.Errorf("read the passphrase: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

func hashPassphrase(words string) (string, error) {
	const least, most = 12, 72 // bcrypt reads no further than 72 bytes
	if n := len(words); n < least || n > most {
		return "", &usageError{fmt.Errorf("a passphrase of %d characters: give %d to %d; four words are easy to keep", n, least, most)}
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(words), bcrypt.DefaultCost)
	if err != nil {
		return "", fmt.Errorf("hash the passphrase: %w", err)
	}
	return string(hash), nil
}
