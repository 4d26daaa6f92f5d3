// Command lastgood answers, when a thermometer has failed its check: which
// product is in doubt, how badly, and what to do with it.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// Exit statuses.
const (
	exitClear   = 0 // nothing in doubt
	exitTrouble = 1 // something went wrong on our side
	exitBad     = 2 // bad input; no verdicts
	exitDoubt   = 3 // something in doubt
)

// run is the whole program, so that a test can start the very same one.
func run(ctx context.Context, args []string, out, err io.Writer) int {
	return command(ctx, args, &streams{out, err})
}

type streams struct{ out, err io.Writer }
