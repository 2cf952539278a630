package main

import (
	"errors"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

func newWipeCmd(a *app) *cobra.Command {
	var before string
	var dry, yes, asJSON bool
	cmd := &cobra.Command{
		Use:   "wipe --before DATE",
		Short: "Wipe names, numbers and texts of past nights, for good",
		Long: `Wipe names, numbers, e-mail addresses, texts, cars, notes and allergies of every
night before a date that is over. What would go is counted first. References,
states, times and figures stay, so "passbell report" still counts such a night;
and the numbers that asked for no more texts stay, as they must.

"passbell serve" does it by itself once a night is older than kitchen.keep_days.
It can't be taken back. Order books, prints and backups that lie elsewhere stay as
they are.`,
		Example: "  passbell wipe --before 2026-09-01 --dry-run\n  passbell wipe --before 2026-09-01 --yes",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			date, err := night.ParseDate(before)
			if err != nil {
				return &usageError{fmt.Errorf("--before: %w", err)}
			}
			return a.house(cmd.Context(), func(h *gateway.House) error { return a.wipe(cmd, h, date, dry, yes, asJSON) })
		},
	}
	cmd.Flags().StringVar(&before, "before", "", "wipe nights before this date, such as 2026-09-01")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "only count")
	cmd.Flags().BoolVar(&yes, "yes", false, "don't ask")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the counts as JSON")
	return cmd
}

func (a *app) wipe(cmd *cobra.Command, h *gateway.House, before night.Date, dry, yes, asJSON bool) error {
	todo, err := h.Desk.Wipeable(cmd.Context(), before)
	if err != nil {
		return err
	}
	if !dry && !yes && len(todo) > 0 {
		if err := a.printWiped(todo); err != nil {
			return err
		}
		switch ok, err := a.confirm(fmt.Sprintf("Wipe this of %d %s, for good?", len(todo), plural(len(todo), "night", "nights"))); {
		case err != nil:
			return err
		case !ok:
			return errors.New("nothing was wiped")
		}
	}
	if !dry {
		if todo, err = h.Wipe(cmd.Context(), before, "cook"); err != nil {
			return err
		}
	}
	switch {
	case asJSON:
		return a.printJSON(todo)
	case len(todo) == 0:
		fmt.Fprintf(a.out, "Of no night before %s is anything left to wipe.\n", before)
		return nil
	case dry || yes:
		if err := a.printWiped(todo); err != nil || dry {
			return err
		}
	}
	fmt.Fprintln(a.out, "Wiped. Backups and order books elsewhere still hold what they hold.")
	return nil
}

func (a *app) printWiped(todo []desk.Wiped) error {
	tab := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	for _, w := range todo {
		of := "no night"
		if !w.Date.IsZero() {
			of = w.Date.String()
		}
		fmt.Fprintf(tab, "%s\t%s\n", of, w.Personal)
	}
	return tab.Flush()
}
