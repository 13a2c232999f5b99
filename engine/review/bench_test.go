package review_test

import (
	"testing"

	"downdrop/engine/review"
	"downdrop/rulebase"
)

// All that `downdrop check` does with the shipped rulebase: loading it with its
// rule tests, and the review alone.
func BenchmarkCheckShipped(b *testing.B) {
	b.Run("load", func(b *testing.B) {
		for b.Loop() {
			base, err := rulebase.LoadShipped()
			if err != nil {
				b.Fatal(err)
			}
			if _, err := base.RuleTests(); err != nil {
				b.Fatal(err)
			}
		}
	})
	base, err := rulebase.LoadShipped()
	if err != nil {
		b.Fatal(err)
	}
	tests, err := base.RuleTests()
	if err != nil {
		b.Fatal(err)
	}
	b.Run("review", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			review.Within(base, tests, review.NoLimit)
		}
	})
}
