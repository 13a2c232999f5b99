//go:build unix

package support

import (
	"syscall"
	"time"
)

// ProcessorTime is what this process has used of all cores, the collector's part
// included. On a machine that others use as well it says more than a clock.
func ProcessorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
