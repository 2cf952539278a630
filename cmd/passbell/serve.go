package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"passbell/internal/config"
	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

// drainWithin bounds how long Ctrl-C waits for sends that are under way.
const drainWithin = 40 * time.Second

func newServeCmd(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "serve",
		Short: "Run the gateway: send what is due, take in what comes, show the pass",
		Long: `Run the gateway until Ctrl-C: texts go out at their times, what customers
write is read, and the pass is open in the browser. After a crash it goes on
where it was; a text of which nobody knows whether it went out is shown on the
pass and not sent again by itself. Where the configuration has several kitchens,
all of them are served, each under its own name.`,
		Example: "  passbell serve",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := config.Load(a.configPath)
			if err != nil {
				return err
			}
			return a.host(cmd.Context(), c, func(h *gateway.Host) error { return a.serve(cmd.Context(), h) })
		},
	}
}

func (a *app) serve(ctx context.Context, h *gateway.Host) error {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gateway.HeapGrowth(h.Config.Database))
	}
	g, err := gateway.New(h, nil)
	if err != nil {
		return err
	}
	if err := g.Start(ctx); err != nil {
		return err
	}
	printOpen(a.out, h, g.Addr())
	var failed error
	select {
	case <-ctx.Done():
	case failed = <-g.Failed():
	}
	fmt.Fprintln(a.err, "stopping: texts that are on their way are waited for")
	bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), drainWithin)
	defer cancel()
	return errors.Join(failed, g.Stop(bounded))
}

// printOpen says where the pages are.
func printOpen(w io.Writer, h *gateway.Host, at net.Addr) {
	if named := h.Houses[0].Config.Host; named == "" {
		fmt.Fprintf(w, "The pass is open at http://%s\n", at)
	} else {
		fmt.Fprintf(w, "These names are served at %s:\n", at)
		for _, house := range h.Houses {
			fmt.Fprintf(w, "  %s  %s\n", house.Config.Host, house.Kitchen.Name)
		}
	}
	fmt.Fprintln(w, "Ctrl-C stops passbell.")
}

func newArrivalsCmd(a *app) *cobra.Command {
	var date string
	var once, asJSON bool
	cmd := &cobra.Command{
		Use:     "arrivals",
		Short:   "Who is here and who is next, live in the terminal",
		Example: "  passbell arrivals\n  passbell arrivals --once --json",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				if once || asJSON {
					b, err := h.Desk.Board(cmd.Context(), n.ID)
					if err != nil {
						return err
					}
					if asJSON {
						return a.printJSON(b)
					}
					return printBoard(a.out, h, b)
				}
				return a.watch(cmd.Context(), h, n)
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().BoolVar(&once, "once", false, "print the list once and end")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print it once as JSON")
	return cmd
}

// watch prints the board each time that it changes, until ctx is done. On a
// terminal it is drawn in place.
func (a *app) watch(ctx context.Context, h *gateway.House, n night.Night) error {
	clear := ""
	if file, ok := a.out.(*os.File); ok && term.IsTerminal(int(file.Fd())) {
		clear = "\x1b[H\x1b[2J"
	}
	shown := ""
	for {
		b, err := h.Desk.Board(ctx, n.ID)
		if err != nil && ctx.Err() == nil {
			return err
		}
		var text strings.Builder
		if err := printBoard(&text, h, b); err != nil {
			return err
		}
		if text.String() != shown && ctx.Err() == nil {
			shown = text.String()
			fmt.Fprint(a.out, clear, shown)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-h.Clock.After(time.Second):
		}
	}
}

func printBoard(w io.Writer, h *gateway.House, b desk.Board) error {
	fmt.Fprintf(w, "%s  %s\n", b.Night.Date.Format("Mon 2 Jan"), b.Sentence)
	section := func(title string, orders []night.Order, line func(o night.Order) string) {
		if len(orders) == 0 {
			return
		}
		fmt.Fprintf(w, "\n%s\n", title)
		for _, o := range orders {
			fmt.Fprintf(w, "  %s\n", line(o))
		}
	}
	minutes := func(since time.Time) string { return fmt.Sprintf("%d min", int(b.At.Sub(since).Minutes())) }
	section("HERE", b.Gate, func(o night.Order) string { return minutes(o.Arrival.At) + "  " + orderLine(o) })
	section("PACK NOW", b.Pack, orderLine)
	section("LATE", b.Late, func(o night.Order) string {
		return minutes(desk.Expected(o, b.Night, h.Kitchen.Zone)) + "  " + orderLine(o)
	})
	next := b.Next
	if len(next) > 8 {
		next = next[:8]
	}
	section("NEXT", next, orderLine)
	if len(b.Trouble) > 0 {
		fmt.Fprintln(w, "\nTEXTS THAT NEED YOU")
		for _, t := range b.Trouble {
			fmt.Fprintf(w, "  %s %s: %s %s, %s\n", t.Order.Ref, t.Order.Name, t.Message.Kind, t.Message.State, t.Message.Reason)
		}
	}
	section("TO RING, NO TEXT CAN TELL THEM", b.Untold, func(o night.Order) string { return o.PhoneTyped + "  " + orderLine(o) })
	if len(b.Texts) > 0 {
		fmt.Fprintln(w, "\nTO READ")
		for _, in := range b.Texts {
			fmt.Fprintf(w, "  %s  %s\n", in.At.In(h.Kitchen.Zone).Format("15:04"), in.Text)
		}
	}
	_, err := fmt.Fprintln(w)
	return err
}
