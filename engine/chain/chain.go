// Package chain follows rules up, from what was observed to what follows from it.
//
// It is forward chaining to a fixpoint in Kleene's three-valued logic: a rule
// fires when its condition is true, and since more knowledge never makes a true
// condition false, the order of firing changes nothing. What is not known
// (known(x) in a negative position) waits until all that could make it known has
// settled: the rules are arranged in strata (Apt, Blair and Walker 1988, from
// memory). Everything derived keeps its justifications, rule by rule (Doyle's
// truth maintenance, 1979, from memory), so that a why is read off and never
// made up.
//
// The package does not weigh anything; engine/belief does.
package chain

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"downdrop/rulebase"
)

// A Program is a rulebase's rules made ready. It is never changed and may be shared.
type Program struct {
	base   *rulebase.Base
	level  []int   // by rule
	levels int     // how many
	reads  [][]int // by rule: the names it reads

	once sync.Once
	net  *network // for memories
}

// unknown is the slot of a name of which nothing is known.
var unknown = rulebase.Slot{Number: math.NaN()}

// Compile makes a rulebase's rules ready. The rulebase has no circle through a
// negative known(x); loading refuses one.
func Compile(b *rulebase.Base) *Program {
	p := &Program{base: b}
	p.level, _ = rulebase.Strata(b)
	for i := range b.Rules {
		p.levels = max(p.levels, p.level[i]+1)
		p.reads = append(p.reads, b.Rules[i].When.Reads())
	}
	return p
}

// Input is what was observed.
type Input struct {
	Slots []rulebase.Slot // by name; Rank NotKnown where nothing was
	State []int           // by name: the state of work of the finding, 0 before any work
}

// A Derivation is a value that rules gave to a name.
type Derivation struct {
	Name  int
	Value rulebase.Slot
	Rules []int // all that give it this value, in rule order
	Round int   // the round in which it was first derived, from 1
	State int   // of the newest finding it rests on

	first []int // those of Rules that fired in Round: the well-founded ones
}

// A Conflict is a name to which rules give different values. It stays unknown.
type Conflict struct {
	Name   int
	Values []rulebase.Slot
	Rules  [][]int // by value

	base *rulebase.Base
	why  [][]Line
}

// A Result is everything that follows from an input.
type Result struct {
	Slots       []rulebase.Slot // observed, derived and defaults together
	State       []int
	Derivations []Derivation // in the order of rounds, then names
	Overridden  []Derivation // not used, because a person or the program gave the name a value
	Fired       []int        // rules whose condition is true, in rule order
	FiredState  []int        // beside Fired: the state of the newest finding among all names the rule reads
	Conflicts   []Conflict
	Visits      int // conditions evaluated

	program *Program
	derived map[int]int // by name: place in Derivations
	round   []int       // by rule: the round in which it fired, 0: not
}

// Run follows all rules from an input to the fixpoint.
func (p *Program) Run(in Input) *Result {
	banned := map[int]*Conflict{}
	visits := 0
	for {
		r := p.run(in, banned)
		visits += r.Visits
		if len(r.Conflicts) == 0 {
			r.Visits = visits
			for _, c := range banned {
				r.Conflicts = append(r.Conflicts, *c)
			}
			slices.SortFunc(r.Conflicts, func(a, b Conflict) int { return a.Name - b.Name })
			return r
		}
		for i := range r.Conflicts {
			c := r.Conflicts[i]
			banned[c.Name] = &c
		}
	}
}

// start is a result before any rule has fired.
func (p *Program) start(in Input) *Result {
	r := &Result{program: p, Slots: slices.Clone(in.Slots), State: make([]int, len(in.Slots)), derived: map[int]int{}, round: make([]int, len(p.base.Rules))}
	copy(r.State, in.State)
	for i := range p.base.Givens {
		g := &p.base.Givens[i]
		if r.Slots[g.Name].Rank == rulebase.NotKnown && g.Default != nil {
			r.Slots[g.Name] = *g.Default
		}
	}
	return r
}

func (p *Program) run(in Input, banned map[int]*Conflict) *Result {
	r := p.start(in)
	fired := make([]bool, len(p.base.Rules))
	overridden := map[int]*Derivation{}
	round := 0
	for level := range p.levels {
		for {
			var ready []int
			for i := range p.base.Rules {
				if p.level[i] != level || fired[i] {
					continue
				}
				r.Visits++
				if p.base.Rules[i].When.Eval(r.Slots) == rulebase.True {
					ready = append(ready, i)
				}
			}
			if len(ready) == 0 {
				break
			}
			round++
			for _, i := range ready {
				fired[i], r.round[i] = true, round
			}
			r.fire(ready, round, banned, overridden)
			if len(r.Conflicts) > 0 {
				return r
			}
		}
	}
	for i, f := range fired {
		if f {
			r.Fired = append(r.Fired, i)
			r.FiredState = append(r.FiredState, r.stateOf(i))
		}
	}
	r.finish(overridden)
	return r
}

