package review

import (
	"math"
	"slices"

	"downdrop/rulebase"
)

// mostValues is how many combinations of values an expression is tried with;
// one that reads more is passed over.
const mostValues = 50_000

// conditions looks for what can never be otherwise: conditions over all sets of up
// to two causes, and what reads givens and findings over all their values.
func (r *reviewer) conditions() {
	b := r.b
	for i := range b.Conditions {
		c := &b.Conditions[i]
		ever, never := false, false
		for _, s := range r.settings {
			some, all := extent(s.settled.Column(i), s.settled.Space.Len())
			ever, never = ever || some, never || !all
		}
		switch {
		case !ever:
			r.say(c.Pos, "never-holds", "the condition %s can never hold, whichever causes are there and whatever is known", c.ID)
		case !never:
			r.say(c.Pos, "always-holds", "the condition %s always holds, even where nothing is wrong", c.ID)
		}
	}
	for i := range b.Causes {
		for _, l := range b.Causes[i].MoreLikely {
			r.constant(l.When, "the weight of "+b.Causes[i].ID)
		}
	}
	for _, steps := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range steps {
			r.constant(steps[i].OnlyIf, "what decides whether "+steps[i].ID+" may be offered")
		}
	}
	for i := range b.Rules {
		rule := &b.Rules[i]
		if can, _, ok := r.can(rule.When); ok && !can {
			r.say(rule.Pos, "rule-never-fires", "%s can never fire: no values of what it reads make its condition true", rule.ID)
		}
		r.subsumed(i)
	}
}

// extent says whether a column holds in some world, and in all.
func extent(column []uint64, worlds int) (some, all bool) {
	all = true
	for i, word := range column {
		full := ^uint64(0)
		if left := worlds - 64*i; left < 64 {
			full = 1<<left - 1
		}
		some, all = some || word != 0, all && word == full
	}
	return some, all
}

// constant says of an expression over givens and findings that it cannot vary.
func (r *reviewer) constant(e *rulebase.Expression, what string) {
	if e == nil {
		return
	}
	can, cannot, ok := r.can(e)
	switch {
	case !ok:
	case !can:
		r.say(e.Pos, "never-holds", "%q can never hold; %s reads it", e.Text, what)
	case !cannot:
		r.say(e.Pos, "always-holds", "%q always holds; %s reads it", e.Text, what)
	}
}

// can says whether some values make an expression true, and some false. An
// expression that reads too much is not gone through, and ok is false.
func (r *reviewer) can(e *rulebase.Expression) (true_, false_, ok bool) {
	ok = r.values([]*rulebase.Expression{e}, func(slots []rulebase.Slot) bool {
		switch e.Eval(slots) {
		case rulebase.True:
			true_ = true
		case rulebase.False:
			false_ = true
		}
		return !true_ || !false_
	})
	return true_, false_, ok
}

// values calls visit with all combinations of values that some expressions can
// tell apart, until it has enough. False: there are too many.
func (r *reviewer) values(of []*rulebase.Expression, visit func([]rulebase.Slot) bool) bool {
	var names []int
	for _, e := range of {
		names = append(names, e.Reads()...)
	}
	slices.Sort(names)
	names = slices.Compact(names)
	domains := make([][]rulebase.Slot, len(names))
	count := 1
	for i, n := range names {
		var numbers []float64
		for _, e := range of {
			numbers = append(numbers, constantsBeside(e, n)...)
		}
		domains[i] = r.domain(n, numbers)
		if count *= len(domains[i]); count > mostValues {
			return false
		}
	}
	r.spend(len(r.b.Names) + 4*count)
	slots := make([]rulebase.Slot, len(r.b.Names))
	for i := range slots {
		slots[i].Number = math.NaN()
	}
	product(domains, func(way []rulebase.Slot) bool {
		for i, v := range way {
			slots[names[i]] = v
		}
		return visit(slots)
	})
	return true
}

