package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
	"passbell/internal/phone"
)

func newOrderCmd(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "order",
		Short:   "Show an order, or do with it what a person does at the pass",
		Example: "  passbell order show K401\n  passbell order here K401\n  passbell order move K401 18:20 --dry-run",
	}
	one := func(use, short string, do func(d *desk.Desk, ctx context.Context, act desk.Act) (night.Order, error)) *cobra.Command {
		return a.newActCmd(use+" ORDER", short, "  passbell order "+use+" K401", cobra.ExactArgs(1),
			func(ctx context.Context, d *desk.Desk, act desk.Act, _ []string) (night.Order, error) {
				return do(d, ctx, act)
			})
	}
	cmd.AddCommand(
		newOrderShowCmd(a),
		one("here", "The customer is at the collection point", (*desk.Desk).Here),
		one("packed", "The bags are packed", func(d *desk.Desk, ctx context.Context, act desk.Act) (night.Order, error) {
			return d.Packed(ctx, act, true)
		}),
		one("out", "The bags are handed out", (*desk.Desk).Out),
		one("undo", "Take the last step back", (*desk.Desk).Undo),
		one("told", "You told the customer when and where to come, as no text could", (*desk.Desk).Told),
		one("cancel", "Take the order off the night", (*desk.Desk).Cancel),
		one("absent", "The order was not collected", (*desk.Desk).Absent),
		a.newActCmd("move ORDER SLOT", "Give the order another slot; a customer who knows the old one is told",
			"  passbell order move K401 18:20 --dry-run", cobra.ExactArgs(2), moveOrder),
		a.newActCmd("number ORDER NUMBER", "Give the customer another number; what they should know goes there",
			"  passbell order number K401 07700900456", cobra.ExactArgs(2),
			func(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
				return d.SetNumber(ctx, act, args[1])
			}),
		a.newActCmd("collector ORDER [NAME]", "Somebody else collects; without a name the customer does",
			"  passbell order collector K401 \"Ron next door\"", cobra.RangeArgs(1, 2),
			func(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
				return d.SetCollector(ctx, act, strings.Join(args[1:], ""))
			}),
		a.newActCmd("split ORDER NEW ITEM...", "Take items, by their place in the order, out into an order of their own",
			"  passbell order split K401 K401-2 1 3", cobra.MinimumNArgs(3), splitOrder),
		newTickCmd(a),
		newShortCmd(a),
		a.newActCmd("join ORDER OTHER", "Put the items of another order into this one; the other is then off",
			"  passbell order join K401 K402", cobra.ExactArgs(2),
			func(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
				return d.Join(ctx, act, args[1])
			}),
	)
	return cmd
}

func moveOrder(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
	slot, err := night.ParseClock(args[1])
	if err != nil {
		return night.Order{}, &usageError{err}
	}
	return d.Move(ctx, act, slot)
}

func splitOrder(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
	var items []int
	for _, arg := range args[2:] {
		n, err := place(arg)
		if err != nil {
			return night.Order{}, err
		}
		items = append(items, n)
	}
	return d.Split(ctx, act, args[1], items)
}

type actFunc func(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error)

// newActCmd makes a command that does one thing to one order. With --dry-run it
// says which texts that would send, stop or reword.
func (a *app) newActCmd(use, short, example string, args cobra.PositionalArgs, do actFunc) *cobra.Command {
	var date, why string
	var dry, asJSON bool
	cmd := &cobra.Command{
		Use: use, Short: short, Example: example, Args: args,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				act := desk.Act{Night: n.ID, Ref: args[0], Who: "cook", Why: why}
				if dry {
					return unknownOrder(a.foresee(cmd.Context(), h, func(d *desk.Desk) error {
						_, err := do(cmd.Context(), d, act, args)
						return err
					}), args[0])
				}
				o, err := do(cmd.Context(), h.Desk, act, args)
				if err != nil {
					return unknownOrder(err, args[0])
				}
				if asJSON {
					return a.printJSON(o)
				}
				_, err = fmt.Fprintln(a.out, orderLine(o))
				return err
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().StringVar(&why, "why", "", "a word for the history")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "change nothing; say which texts it would send, stop or reword")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the order as JSON")
	return cmd
}