func (r *Result) finish(overridden map[int]*Derivation) {
	for i := range r.Derivations {
		slices.Sort(r.Derivations[i].Rules)
	}
	for _, d := range overridden {
		slices.Sort(d.Rules)
		r.Overridden = append(r.Overridden, *d)
	}
	slices.SortFunc(r.Overridden, func(a, b Derivation) int { return a.Name - b.Name })
}

// stateOf is the state of the newest finding among all names that a rule reads.
func (r *Result) stateOf(rule int) int {
	state := 0
	for _, n := range r.program.reads[rule] {
		state = max(state, r.State[n])
	}
	return state
}

// fire lets the rules of one round conclude, all at once.
func (r *Result) fire(ready []int, round int, banned map[int]*Conflict, overridden map[int]*Derivation) {
	states := map[int]int{} // written only when the round is over, so that no rule of it sees another's
	for _, rule := range ready {
		state := r.stateOf(rule)
		for _, a := range r.program.base.Rules[rule].Then {
			switch {
			case banned[a.Name] != nil:
			case r.Slots[a.Name].Rank > rulebase.FromRules:
				override(overridden, a, rule, round, state)
			default:
				r.conclude(a, rule, round, state, states)
			}
		}
	}
	for name, state := range states {
		r.State[name] = state
		r.Slots[name] = r.Derivations[r.derived[name]].Value
	}
}

func override(all map[int]*Derivation, a rulebase.Assignment, rule, round, state int) {
	d := all[a.Name]
	if d == nil {
		d = &Derivation{Name: a.Name, Value: a.Value, Round: round, State: state}
		all[a.Name] = d
	}
	if same(d.Value, a.Value) {
		d.Rules = append(d.Rules, rule)
	}
}

func (r *Result) conclude(a rulebase.Assignment, rule, round, state int, states map[int]int) {
	at, ok := r.derived[a.Name]
	if !ok {
		r.derived[a.Name] = len(r.Derivations)
		r.Derivations = append(r.Derivations, Derivation{Name: a.Name, Value: a.Value, Rules: []int{rule}, first: []int{rule}, Round: round, State: state})
		states[a.Name] = state
		return
	}
	d := &r.Derivations[at]
	if !same(d.Value, a.Value) {
		r.disagree(d, a, rule)
		return
	}
	d.Rules = append(d.Rules, rule)
	if d.Round == round {
		d.first = append(d.first, rule)
		if state < d.State {
			d.State = state
			states[a.Name] = state
		}
	}
}

// disagree notes that a rule gives a name another value than rules before.
func (r *Result) disagree(d *Derivation, a rulebase.Assignment, rule int) {
	at := slices.IndexFunc(r.Conflicts, func(c Conflict) bool { return c.Name == a.Name })
	if at < 0 {
		c := Conflict{Name: a.Name, Values: []rulebase.Slot{d.Value}, Rules: [][]int{slices.Clone(d.Rules)}, base: r.program.base}
		c.why = [][]Line{r.whyRules(d.Rules)}
		r.Conflicts = append(r.Conflicts, c)
		at = len(r.Conflicts) - 1
	}
	c := &r.Conflicts[at]
	v := slices.IndexFunc(c.Values, func(s rulebase.Slot) bool { return same(s, a.Value) })
	if v < 0 {
		v = len(c.Values)
		c.Values, c.Rules, c.why = append(c.Values, a.Value), append(c.Rules, nil), append(c.why, nil)
	}
	c.Rules[v] = append(c.Rules[v], rule)
	c.why[v] = append(c.why[v], r.WhyRule(rule)...)
}

func same(a, b rulebase.Slot) bool {
	return a.Word == b.Word && (a.Number == b.Number || math.IsNaN(a.Number) && math.IsNaN(b.Number))
}

// Members are the ids that the conflict is about: the name, then the rules.
func (c Conflict) Members() []string {
	ids := []string{c.base.Names[c.Name].ID}
	for _, rules := range c.Rules {
		for _, r := range rules {
			ids = append(ids, c.base.Rules[r].ID)
		}
	}
	return ids
}

// String is the conflict in words.
func (c Conflict) String() string {
	parts := make([]string, len(c.Values))
	for i, v := range c.Values {
		ids := make([]string, len(c.Rules[i]))
		for j, r := range c.Rules[i] {
			ids[j] = c.base.Rules[r].ID
		}
		parts[i] = fmt.Sprintf("%s by %s", c.base.SlotText(c.Name, v), strings.Join(ids, ", "))
	}
	return fmt.Sprintf("Rules disagree about %s: %s. It is taken as not known.", c.base.Names[c.Name].ID, strings.Join(parts, "; "))
}

// Chains are, by value, the reasons for it, down to what a person said.
func (c Conflict) Chains() [][]Line { return c.why }
