// Command nilvolt judges the evidence of safe isolation that voltage indicators
// recorded. One file holds one command; console.go is the world around them,
// exit.go the exit codes, diagnose.go how errors are told.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	_ "time/tzdata" // zones of column maps, on machines that have none
)

func main() { os.Exit(run()) }

// run is main with an exit code, so that what it defers is done.
func run() int {
	collectAt(200) // little is held while much is read: collecting less often is faster
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second interrupt ends the process at once
	return execute(ctx, newConsole(), os.Args[1:])
}

// collectAt sets how many percent of what is held may come on top before the next
// collection, unless the environment says so.
func collectAt(percent int) {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(percent)
	}
}
