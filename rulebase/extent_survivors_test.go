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

// Of several states that are none the lowest drop's is named each time.
func TestExtentNamesTheFirstUnknownState(t *testing.T) {
	for range 20 {
		word, because := rulebase.Extent(2, map[int]string{2: rulebase.DropDead, 7: "gone", 5: "lost", 9: "odd"}, nil, nil)
		if word != "" || because != `The state of drop 5 is "lost": say good, dead or comes_and_goes.` {
			t.Fatalf("%q: %s", word, because)
		}
	}
}

// Where the state of drops farther out is not known, the nearest of them is asked for.
func TestExtentAsksForTheNearest(t *testing.T) {
	drops := map[int]string{2: rulebase.DropGood, 5: rulebase.DropDead, 7: rulebase.DropDead}
	if word, because := rulebase.Extent(5, drops, []int{2, 5, 9, 7, 4}, nil); word != "" || because != "Say how drop 9 is." {
		t.Errorf("%q: %s", word, because)
	}
}
