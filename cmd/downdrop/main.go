// Command downdrop finds out why a drop is down: it asks, weighs what is found,
// and says what is likely, how sure that is, why, and what to do next.
//
// Each verb is a file: what it takes is an options struct, what it does a run
// function that knows nothing of cobra.
package main

import (
	"os"
	"runtime/debug"
)

func main() {
	// A run is short and its memory small: collecting it less often is a third of
	// the time to a first answer.
	debug.SetGCPercent(400)
	ctx, stop := listen()
	code := run(ctx, newEnvironment(), os.Args[1:])
	stop()
	os.Exit(code)
}
