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
// [Program.Run] starts from nothing each time; a [Memory] follows changes and
// looks only at what they touch. The package does not weigh anything;
// engine/belief does.
package chain

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"downdrop/rulebase"
)

// A Program is a rulebase's rules made ready. It is never changed and may be shared.
type Program struct {
	base    *rulebase.Base
	level   []int     // by rule
	strata  [][]int32 // the rules of each level
	reads   [][]int   // by rule: the names it reads
	readers [][]int32 // by name: the rules that read it

	once sync.Once
	net  *network // for memories
}

// unknown is the slot of a name of which nothing is known.
var unknown = rulebase.Slot{Number: math.NaN()}

// Compile makes a rulebase's rules ready. The rulebase has no circle through a
// negative known(x); loading refuses one.
func Compile(b *rulebase.Base) *Program {
	p := &Program{base: b, readers: make([][]int32, len(b.Names))}
	p.level, _ = rulebase.Strata(b)
	for i := range b.Rules {
		for len(p.strata) <= p.level[i] {
			p.strata = append(p.strata, nil)
		}
		p.strata[p.level[i]] = append(p.strata[p.level[i]], int32(i))
		reads := b.Rules[i].When.Reads()
		p.reads = append(p.reads, reads)
		for _, name := range reads {
			p.readers[name] = append(p.readers[name], int32(i))
		}
	}
	return p
}

// Input is what was observed. A slot of Rank NotKnown has its default, if there
// is one; so has one of Rank FromRules, since what rules say is worked out anew.
type Input struct {
	Slots []rulebase.Slot // by name
	State []int           // by name: the state of work of the finding, 0 before any work
	From  map[int]string  // by name: how a value is known, where more can be said than its rank; nil: nothing more
}

// A Derivation is a value that rules gave to a name.
type Derivation struct {
	Name  int
	Value rulebase.Slot
	Rules []int // all that give it this value, in rule order
	Round int   // the round in which it was first derived, from 1
	State int   // of the newest finding it rests on; where it rests on several reasons of its first round, the oldest of these

	first []int // those of Rules that fired in Round: the well-founded ones
}

// A Result is everything that follows from an input.
type Result struct {
	Slots       []rulebase.Slot // observed, derived and defaults together
	State       []int
	Derivations []Derivation // in the order of rounds, then names
	Overridden  []Derivation // not used, because a person or the program gave the name a value; in the same order
	Fired       []int        // rules whose condition is true, in rule order
	FiredState  []int        // beside Fired: the state of the newest finding among all names the rule reads
	Conflicts   []Conflict   // by name
	Visits      int          // conditions evaluated

	program *Program
	from    map[int]string
	all     []Derivation // Derivations and Overridden together
	at      []int32      // by name: 1 + its place in all, 0: not derived
	round   []int        // by rule: the round in which it fired, 0: not
	rounds  int
	banned  []bool       // by name: rules disagreed about it, so none of them counts
	queued  []bool       // by rule: it is looked at in the next round
	said    []conclusion // of the round before, for its room
	room    []int        // for what the derivations of a round rest on, in one piece
}

// Run follows all rules from an input to the fixpoint. Where rules disagree about
// a name it starts again without what they say of it; each start leaves out at
// least one name more, so there is an end.
func (p *Program) Run(in Input) *Result {
	var conflicts []Conflict
	visits := 0
	for {
		r := p.start(in, conflicts)
		clashes := r.saturate()
		visits += r.Visits
		if len(clashes) == 0 {
			r.Visits = visits
			r.finish()
			return r
		}
		conflicts = append(conflicts, clashes...)
	}
}

// start is a result before any rule has fired.
func (p *Program) start(in Input, conflicts []Conflict) *Result {
	names, rules := len(p.base.Names), len(p.base.Rules)
	r := &Result{
		Slots: slices.Clone(in.Slots), State: make([]int, names), Conflicts: conflicts,
		program: p, from: in.From, at: make([]int32, names), banned: make([]bool, names), round: make([]int, rules), queued: make([]bool, rules),
	}
	copy(r.State, in.State)
	for i := range r.Slots {
		r.Slots[i] = p.observed(i, r.Slots[i])
	}
	for _, c := range conflicts {
		r.banned[c.Name] = true
	}
	return r
}

// observed is a name's slot before any rule: as it was given, else its default.
func (p *Program) observed(name int, given rulebase.Slot) rulebase.Slot {
	if given.Rank != rulebase.NotKnown && given.Rank != rulebase.FromRules {
		return given
	}
	if n := &p.base.Names[name]; n.Kind == rulebase.KindGiven {
		if d := p.base.Givens[n.Index].Default; d != nil {
			return *d
		}
	}
	return unknown
}

// saturate fires rules in rounds, level by level, until nothing is left to fire
// or rules of one round disagree. After the first round of a level only rules
// that read something new are looked at.
func (r *Result) saturate() []Conflict {
	for level, look := range r.program.strata {
		for len(look) > 0 {
			ready := r.ready(look)
			if len(ready) == 0 {
				break
			}
			r.rounds++
			changed, clashes := r.fire(ready)
			if len(clashes) > 0 {
				return clashes
			}
			look = r.readersOf(changed, level)
		}
	}
	return nil
}