// domain is domainOf for what is read on the way up: a fact has the values that
// rules give it, a reading may lie in any band.
func (r *reviewer) domain(name int, numbers []float64) []rulebase.Slot {
	n := &r.b.Names[name]
	var all []rulebase.Slot
	switch {
	case n.Kind == rulebase.KindFact:
		r.spend(len(r.b.Rules))
		for i := range r.b.Rules {
			for _, a := range r.b.Rules[i].Then {
				if a.Name == name && !slices.ContainsFunc(all, func(s rulebase.Slot) bool {
					return s.Word == a.Value.Word && (s.Number == a.Value.Number || s.Word != 0)
				}) {
					all = append(all, a.Value)
				}
			}
		}
		return append(all, rulebase.Slot{Number: math.NaN()})
	case n.Type == rulebase.Banded:
		for i := range n.Words {
			for _, x := range around(numbers) {
				all = append(all, rulebase.Slot{Word: int32(i + 1), Number: x, Rank: rulebase.FromPerson})
			}
		}
		return append(all, rulebase.Slot{Number: math.NaN()})
	}
	return domainOf(r.b, name, numbers)
}

// subsumed says of a rule that another one fires whenever it does and concludes all that it does.
func (r *reviewer) subsumed(i int) {
	rule := &r.b.Rules[i]
	r.spend(2 * len(r.b.Rules))
	for j := range r.b.Rules {
		other := &r.b.Rules[j]
		if i == j || !concludesAll(other, rule) || i < j && concludesAll(rule, other) && sameText(rule, other) {
			continue
		}
		implied := true
		ok := r.values([]*rulebase.Expression{rule.When, other.When}, func(slots []rulebase.Slot) bool {
			implied = rule.When.Eval(slots) != rulebase.True || other.When.Eval(slots) == rulebase.True
			return implied
		})
		if ok && implied {
			if can, _, _ := r.can(rule.When); can { // one that never fires was said
				r.say(rule.Pos, "rule-adds-nothing", "%s adds nothing: whenever it fires, %s fires and concludes the same", rule.ID, other.ID)
				return
			}
		}
	}
}

func sameText(x, y *rulebase.Rule) bool { return x.When.Text == y.When.Text }

// concludesAll says whether a rule concludes at least what another does.
func concludesAll(more, less *rulebase.Rule) bool {
	for _, a := range less.Then {
		if !slices.ContainsFunc(more.Then, func(x rulebase.Assignment) bool { return x.Name == a.Name && x.Text == a.Text }) {
			return false
		}
	}
	for _, c := range less.RulesOut {
		if !slices.Contains(more.RulesOut, c) {
			return false
		}
	}
	for _, c := range less.Establishes {
		if !slices.Contains(more.Establishes, c) {
			return false
		}
	}
	return less.Tell == "" || less.Tell == more.Tell
}

// rows looks for rows of symptoms that no set of causes ever reaches.
func (r *reviewer) rows() {
	for i := range r.b.Symptoms {
		s := &r.b.Symptoms[i]
		reached, possible := make([]bool, len(s.Shows)), make([]bool, len(s.Shows))
		for _, set := range r.settings {
			taken := make([]uint64, set.settled.Space.Words())
			for j, column := range set.rows[i] {
				for w, word := range column {
					possible[j] = possible[j] || word != 0
					reached[j] = reached[j] || word&^taken[w] != 0
					if !s.Independent {
						taken[w] |= word
					}
				}
			}
		}
		for j, row := range s.Shows {
			switch {
			case row.When == nil && !reached[j]:
				r.say(row.Pos, "row-never-reached", "the last row of %s is never reached: the rows above it leave nothing, not even the drop with nothing wrong", s.ID)
			case !possible[j]:
				r.say(row.Pos, "row-never-reached", "no cause or two of them make %q hold: the row of %s is never reached", row.When.Text, s.ID)
			case !reached[j]:
				r.say(row.Pos, "row-never-reached", "the row of %s is never reached: wherever %q holds, a row above it counts first", s.ID, row.When.Text)
			}
		}
	}
}
