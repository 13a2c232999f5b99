package engine_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"os"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// failingRemedies is a problem of testdata/checks/troubleshoot_cases.json: one fault is there, a remedy takes it
// away with a chance, and a last resort always does.
type failingRemedies struct {
	ID      string
	Faults  []string    // their chances, as fractions
	Cost    []float64   `json:"action_cost"`
	Fix     [][]float64 // by remedy, by fault
	Service float64     `json:"service_cost"`
	Optimal float64     `json:"optimal_without_questions"`
}

// rulebase writes the problem as a rulebase: that the drop is dead says that a fault is there.
func (x *failingRemedies) rulebase(t *testing.T) string {
	t.Helper()
	var out strings.Builder
	fmt.Fprintf(&out, "rulebase: {name: ford, faults_at_most: 1, outside_per_thousand: 0, give_up_minutes: %g, complaint: {symptom: works, bad: dead, well: fine}, sure: {phone: 1, field: 1, bench: 1}}\ncauses:\n", x.Service)
	var names []string
	for f, chance := range x.Faults {
		p, ok := new(big.Rat).SetString(chance)
		if !ok {
			t.Fatalf("%s: %q is no fraction", x.ID, chance)
		}
		odds, _ := p.Float64()
		odds *= 0.01 // only their ratios count once a fault is known to be there
		var remedies []string
		for a, q := range x.Fix {
			if q[f] > 0 {
				remedies = append(remedies, fmt.Sprintf("{do: work_%d, helps: %.17g}", a, q[f]))
			}
		}
		names = append(names, fmt.Sprintf("fault_%d", f))
		fmt.Fprintf(&out, "  fault_%d: {name: Fault %d, part: other, per_thousand: %.17g, source: common_practice, remedies: [%s]}\n", f, f, 1000*odds/(1+odds), strings.Join(remedies, ", "))
	}
	fmt.Fprintf(&out, "symptoms:\n  works: {ask: Does it work, values: [fine, dead], shows: [{when: %s, dead: 1}, {fine: 1}]}\nremedies:\n", strings.Join(names, " or "))
	for a, price := range x.Cost {
		fmt.Fprintf(&out, "  work_%d: {do: Work %d, minutes: %.17g, stops: nothing, ends_as: adjusted, proof: {watch: works, minutes: 1}}\n", a, a, price-1)
	}
	return out.String()
}

// Ten problems of remedies that may fail, whose best expected cost was found by exact dynamic programming: what the
// engine makes of them as a rulebase costs as much, and is proven.
func TestRemediesThatMayFailAreTakenInTheBestOrder(t *testing.T) {
	text, err := os.ReadFile("../testdata/checks/troubleshoot_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []failingRemedies }
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 10 {
		t.Fatalf("%d problems", len(file.Cases))
	}
	for _, x := range file.Cases {
		base, err := load(x.rulebase(t))
		if err != nil {
			t.Fatalf("%s: %v\n%s", x.ID, err, x.rulebase(t))
		}
		seen, err := base.ReadSee("works=dead")
		if err != nil {
			t.Fatal(err)
		}
		s := rulebase.Situation{At: rulebase.Field, Findings: []rulebase.Finding{seen}}
		d := diagnose(t, engine.Prepare(base), s, engine.Options{Optimal: 1_000_000})
		if !d.Plan.Proven || !(math.Abs(d.Plan.Minutes-x.Optimal) <= 1e-9*x.Optimal) {
			t.Errorf("%s: %v minutes, at least %v, proven %t, %s; want %v", x.ID, d.Plan.Minutes, d.Plan.Bound, d.Plan.Proven, d.Policy, x.Optimal)
		}
	}
}
