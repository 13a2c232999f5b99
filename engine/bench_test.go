package engine_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func shippedCase(b *testing.B) (*rulebase.Base, rulebase.Situation) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		b.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	for _, see := range []string{"power_light=lit", "run_light=dark", "traffic_light=dark"} {
		f, err := base.ReadSee(see)
		if err != nil {
			b.Fatal(err)
		}
		s.Findings = append(s.Findings, f)
	}
	return base, s
}

// BenchmarkFirstDiagnosis prepares the shipped rulebase and diagnoses once, as a
// fresh process does; BenchmarkDiagnosis diagnoses again, as a conversation does.
func BenchmarkFirstDiagnosis(b *testing.B) {
	base, s := shippedCase(b)
	b.ReportAllocs()
	for b.Loop() {
		diagnose(b, engine.Prepare(base), s, engine.Options{})
	}
}

func BenchmarkDiagnosis(b *testing.B) {
	base, s := shippedCase(b)
	p := engine.Prepare(base)
	b.ReportAllocs()
	for b.Loop() {
		diagnose(b, p, s, engine.Options{})
	}
}

func BenchmarkLoadShipped(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := rulebase.LoadShipped(); err != nil {
			b.Fatal(err)
		}
	}
}

// largeRulebase writes 100 causes, up to three at once, 80 conditions, 60
// symptoms with 480 rows, 60 tests and 40 remedies, and what two hidden causes
// would show of 12 symptoms.
func largeRulebase(r *rand.Rand) (text string, see []string) {
	var b strings.Builder
	b.WriteString("rulebase: {name: large, faults_at_most: 3, together: 0.1, outside_per_thousand: 15, complaint: {symptom: works, bad: dead, well: fine}}\ncauses:\n")
	brings := make([][]int, 100)
	for c := range 100 {
		fmt.Fprintf(&b, "  c%d: {name: C, part: unit, per_thousand: %.1f, source: common_practice, remedy: m%d}\n", c, 2+30*r.Float64(), c%40)
	}
	b.WriteString("conditions:\n")
	for k := range 80 {
		var parts []string
		for _, c := range r.Perm(100)[:2+r.IntN(4)] {
			parts = append(parts, fmt.Sprintf("c%d", c))
			brings[c] = append(brings[c], k)
		}
		fmt.Fprintf(&b, "  k%d: {when: %s}\n", k, strings.Join(parts, " or "))
	}
	hidden := map[int]bool{}
	for _, c := range []int{17, 63} {
		for _, k := range brings[c] {
			hidden[k] = true
		}
	}
	b.WriteString("symptoms:\n  works: {ask: works, values: [fine, dead], shows: [{when: not (c0 and c1), dead: 0.98}, {fine: 0.98}]}\n")
	var tests strings.Builder
	for s := range 60 {
		shown := r.IntN(3)
		fmt.Fprintf(&b, "  s%d:\n    ask: what\n    values: [x, y, z]\n    shows:\n", s)
		found := false
		for _, k := range r.Perm(80)[:7] {
			v := r.IntN(3)
			fmt.Fprintf(&b, "      - {when: k%d, %s: 0.9}\n", k, "xyz"[v:v+1])
			if hidden[k] && !found {
				shown, found = v, true
			}
		}
		fmt.Fprintf(&b, "      - {x: 0.9}\n")
		if !found {
			shown = 0
		}
		if s < 12 {
			see = append(see, fmt.Sprintf("s%d=%s@0.97", s, "xyz"[shown:shown+1]))
		}
		fmt.Fprintf(&tests, "  t%d: {do: look, yields: [s%d], minutes: 3}\n", s, s)
	}
	fmt.Fprintf(&b, "tests:\n%sremedies:\n", &tests)
	for m := range 40 {
		fmt.Fprintf(&b, "  m%d: {do: mend, minutes: %d, ends_as: adjusted}\n", m, 5+r.IntN(30))
	}
	return b.String(), see
}

// BenchmarkLarge is a whole diagnosis at that size: 166,751 sets. FirstDiagnosis
// settles them; Diagnosis finds them settled; OneMore weighs one more finding.
// All three put 100 steps in order and compute 60 gains.
func BenchmarkLarge(b *testing.B) {
	text, see := largeRulebase(rand.New(rand.NewPCG(5, 5)))
	base, err := load(text)
	if err != nil {
		b.Fatal(err)
	}
	s := rulebase.Situation{}
	for _, x := range see {
		f, err := base.ReadSee(x)
		if err != nil {
			b.Fatal(err)
		}
		s.Findings = append(s.Findings, f)
	}
	more := s.Clone()
	f, err := base.ReadSee("s12=x@0.97")
	if err != nil {
		b.Fatal(err)
	}
	more.Findings = append(more.Findings, f)
	b.Run("FirstDiagnosis", func(b *testing.B) {
		for b.Loop() {
			diagnose(b, engine.Prepare(base), s, engine.Options{})
		}
	})
	p := engine.Prepare(base)
	earlier := diagnose(b, p, s, engine.Options{})
	b.Run("Diagnosis", func(b *testing.B) {
		for b.Loop() {
			diagnose(b, p, s, engine.Options{})
		}
	})
	b.Run("OneMore", func(b *testing.B) {
		for b.Loop() {
			diagnose(b, p, more, engine.Options{Earlier: earlier})
		}
	})
}

