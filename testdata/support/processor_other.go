//go:build !unix

package support

import "time"

var began = time.Now()

// ProcessorTime is the time since the start where the system does not tell what was used of its cores.
func ProcessorTime() time.Duration { return time.Since(began) }
