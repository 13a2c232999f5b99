//go:build !unix

package engine_test

import "time"

var began = time.Now()

func processorTime() time.Duration { return time.Since(began) }
