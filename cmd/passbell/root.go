package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"passbell/internal/config"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

// std is where a command reads and writes.
type std struct {
	in  io.Reader
	out io.Writer
	err io.Writer
}

// usageError says that a command was used wrongly.
type usageError struct{ err error }

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// errSaidAlready ends a command that has printed what is wrong itself.
var errSaidAlready = errors.New("said already")

// app is what the commands share: the flags of all, and the way to the house.
type app struct {
	std
	configPath string
	kitchen    string // the one of several to work on
	verbose    bool
}

func newRootCmd(s std) *cobra.Command {
	a := &app{std: s}
	root := &cobra.Command{
		Use:   "passbell",
		Short: "Tell every customer when and where to come, and know who has come",
		Long: `passbell runs a collection night of a kitchen that sells pre-ordered food:
it tells every customer when and where to come, reads what they write, shows
who is here and in which car, and sees every order handed out.`,
		Example:       "  passbell demo\n  passbell init\n  passbell night add 2026-12-04 --first 16:30 --last 19:30\n  passbell book load orders.csv\n  passbell close\n  passbell serve",
		SilenceErrors: true,
		SilenceUsage:  true,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &usageError{err} })
	root.PersistentFlags().StringVar(&a.configPath, "config", envOr("PASSBELL_CONFIG", "passbell.toml"), "the configuration file")
	root.PersistentFlags().StringVar(&a.kitchen, "kitchen", os.Getenv("PASSBELL_KITCHEN"), "which kitchen, where the configuration has several: the name of its file")
	root.PersistentFlags().BoolVar(&a.verbose, "verbose", false, "log what happens inside, without customers' details")
	root.AddCommand(
		newDemoCmd(a), newInitCmd(a), newNightCmd(a), newBookCmd(a), newCloseCmd(a), newServeCmd(a),
		newArrivalsCmd(a), newCheckCmd(a), newResendCmd(a), newOrderCmd(a), newReportCmd(a), newSheetCmd(a), newWordingCmd(a), newMoveDataCmd(a), newWipeCmd(a), a.withExport(newReadCmd(a.situation)),
	)
	checkArgs(root)
	return root
}

// checkArgs makes wrong arguments count as wrong use, in every command.
func checkArgs(cmd *cobra.Command) {
	check := cmd.Args
	if check == nil && cmd.HasSubCommands() {
		check = cobra.NoArgs
	}
	if check != nil {
		cmd.Args = func(cmd *cobra.Command, args []string) error {
			if err := check(cmd, args); err != nil {
				return &usageError{err}
			}
			return nil
		}
	}
	if cmd.HasSubCommands() && cmd.HasParent() {
		cmd.RunE = func(cmd *cobra.Command, _ []string) error {
			return &usageError{fmt.Errorf("say what to do: %s", names(cmd))}
		}
	}
	for _, sub := range cmd.Commands() {
		checkArgs(sub)
	}
}

func names(cmd *cobra.Command) string {
	var out []string
	for _, sub := range cmd.Commands() {
		out = append(out, sub.Name())
	}
	return strings.Join(out, ", ")
}

func envOr(name, or string) string {
	if v := os.Getenv(name); v != "" {
		return v
	}
	return or
}

func (a *app) logger() *slog.Logger {
	level := slog.LevelWarn
	if a.verbose {
		level = slog.LevelInfo
	}
	return slog.New(slog.NewTextHandler(a.err, &slog.HandlerOptions{Level: level}))
}

// host runs fn on the configured kitchens.
func (a *app) host(ctx context.Context, c config.Host, fn func(h *gateway.Host) error) (err error) {
	h, err := gateway.Open(ctx, c, gateway.Deps{Clock: clock(), Log: a.logger()})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	return fn(h)
}

// house runs fn on the one kitchen that is configured or named.
func (a *app) house(ctx context.Context, fn func(h *gateway.House) error) error {
	c, err := config.Load(a.configPath)
	if err != nil {
		return err
	}
	if c, err = c.Only(a.kitchen); err != nil {
		return &usageError{err}
	}
	return a.host(ctx, c, func(h *gateway.Host) error { return fn(h.Houses[0]) })
}

// onNight runs fn on a night: the one of the date, or the current one where
// date is empty.
func (a *app) onNight(ctx context.Context, date string, fn func(h *gateway.House, n night.Night) error) error {
	return a.house(ctx, func(h *gateway.House) error {
		n, err := pickNight(ctx, h, date)
		if err != nil {
			return err
		}
		return fn(h, n)
	})
}

func pickNight(ctx context.Context, h *gateway.House, date string) (night.Night, error) {
	if date == "" {
		return h.Desk.Current(ctx)
	}
	d, err := night.ParseDate(date)
	if err != nil {
		return night.Night{}, &usageError{err}
	}
	nights, err := h.Desk.Nights(ctx)
	if err != nil {
		return night.Night{}, err
	}
	for _, n := range nights {
		if n.Date == d {
			return n, nil
		}
	}
	return night.Night{}, fmt.Errorf("there is no night on %s: see `passbell night list`", d)
}

// nightFlag adds the flag that picks a night.
func nightFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "night", "", "the date of the night, such as 2026-12-04 (the current one by default)")
}

func (a *app) printJSON(v any) error {
	e := json.NewEncoder(a.out)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// confirm asks a question that is answered by yes or no; anything but yes is
// no.
func (a *app) confirm(question string) (bool, error) {
	fmt.Fprintf(a.out, "%s [y/N] ", question)
	line, err := bufio.NewReader(a.in).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return false, fmt.Errorf("read the answer: %w", err)
	}
	switch strings.ToLower(strings.TrimSpace(line)) {
	case "y", "yes":
		return true, nil
	}
	return false, nil
}
