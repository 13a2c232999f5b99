package rulebase_test

import (
	"testing"

	"downdrop/rulebase"
)

// A drop named twice among those that share a supply is one drop.
func TestExtentCountsADropOnce(t *testing.T) {
	drops := map[int]string{2: rulebase.DropDead, 5: rulebase.DropDead, 7: rulebase.DropGood}
	if word, because := rulebase.Extent(2, drops, []int{2, 7, 5}, [][]int{{5, 2, 5}}); word != rulebase.ExtentSupply {
		t.Errorf("%q: %s", word, because)
	}
}
