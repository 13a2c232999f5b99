// Package shipped gives tests the shipped rulebase. It is no part of package support,
// which tests inside package rulebase use as well.
package shipped

import (
	"testing"

	"downdrop/rulebase"
)

// Base is the shipped rulebase; the test fails where it does not load.
func Base(t testing.TB) *rulebase.Base {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	return base
}
