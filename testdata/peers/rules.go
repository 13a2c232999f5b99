package main

import (
	"fmt"
	"math"
	"runtime"
	"strings"

	"cel.dev/cel-go/cel"
	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"
	"github.com/hyperjumptech/grule-rule-engine/ast"
	"github.com/hyperjumptech/grule-rule-engine/builder"
	"github.com/hyperjumptech/grule-rule-engine/engine"
	"github.com/hyperjumptech/grule-rule-engine/pkg"

	"downdrop/engine/chain"
	"downdrop/rulebase"
	"downdrop/testdata/support/ruleload"
)

// published are the digests of what holds at first, seed 1, on which twelve engines
// agreed, and the antecedents that the floor then visited in a session.
var published = map[int]struct {
	digest string
	visits float64
}{100: {"50dfc3a81677f31c", 81.2}, 1000: {"5e729500bc646618", 216.5}, 10000: {"12a9381187e6af61", 255.4}, 100000: {"174855855089795a", 179.7}}

// A change is one of a session, by the places of inputs.
type change struct {
	input  int
	flag   bool
	number float64
}

// A ruleEngine answers sessions: begin makes the first state, session applies changes
// and works out all that follows.
type ruleEngine struct {
	name     string
	begin    func()
	session  func([]change)
	holds    func(derived int) bool
	every    int
	sessions int // how many it plays; 0: all
}

// A load is a workload with its changes by place.
type load struct {
	*ruleload.Workload
	initial []change
	changes [][]change
}

func newLoad(rules, sessions int) *load {
	l := &load{Workload: ruleload.Generate(*seed, rules, sessions)}
	at := map[string]int{}
	of := func(name string, v any) change {
		c := change{input: at[name]}
		c.flag, _ = v.(bool)
		c.number, _ = v.(float64)
		return c
	}
	for i, in := range l.Inputs {
		at[in.Name] = i
		l.initial = append(l.initial, of(in.Name, in.Init))
	}
	for _, s := range l.Sessions {
		var all []change
		for _, c := range s.Set {
			all = append(all, of(c.F, c.V))
		}
		l.changes = append(l.changes, all)
	}
	return l
}

// check plays every session and compares what holds with what has to.
func (l *load) check(e ruleEngine) {
	right := func(when string, want ruleload.Expected) {
		got := ruleload.Digest(l.Derived, e.holds)
		mustBe(got == want.Digest, "%s, %d rules, %s: digest %s, wanted %s", e.name, len(l.Rules), when, got, want.Digest)
	}
	e.begin()
	right("at first", l.Initial)
	for i, c := range l.changes[:l.plays(e)] {
		e.session(c)
		right(fmt.Sprint("session ", i), l.Expected[i])
	}
}

func (l *load) plays(e ruleEngine) int {
	if e.sessions > 0 {
		return min(e.sessions, len(l.changes))
	}
	return len(l.changes)
}

func slotFor(in ruleload.Input, c change) rulebase.Slot {
	if in.Kind != "bool" {
		return rulebase.Slot{Number: c.number, Rank: rulebase.FromPerson}
	}
	s := rulebase.Slot{Word: 1, Number: math.NaN(), Rank: rulebase.FromPerson}
	if c.flag {
		s.Word = 2
	}
	return s
}

// ours is downdrop's chain: tail makes conditions that have to be evaluated whole.
func ours(l *load, name, tail string) (ruleEngine, func() int) {
	b := loadText(l.Rulebase(tail))
	at := map[string]int{}
	for i, n := range b.Names {
		at[n.ID] = i
	}
	var inputs, derived []int
	for _, in := range l.Inputs {
		inputs = append(inputs, at[in.Name])
	}
	for _, d := range l.Derived {
		derived = append(derived, at[d])
	}
	in := chain.Input{Slots: slotsOf(b), State: make([]int, len(b.Names))}
	for i, c := range l.initial {
		in.Slots[inputs[i]] = slotFor(l.Inputs[i], c)
	}
	program := chain.Compile(b)
	m := program.NewMemory(in)
	set := func(all []change) {
		for _, c := range all {
			m.Set(inputs[c.input], slotFor(l.Inputs[c.input], c), 0)
		}
		m.Slot(derived[0]) // what follows is worked out when it is asked for
	}
	return ruleEngine{name: name, begin: func() { set(l.initial) }, session: set,
		holds: func(i int) bool { return m.Slot(derived[i]).Rank == rulebase.FromRules }}, m.Visits
}

