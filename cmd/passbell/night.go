package main

import (
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"passbell/internal/gateway"
	"passbell/internal/night"
)

func newNightCmd(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "night",
		Short:   "Add, list and show collection nights",
		Example: "  passbell night add 2026-12-04 --first 16:30 --last 19:30\n  passbell night list",
	}
	cmd.AddCommand(newNightAddCmd(a), newNightListCmd(a), newNightShowCmd(a))
	return cmd
}

// nightFlags are the answers that make a night; empty ones take the
// configuration's.
type nightFlags struct {
	first, last, place, parking, closes, instruct, remindFrom string
	every, capacity                                           int
	remindBefore                                              time.Duration
}

func newNightAddCmd(a *app) *cobra.Command {
	var f nightFlags
	cmd := &cobra.Command{
		Use:   "add DATE",
		Short: "Add a collection night",
		Long: `Add a collection night. What is not given comes from [night] in passbell.toml.
Times are local; moments are written like "2026-12-01 18:00".`,
		Example: "  passbell night add 2026-12-04 --first 16:30 --last 19:30 --place \"5 Mill Lane, Larkfield\" --closes \"2026-12-01 12:00\"",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			date, err := night.ParseDate(args[0])
			if err != nil {
				return &usageError{err}
			}
			return a.house(cmd.Context(), func(h *gateway.House) error {
				n, err := f.night(h, date)
				if err != nil {
					return &usageError{err}
				}
				n, err = h.Desk.AddNight(cmd.Context(), n, "cook")
				if err != nil {
					return err
				}
				return a.printNight(h, n)
			})
		},
	}
	cmd.Flags().StringVar(&f.first, "first", "16:30", "first slot")
	cmd.Flags().StringVar(&f.last, "last", "19:30", "last slot")
	cmd.Flags().IntVar(&f.every, "every", 0, "minutes from slot to slot")
	cmd.Flags().IntVar(&f.capacity, "capacity", 0, "orders that a slot can take; 0 for no limit")
	cmd.Flags().StringVar(&f.place, "place", "", "where to come, as customers are told")
	cmd.Flags().StringVar(&f.parking, "parking", "", "where to park and stand")
	cmd.Flags().StringVar(&f.closes, "closes", "", "when orders close")
	cmd.Flags().StringVar(&f.instruct, "instruct", "", "when the instructions go out")
	cmd.Flags().DurationVar(&f.remindBefore, "remind-before", 0, "how long before the slot the reminder goes, such as 5h")
	cmd.Flags().StringVar(&f.remindFrom, "remind-from", "", "the earliest time of day for a reminder")
	return cmd
}

func (f nightFlags) night(h *gateway.House, date night.Date) (night.Night, error) {
	first, err := night.ParseClock(f.first)
	if err != nil {
		return night.Night{}, fmt.Errorf("--first: %w", err)
	}
	last, err := night.ParseClock(f.last)
	if err != nil {
		return night.Night{}, fmt.Errorf("--last: %w", err)
	}
	n := h.Config.NightOn(date, first, last, h.Kitchen.Zone)
	for _, s := range []struct {
		from string
		to   *string
	}{{f.place, &n.Place}, {f.parking, &n.Parking}} {
		if s.from != "" {
			*s.to = s.from
		}
	}
	if f.every != 0 {
		n.Every = f.every
	}
	if f.capacity != 0 {
		n.Capacity = f.capacity
	}
	if f.remindBefore != 0 {
		n.RemindBefore = f.remindBefore
	}
	if f.remindFrom != "" {
		if n.RemindFrom, err = night.ParseClock(f.remindFrom); err != nil {
			return n, fmt.Errorf("--remind-from: %w", err)
		}
	}
	if f.instruct != "" {
		if n.InstructAt, err = moment(f.instruct, h.Kitchen.Zone); err != nil {
			return n, fmt.Errorf("--instruct: %w", err)
		}
		n.ClosesAt = n.InstructAt
	}
	if f.closes != "" {
		if n.ClosesAt, err = moment(f.closes, h.Kitchen.Zone); err != nil {
			return n, fmt.Errorf("--closes: %w", err)
		}
	}
	return n, nil
}

const momentLayout = "2006-01-02 15:04"

// moment reads a local date and time. One that the clocks skip is refused.
func moment(s string, zone *time.Location) (time.Time, error) {
	t, err := time.Parse(momentLayout, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no moment: write it like \"2026-12-01 18:00\"", s)
	}
	at, fit := night.Instant(night.DateOf(t), night.ClockOf(t), zone)
	if fit == night.Skipped {
		return at, fmt.Errorf("%q does not exist: the clocks go forward over it", s)
	}
	return at, nil
}

func newNightListCmd(a *app) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the nights",
		Example: "  passbell night list --json",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.house(cmd.Context(), func(h *gateway.House) error {
				nights, err := h.Desk.Nights(cmd.Context())
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(nights)
				}
				tab := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
				for _, n := range nights {
					fmt.Fprintf(tab, "%s\t%s to %s\t%s\t%s\n", n.Date, n.First, n.Last, standing(n), n.Place)
				}
				return tab.Flush()
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func standing(n night.Night) string {
	switch {
	case !n.CalledOff.IsZero():
		return "called off"
	case !n.ClosedAt.IsZero():
		return "orders closed"
	}
	return "orders open"
}

func newNightShowCmd(a *app) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "show [DATE]",
		Short:   "Show a night, the current one by default",
		Example: "  passbell night show 2026-12-04",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			date := ""
			if len(args) > 0 {
				date = args[0]
			}
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				if asJSON {
					return a.printJSON(n)
				}
				return a.printNight(h, n)
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func (a *app) printNight(h *gateway.House, n night.Night) error {
	local := func(t time.Time) string { return t.In(h.Kitchen.Zone).Format("Mon 2 Jan 2006 15:04") }
	tab := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tab, "night\t%s, %s\n", n.Date.Format("Monday 2 January 2006"), standing(n))
	fmt.Fprintf(tab, "slots\t%s to %s, every %d minutes\n", n.First, n.Last, n.Every)
	if n.Capacity > 0 {
		fmt.Fprintf(tab, "capacity\t%d orders a slot\n", n.Capacity)
	}
	fmt.Fprintf(tab, "place\t%s\n", n.Place)
	fmt.Fprintf(tab, "parking\t%s\n", n.Parking)
	fmt.Fprintf(tab, "orders close\t%s\n", local(n.ClosesAt))
	fmt.Fprintf(tab, "instructions\t%s\n", local(n.InstructAt))
	fmt.Fprintf(tab, "reminder\t%s before the slot, not before %s\n", shortDuration(n.RemindBefore), n.RemindFrom)
	return tab.Flush()
}

// shortDuration writes whole hours and minutes without zeros: "5h", "1h30m".
func shortDuration(d time.Duration) string {
	d = d.Round(time.Second)
	s := d.String()
	if d%time.Minute == 0 {
		s = s[:len(s)-len("0s")]
	}
	if d >= time.Hour && d%time.Hour == 0 {
		s = s[:len(s)-len("0m")]
	}
	return s
}