// BenchmarkNextStep is a whole diagnosis in a conversation, on the shipped rulebase, with
// what comes next put in order: beginnings and middles of calls at all three places,
// each with one finding more than the one before. Belief is the part without the order.
func BenchmarkNextStep(b *testing.B) {
	base, _ := shippedCase(b)
	p := engine.Prepare(base)
	sees := []string{"drop_works=not_working", "power_light=lit", "run_light=dark", "traffic_light=dark", "how_it_fails=all_the_time", "began_after=nothing_known"}
	for _, beliefOnly := range []bool{false, true} {
		name := "Order"
		if beliefOnly {
			name = "Belief"
		}
		b.Run(name, func(b *testing.B) {
			var times []float64
			for b.Loop() {
				for _, at := range []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench} {
					s := rulebase.Situation{At: at, Who: rulebase.Technician}
					var d *engine.Diagnosis
					for _, see := range sees {
						f, err := base.ReadSee(see)
						if err != nil {
							b.Fatal(err)
						}
						s.Findings = append(s.Findings, f)
						start := time.Now()
						d = diagnose(b, p, s, engine.Options{Earlier: d, Lean: true, BeliefOnly: beliefOnly})
						times = append(times, float64(time.Since(start).Microseconds())/1e3)
					}
				}
			}
			slices.Sort(times)
			b.ReportMetric(times[len(times)/2], "ms-median")
			b.ReportMetric(times[len(times)*99/100], "ms-p99")
		})
	}
}

// situations are those that arise while breakdowns are played over the shipped
// rulebase: every one that somebody would wait for an answer in.
func situations(b *testing.B, base *rulebase.Base, cases int) (all []rulebase.Situation) {
	r := &recorder{}
	if _, err := rehearse.Play(context.Background(), base, rehearse.Options{Cases: cases, Seed: 3, Places: rehearse.Places(), Variant: rehearse.Own, Policy: r, Cores: 1}); err != nil {
		b.Fatal(err)
	}
	return r.all
}

// A recorder takes the first step on offer and keeps the situation it was taken in.
type recorder struct{ all []rulebase.Situation }

func (r *recorder) Next(d *engine.Diagnosis) rehearse.Move {
	r.all = append(r.all, d.Situation.Clone())
	return rehearse.Offered{}.Next(d)
}

// BenchmarkNextStepPlayed is a whole diagnosis in every situation of twelve played
// cases, on the shipped rulebase: Lean as a chart or a rehearsal asks, NoMinutes
// as the conversation does, Full as a printed diagnosis, with the base policy's minutes; each from nothing but the
// session. The spread matters more than the mean: somebody waits each time.
func BenchmarkNextStepPlayed(b *testing.B) {
	base, _ := shippedCase(b)
	p := engine.Prepare(base)
	all := situations(b, base, 12)
	for _, one := range []struct {
		name string
		o    engine.Options
	}{
		{"Belief", engine.Options{BeliefOnly: true}},
		{"Lean", engine.Options{Lean: true}},
		{"Full", engine.Options{}},
		{"NoMinutes", engine.Options{NoMinutes: true}},
	} {
		b.Run(one.name, func(b *testing.B) {
			var times, used []float64
			for b.Loop() {
				for _, s := range all {
					start, began := time.Now(), support.ProcessorTime()
					diagnose(b, p, s, one.o)
					times = append(times, float64(time.Since(start).Microseconds())/1e3)
					used = append(used, float64((support.ProcessorTime()-began).Microseconds())/1e3)
				}
			}
			slices.Sort(times)
			slices.Sort(used)
			b.ReportMetric(float64(len(all)), "situations")
			b.ReportMetric(times[len(times)/2], "ms-median")
			b.ReportMetric(times[len(times)*99/100], "ms-p99")
			b.ReportMetric(used[len(used)/2], "cpu-ms-median")
			b.ReportMetric(used[len(used)*99/100], "cpu-ms-p99")
		})
	}
}
