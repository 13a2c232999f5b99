// Package ruleload makes the workload ruleload-1 from a seed, and holds what it is
// measured against.
//
// The workload: inputs are flags or numbers; a rule is a conjunction
// of conditions that concludes one derived fact, ten levels deep. A session
// changes ten inputs of the state before it; then the engine must know exactly
// which derived facts hold. The digest (FNV-1a 64 over the names that hold) lets
// any engine check every answer; the first ones for seed 1 were computed by
// twelve engines that agreed.
package ruleload

import (
	"fmt"
	"hash/fnv"
	"math/rand"
	"slices"
	"strings"
)

type Input struct {
	Name string
	Kind string // "bool" or "num"
	Init any
}
type Cond struct {
	F  string
	Op string // "==", ">=", "<"
	V  any
}
type Rule struct {
	ID   string
	If   []Cond
	Then string
}
type Change struct {
	F string
	V any
}
type Session struct {
	Set []Change
}
type Expected struct {
	Derived   int
	Satisfied int
	Digest    string
}
type Workload struct {
	Format   string
	Seed     int64
	Levels   int
	Inputs   []Input
	Derived  []string // in level order
	Rules    []Rule   // shuffled
	Sessions []Session
	Initial  Expected
	Expected []Expected
}

// Generate makes a workload of nRules rules.
func Generate(seed int64, nRules, nSessions int) *Workload {
	r := rand.New(rand.NewSource(seed))
	const levels = 10
	nb, nn := max(30, nRules*14/100), max(10, nRules*6/100)
	w := &Workload{Seed: seed, Levels: levels}
	base := map[string]any{}
	for i := 0; i < nb; i++ {
		in := Input{fmt.Sprintf("b%d", i), "bool", r.Intn(2) == 1}
		w.Inputs = append(w.Inputs, in)
		base[in.Name] = in.Init
	}
	for i := 0; i < nn; i++ {
		in := Input{fmt.Sprintf("n%d", i), "num", float64(r.Intn(1001)) / 10}
		w.Inputs = append(w.Inputs, in)
		base[in.Name] = in.Init
	}
	perLevel := nRules / (2 * levels)
	for i := 0; i < perLevel*levels; i++ {
		w.Derived = append(w.Derived, fmt.Sprintf("d%d", i))
	}
	inputCond := func() Cond {
		in := w.Inputs[r.Intn(len(w.Inputs))]
		likely := r.Float64() < 0.85 // true in the initial state?
		if in.Kind == "bool" {
			return Cond{in.Name, "==", in.Init.(bool) == likely}
		}
		t := float64(r.Intn(200)) / 2
		op := ">="
		if (in.Init.(float64) >= t) != likely {
			op = "<"
		}
		return Cond{in.Name, op, t}
	}
	for lv := 0; lv < levels; lv++ {
		for k := 0; k < perLevel; k++ {
			then := lv*perLevel + k
			for a := 0; a < 2; a++ {
				var conds []Cond
				nIn := 2 + r.Intn(2)
				if lv > 0 {
					nIn = 1 + r.Intn(2)
					conds = append(conds, Cond{w.Derived[(lv-1)*perLevel+r.Intn(perLevel)], "==", true})
					if r.Intn(2) == 0 {
						conds = append(conds, Cond{w.Derived[r.Intn(lv*perLevel)], "==", true})
					}
				}
				for j := 0; j < nIn; j++ {
					conds = append(conds, inputCond())
				}
				seen := map[string]bool{}
				uniq := conds[:0]
				for _, c := range conds { // one condition per fact
					if !seen[c.F] {
						seen[c.F] = true
						uniq = append(uniq, c)
					}
				}
				r.Shuffle(len(uniq), func(i, j int) { uniq[i], uniq[j] = uniq[j], uniq[i] })
				w.Rules = append(w.Rules, Rule{If: uniq, Then: w.Derived[then]})
			}
		}
	}
	r.Shuffle(len(w.Rules), func(i, j int) { w.Rules[i], w.Rules[j] = w.Rules[j], w.Rules[i] })
	for i := range w.Rules {
		w.Rules[i].ID = fmt.Sprintf("r%d", i)
	}
	// sessions: 10 real changes each, mean-reverting so that about 15 % of inputs stand off base
	state := map[string]any{}
	for k, v := range base {
		state[k] = v
	}
	ref := NewReference(w)
	w.Initial = ref.Solve(state)
	for s := 0; s < nSessions; s++ {
		var ses Session
		touched := map[string]bool{}
		for len(ses.Set) < 10 {
			in := w.Inputs[r.Intn(len(w.Inputs))]
			if touched[in.Name] {
				continue
			}
			atBase := state[in.Name] == base[in.Name]
			if atBase && r.Float64() > 0.176 {
				continue
			}
			var v any
			switch {
			case !atBase:
				v = base[in.Name]
			case in.Kind == "bool":
				v = !state[in.Name].(bool)
			default:
				v = float64(r.Intn(1001)) / 10
				if v == state[in.Name] {
					continue
				}
			}
			touched[in.Name] = true
			state[in.Name] = v
			ses.Set = append(ses.Set, Change{in.Name, v})
		}
		w.Sessions = append(w.Sessions, ses)
		w.Expected = append(w.Expected, ref.Solve(state))
	}
	return w
}

