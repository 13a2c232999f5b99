// Command downdrop finds out why a drop is down: it asks, weighs what is found,
// and says what is likely, how sure that is, why, and what to do next.
//
// Each verb is a file: what it takes is an options struct, what it does a run
// function that knows nothing of cobra.
package main

import (
	"os"
	"runtime"
	"runtime/debug"
)

func main() {
	collectLate()
	ctx, stop := listen()
	code := run(ctx, newEnvironment(), os.Args[1:])
	stop()
	os.Exit(code)
}

// collectLate puts the first collection of garbage off until the heap holds some 40 MiB: a run
// that answers one case is over before, and saves a third of its time. From then on the
// collector works as usual: it finds that nothing points to marker, and the runtime then calls
// the cleanup, which is the only way to be told that a first collection has taken place.
func collectLate() {
	usual := debug.SetGCPercent(1000)
	marker := new([64]byte)
	runtime.AddCleanup(marker, func(percent int) { debug.SetGCPercent(percent) }, usual)
}
