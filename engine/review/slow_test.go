package review_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"downdrop/engine/review"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// A slow review is the obvious one: every set of at most two causes with every
// value of every given, conditions repeated until nothing changes.
type slow struct {
	b     *rulebase.Base
	slots []rulebase.Slot
	cause []bool
	cond  []bool
}

func (s *slow) holds(t *rulebase.Term) bool {
	if t.GivensOnly {
		return rulebase.EvalTerm(t, s.slots) == rulebase.True
	}
	switch t.Op {
	case rulebase.OpNot:
		return !s.holds(t.Args[0])
	case rulebase.OpAnd:
		return !slices.ContainsFunc(t.Args, func(a *rulebase.Term) bool { return !s.holds(a) })
	case rulebase.OpOr:
		return slices.ContainsFunc(t.Args, s.holds)
	}
	n := s.b.Names[t.Name]
	if n.Kind == rulebase.KindCause {
		return s.cause[n.Index]
	}
	return s.cond[n.Index]
}

// worlds calls visit with every world. The random rulebases have no circles, so
// as many rounds as there are conditions settle them, negations too.
func (s *slow) worlds(visit func()) {
	var choose func(name int)
	choose = func(name int) {
		if name < len(s.b.Names) && s.b.Names[name].Kind == rulebase.KindGiven {
			for w := range len(s.b.Names[name].Words) + 1 {
				s.slots[name] = rulebase.Slot{Word: int32(w), Number: math.NaN()}
				choose(name + 1)
			}
			return
		}
		for x := -1; x < len(s.b.Causes); x++ {
			for y := -1; y < max(x, 0); y++ {
				clear(s.cause)
				for _, c := range []int{x, y} {
					if c >= 0 {
						s.cause[c] = true
					}
				}
				clear(s.cond)
				for range s.cond {
					for i, c := range s.b.Conditions {
						s.cond[i] = s.holds(c.When.Root)
					}
				}
				visit()
			}
		}
	}
	choose(0)
}

// findings are "kind line" of conditions and rows.
func (s *slow) findings() []string {
	ever, always := make([]bool, len(s.cond)), make([]bool, len(s.cond))
	for i := range always {
		always[i] = true
	}
	reached := map[rulebase.Position]bool{}
	s.worlds(func() {
		for i, holds := range s.cond {
			ever[i], always[i] = ever[i] || holds, always[i] && holds
		}
		for _, symptom := range s.b.Symptoms {
			for _, row := range symptom.Shows {
				if row.When == nil || s.holds(row.When.Root) {
					reached[row.Pos] = true
					if !symptom.Independent {
						break
					}
				}
			}
		}
	})
	var all []string
	for i, c := range s.b.Conditions {
		switch {
		case !ever[i]:
			all = append(all, fmt.Sprint("never-holds ", c.Pos.Line))
		case always[i]:
			all = append(all, fmt.Sprint("always-holds ", c.Pos.Line))
		}
	}
	for _, symptom := range s.b.Symptoms {
		for _, row := range symptom.Shows {
			if !reached[row.Pos] {
				all = append(all, fmt.Sprint("row-never-reached ", row.Pos.Line))
			}
		}
	}
	slices.Sort(all)
	return all
}

// randomRules is a random rulebase: two givens, a few causes, conditions that read
// those before them, symptoms with rows.
func randomRules(r *rand.Rand) string {
	var t strings.Builder
	t.WriteString("rulebase: {name: random}\ngivens:\n  wet: {ask: \"Is it wet?\"}\n  line: {ask: \"Which line?\", one_of: [thick, thin, bare]}\ncauses:\n")
	atoms := []string{"wet", "line == thick", "line in [thin, bare]", "line != bare"}
	for i := range 2 + r.IntN(3) {
		id := fmt.Sprint("cause", i)
		fmt.Fprintf(&t, "  %s: {name: %s, per_thousand: 10, source: common_practice}\n", id, id)
		atoms = append(atoms, id, id)
	}
	var expression func(depth int) string
	expression = func(depth int) string {
		if depth == 0 || r.IntN(3) == 0 {
			a := atoms[r.IntN(len(atoms))]
			if r.IntN(4) == 0 {
				return "not (" + a + ")"
			}
			return a
		}
		return fmt.Sprintf("(%s %s %s)", expression(depth-1), []string{"and", "or"}[r.IntN(2)], expression(depth-1))
	}
	t.WriteString("conditions:\n")
	for i := range 1 + r.IntN(4) {
		id := fmt.Sprint("condition", i)
		fmt.Fprintf(&t, "  %s: {when: '%s'}\n", id, expression(2))
		atoms = append(atoms, id)
	}
	t.WriteString("symptoms:\n")
	for i := range 1 + r.IntN(2) {
		independent := r.IntN(3) == 0
		fmt.Fprintf(&t, "  symptom%d:\n    ask: \"S%d\"\n    values: [\"yes\", \"no\"]\n", i, i)
		if independent {
			t.WriteString("    combine: independent\n")
		}
		t.WriteString("    shows:\n")
		for range 1 + r.IntN(4) {
			fmt.Fprintf(&t, "      - {when: '%s', yes: 0.6}\n", expression(2))
		}
		t.WriteString("      - {yes: 0.1}\n")
	}
	t.WriteString("sources:\n  common_practice: {says: Practice, kind: practice}\n")
	return t.String()
}

func TestReachAgreesWithTheSlowWay(t *testing.T) {
	some := map[string]int{}
	for seed := range support.Deep(t, 300) {
		text := randomRules(rand.New(rand.NewPCG(uint64(seed), 1)))
		b, err := rulebase.Load(rulebase.Layer{Name: "random", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
		if err != nil {
			t.Fatalf("seed %d: %v\n%s", seed, err, text)
		}
		s := &slow{b: b, slots: make([]rulebase.Slot, len(b.Names)), cause: make([]bool, len(b.Causes)), cond: make([]bool, len(b.Conditions))}
		want := s.findings()
		var got []string
		for _, f := range review.Review(b, nil) {
			if slices.Contains([]string{"never-holds", "always-holds", "row-never-reached"}, f.Kind) {
				got = append(got, fmt.Sprint(f.Kind, " ", f.Line))
				some[f.Kind]++
			}
		}
		slices.Sort(got)
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("seed %d: -slow +review\n%s\n%s", seed, d, text)
		}
	}
	for _, kind := range []string{"never-holds", "always-holds", "row-never-reached"} {
		if some[kind] < 10 {
			t.Errorf("only %d random rulebases had %s", some[kind], kind)
		}
	}
}
