package main

import (
	"errors"
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
	"passbell/internal/wording"
)

func newCloseCmd(a *app) *cobra.Command {
	var date string
	var yes, dry, asJSON bool
	cmd := &cobra.Command{
		Use:   "close",
		Short: "Close orders: show who is told what and when, ask once, schedule once",
		Long: `Close orders. The plan is shown first: each text as the customer will read
it, when it goes, its number of SMS parts, and who can't be texted and why.
Closing a night that is closed adds nothing.`,
		Example: "  passbell close --dry-run\n  passbell close --yes",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				p, err := h.Desk.Preview(cmd.Context(), n.ID)
				if err != nil {
					return err
				}
				if len(p.Orders) == 0 {
					return errors.New("the night has no orders: load its order book with `passbell book load FILE`")
				}
				if asJSON {
					if err := a.printJSON(p); err != nil {
						return err
					}
				} else if err := a.printPlan(h, p); err != nil {
					return err
				}
				if dry {
					return nil
				}
				return a.close(cmd, h, p, yes, asJSON)
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().BoolVar(&yes, "yes", false, "don't ask")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "only look")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the plan as JSON")
	return cmd
}

func (a *app) close(cmd *cobra.Command, h *gateway.House, p desk.Preview, yes, quiet bool) error {
	say := func(format string, args ...any) {
		if !quiet {
			fmt.Fprintf(a.out, format, args...)
		}
	}
	if p.Closed {
		say("Orders were closed already: nothing was added.\n")
		return nil
	}
	if !yes {
		ok, err := a.confirm(fmt.Sprintf("Close orders and schedule %d texts?", len(p.Messages)))
		if err != nil {
			return err
		}
		if !ok {
			return errors.New("nothing was closed and nothing was scheduled")
		}
	}
	if _, err := h.Desk.Close(cmd.Context(), p.Night.ID, "cook"); err != nil {
		return err
	}
	say("Orders are closed, %d texts are scheduled. They go out while `passbell serve` runs.\n", len(p.Messages))
	return nil
}

func (a *app) printPlan(h *gateway.House, p desk.Preview) error {
	byID := make(map[int64]night.Order, len(p.Orders))
	for _, o := range p.Orders {
		byID[o.ID] = o
	}
	fmt.Fprintf(a.out, "%s, %d orders\n\n", p.Night.Date.Format("Monday 2 January 2006"), len(p.Orders))
	for _, m := range p.Messages {
		fmt.Fprintf(a.out, "%s  %s to", m.DueAt.In(h.Kitchen.Zone).Format("Mon 2 Jan 15:04"), m.Kind)
		for i, c := range m.Covers {
			if i > 0 {
				fmt.Fprint(a.out, " and")
			}
			fmt.Fprintf(a.out, " %s %s", byID[c.OrderID].Ref, byID[c.OrderID].Name)
		}
		fmt.Fprintf(a.out, "  (%d SMS %s)\n  %s\n", m.Parts, plural(m.Parts, "part", "parts"), m.Text)
		for _, w := range wording.Warnings(m.Text) {
			fmt.Fprintf(a.out, "  mind: %s\n", w)
		}
	}
	if err := a.printLeftOut(p, byID); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\n%s", p.Summary())
	if cost := h.Price.Cost(p.Parts); cost > 0 {
		fmt.Fprintf(a.out, ", about %s", wording.Money(cost, h.Price.Currency))
	}
	fmt.Fprintln(a.out)
	a.printPace(h, p)
	return nil
}

// printPace says how long each round of texts takes, and warns where reminders
// would not be out in time.
func (a *app) printPace(h *gateway.House, p desk.Preview) {
	for _, ad := range h.Config.Adapter {
		rounds := map[night.MessageKind][]night.Message{}
		for _, m := range p.Messages {
			rounds[m.Kind] = append(rounds[m.Kind], m)
		}
		for _, kind := range []night.MessageKind{night.Instructions, night.Reminder} {
			takes := gateway.SendingTime(ad, rounds[kind])
			if takes < time.Minute {
				continue
			}
			fmt.Fprintf(a.out, "%s: %d %s at %g a second take %s\n", ad.Name, len(rounds[kind]), kind, ad.PerSecond, takes)
			for _, m := range rounds[kind] {
				if kind == night.Reminder && m.DueAt.Add(takes).After(m.ExpiresAt) {
					fmt.Fprintf(a.out, "MIND: at this pace reminders may come after their slots: raise per_second, or remind earlier\n")
					break
				}
			}
		}
	}
}

func (a *app) printLeftOut(p desk.Preview, byID map[int64]night.Order) error {
	if len(p.LeftOut) == 0 {
		return nil
	}
	fmt.Fprintln(a.out, "\nLeft out:")
	tab := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	for _, l := range p.LeftOut {
		o := byID[l.OrderID]
		ring := ""
		if l.Ring() {
			ring = "ring them: " + o.PhoneTyped
		}
		fmt.Fprintf(tab, "  %s\t%s\t%s\t%s\t%s\n", o.Ref, o.Name, l.Kind, l.Why, ring)
	}
	return tab.Flush()
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