// foresee prints what a change would mean for texts.
func (a *app) foresee(ctx context.Context, h *gateway.House, change func(d *desk.Desk) error) error {
	got, err := h.Desk.Foresee(ctx, change)
	if err != nil {
		return err
	}
	if len(got) == 0 {
		fmt.Fprintln(a.out, "no text would be sent, stopped or reworded")
	}
	for _, c := range got {
		when := c.Message.DueAt.In(h.Kitchen.Zone).Format("Mon 2 Jan 15:04")
		switch c.What {
		case night.MessagePlanned:
			fmt.Fprintf(a.out, "send    %s to %s, %s:\n  %s\n", c.Message.Kind, phone.Mask(c.Message.To), when, c.Message.Text)
		case night.MessageChanged:
			fmt.Fprintf(a.out, "reword  %s to %s, %s:\n  %s\n", c.Message.Kind, phone.Mask(c.Message.To), when, c.Message.Text)
		case night.MessageWithdrawn:
			fmt.Fprintf(a.out, "stop    %s to %s, %s\n", c.Message.Kind, phone.Mask(c.Message.To), when)
		}
	}
	return nil
}

func unknownOrder(err error, ref string) error {
	if errors.Is(err, night.ErrNotFound) {
		return fmt.Errorf("this night has no order %s: see `passbell book show`", ref)
	}
	return err
}

func orderLine(o night.Order) string {
	parts := []string{fmt.Sprintf("%s %s, slot %s: %s", o.Ref, o.Name, o.Slot, o.State)}
	if o.Bag > 0 {
		parts[0] = fmt.Sprintf("bag %d, ", o.Bag) + parts[0]
	}
	if !o.PackedAt.IsZero() {
		parts = append(parts, "packed")
	}
	if missing := night.MissingLine(o.Items); missing != "" {
		parts = append(parts, "MISSING: "+missing)
	}
	if !o.Vehicle.IsZero() {
		parts = append(parts, o.Vehicle.String())
	}
	if o.Allergy != "" {
		parts = append(parts, "ALLERGY: "+o.Allergy)
	}
	return strings.Join(parts, ", ")
}

func newOrderShowCmd(a *app) *cobra.Command {
	var date string
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "show ORDER",
		Short:   "Show an order and all that happened to it",
		Example: "  passbell order show K401",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				c, err := h.Desk.Card(cmd.Context(), n.ID, args[0])
				if err != nil {
					return unknownOrder(err, args[0])
				}
				if asJSON {
					return a.printJSON(c)
				}
				return a.printCard(h, c)
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func (a *app) printCard(h *gateway.House, c desk.Card) error {
	o := c.Order
	fmt.Fprintln(a.out, orderLine(o))
	fmt.Fprintf(a.out, "number  %s\n", phone.Mask(o.Phone))
	for _, it := range o.Items {
		fmt.Fprintf(a.out, "%-5s   %d x %s%s\n", it.Kind, it.Qty, it.Name, marks(it))
	}
	if o.Note != "" {
		fmt.Fprintf(a.out, "note    %s\n", o.Note)
	}
	for _, e := range c.Events {
		what := string(e.What)
		if e.To != "" {
			what = string(e.To)
		}
		if e.What == night.StepUndone {
			what = "undone, " + what + " again"
		}
		fmt.Fprintf(a.out, "%s  %s, by %s", e.At.In(h.Kitchen.Zone).Format("Mon 15:04:05"), what, e.Who)
		if e.Why != "" {
			fmt.Fprintf(a.out, " (%s)", e.Why)
		}
		fmt.Fprintln(a.out)
	}
	return nil
}

func newResendCmd(a *app) *cobra.Command {
	var date, to string
	cmd := &cobra.Command{
		Use:     "resend ORDER",
		Short:   "Send one customer the instructions again, now",
		Example: "  passbell resend K401\n  passbell resend K401 --to 07700900456",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				if to != "" {
					number, err := phone.Parse(to, h.Kitchen.Region)
					if err != nil {
						return &usageError{fmt.Errorf("--to: %w", err)}
					}
					to = number.E164
				}
				m, err := h.Desk.Resend(cmd.Context(), desk.Act{Night: n.ID, Ref: args[0], Who: "cook"}, to)
				if err != nil {
					return unknownOrder(err, args[0])
				}
				fmt.Fprintf(a.out, "To %s, as soon as `passbell serve` runs:\n  %s\n", phone.Mask(m.To), m.Text)
				return nil
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().StringVar(&to, "to", "", "another number than the order's")
	return cmd
}

func newReportCmd(a *app) *cobra.Command {
	var date string
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "report",
		Short:   "The night in numbers, and what needs a follow-up",
		Example: "  passbell report --night 2026-12-04",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				r, err := h.Desk.Report(cmd.Context(), n.ID)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(r)
				}
				return r.Write(a.out)
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}
