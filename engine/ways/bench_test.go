package ways_test

import (
	"testing"

	"downdrop/engine/ways"
)

func BenchmarkDecide(b *testing.B) {
	t := &testing.T{}
	p := sheet(t, "shop.yaml")
	for b.Loop() {
		decided(p, ways.Case{Bad: rat("0.5"), Pulled: true})
	}
}
