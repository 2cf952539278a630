package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"passbell/internal/rehearsal"
)

// stayOpen is how long the pass can be looked at after the demo's night.
const stayOpen = 10 * time.Second

// demoOptions is what the flags of `passbell demo` say.
type demoOptions struct {
	seed      uint64
	speed     float64
	headless  bool
	port      uint16
	noBrowser bool
}

func newDemoCmd(a *app) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Play a whole invented night, with the pass open in the browser",
		Long: `Play a whole collection night of the Larkfield Dumpling Kitchen, which is
invented, as are its sixty customers: they get their texts, write back as people
do, come early, late or not at all. No text can reach a real phone, and nothing
is kept. The same seed plays the same night.

With --headless there is no page and no waiting: the report is printed, and the
exit code is 0 only if every order ended as the seed's script says.`,
		Example: "  passbell demo\n  passbell demo --speed 200 --seed 3\n  passbell demo --headless --seed 7",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !(o.speed >= 1 && o.speed <= 100_000) {
				return &usageError{errors.New("--speed is in seconds of the night a second: give 1 to 100000, 80 is usual")}
			}
			return a.demo(cmd.Context(), o)
		},
	}
	cmd.Flags().Uint64Var(&o.seed, "seed", 1, "which night to play")
	cmd.Flags().Float64Var(&o.speed, "speed", 80, "how many seconds of the evening pass in one")
	cmd.Flags().BoolVar(&o.headless, "headless", false, "no page, full speed; fail if an order did not end as it should")
	cmd.Flags().Uint16Var(&o.port, "port", 0, "the port of the pass on this machine (0 takes a free one)")
	cmd.Flags().BoolVar(&o.noBrowser, "no-browser", false, "don't open the browser")
	return cmd
}

func (a *app) demo(ctx context.Context, o demoOptions) (err error) {
	dir, err := os.MkdirTemp("", "passbell-demo-")
	if err != nil {
		return fmt.Errorf("make a folder for the demo: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	opt := rehearsal.Options{
		Seed: o.seed, Dir: dir, Listen: net.JoinHostPort("127.0.0.1", strconv.Itoa(int(o.port))), Log: a.logger(),
	}
	if !o.headless {
		opt.Told = func(l rehearsal.Line) { fmt.Fprintln(a.out, l) }
	}
	// Ctrl-C ends the playing; what is on record is still read and closed.
	lasting := context.WithoutCancel(ctx)
	r, err := rehearsal.Open(lasting, opt)
	if err != nil {
		return err
	}
	defer func() {
		bounded, cancel := context.WithTimeout(lasting, drainWithin)
		defer cancel()
		err = errors.Join(err, r.Close(bounded))
	}()
	if o.headless {
		return a.demoHeadless(ctx, r)
	}
	return a.demoLive(ctx, r, o)
}

func (a *app) demoHeadless(ctx context.Context, r *rehearsal.Rehearsal) error {
	if err := r.Run(ctx, rehearsal.Pace{}); err != nil {
		return err
	}
	out, err := r.Result(ctx)
	if err != nil {
		return err
	}
	if err := out.Write(a.out); err != nil {
		return err
	}
	if !out.OK() {
		return errSaidAlready
	}
	return nil
}

func (a *app) demoLive(ctx context.Context, r *rehearsal.Rehearsal, o demoOptions) error {
	address, err := r.Serve(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "The pass is open at %s\nCtrl-C ends the demo.\n\n", address)
	if !o.noBrowser {
		if err := openBrowser(address); err != nil {
			fmt.Fprintf(a.out, "No browser could be opened (%v): open the address above by hand.\n\n", err)
		}
	}
	run := r.Run(ctx, rehearsal.Pace{Speed: o.speed, Sleep: sleep})
	if run != nil && ctx.Err() == nil {
		return run
	}
	report, err := r.Report(context.WithoutCancel(ctx))
	if err != nil {
		return err
	}
	if run != nil {
		fmt.Fprint(a.out, "\nThe demo was ended early; the night so far:\n")
		return report.Write(a.out)
	}
	fmt.Fprintln(a.out)
	if err := report.Write(a.out); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nThe pass stays open for %d more seconds: %s\n", int(stayOpen.Seconds()), address)
	select {
	case err := <-r.Failed():
		return err
	case <-ctx.Done():
	case <-time.After(stayOpen):
	}
	return nil
}

// sleep waits, or gives the error of a context that ends sooner.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// openBrowser asks the system to show an address.
func openBrowser(address string) error {
	var name string
	args := []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	default:
		name = "xdg-open"
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return err
	}
	go func() { _ = cmd.Wait() }() // only to leave no dead process behind
	return nil
}