func floors(l *load) (incremental, topological ruleEngine, visits func() int) {
	net := ruleload.Compile(l.Workload)
	bools, nums := make([]bool, net.Inputs()), make([]float64, net.Inputs())
	set := func(all []change) {
		for _, c := range all {
			bools[c.input], nums[c.input] = c.flag, c.number
		}
	}
	set(l.initial)
	f, s := ruleload.NewFloor(net), ruleload.NewScratch(net)
	f.Begin(bools, nums)
	follow := func(all []change) {
		for _, c := range all {
			f.Set(c.input, c.flag, c.number)
		}
		f.Propagate()
	}
	anew := func(all []change) {
		set(all)
		s.Run(bools, nums)
	}
	return ruleEngine{name: "floor: by hand, incremental", begin: func() { follow(l.initial) }, session: follow, holds: f.Holds},
		ruleEngine{name: "floor: by hand, all rules once in order", begin: func() { anew(l.initial) }, session: anew, holds: s.Holds}, f.Visits
}

// inOrder runs conditions by a library, all rules once, in an order in which each
// stands behind what it reads; which is how somebody uses an expression library for this.
func inOrder(l *load, name string, holds func(rule int, values map[string]any) bool) ruleEngine {
	order := ruleload.Compile(l.Workload).Order()
	values := map[string]any{}
	at := map[string]int{}
	for i, d := range l.Derived {
		at[d] = i
	}
	then := make([]string, len(l.Rules))
	for i, r := range l.Rules {
		then[i] = r.Then
	}
	run := func(all []change) {
		for _, c := range all {
			in := l.Inputs[c.input]
			if in.Kind == "bool" {
				values[in.Name] = c.flag
			} else {
				values[in.Name] = c.number
			}
		}
		for _, d := range l.Derived {
			values[d] = false
		}
		for _, i := range order {
			if values[then[i]] == false && holds(int(i), values) {
				values[then[i]] = true
			}
		}
	}
	return ruleEngine{name: name, begin: func() { run(l.initial) }, session: run, holds: func(i int) bool { return values[l.Derived[i]] == true }}
}

func condition(r ruleload.Rule, and string, number func(any) string) string {
	var parts []string
	for _, c := range r.If {
		parts = append(parts, fmt.Sprintf("%s %s %s", c.F, c.Op, number(c.V)))
	}
	return strings.Join(parts, and)
}

func plain(v any) string { return fmt.Sprint(v) }

func withPoint(v any) string {
	if x, ok := v.(float64); ok {
		return fmt.Sprintf("%.1f", x)
	}
	return fmt.Sprint(v)
}

func exprEngine(l *load) ruleEngine {
	var programs []*vm.Program
	for _, r := range l.Rules {
		p, err := expr.Compile(condition(r, " && ", plain))
		must(err)
		programs = append(programs, p)
	}
	var machine vm.VM
	return inOrder(l, "expr, in order, machine reused", func(rule int, values map[string]any) bool {
		out, err := machine.Run(programs[rule], values)
		must(err)
		return out.(bool)
	})
}

func celEngine(l *load) ruleEngine {
	var names []cel.EnvOption
	for _, in := range l.Inputs {
		kind := cel.DoubleType
		if in.Kind == "bool" {
			kind = cel.BoolType
		}
		names = append(names, cel.Variable(in.Name, kind))
	}
	for _, d := range l.Derived {
		names = append(names, cel.Variable(d, cel.BoolType))
	}
	env, err := cel.NewEnv(names...)
	must(err)
	var programs []cel.Program
	for _, r := range l.Rules {
		tree, issues := env.Compile(condition(r, " && ", withPoint))
		must(issues.Err())
		p, err := env.Program(tree, cel.EvalOptions(cel.OptOptimize))
		must(err)
		programs = append(programs, p)
	}
	return inOrder(l, "CEL, in order", func(rule int, values map[string]any) bool {
		out, _, err := programs[rule].Eval(values)
		must(err)
		return out.Value().(bool)
	})
}

// Known is what grule's rules read and set.
type Known struct {
	B []bool
	N []float64
	D []bool
}

