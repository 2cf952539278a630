package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"passbell/internal/book"
	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

func newBookCmd(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "book",
		Short:   "Check, load, show and export the order book of a night",
		Example: "  passbell book check orders.csv\n  passbell book load orders.csv\n  passbell book show",
	}
	cmd.AddCommand(newBookCheckCmd(a), newBookLoadCmd(a), newBookShowCmd(a), newBookExportCmd(a))
	return cmd
}

func newBookCheckCmd(a *app) *cobra.Command {
	var date, nightFile string
	var mapping []string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Read an order book, change nothing, and say what would be loaded",
		Long: `Read an order book and print what would be loaded, and each problem with its
row, its field, what is wrong and what to do. Nothing is changed. With
--night FILE.json the night is read from a file and no passbell.toml is needed.`,
		Example: "  passbell book check orders.csv\n  passbell book check orders.csv --night night.json --json\n  passbell book check orders.csv --map name=\"Booked by\"",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := readMapping(mapping)
			if err != nil {
				return err
			}
			check := func(opt book.Options) error {
				opt.Mapping = m
				return runBookCheck(a.out, args[0], opt, asJSON)
			}
			if nightFile != "" {
				opt, err := readNightFile(nightFile)
				if err != nil {
					return err
				}
				return check(opt)
			}
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				return check(h.BookOptions(n))
			})
		},
	}
	cmd.Flags().StringVar(&date, "date", "", "the date of the night (the current one by default)")
	cmd.Flags().StringVar(&nightFile, "night", "", "a JSON file that describes the night")
	cmd.Flags().StringArrayVar(&mapping, "map", nil, "read FIELD from the column HEADING: --map name=\"Booked by\"")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func readMapping(given []string) (map[string]string, error) {
	out := make(map[string]string, len(given))
	for _, g := range given {
		field, heading, ok := strings.Cut(g, "=")
		if !ok {
			return nil, &usageError{fmt.Errorf("--map takes FIELD=HEADING, not %q", g)}
		}
		out[field] = heading
	}
	return out, nil
}

func newBookLoadCmd(a *app) *cobra.Command {
	var date string
	var mapping []string
	var whole, seen, asJSON bool
	cmd := &cobra.Command{
		Use:   "load FILE",
		Short: "Load an order book, all or nothing; a newer one again without doubles",
		Long: `Load an order book, all or nothing. Loading a newer one again adds no doubles;
what you changed by hand stays. Orders that the file no longer has are told and
kept, unless --whole declares that it holds every order of the night. Columns
that you name with --map are remembered for files of the same shape.`,
		Example: `  passbell book load orders.csv
  passbell book load orders.csv --night 2026-12-04 --map name="Booked by"`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := readMapping(mapping)
			if err != nil {
				return err
			}
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				opt := h.BookOptions(n)
				opt.Mapping = m
				b, err := readBook(cmd.Context(), h, args[0], opt)
				if err != nil {
					return err
				}
				if len(b.Unplaced) > 0 {
					a.printBookProblems(b)
					return errors.New("nothing was loaded: the orders above have no slot; mend the file or say with --map where the slot stands")
				}
				extent := desk.OpenBook
				if whole {
					extent = desk.WholeBook
				}
				loaded, err := h.Desk.LoadExtent(cmd.Context(), n.ID, b.Orders, extent, "cook")
				if err != nil {
					return err
				}
				if err := a.learn(cmd.Context(), h, n, b, m, seen); err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(loaded)
				}
				a.printBookProblems(b)
				a.printLoaded(b, loaded)
				return nil
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().StringArrayVar(&mapping, "map", nil, "read FIELD from the column HEADING: --map name=\"Booked by\"")
	cmd.Flags().BoolVar(&whole, "whole", false, "the file holds every order of the night: cancel what it lacks")
	cmd.Flags().BoolVar(&seen, "seen", false, "you have looked at what is odd: don't show it again for this night")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what changed as JSON")
	return cmd
}

