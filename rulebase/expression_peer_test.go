package rulebase_test

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// peerEnvironment is what is known, as expr's virtual machine takes it.
func peerEnvironment(slots []rulebase.Slot) map[string]any {
	env := map[string]any{}
	for i, n := range expressionNames {
		s := slots[i]
		env["known_"+n.ID] = s.Rank > rulebase.FromDefault
		switch n.Type {
		case rulebase.Flag:
			env[n.ID] = s.Word == 2
		case rulebase.Number:
			env[n.ID] = s.Number
		default:
			env[n.ID] = n.Words[s.Word-1]
			env[n.ID+"_reading"] = s.Number
		}
	}
	return env
}

// Where everything is known, an expression gives what expr's own virtual machine
// gives. It works numbers out that are not finite, which to us are not known, and
// fails by itself where min or max mix whole and other literals: such expressions
// are passed over, and counted.
func TestEqualsExprsOwnMachine(t *testing.T) {
	t.Parallel()
	support.Alone(t)
	count := uint64(25_000 * deep())
	workers := uint64(runtime.GOMAXPROCS(0))
	undecided := make([]int, workers)
	var all sync.WaitGroup
	for w := range workers {
		all.Go(func() {
			var machine vm.VM
			for seed := w; seed < count && !t.Failed(); seed += workers {
				undecided[w] += compareWithPeer(t, seed, &machine)
			}
		})
	}
	all.Wait()
	total := 0
	for _, n := range undecided {
		total += n
	}
	if uint64(total) > count/50 {
		t.Errorf("%d of %d expressions could not be compared", total, count)
	}
	t.Logf("%d of %d expressions could not be compared", total, count)
}

func compareWithPeer(t *testing.T, seed uint64, machine *vm.VM) (undecided int) {
	g := newRandomExpression(5, seed)
	g.truth(1 + int(seed%3))
	e, problems := rulebase.ParseExpression(g.ours.String(), rulebase.Position{}, observed)
	if len(problems) > 0 {
		t.Errorf("seed %d: %s: %v", seed, g.ours.String(), problems)
		return 0
	}
	// Without its optimiser, which makes a map of whole numbers of [1, 2, 3] and then
	// fails to look 0.1 up in it.
	program, err := expr.Compile(g.peers.String(), expr.Optimize(false))
	if err != nil {
		t.Errorf("seed %d: %s: %v", seed, g.peers.String(), err)
		return 0
	}
	slots := g.knownSlots()
	got, slow := e.Eval(slots), rulebase.EvalTerm(e.Root, slots)
	if got == unknown {
		if finiteThroughout(e.Root, slots) {
			t.Errorf("seed %d: %s is not known although everything is, in %v", seed, g.ours.String(), slots)
		}
		return 1
	}
	out, err := machine.Run(program, peerEnvironment(slots))
	if err != nil && strings.Contains(err.Error(), "interface conversion: interface {} is float64, not int") {
		return 1
	}
	if want, ok := out.(bool); err != nil || !ok || want != (got == truly) || got != slow {
		t.Errorf("seed %d: %s is %v compiled and %v walked, to expr it is %v (%v), in %v", seed, g.ours.String(), got, slow, out, err, slots)
	}
	return 0
}

// finiteThroughout says that no number within a term is other than finite.
func finiteThroughout(t *rulebase.Term, slots []rulebase.Slot) bool {
	if t.Op >= rulebase.OpConstant && math.IsNaN(rulebase.TermValue(t, slots)) {
		return false
	}
	return !slices.ContainsFunc(t.Args, func(a *rulebase.Term) bool { return !finiteThroughout(a, slots) })
}

// benchmarked is the condition that the figures are about: true, every part looked at.
const benchmarked = "power == dark and volts >= 19.2 and not (length in [1, 2, 3])"

type handWritten struct {
	power  string
	volts  float64
	length float64
}

//go:noinline
func byHand(h *handWritten) bool {
	return h.power == "dark" && h.volts >= 19.2 && !(h.length == 1 || h.length == 2 || h.length == 3)
}

var sink rulebase.Truth

// BenchmarkCondition sets the compiled condition beside the same by hand in Go,
// the walk over the tree, and expr's virtual machine, reused; x-hand and x-expr
// are the ratios.
func BenchmarkCondition(b *testing.B) {
	e := mustParse(b, benchmarked, observed)
	slots := slotsOf(b, "power=dark volts=24(good) length=300")
	h := &handWritten{"dark", 24, 300}
	program, err := expr.Compile(strings.ReplaceAll(benchmarked, "dark", `"dark"`))
	if err != nil {
		b.Fatal(err)
	}
	env := map[string]any{"power": "dark", "volts": 24.0, "length": 300.0}
	var machine vm.VM
	runs := []struct {
		name string
		run  func()
	}{
		{"hand", func() {
			if byHand(h) {
				sink = truly
			}
		}},
		{"closure", func() { sink = e.Eval(slots) }},
		{"tree", func() { sink = rulebase.EvalTerm(e.Root, slots) }},
		{"expr", func() {
			if out, err := machine.Run(program, env); err != nil || out != true {
				b.Fatal(out, err)
			}
		}},
	}
	took := map[string]float64{}
	for _, r := range runs {
		b.Run(r.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				r.run()
			}
			took[r.name] = float64(b.Elapsed().Nanoseconds()) / float64(b.N)
			if hand := took["hand"]; hand > 0 {
				b.ReportMetric(took[r.name]/hand, "x-hand")
			}
			if closure := took["closure"]; closure > 0 && r.name == "expr" {
				b.ReportMetric(took[r.name]/closure, "x-closure")
			}
		})
	}
}

// BenchmarkConditions is a whole rulebase's worth: different conditions one after
// another, per condition.
func BenchmarkConditions(b *testing.B) {
	const count = 500
	var conditions []*rulebase.Expression
	for seed := uint64(0); len(conditions) < count; seed++ {
		g := newRandomExpression(6, seed)
		g.truth(1)
		conditions = append(conditions, mustParse(b, g.ours.String(), observed))
	}
	slots := newRandomExpression(6, 1).knownSlots()
	b.ReportAllocs()
	for b.Loop() {
		for _, e := range conditions {
			sink = e.Eval(slots)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/count, "ns/condition")
}

// BenchmarkParse sets reading a condition beside expr's own compiling of it.
func BenchmarkParse(b *testing.B) {
	theirs := strings.ReplaceAll(benchmarked, "dark", `"dark"`)
	var ours float64
	b.Run("ours", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			mustParse(b, benchmarked, observed)
		}
		ours = float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	})
	b.Run("expr", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := expr.Compile(theirs); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/ours, "x-ours")
	})
}

func ExampleExpression_WhyNot() {
	e, _ := rulebase.ParseExpression("power == dark and volts >= 19.2", rulebase.Position{}, observed)
	slots := unknownSlots()
	slots[observed.ByID["power"]].Word = 1 // lit
	fmt.Println(e.WhyNot(slots, expressionNames))
	// Output: not so: power == dark. not known: volts >= 19.2
}
