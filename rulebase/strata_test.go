package rulebase_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"downdrop/rulebase"
)

// A sketch is rules by what they read and set; names are numbers.
type sketch struct {
	reads, absent, sets []int
}

// base is a rulebase with no more in it than its rules' shape.
func sketched(names int, rules []sketch) *rulebase.Base {
	b := &rulebase.Base{}
	for i := range names {
		b.Names = append(b.Names, rulebase.Name{ID: fmt.Sprintf("x%d", i), Kind: rulebase.KindFact})
	}
	for i, s := range rules {
		all := &rulebase.Term{Op: rulebase.OpAnd}
		for _, n := range s.reads {
			all.Args = append(all.Args, &rulebase.Term{Op: rulebase.OpRead, Name: n})
		}
		for _, n := range s.absent {
			known := &rulebase.Term{Op: rulebase.OpKnown, Name: n}
			all.Args = append(all.Args, &rulebase.Term{Op: rulebase.OpNot, Args: []*rulebase.Term{known}})
		}
		r := rulebase.Rule{ID: fmt.Sprintf("r%d", i), When: &rulebase.Expression{Root: all}}
		for _, n := range s.sets {
			r.Then = append(r.Then, rulebase.Assignment{Name: n})
		}
		b.Rules = append(b.Rules, r)
	}
	return b
}

func drawSketch(t *rapid.T) (int, []sketch) {
	names := rapid.IntRange(1, 8).Draw(t, "names")
	name := rapid.IntRange(0, names-1)
	rule := rapid.Custom(func(t *rapid.T) sketch {
		return sketch{
			rapid.SliceOfNDistinct(name, 0, min(names, 2), rapid.ID[int]).Draw(t, "reads"),
			rapid.SliceOfNDistinct(name, 0, 1, rapid.ID[int]).Draw(t, "absent"),
			rapid.SliceOfNDistinct(name, 0, min(names, 2), rapid.ID[int]).Draw(t, "sets"),
		}
	})
	return names, rapid.SliceOfN(rule, 0, 9).Draw(t, "rules")
}

// slowStrata raises levels until every rule stands where it must; nil where
// that never ends.
func slowStrata(rules []sketch) []int {
	levels := make([]int, len(rules))
	for changed := true; changed; {
		changed = false
		for i, r := range rules {
			for j, s := range rules {
				for _, n := range s.sets {
					least := -1
					if slices.Contains(r.reads, n) {
						least = levels[j]
					}
					if slices.Contains(r.absent, n) {
						least = levels[j] + 1
					}
					if least > len(rules) {
						return nil
					}
					if least > levels[i] {
						levels[i], changed = least, true
					}
				}
			}
		}
	}
	return levels
}

// Strata are the lowest levels there are, and where there are none the circle
// named is one: each rule reads the next name, each name is set by the next rule,
// and one of them must not be known.
func TestStrata(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names, rules := drawSketch(t)
		levels, circle := rulebase.Strata(sketched(names, rules))
		want := slowStrata(rules)
		if want != nil {
			if circle != nil || !slices.Equal(levels, want) {
				t.Fatalf("levels %v circle %v, want %v", levels, circle, want)
			}
			return
		}
		if len(circle) == 0 || len(circle)%2 != 0 || levels != nil {
			t.Fatalf("levels %v circle %v, want a circle", levels, circle)
		}
		negative := false
		for i := 0; i < len(circle); i += 2 {
			var reader, name, setter int
			fmt.Sscanf(circle[i], "r%d", &reader)
			fmt.Sscanf(circle[i+1], "x%d", &name)
			fmt.Sscanf(circle[(i+2)%len(circle)], "r%d", &setter)
			absent := slices.Contains(rules[reader].absent, name)
			negative = negative || absent
			if !absent && !slices.Contains(rules[reader].reads, name) || !slices.Contains(rules[setter].sets, name) {
				t.Fatalf("circle %v does not hold from %s on", circle, circle[i])
			}
		}
		if !negative {
			t.Fatalf("circle %v passes through nothing that must not be known", circle)
		}
	})
}

// Members of a group reach one another, those of different groups do not, and
// nothing is reached that comes later.
func TestSettlingOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names, rules := drawSketch(t)
		n := len(rules)
		reach := make([][]bool, n+names)
		for i := range reach {
			reach[i] = make([]bool, n+names)
			reach[i][i] = true
		}
		for i, r := range rules {
			for _, name := range slices.Concat(r.reads, r.absent) {
				reach[i][n+name] = true
			}
			for _, name := range r.sets {
				reach[n+name][i] = true
			}
		}
		for k := range reach {
			for i := range reach {
				for j := range reach {
					reach[i][j] = reach[i][j] || reach[i][k] && reach[k][j]
				}
			}
		}
		group, place := make([]int, n+names), 0
		for g, x := range rulebase.SettlingOrder(sketched(names, rules)) {
			for _, r := range x.Rules {
				group[r] = g
				place++
			}
			for _, name := range x.Names {
				group[n+name] = g
				place++
			}
			if x.Circle() != (len(x.Rules)+len(x.Names) > 1) {
				t.Fatalf("group %v: circle %v", x, x.Circle())
			}
		}
		if place != n+names {
			t.Fatalf("%d rules and names are in groups, want %d", place, n+names)
		}
		for i := range reach {
			for j := range reach {
				if together := reach[i][j] && reach[j][i]; together != (group[i] == group[j]) {
					t.Fatalf("nodes %d and %d: reach one another %v, groups %d and %d", i, j, together, group[i], group[j])
				}
				if reach[i][j] && group[j] > group[i] {
					t.Fatalf("node %d of group %d reads node %d of the later group %d", i, group[i], j, group[j])
				}
			}
		}
	})
}

// BenchmarkStrata measures what a ten times larger rulebase costs (linear: 10; a little more where the caches end):
// a chain, in which the first rule rests on all others, and a name that half of
// the rules set and half read.
func BenchmarkStrata(b *testing.B) {
	chain := func(n int) *rulebase.Base {
		var rules []sketch
		for i := range n {
			rules = append(rules, sketch{reads: []int{i + 1}, sets: []int{i}})
		}
		return sketched(n+1, rules)
	}
	hub := func(n int) *rulebase.Base {
		var rules []sketch
		for i := range n / 2 {
			rules = append(rules, sketch{reads: []int{0}, sets: []int{1}}, sketch{reads: []int{i + 2}, sets: []int{0}})
		}
		return sketched(n/2+2, rules)
	}
	for _, c := range []struct {
		name string
		make func(int) *rulebase.Base
	}{{"chain", chain}, {"hub", hub}} {
		b.Run(c.name, func(b *testing.B) {
			small, large := c.make(5000), c.make(50000)
			var one, ten time.Duration
			for b.Loop() {
				start := time.Now()
				rulebase.Strata(small)
				middle := time.Now()
				rulebase.Strata(large)
				one += middle.Sub(start)
				ten += time.Since(middle)
			}
			b.ReportMetric(float64(ten)/float64(one), "x-for-10x")
		})
	}
}
