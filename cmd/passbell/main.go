// Command passbell runs a collection night: it tells customers when and where
// to come, reads what they write, and shows the night live.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	_ "time/tzdata" // a cook's machine may have no zone data of its own
)

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], std{in: os.Stdin, out: os.Stdout, err: os.Stderr})
	stop()
	os.Exit(code)
}

// run executes one command line and gives the exit code.
func run(ctx context.Context, args []string, s std) int {
	root := newRootCmd(s)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	var wrong *usageError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errSaidAlready):
		return exitFailed
	case errors.As(err, &wrong):
		fmt.Fprintf(s.err, "%s: %v\nSee %s --help.\n", cmd.CommandPath(), err, cmd.CommandPath())
		return exitUsage
	}
	fmt.Fprintf(s.err, "%s: %v\n", cmd.CommandPath(), err)
	return exitFailed
}
