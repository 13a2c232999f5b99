package chain_test

import (
	"fmt"
	"math"
	"testing"
	"testing/fstest"
	"time"

	"downdrop/engine/chain"
	"downdrop/rulebase"
	"downdrop/testdata/support/ruleload"
)

func mustRuleload(t testing.TB, w *ruleload.Workload, tail string) *rulebase.Base {
	t.Helper()
	b, err := rulebase.Load(rulebase.Layer{Name: "made", FS: fstest.MapFS{"all.yaml": {Data: []byte(w.Rulebase(tail))}}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func slotFor(v any) rulebase.Slot {
	s := rulebase.Slot{Number: math.NaN(), Rank: rulebase.FromPerson}
	switch v := v.(type) {
	case bool:
		s.Word = 1
		if v {
			s.Word = 2
		}
	case float64:
		s.Number = v
	}
	return s
}

// loaded is a workload as downdrop holds it, beside the hand-written floor.
type loaded struct {
	w       *ruleload.Workload
	base    *rulebase.Base
	memory  *chain.Memory
	floor   *ruleload.Floor
	derived []int
	// what the floor had visited when the sessions began
	floorBegan int
	initial    []change
	changes    [][]change // by session
}

type change struct {
	name, input int // of ours, of the floor's
	slot        rulebase.Slot
	flag        bool
	number      float64
}

func loadRuleload(t testing.TB, rules, sessions int, tail string) *loaded {
	l := &loaded{w: ruleload.Generate(1, rules, sessions)}
	l.base = mustRuleload(t, l.w, tail)
	at := map[string]int{}
	for i, n := range l.base.Names {
		at[n.ID] = i
	}
	inputs := map[string]int{}
	changeOf := func(id string, v any) change {
		c := change{name: at[id], input: inputs[id], slot: slotFor(v)}
		c.flag, _ = v.(bool)
		c.number, _ = v.(float64)
		return c
	}
	for i, x := range l.w.Inputs {
		inputs[x.Name] = i
		l.initial = append(l.initial, changeOf(x.Name, x.Init))
	}
	for _, d := range l.w.Derived {
		l.derived = append(l.derived, at[d])
	}
	for _, s := range l.w.Sessions {
		var all []change
		for _, c := range s.Set {
			all = append(all, changeOf(c.F, c.V))
		}
		l.changes = append(l.changes, all)
	}
	l.begin()
	return l
}

// begin makes both engines and gives them the initial state.
func (l *loaded) begin() {
	in := empty(l.base)
	net := ruleload.Compile(l.w)
	bools, nums := make([]bool, net.Inputs()), make([]float64, net.Inputs())
	for i, c := range l.initial {
		in.Slots[c.name] = c.slot
		bools[i], nums[i] = c.flag, c.number
	}
	l.memory = chain.Compile(l.base).NewMemory(in)
	l.floor = ruleload.NewFloor(net)
	l.floor.Begin(bools, nums)
	l.floorBegan = l.floor.Visits()
}

func (l *loaded) session(changes []change) {
	for i := range changes {
		l.memory.Set(changes[i].name, changes[i].slot, 0)
	}
	l.memory.Slot(l.derived[0]) // what follows is worked out when it is asked for
}

func (l *loaded) floorSession(changes []change) {
	for i := range changes {
		l.floor.Set(changes[i].input, changes[i].flag, changes[i].number)
	}
	l.floor.Propagate()
}

// check compares both engines with what the plain solver expects.
func (l *loaded) check(t testing.TB, when string, want ruleload.Expected) {
	t.Helper()
	if got := ruleload.Digest(l.w.Derived, func(i int) bool { return l.memory.Slot(l.derived[i]).Rank == rulebase.FromRules }); got != want.Digest {
		t.Fatalf("%s: digest %s, want %s", when, got, want.Digest)
	}
	if got := ruleload.Digest(l.w.Derived, func(i int) bool { return l.floor.Holds(i) }); got != want.Digest || l.floor.Satisfied() != want.Satisfied {
		t.Fatalf("%s: the floor's digest is %s with %d rules satisfied, want %s with %d", when, got, l.floor.Satisfied(), want.Digest, want.Satisfied)
	}
}

// checkAll plays all sessions and compares; it gives rules looked at, and
// antecedents visited by the floor, a session.
func (l *loaded) checkAll(t testing.TB, digest string) (visits, floorVisits float64) {
	t.Helper()
	if l.w.Initial.Digest != digest {
		t.Fatalf("the generator gives %s at first, want %s", l.w.Initial.Digest, digest)
	}
	l.check(t, "at first", l.w.Initial)
	before := l.memory.Visits()
	for s, changes := range l.changes {
		l.session(changes)
		l.floorSession(changes)
		l.check(t, fmt.Sprintf("session %d", s), l.w.Expected[s])
	}
	n := float64(len(l.changes))
	return float64(l.memory.Visits()-before) / n, float64(l.floor.Visits()-l.floorBegan) / n
}

// All digests of ruleload-1 come out, and the work stays what it is. (The floor
// visits 216.5 antecedents a session, as it did where it was first measured.)
func TestRuleload(t *testing.T) {
	visits, floorVisits := loadRuleload(t, 1000, 200, "").checkAll(t, "5e729500bc646618")
	if !(math.Abs(floorVisits-216.5) <= 0.05) {
		t.Errorf("the floor visits %.2f antecedents a session, want 216.5", floorVisits)
	}
	if visits > 116 {
		t.Errorf("%.1f rules looked at in a session, want at most 116", visits)
	}
	evaluated, _ := loadRuleload(t, 1000, 200, " or never").checkAll(t, "5e729500bc646618")
	if evaluated > 216.5 {
		t.Errorf("%.1f rules looked at in a session where all are evaluated, want no more than the floor's antecedents", evaluated)
	}
}

// Ten times the rules, and hardly more to look at: never more than the floor has
// antecedents (255.4 in a session, over all 200).
func TestLookingDoesNotGrow(t *testing.T) {
	visits, floorVisits := loadRuleload(t, 10000, 40, "").checkAll(t, "12a9381187e6af61")
	if visits > floorVisits || visits > 141 {
		t.Errorf("%.1f rules looked at in a session, the floor visits %.1f antecedents", visits, floorVisits)
	}
}

// A run allocates by the round, not by what it derives: some thirty times a round.
func TestRunAllocatesByTheRound(t *testing.T) {
	for _, rules := range []int{100, 1000} {
		l := loadRuleload(t, rules, 0, "")
		in := empty(l.base)
		for _, c := range l.initial {
			in.Slots[c.name] = c.slot
		}
		p := chain.Compile(l.base)
		if n := testing.AllocsPerRun(3, func() { p.Run(in) }); n > 250 {
			t.Errorf("%d rules: a run allocates %v times", rules, n)
		}
	}
}

// A session in a settled memory allocates nothing.
func TestSetAllocatesNothing(t *testing.T) {
	l := loadRuleload(t, 100, 40, "")
	for _, changes := range l.changes {
		l.session(changes)
	}
	n := 0
	if a := testing.AllocsPerRun(80, func() { l.session(l.changes[n%40]); n++ }); a != 0 {
		t.Errorf("a session allocates %v times", a)
	}
}

// Nor does one in which a circle is settled again.
func TestCircleAllocatesNothing(t *testing.T) {
	b := mustLoad(t, `
givens: {start: {ask: did it start}, other: {ask: the other}}
rules:
  enter: {when: start or other, then: {a: true}, source: made}
  there: {when: a, then: {b: true}, source: made}
  back:  {when: b, then: {a: true}, source: made}
`)
	m := chain.Compile(b).NewMemory(empty(b))
	start, a := slotOf(t, b, "start"), slotOf(t, b, "a")
	if n := testing.AllocsPerRun(50, func() {
		m.Set(start, said(2), 0)
		if !m.Known(a) {
			t.Fatal("a does not follow")
		}
		m.Retract(start)
		if m.Known(a) {
			t.Fatal("a stays")
		}
	}); n != 0 {
		t.Errorf("settling a circle allocates %v times", n)
	}
}

func benchmarkRuleload(b *testing.B, rules int, digest, tail string) {
	l := loadRuleload(b, rules, 200, tail)
	visits, floorVisits := l.checkAll(b, digest)
	var ours, floor time.Duration
	n := 0
	for b.Loop() {
		// Back to the start, which is not measured; then in turn, so that both see the same machine.
		l.session(l.initial)
		l.floorSession(l.initial)
		start := time.Now()
		for _, changes := range l.changes {
			l.session(changes)
		}
		middle := time.Now()
		for _, changes := range l.changes {
			l.floorSession(changes)
		}
		floor += time.Since(middle)
		ours += middle.Sub(start)
		n += len(l.changes)
	}
	b.ReportMetric(float64(ours.Nanoseconds())/float64(n), "ns/session")
	b.ReportMetric(float64(floor.Nanoseconds())/float64(n), "floor-ns/session")
	b.ReportMetric(float64(ours)/float64(floor), "x-floor")
	b.ReportMetric(visits, "visits/session")
	b.ReportMetric(floorVisits, "floor-visits/session")
}

// The initial digests are those of the first ruleload-1, seed 1.
func BenchmarkRuleload1000(b *testing.B)  { benchmarkRuleload(b, 1000, "5e729500bc646618", "") }
func BenchmarkRuleload10000(b *testing.B) { benchmarkRuleload(b, 10000, "12a9381187e6af61", "") }

// The same with conditions that are no plain rows of parts joined by `and`, so
// that every rule that reads something changed is evaluated.
func BenchmarkRuleloadEvaluated1000(b *testing.B) {
	benchmarkRuleload(b, 1000, "5e729500bc646618", " or never")
}
func BenchmarkRuleloadEvaluated10000(b *testing.B) {
	benchmarkRuleload(b, 10000, "12a9381187e6af61", " or never")
}

// BenchmarkReady10000 is the way from 10,000 rules as text to the first answer,
// stage by stage.
func BenchmarkReady10000(b *testing.B) {
	l := loadRuleload(b, 10000, 0, "")
	in := empty(l.base)
	for _, c := range l.initial {
		in.Slots[c.name] = c.slot
	}
	b.Run("load", func(b *testing.B) {
		for b.Loop() {
			mustRuleload(b, l.w, "")
		}
	})
	b.Run("compile", func(b *testing.B) {
		for b.Loop() {
			chain.Compile(l.base)
		}
	})
	b.Run("run", func(b *testing.B) {
		p := chain.Compile(l.base)
		for b.Loop() {
			p.Run(in)
		}
	})
	b.Run("memory", func(b *testing.B) {
		for b.Loop() {
			chain.Compile(l.base).NewMemory(in)
		}
	})
}