// gruleEngine is a forward chainer: one rule a cycle, until none is left that is true.
func gruleEngine(l *load, sessions int) ruleEngine {
	k := &Known{B: make([]bool, len(l.Inputs)), N: make([]float64, len(l.Inputs)), D: make([]bool, len(l.Derived))}
	name := map[string]string{}
	for i, in := range l.Inputs {
		letter := "N"
		if in.Kind == "bool" {
			letter = "B"
		}
		name[in.Name] = fmt.Sprintf("K.%s[%d]", letter, i)
	}
	for i, d := range l.Derived {
		name[d] = fmt.Sprintf("K.D[%d]", i)
	}
	var text strings.Builder
	for _, r := range l.Rules {
		var parts []string
		for _, c := range r.If {
			parts = append(parts, fmt.Sprintf("%s %s %s", name[c.F], c.Op, withPoint(c.V)))
		}
		fmt.Fprintf(&text, "rule %s { when %s == false && %s then %s = true; }\n", r.ID, name[r.Then], strings.Join(parts, " && "), name[r.Then])
	}
	library := ast.NewKnowledgeLibrary()
	must(builder.NewRuleBuilder(library).BuildRuleFromResource("made", "1", pkg.NewBytesResource([]byte(text.String()))))
	base, err := library.NewKnowledgeBaseInstance("made", "1")
	must(err)
	e := &engine.GruleEngine{MaxCycle: uint64(len(l.Rules)) + 10}
	run := func(all []change) {
		for _, c := range all {
			k.B[c.input], k.N[c.input] = c.flag, c.number
		}
		clear(k.D)
		context := ast.NewDataContext()
		must(context.Add("K", k))
		must(e.Execute(context, base))
	}
	return ruleEngine{name: "grule", begin: func() { run(l.initial) }, session: run, holds: func(i int) bool { return k.D[i] }, every: 3, sessions: sessions}
}

// rules sets downdrop's chain beside others on sessions of ruleload-1.
func rules() {
	sizes := []int{100, 1000, 10000}
	if *large {
		sizes = append(sizes, 100000)
	}
	session := map[string]map[int]float64{}
	for _, size := range sizes {
		plays := 200
		if size > 10000 {
			plays = 40
		}
		l := newLoad(size, plays)
		if p := published[size]; *seed == 1 {
			mustBe(l.Initial.Digest == p.digest, "%d rules begin with %s, published is %s", size, l.Initial.Digest, p.digest)
		}
		inc, topo, floorVisits := floors(l)
		own, visits := ours(l, "downdrop", "")
		whole, wholeVisits := ours(l, "downdrop, every condition evaluated whole", " or never")
		engines := []ruleEngine{inc, own, whole, topo}
		if size <= 10000 {
			engines = append(engines, exprEngine(l), celEngine(l))
		}
		if size <= 1000 {
			engines = append(engines, gruleEngine(l, 4000/size*5))
		}
		var entrants []entrant
		for i, e := range engines {
			l.check(e)
			n := l.plays(e)
			if i > 3 { // the libraries, which are slower by far
				n = min(n, 40)
			}
			entrants = append(entrants, entrant{name: e.name, reset: e.begin, per: n, every: max(e.every, 1), run: func() {
				for _, c := range l.changes[:n] {
					e.session(c)
				}
			}})
		}
		t := race(fmt.Sprintf("A session of ruleload-1, %d rules, 10 inputs changed; all digests right", size), entrants...)
		for name, d := range t {
			if session[name] == nil {
				session[name] = map[int]float64{}
			}
			session[name][size] = d
		}
		counted := func(e ruleEngine, count func() int) float64 {
			e.begin()
			before := count()
			for _, c := range l.changes {
				e.session(c)
			}
			return float64(count()-before) / float64(len(l.changes))
		}
		limit := counted(inc, floorVisits)
		fmt.Printf("  looked at in a session: the floor %.1f antecedents (published %.1f), downdrop %.1f rules, %.1f where all are evaluated\n", limit, published[size].visits, counted(own, visits), counted(whole, wholeVisits))
		goal("rules looked at in a session", counted(own, visits), limit, false)
		goal("likewise, all evaluated whole", counted(whole, wholeVisits), limit, false)
		if size == 1000 || size == 10000 {
			goal("times the incremental floor", ratio(t["downdrop"], t[inc.name]), 5, false)
			goal("likewise, all evaluated whole", ratio(t[whole.name], t[inc.name]), 5, false)
		}
		if size == 1000 {
			goal("expr takes times ours", ratio(t["expr, in order, machine reused"], t["downdrop"]), 10, true)
			goal("grule takes times ours", ratio(t["grule"], t["downdrop"]), 1000, true)
		}
		if size == 10000 {
			goal("expr takes times ours", ratio(t["expr, in order, machine reused"], t["downdrop"]), 35, true)
			fmt.Println("  the fastest peer at this size was a Rete language in C, 177 times the incremental floor: no Go module, so not run here")
			goal("177 over times the incremental floor", 177/ratio(t["downdrop"], t[inc.name]), 35, true)
		}
	}
	fmt.Println("\nGrowth of a session with the number of rules (exponent)")
	for _, name := range []string{"floor: by hand, incremental", "downdrop", "downdrop, every condition evaluated whole", "floor: by hand, all rules once in order", "expr, in order, machine reused", "CEL, in order", "grule"} {
		by := session[name]
		for i, size := range sizes[1:] {
			if by[size] > 0 {
				fmt.Printf("  %-44s %6d to %6d: %.2f\n", name, sizes[i], size, math.Log10(ratio(by[size], by[sizes[i]])))
			}
		}
	}
	if *large {
		goal("exponent from 1,000 to 100,000 rules", math.Log10(ratio(session["downdrop"][100000], session["downdrop"][1000]))/2, 0.45, false)
	}
}

