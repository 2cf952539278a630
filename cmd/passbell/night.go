package main

import (
	"cmp"
	"context"
	"fmt"
	"strconv"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

func newNightCmd(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "night",
		Short:   "Add, list, show and change collection nights",
		Example: "  passbell night add 2026-12-04 --first 16:30 --last 19:30\n  passbell night list",
	}
	cmd.AddCommand(newNightAddCmd(a), newNightListCmd(a), newNightShowCmd(a), newNightChangeCmd(a), newNightLateCmd(a),
		newNightOffCmd(a, "call-off", "Call the night off: everybody is told once", (*desk.Desk).CallOff),
		newNightOffCmd(a, "resume", "Take the calling off back: whoever heard of it is told", (*desk.Desk).Resume))
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
				n, err := f.over(h.Config.NightOn(date, gateway.FirstSlot, gateway.LastSlot, h.Kitchen.Zone), h.Kitchen.Zone)
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
	f.add(cmd)
	return cmd
}

func (f *nightFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.first, "first", "", "first slot, such as 16:30")
	cmd.Flags().StringVar(&f.last, "last", "", "last slot, such as 19:30")
	cmd.Flags().IntVar(&f.every, "every", 0, "minutes from slot to slot")
	cmd.Flags().IntVar(&f.capacity, "capacity", 0, "orders that a slot can take; 0 for no limit")
	cmd.Flags().StringVar(&f.place, "place", "", "where to come, as customers are told")
	cmd.Flags().StringVar(&f.parking, "parking", "", "where to park and stand")
	cmd.Flags().StringVar(&f.closes, "closes", "", "when orders close")
	cmd.Flags().StringVar(&f.instruct, "instruct", "", "when the instructions go out")
	cmd.Flags().DurationVar(&f.remindBefore, "remind-before", 0, "how long before the slot the reminder goes, such as 5h")
	cmd.Flags().StringVar(&f.remindFrom, "remind-from", "", "the earliest time of day for a reminder")
}

// over lays the answers that were given over a night.
func (f nightFlags) over(n night.Night, zone *time.Location) (night.Night, error) {
	var err error
	for _, c := range []struct {
		flag, given string
		to          *night.Clock
	}{{"first", f.first, &n.First}, {"last", f.last, &n.Last}, {"remind-from", f.remindFrom, &n.RemindFrom}} {
		if c.given == "" {
			continue
		}
		if *c.to, err = night.ParseClock(c.given); err != nil {
			return n, fmt.Errorf("--%s: %w", c.flag, err)
		}
	}
	for _, m := range []struct {
		flag, given string
		to          []*time.Time
	}{
		{"instruct", f.instruct, []*time.Time{&n.InstructAt, &n.ClosesAt}}, // orders close by then at the latest
		{"closes", f.closes, []*time.Time{&n.ClosesAt}},
	} {
		if m.given == "" {
			continue
		}
		at, err := moment(m.given, zone)
		if err != nil {
			return n, fmt.Errorf("--%s: %w", m.flag, err)
		}
		for _, to := range m.to {
			*to = at
		}
	}
	n.Place, n.Parking = cmp.Or(f.place, n.Place), cmp.Or(f.parking, n.Parking)
	n.Every, n.Capacity = cmp.Or(f.every, n.Every), cmp.Or(f.capacity, n.Capacity)
	n.RemindBefore = cmp.Or(f.remindBefore, n.RemindBefore)
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

// newNightChangeCmd changes the place and the times of a night.
func newNightChangeCmd(a *app) *cobra.Command {
	var f nightFlags
	var date string
	var dry bool
	cmd := &cobra.Command{
		Use:     "change",
		Short:   "Change a night's place or times; whoever knows otherwise is told",
		Example: "  passbell night change --place \"The church hall, Larkfield\" --dry-run",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				n, err := f.over(n, h.Kitchen.Zone)
				if err != nil {
					return &usageError{err}
				}
				change := func(d *desk.Desk) error { return d.ChangeNight(cmd.Context(), n, "cook") }
				if dry {
					return a.foresee(cmd.Context(), h, change)
				}
				if err := change(h.Desk); err != nil {
					return err
				}
				return a.printNight(h, n)
			})
		},
	}
	nightFlag(cmd, &date)
	f.add(cmd)
	cmd.Flags().BoolVar(&dry, "dry-run", false, "change nothing; say which texts it would send, stop or reword")
	return cmd
}

