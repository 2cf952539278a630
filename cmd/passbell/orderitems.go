package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"passbell/internal/desk"
	"passbell/internal/night"
)

func newTickCmd(a *app) *cobra.Command {
	var off bool
	cmd := a.newActCmd("tick ORDER ITEM...", "Items are in the bag, by their place in the order as `order show` lists them",
		"  passbell order tick K401 1 3\n  passbell order tick K401 3 --off", cobra.MinimumNArgs(2),
		func(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
			var lines []desk.Line
			for _, arg := range args[1:] {
				n, err := place(arg)
				if err != nil {
					return night.Order{}, err
				}
				lines = append(lines, desk.Line{Place: n})
			}
			var o night.Order
			for _, line := range lines {
				var err error
				if o, err = d.Tick(ctx, act, line, !off); err != nil {
					return o, err
				}
			}
			return o, nil
		})
	cmd.Flags().BoolVar(&off, "off", false, "they are not in the bag after all")
	return cmd
}

func newShortCmd(a *app) *cobra.Command {
	var atGate bool
	cmd := a.newActCmd("short ORDER ITEM...", "Items are missing: the customer gets a text that names all that is missing, once",
		"  passbell order short K401 2 --dry-run\n  passbell order short K401 1=2 3 --at-gate\n  passbell order short K401 1=0 --at-gate", cobra.MinimumNArgs(2),
		func(ctx context.Context, d *desk.Desk, act desk.Act, args []string) (night.Order, error) {
			var lacks []desk.Lack
			for _, arg := range args[1:] {
				l, err := lackOf(arg)
				if err != nil {
					return night.Order{}, err
				}
				lacks = append(lacks, l)
			}
			return d.Short(ctx, act, lacks, !atGate)
		})
	cmd.Long = "An ITEM is its place in the order as `order show` lists them: 2 for all of the second, 1=2 for two pieces of the first,\n" +
		"1=0 for none missing after all."
	cmd.Flags().BoolVar(&atGate, "at-gate", false, "send no text: it is said at the gate, and the runner's page shows it")
	return cmd
}

// lackOf reads "2" or "1=3".
func lackOf(arg string) (desk.Lack, error) {
	item, pieces, some := strings.Cut(arg, "=")
	n, err := place(item)
	l := desk.Lack{Line: desk.Line{Place: n}, Pieces: desk.AllOfIt}
	if err != nil || !some {
		return l, err
	}
	if l.Pieces, err = strconv.Atoi(pieces); err != nil || l.Pieces < 0 {
		return l, &usageError{fmt.Errorf("%q: say how many are missing, as in 1=2", arg)}
	}
	return l, nil
}

func place(arg string) (int, error) {
	n, err := strconv.Atoi(arg)
	if err != nil || n < 1 {
		return 0, &usageError{fmt.Errorf("%q is no place in the order: count from 1, as `order show` lists the items", arg)}
	}
	return n - 1, nil
}

// marks says what the kitchen marked on a line.
func marks(it night.Item) string {
	var out string
	if it.Ticked {
		out += ", in the bag"
	}
	if it.Short > 0 {
		out += fmt.Sprintf(", %d MISSING", it.Short)
	}
	if it.AtGate {
		out += " (to be said at the gate)"
	}
	return out
}