// ready is the way from rules as text to the first answer, and the memory they take.
func ready() {
	type firsts struct{ ours, floor float64 }
	first := map[int]firsts{}
	sizes := []int{1000, 10000}
	if *large {
		sizes = append(sizes, 100000)
	}
	for _, size := range sizes {
		l := newLoad(size, 1)
		text := l.Rulebase("")
		net := ruleload.Compile(l.Workload)
		bools, nums := make([]bool, net.Inputs()), make([]float64, net.Inputs())
		for i, c := range l.initial {
			bools[i], nums[i] = c.flag, c.number
		}
		scratch := ruleload.NewScratch(net)
		heap := func() float64 {
			var m runtime.MemStats
			runtime.GC()
			runtime.GC()
			runtime.ReadMemStats(&m)
			return float64(m.HeapAlloc) / (1 << 20)
		}
		before := heap()
		b := loadText(text)
		loaded := heap()
		program := chain.Compile(b)
		in := chain.Input{Slots: slotsOf(b), State: make([]int, len(b.Names))}
		at := map[string]int{}
		for i, n := range b.Names {
			at[n.ID] = i
		}
		for i, c := range l.initial {
			in.Slots[at[l.Inputs[i].Name]] = slotFor(l.Inputs[i], c)
		}
		m := program.NewMemory(in)
		following := heap()
		fmt.Printf("\n%d rules on the heap: the rulebase with its texts, trees and places %.1f MiB, the chain that follows %.1f MiB\n", size, loaded-before, following-loaded)
		if size == 10000 {
			goal("MiB of the chain that follows", following-loaded, 3, false)
			goal("MiB in all", following-before, 3, false)
		}
		runtime.KeepAlive(m)
		var r *chain.Result
		entrants := []entrant{
			{name: "floor: all rules once, by hand", per: 20, run: func() {
				for range 20 {
					scratch.Run(bools, nums)
				}
			}},
			{name: "downdrop: first inference, with its reasons", per: 5, run: func() {
				for range 5 {
					r = program.Run(in)
				}
			}},
			{name: "downdrop: first inference, to be followed", per: 5, run: func() {
				for range 5 {
					program.NewMemory(in)
				}
			}},
			{name: "downdrop: YAML to a checked rulebase", per: 1, every: 2, run: func() { b = loadText(text) }},
			{name: "downdrop: rulebase to a chain that follows", per: 1, run: func() { chain.Compile(b).NewMemory(in) }},
		}
		if size <= 10000 {
			entrants = append(entrants, entrant{name: "CEL: conditions compiled, one environment", per: 1, every: 4, run: func() { celEngine(l) }},
				entrant{name: "expr: conditions compiled", per: 1, every: 4, run: func() { exprEngine(l) }})
		}
		if size <= 1000 {
			entrants = append(entrants, entrant{name: "grule: rules built", per: 1, every: 8, run: func() { gruleEngine(l, 1) }})
		}
		t := race(fmt.Sprintf("From %d rules as text (%d KiB of YAML) to the first answer", size, len(text)>>10), entrants...)
		first[size] = firsts{t["downdrop: first inference, to be followed"], t["floor: all rules once, by hand"]}
		mustBe(ruleload.Digest(l.Derived, func(i int) bool { return r.Slots[at[l.Derived[i]]].Rank == rulebase.FromRules }) == l.Initial.Digest, "the first inference of %d rules is wrong", size)
		if size == 10000 {
			goal("ms from text", t["downdrop: YAML to a checked rulebase"]/1e6, 120, false)
		}
		goal("first inference, times all rules once by hand", ratio(first[size].ours, first[size].floor), 3, false)
	}
	for i, size := range sizes[1:] {
		goal(fmt.Sprintf("exponent of the first inference, %d to %d rules", sizes[i], size), math.Log10(ratio(first[size].ours, first[sizes[i]].ours)), 1.1, false)
	}
}