// newNightLateCmd tells those who are not served that the kitchen runs late.
func newNightLateCmd(a *app) *cobra.Command {
	var date, from, to string
	var dry bool
	cmd := &cobra.Command{
		Use:     "late MINUTES",
		Short:   "The kitchen runs behind: tell only those who are not served and not here yet",
		Example: "  passbell night late 15 --from 17:10 --dry-run",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			minutes, err := strconv.Atoi(args[0])
			if err != nil {
				return &usageError{fmt.Errorf("%q is no number of minutes", args[0])}
			}
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				first, last := n.First, n.Last
				for _, s := range []struct {
					given string
					to    *night.Clock
				}{{from, &first}, {to, &last}} {
					if s.given == "" {
						continue
					}
					if *s.to, err = night.ParseClock(s.given); err != nil {
						return &usageError{err}
					}
				}
				change := func(d *desk.Desk) error {
					got, err := d.RunBehind(cmd.Context(), n.ID, first, last, minutes, "cook")
					for _, o := range got.Ring {
						fmt.Fprintf(a.out, "ring    %s %s, %s: no text can tell them\n", o.Ref, o.Name, o.PhoneTyped)
					}
					if err == nil && !dry {
						fmt.Fprintf(a.out, "%d texts go out now\n", len(got.Messages))
					}
					return err
				}
				if dry {
					return a.foresee(cmd.Context(), h, change)
				}
				return change(h.Desk)
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().StringVar(&from, "from", "", "the first slot that is late (the night's first by default)")
	cmd.Flags().StringVar(&to, "to", "", "the last slot that is late (the night's last by default)")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "tell nobody; show the texts")
	return cmd
}

func newNightOffCmd(a *app, use, short string, do func(d *desk.Desk, ctx context.Context, nightID int64, who, why string) error) *cobra.Command {
	var date, why string
	var dry bool
	cmd := &cobra.Command{
		Use: use, Short: short, Example: "  passbell night " + use + " --dry-run", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				change := func(d *desk.Desk) error { return do(d, cmd.Context(), n.ID, "cook", why) }
				if dry {
					return a.foresee(cmd.Context(), h, change)
				}
				if err := change(h.Desk); err != nil {
					return err
				}
				n, err := pickNight(cmd.Context(), h, n.Date.String())
				if err != nil {
					return err
				}
				return a.printNight(h, n)
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().StringVar(&why, "why", "", "a word for the history")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "change nothing; say which texts it would send, stop or reword")
	return cmd
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
					fmt.Fprintf(tab, "%s\t%s to %s\t%s\t%s\n", n.Date, n.First, n.Last, standing(h, n), n.Place)
				}
				return tab.Flush()
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func standing(h *gateway.House, n night.Night) string {
	switch {
	case !n.CalledOff.IsZero():
		return "called off"
	case !n.ClosedAt.IsZero():
		return "orders closed"
	case n.Overdue(h.Clock.Now(), h.Kitchen.Zone):
		return "orders open: they should have been closed, and no text goes out until somebody closes them"
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
	fmt.Fprintf(tab, "night\t%s, %s\n", n.Date.Format("Monday 2 January 2006"), standing(h, n))
	fmt.Fprintf(tab, "slots\t%s to %s, every %d minutes\n", n.First, n.Last, n.Every)
	if n.Capacity > 0 {
		fmt.Fprintf(tab, "capacity\t%d orders a slot\n", n.Capacity)
	}
	fmt.Fprintf(tab, "place\t%s\n", n.Place)
	fmt.Fprintf(tab, "parking\t%s\n", n.Parking)
	by := "by your hand, with passbell close"
	if h.Config.Night.CloseByItself {
		by = "by themselves"
	}
	fmt.Fprintf(tab, "orders close\t%s, %s\n", local(n.ClosesAt), by)
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