// ready are the rules, of those to be looked at, whose condition is true.
func (r *Result) ready(look []int32) []int32 {
	ready := make([]int32, 0, len(look))
	for _, i := range look {
		r.queued[i] = false
		r.Visits++
		if r.program.base.Rules[i].When.Eval(r.Slots) == rulebase.True {
			ready = append(ready, i)
		}
	}
	return ready
}

// readersOf are the rules of a level that read one of some names and have not fired.
func (r *Result) readersOf(names []int, level int) []int32 {
	var rules []int32
	for _, name := range names {
		for _, i := range r.program.readers[name] {
			if r.program.level[i] == level && r.round[i] == 0 && !r.queued[i] {
				r.queued[i] = true
				rules = append(rules, i)
			}
		}
	}
	return rules
}

// A conclusion is what one rule says of one name.
type conclusion struct {
	name, rule, state int
	value             rulebase.Slot
}

// byNameThenValue is an order that does not depend on the order of rules, but for
// rules that say the same.
func byNameThenValue(a, b conclusion) int {
	return cmp.Or(cmp.Compare(a.name, b.name), compareValues(a.value, b.value), cmp.Compare(a.rule, b.rule))
}

func compareValues(a, b rulebase.Slot) int {
	return cmp.Or(cmp.Compare(a.Word, b.Word), cmp.Compare(a.Number, b.Number))
}

func same(a, b rulebase.Slot) bool { return compareValues(a, b) == 0 }

// fire lets the rules of one round conclude, all at once: no rule of the round
// sees what another concludes in it.
func (r *Result) fire(ready []int32) (changed []int, clashes []Conflict) {
	said := r.said[:0]
	for _, i := range ready {
		rule := int(i)
		r.round[rule] = r.rounds
		state := r.stateOf(rule)
		for _, a := range r.program.base.Rules[rule].Then {
			if !r.banned[a.Name] {
				said = append(said, conclusion{a.Name, rule, state, a.Value})
			}
		}
	}
	r.said = said
	slices.SortFunc(said, byNameThenValue)
	r.room = make([]int, 0, 2*len(said))
	for len(said) > 0 {
		n := 1
		for n < len(said) && said[n].name == said[0].name {
			n++
		}
		if c := r.conclude(said[:n]); c != nil {
			clashes = append(clashes, *c)
		}
		said = said[n:]
	}
	return r.publish(), clashes
}

// stateOf is the state of the newest finding among all names that a rule reads.
func (r *Result) stateOf(rule int) int {
	state := 0
	for _, n := range r.program.reads[rule] {
		state = max(state, r.State[n])
	}
	return state
}

// conclude takes up all that the rules of a round say of one name. If they do not
// agree with one another, or with rules of earlier rounds, that is a conflict,
// whether or not a person's value outranks them all.
func (r *Result) conclude(said []conclusion) *Conflict {
	name := said[0].name
	if r.at[name] == 0 {
		r.all = append(r.all, Derivation{Name: name, Value: said[0].value, Round: r.rounds, State: said[0].state, Rules: r.take(len(said)), first: r.take(len(said))})
		r.all[len(r.all)-1].Value.Rank = rulebase.FromRules
		r.at[name] = int32(len(r.all))
	}
	d := &r.all[r.at[name]-1]
	if !same(d.Value, said[0].value) || !same(d.Value, said[len(said)-1].value) {
		return r.clash(d, said)
	}
	for _, c := range said {
		d.Rules = append(d.Rules, c.rule)
		if d.Round == r.rounds {
			d.first = append(d.first, c.rule)
			d.State = min(d.State, c.state)
		}
	}
	return nil
}

// take gives room for so many rules; what is more goes elsewhere.
func (r *Result) take(n int) []int {
	at := len(r.room)
	r.room = r.room[:at+n]
	return r.room[at : at : at+n]
}

// publish makes what was derived in this round known to the rules, unless
// something outranks it.
func (r *Result) publish() []int {
	var changed []int
	for i := len(r.all) - 1; i >= 0 && r.all[i].Round == r.rounds; i-- {
		if d := &r.all[i]; r.Slots[d.Name].Rank <= rulebase.FromRules {
			r.Slots[d.Name], r.State[d.Name] = d.Value, d.State
			changed = append(changed, d.Name)
		}
	}
	return changed
}

// finish sorts out what was derived and which rules fired.
func (r *Result) finish() {
	for i := range r.all {
		d := &r.all[i]
		slices.Sort(d.Rules)
		if r.Slots[d.Name].Rank == rulebase.FromRules {
			r.Derivations = append(r.Derivations, *d)
		} else {
			r.Overridden = append(r.Overridden, *d)
		}
	}
	for i, round := range r.round {
		if round > 0 {
			r.Fired = append(r.Fired, i)
			r.FiredState = append(r.FiredState, r.stateOf(i))
		}
	}
	slices.SortFunc(r.Conflicts, func(a, b Conflict) int { return cmp.Compare(a.Name, b.Name) })
}
