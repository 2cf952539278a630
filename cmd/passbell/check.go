package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"passbell/adapters"
	"passbell/internal/config"
	"passbell/internal/gateway"
	"passbell/internal/phone"
)

func newCheckCmd(a *app) *cobra.Command {
	var to, by string
	var wait time.Duration
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Try the ways in and out before the first real night, without texting a customer",
		Long: `Try each adapter without texting a customer: the sign-in, the credit where the
provider tells it, and the sender's name. With --to your own number, a test
text goes there; answer it, and the way back and the delivery report are tried
too. Stop passbell serve first, where an adapter allows one connection only.`,
		Example: "  passbell check\n  passbell check --to 07700900456",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := config.Load(a.configPath)
			if err != nil {
				return err
			}
			if a.kitchen != "" || to != "" { // all are opened: a shared adapter hears texts to any of them
				one, err := c.Only(a.kitchen)
				if err != nil {
					return &usageError{err}
				}
				a.kitchen = one.Kitchens[0].File
			}
			return a.host(cmd.Context(), c, func(h *gateway.Host) error { return a.check(cmd.Context(), h, to, by, wait) })
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "your own number, to send a test text to")
	cmd.Flags().StringVar(&by, "by", "", "the adapter to send it by (the first by default)")
	cmd.Flags().DurationVar(&wait, "wait", 2*time.Minute, "how long to wait for the delivery report and your answer")
	return cmd
}

func (a *app) check(ctx context.Context, h *gateway.Host, to, by string, wait time.Duration) error {
	c, err := h.NewCheck()
	if err != nil {
		return err
	}
	well := true
	for _, p := range c.Probe(ctx, a.kitchen) {
		fmt.Fprintf(a.out, "%s (%s)", p.Adapter.Name, p.Adapter.Kind)
		if len(h.Houses) > 1 {
			fmt.Fprintf(a.out, " of %s", strings.Join(p.Kitchens, ", "))
		}
		fmt.Fprintln(a.out)
		for _, f := range p.Findings {
			well = a.printFinding(f) && well
		}
	}
	for _, house := range h.Houses {
		if to == "" || house.Config.File != a.kitchen {
			continue
		}
		tried, err := a.tryText(ctx, house, c, to, by, wait)
		if err != nil {
			return err
		}
		well = well && tried
	}
	if !well {
		return errors.New("something is not well yet: see above")
	}
	return nil
}

func (a *app) printFinding(f adapters.Finding) bool {
	word := "well"
	if !f.OK {
		word = "MIND"
	}
	fmt.Fprintf(a.out, "  %s  %s", word, f.What)
	if f.Note != "" {
		fmt.Fprintf(a.out, ": %s", f.Note)
	}
	fmt.Fprintln(a.out)
	return f.OK
}

func (a *app) tryText(ctx context.Context, h *gateway.House, c *gateway.Check, to, by string, wait time.Duration) (bool, error) {
	number, err := phone.Parse(to, h.Kitchen.Region)
	if err != nil {
		return false, &usageError{fmt.Errorf("--to: %w", err)}
	}
	if len(h.Config.Adapter) == 0 {
		return false, errors.New("no adapter is configured")
	}
	by = cmp.Or(by, h.Config.Adapter[0].Name)
	fmt.Fprintf(a.out, "a test text goes to %s by %s; answer it with any word\n", phone.Mask(number.E164), by)
	bounded, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	t, err := c.Send(bounded, h, by, number.E164, h.Kitchen.Name+": a test by passbell. Please answer with any word.", h.Clock.Now())
	if err != nil {
		return false, err
	}
	sent := adapters.Finding{What: "sending", OK: t.Sent == nil, Note: "the provider took the text"}
	if t.Sent != nil {
		sent.Note = t.Sent.Error()
	}
	receipt := adapters.Finding{What: "delivery report", Note: "none came in time: passbell will not know which texts arrive"}
	if t.Receipt != nil {
		receipt.OK, receipt.Note = t.Receipt.Status == adapters.Delivered, string(t.Receipt.Status)+" "+t.Receipt.Reason
	}
	reply := adapters.Finding{What: "your answer", Note: "none came in time: a hook that only passbell serve answers can't be tried here"}
	if t.Reply != nil {
		reply.OK, reply.Note = true, "came in"
	}
	well := true
	for _, f := range []adapters.Finding{sent, receipt, reply} {
		well = a.printFinding(f) && well
	}
	return well, nil
}
