//go:build unix

package cases_test

import (
	"syscall"
	"time"
)

// processorTime is what this process has used of all cores, the collector's part
// included. On a machine that others use as well it says more than a clock.
func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