// Reference is a deliberately plain solver: repeat all rules until nothing changes.
type Reference struct {
	w       *Workload
	derived map[string]int
}

func NewReference(w *Workload) *Reference {
	ref := &Reference{w, map[string]int{}}
	for i, d := range w.Derived {
		ref.derived[d] = i
	}
	return ref
}

func (ref *Reference) Solve(state map[string]any) Expected {
	// What the inputs allow is settled once; then only derived facts matter.
	type open struct {
		needs []int
		then  int
	}
	var rules []open
	for _, r := range ref.w.Rules {
		o, ok := open{then: ref.derived[r.Then]}, true
		for _, c := range r.If {
			if d, isDerived := ref.derived[c.F]; isDerived {
				o.needs = append(o.needs, d)
			} else {
				ok = ok && Holds(c, state[c.F])
			}
		}
		if ok {
			rules = append(rules, o)
		}
	}
	holds := make([]bool, len(ref.w.Derived))
	sat := 0
	for changed := true; changed; {
		changed = false
		sat = 0
		for _, r := range rules {
			if slices.ContainsFunc(r.needs, func(d int) bool { return !holds[d] }) {
				continue
			}
			sat++
			if !holds[r.then] {
				holds[r.then], changed = true, true
			}
		}
	}
	n := 0
	for _, h := range holds {
		n += int(b2u(h))
	}
	return Expected{n, sat, Digest(ref.w.Derived, func(i int) bool { return holds[i] })}
}

// Holds says whether an input condition is met by value v.
func Holds(c Cond, v any) bool {
	switch c.Op {
	case "==":
		return v == c.V
	case ">=":
		return v.(float64) >= c.V.(float64)
	default:
		return v.(float64) < c.V.(float64)
	}
}

// Digest is FNV-1a 64 over the names that hold, in the order of derived, each followed by a newline.
func Digest(derived []string, holds func(int) bool) string {
	h := fnv.New64a()
	for i, n := range derived {
		if holds(i) {
			h.Write([]byte(n))
			h.Write([]byte{'\n'})
		}
	}
	return fmt.Sprintf("%016x", h.Sum64())
}

// Rulebase writes the workload as a rulebase. Each condition ends in what is given
// as tail.
func (w *Workload) Rulebase(tail string) string {
	var b strings.Builder
	b.WriteString("rulebase: {name: made}\nsources: {made: {says: made up for a test, kind: made}}\ngivens:\n  never: {default: false}\n")
	for _, in := range w.Inputs {
		if in.Kind == "bool" {
			fmt.Fprintf(&b, "  %s:\n", in.Name)
		} else {
			fmt.Fprintf(&b, "  %s: {unit: V}\n", in.Name)
		}
	}
	b.WriteString("rules:\n")
	for _, r := range w.Rules {
		var parts []string
		for _, c := range r.If {
			parts = append(parts, fmt.Sprintf("%s %s %v", c.F, c.Op, c.V))
		}
		fmt.Fprintf(&b, "  %s: {when: %s%s, then: {%s: true}, source: made}\n", r.ID, strings.Join(parts, " and "), tail, r.Then)
	}
	return b.String()
}
