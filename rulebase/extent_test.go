package rulebase_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"downdrop/rulebase"

	"pgregory.net/rapid"
)

// down gives the states of drops 1 to n, of which those named are dead.
func down(n int, dead ...int) map[int]string {
	drops := map[int]string{}
	for a := 1; a <= n; a++ {
		drops[a] = rulebase.DropGood
	}
	for _, a := range dead {
		drops[a] = rulebase.DropDead
	}
	return drops
}

// TestExtent holds the meaning of each word; the cases are drawn by hand on a
// trunk whose cable order differs from the order of the addresses.
func TestExtent(t *testing.T) {
	order := []int{3, 1, 5, 2, 4}
	for _, c := range []struct {
		name     string
		sick     int
		drops    map[int]string
		order    []int
		supplies [][]int
		word     string
		because  string // must be in the sentence
	}{
		{"nothing said", 0, nil, nil, nil, "", "which drop"},
		{"no neighbour said", 5, down(0, 5), nil, nil, "", "other drops"},
		{"only neighbours said", 5, down(4), nil, nil, "one", "Drop 5 is down"},
		{"the only one down is meant", 0, down(5, 4), nil, nil, "one", "Drop 4"},
		{"two down and none meant", 0, down(5, 4, 5), nil, nil, "", "which drop"},
		{"the sick one is good", 2, down(5, 4), nil, nil, "", "said to be good"},
		{"all", 2, down(2, 1, 2), nil, nil, "all", "1 and 2"},
		{"not down all the time", 2, map[int]string{1: "good", 2: "comes_and_goes"}, nil, nil, "comes_and_goes", "Drop 2"},
		{"a dead one beside one that comes and goes", 2, map[int]string{1: "good", 3: "good", 2: "dead", 4: "comes_and_goes"}, []int{3, 1, 2, 4}, nil, "beyond", "2 and 4"},
		{"two down, order not said", 5, down(5, 4, 5), nil, nil, "", "order"},
		{"two down, one missing from the order", 5, down(5, 4, 5), []int{3, 1, 5, 4}, nil, "", "drop 2 among"},
		{"address order is not cable order", 5, down(5, 4, 5), order, [][]int{{5}}, "some", "4 and 5"},
		{"neither supply said", 5, down(5, 4, 5), order, nil, "", "share a supply"},
		{"beyond", 2, down(5, 2, 4), order, nil, "beyond", "from drop 2"},
		{"beyond, not the nearest", 4, down(5, 2, 4), order, nil, "beyond", "from drop 2"},
		{"beyond, one farther not known", 2, map[int]string{1: "good", 3: "good", 5: "dead", 2: "dead"}, order, nil, "", "drop 4"},
		{"supply", 1, down(5, 1, 4), order, [][]int{{2, 3}, {4, 1}}, "supply", "supply of drop 1"},
		{"supply, order not said", 1, down(5, 1, 4), nil, [][]int{{2, 3}, {4, 1}}, "supply", "supply of drop 1"},
		{"one on the supply still good", 1, down(5, 1, 4), order, [][]int{{1, 4, 5}}, "some", "neither"},
		{"both would explain it", 2, down(5, 2, 4), order, [][]int{{4, 2}}, "", "either"},
		{"a word that is no state", 2, map[int]string{2: "sick"}, nil, nil, "", `"sick"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			word, because := rulebase.Extent(c.sick, c.drops, c.order, c.supplies)
			if word != c.word || !strings.Contains(because, c.because) {
				t.Errorf("Extent = %q, %q; want %q, ...%s...", word, because, c.word, c.because)
			}
		})
	}
}

// TestExtentKnowsNoAddresses renames every drop: the word must stay, since an
// address is a name and nothing else.
func TestExtentKnowsNoAddresses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "drops")
		addresses := make([]int, n)
		for i := range addresses {
			addresses[i] = i + 1
		}
		order := rapid.Permutation(addresses).Draw(t, "order")
		renamed := rapid.Permutation(addresses).Draw(t, "renamed")
		cut := rapid.IntRange(0, n).Draw(t, "supply cut")
		supplies := [][]int{order[:cut], order[cut:]}
		drops := map[int]string{}
		for _, a := range addresses {
			if state := rapid.SampledFrom([]string{"", "good", "dead", "comes_and_goes"}).Draw(t, "state"); state != "" {
				drops[a] = state
			}
		}
		rename := func(as []int) []int {
			out := make([]int, len(as))
			for i, a := range as {
				out[i] = renamed[a-1]
			}
			return out
		}
		drops2 := map[int]string{}
		for a, s := range maps.All(drops) {
			drops2[renamed[a-1]] = s
		}
		before := maps.Clone(drops)
		one, _ := rulebase.Extent(1, drops, order, supplies)
		two, _ := rulebase.Extent(renamed[0], drops2, rename(order), [][]int{rename(supplies[0]), rename(supplies[1])})
		if one != two {
			t.Fatalf("renaming the drops changed %q to %q", one, two)
		}
		if !maps.Equal(before, drops) || !slices.Equal(slices.Sorted(slices.Values(order)), addresses) {
			t.Fatal("Extent changed what it was given")
		}
	})
}
