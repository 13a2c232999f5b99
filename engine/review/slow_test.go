package review_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"regexp"
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

// yes is the chance that a symptom shows yes in the world at hand.
func (s *slow) yes(symptom *rulebase.Symptom) float64 {
	at, no := slices.Index(symptom.Values, "yes"), 1.0
	for _, row := range symptom.Shows {
		if row.When != nil && !s.holds(row.When.Root) {
			continue
		}
		if !symptom.Independent {
			return row.P[at]
		}
		no *= 1 - row.P[at]
	}
	return 1 - no
}

// apart are the pairs of causes that nothing tells apart where the givens are
// known, as "later earlier". An overlap is the sum over all that could be seen at
// once of the root of the product of the two chances: nothing is multiplied out.
func (s *slow) apart() []string {
	found := map[string]bool{}
	shows := map[int][]float64{} // by cause
	s.worlds(func() {
		if slices.ContainsFunc(s.slots[:2], func(v rulebase.Slot) bool { return v.Word == 0 }) {
			return
		}
		present := -1
		for c, there := range s.cause {
			if there && present >= 0 {
				return // two at once
			} else if there {
				present = c
			}
		}
		if present < 0 {
			clear(shows)
			return
		}
		for i := range s.b.Symptoms {
			shows[present] = append(shows[present], s.yes(&s.b.Symptoms[i]))
		}
		if len(shows) < len(s.b.Causes) {
			return
		}
		for y := range s.b.Causes {
			for x := range y {
				if together(shows[x], shows[y]) > 0.87 {
					found[s.b.Causes[y].ID+" "+s.b.Causes[x].ID] = true
				}
			}
		}
	})
	return slices.Sorted(maps.Keys(found))
}

func together(x, y []float64) float64 {
	sum := 0.0
	for seen := range 1 << len(x) {
		p, q := 1.0, 1.0
		for i := range x {
			if seen>>i&1 == 1 {
				p, q = p*x[i], q*y[i]
			} else {
				p, q = p*(1-x[i]), q*(1-y[i])
			}
		}
		sum += math.Sqrt(p * q)
	}
	return sum
}

// randomRules is a random rulebase: two givens, a few causes, conditions that read
// those before them, symptoms with rows.
func randomRules(r *rand.Rand) string {
	var t, remedies strings.Builder
	remedies.WriteString("remedies:\n")
	t.WriteString("rulebase: {name: random}\ngivens:\n  wet: {ask: \"Is it wet?\"}\n  line: {ask: \"Which line?\", one_of: [thick, thin, bare]}\ncauses:\n")
	atoms := []string{"wet", "line == thick", "line in [thin, bare]", "line != bare"}
	for i := range 2 + r.IntN(3) {
		id := fmt.Sprint("cause", i)
		fmt.Fprintf(&t, "  %s: {name: %s, per_thousand: 10, source: common_practice, remedy: mend%d}\n", id, id, i)
		fmt.Fprintf(&remedies, "  mend%d: {do: mend%d, minutes: 1}\n", i, i)
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
		fmt.Fprintf(&t, "  symptom%d:\n    ask: \"S%d\"\n    values: [\"yes\", \"no\"]\n    by: looking\n", i, i)
		if independent {
			t.WriteString("    combine: independent\n")
		}
		t.WriteString("    shows:\n")
		for range 1 + r.IntN(4) {
			fmt.Fprintf(&t, "      - {when: '%s', yes: 0.%d}\n", expression(2), 1+r.IntN(9))
		}
		t.WriteString("      - {yes: 0.1}\n")
	}
	t.WriteString("sources:\n  common_practice: {says: Practice, kind: practice}\n")
	return t.String() + remedies.String()
}

var causeID = regexp.MustCompile(`cause[0-9]`)

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
		var got, pairs []string
		for _, f := range review.Within(b, nil, review.NoLimit).Found {
			if f.Kind == "not-told-apart" {
				ids := causeID.FindAllString(f.Says, 2)
				pairs = append(pairs, ids[0]+" "+ids[1])
				some[f.Kind]++
			}
			if slices.Contains([]string{"never-holds", "always-holds", "row-never-reached"}, f.Kind) {
				got = append(got, fmt.Sprint(f.Kind, " ", f.Line))
				some[f.Kind]++
			}
		}
		slices.Sort(got)
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("seed %d: -slow +review\n%s\n%s", seed, d, text)
		}
		slices.Sort(pairs)
		if d := cmp.Diff(s.apart(), pairs); d != "" {
			t.Fatalf("seed %d: -slow +review\n%s\n%s", seed, d, text)
		}
	}
	for _, kind := range []string{"never-holds", "always-holds", "row-never-reached", "not-told-apart"} {
		if some[kind] < 10 && !testing.Short() {
			t.Errorf("only %d random rulebases had %s", some[kind], kind)
		}
	}
}
