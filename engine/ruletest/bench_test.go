package ruletest_test

import (
	"context"
	"testing"

	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
)

// The shipped rule tests on all cores, and what they cover; the floor is the
// weighing of the same cases one after the other, with nothing compared.
func BenchmarkShippedRules(b *testing.B) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		b.Fatal(err)
	}
	cases, err := base.RuleTests()
	if err != nil {
		b.Fatal(err)
	}
	p := engine.Prepare(base)
	b.Run("run", func(b *testing.B) {
		for b.Loop() {
			if _, err := ruletest.Run(context.Background(), p, cases); err != nil {
				b.Fatal(err)
			}
		}
	})
	results, err := ruletest.Run(context.Background(), p, cases)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("cover", func(b *testing.B) {
		for b.Loop() {
			ruletest.Cover(base, results, 0)
		}
	})
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			for _, s := range cases {
				if _, err := engine.Diagnose(context.Background(), p, s, engine.Options{Last: true, OneCore: true, BeliefOnly: true}); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