func readBook(ctx context.Context, h *gateway.House, path string, opt book.Options) (b book.Book, err error) {
	f, err := os.Open(path)
	if err != nil {
		return b, fmt.Errorf("open the order book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return h.Desk.ReadBook(ctx, f, path, opt)
}

// learn keeps what the cook said about a file.
func (a *app) learn(ctx context.Context, h *gateway.House, n night.Night, b book.Book, mapping map[string]string, seen bool) error {
	if len(mapping) > 0 {
		if err := h.Desk.RememberColumns(ctx, b.Shape, mapping); err != nil {
			return err
		}
	}
	if !seen {
		return nil
	}
	return h.Desk.SeeProblems(ctx, n.ID, b.Problems)
}

func (a *app) printBookProblems(b book.Book) {
	for _, p := range b.Problems {
		where := ""
		if p.Row > 0 {
			where = fmt.Sprintf("row %d: ", p.Row)
		}
		fmt.Fprintf(a.out, "%s  %s%s %s: %s; %s\n", p.Level, where, p.Order, p.Field, p.What, p.Fix)
	}
	for _, l := range b.LeftOut {
		fmt.Fprintf(a.out, "left out  row %d: %s\n", l.Row, l.Why)
	}
}

func (a *app) printLoaded(b book.Book, l desk.Loaded) {
	fmt.Fprintf(a.out, "%d rows: %d orders, %d rows left out\n", b.Rows, len(b.Orders), len(b.LeftOut))
	fmt.Fprintf(a.out, "%d new, %d changed, %d unchanged\n", len(l.New), len(l.Changed), len(l.Unchanged))
	for _, c := range l.Changed {
		fmt.Fprintf(a.out, "  %s: %s\n", c.Ref, strings.Join(c.What, "; "))
	}
	if len(l.Cancelled) > 0 {
		fmt.Fprintf(a.out, "No longer in the book and cancelled: %s\n", strings.Join(l.Cancelled, ", "))
	}
	if len(l.Missing) > 0 {
		fmt.Fprintf(a.out, "No longer in the book and kept all the same: %s. If one is off, cancel it with `passbell order cancel`.\n", strings.Join(l.Missing, ", "))
	}
}

func newBookShowCmd(a *app) *cobra.Command {
	var date string
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "show",
		Short:   "Show the night's orders by slot",
		Example: "  passbell book show --night 2026-12-04",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				orders, err := h.Desk.Orders(cmd.Context(), n.ID)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(orders)
				}
				tab := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
				for _, o := range orders {
					fmt.Fprintf(tab, "%s\t%s\t%s\t%s\t%s\n", o.Slot, o.Ref, o.Name, o.State, allergyWords(o))
				}
				fmt.Fprintf(tab, "%d orders\n", len(orders))
				return tab.Flush()
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func newBookExportCmd(a *app) *cobra.Command {
	var date string
	cmd := &cobra.Command{
		Use:   "export [FILE]",
		Short: "Write the night's orders as CSV, to a file or to the terminal",
		Long: `Write the night's orders as CSV that any spreadsheet opens: no cell is taken for
a formula, and passbell reads the same orders back. An existing file is not
overwritten.`,
		Example: "  passbell book export friday.csv\n  passbell book export --night 2026-12-04 > friday.csv",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				orders, err := h.Desk.Orders(cmd.Context(), n.ID)
				if err != nil {
					return err
				}
				if len(args) == 0 {
					return book.WriteCSV(a.out, orders, nil)
				}
				// 0600: it holds customers' names and numbers.
				f, err := os.OpenFile(args[0], os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
				if err != nil {
					return fmt.Errorf("write the order book: %w", err)
				}
				if err := errors.Join(book.WriteCSV(f, orders, nil), f.Close()); err != nil {
					return err
				}
				fmt.Fprintf(a.out, "%d orders are in %s\n", len(orders), args[0])
				return nil
			})
		},
	}
	nightFlag(cmd, &date)
	return cmd
}

func allergyWords(o night.Order) string {
	if o.Allergy == "" {
		return ""
	}
	return "ALLERGY: " + o.Allergy
}
