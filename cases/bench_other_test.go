//go:build !unix

package cases_test

import "time"

var began = time.Now()

func processorTime() time.Duration { return time.Since(began) }
