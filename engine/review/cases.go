package review

import (
	"downdrop/engine"
	"downdrop/rulebase"
)

// tested looks at which causes and rules the rule tests leave out. A layer
// without any test gets one finding and not one for each entry.
func (r *reviewer) tested() {
	b := r.b
	some := map[int]bool{}
	first, silent := map[string]bool{}, map[string]bool{}
	for i := range r.cases {
		x := r.cases[i].Expect
		if x == nil {
			continue
		}
		some[b.LayerOfTest(r.cases[i].Pos)] = true
		first[x.First] = true
		for id, p := range x.AtMost {
			silent[id] = silent[id] || p < rulebase.SilentBelow
		}
		for id, p := range x.Causes {
			silent[id] = silent[id] || p < rulebase.SilentBelow
		}
	}
	for layer := range b.Layers {
		if !some[layer] && r.hasKnowledge(layer) {
			r.say(b.HeaderOf(layer), "no-tests", "no rule test lies beside %s: nobody notices when a change breaks it", b.Layers[layer])
		}
	}
	for i := range b.Causes {
		c := &b.Causes[i]
		if !some[b.LayerOf(c.Pos)] {
			continue
		}
		if !first[c.ID] {
			r.say(c.Pos, "never-first", "in no rule test does %s come first", c.ID)
		}
		if !silent[c.ID] {
			r.say(c.Pos, "never-silent", "no rule test says where %s must stay unlikely (at_most: {%s: ...})", c.ID, c.ID)
		}
	}
	r.spend(64 * len(r.cases) * (1 + len(b.Rules)))
	fired := engine.Fired(b, r.cases)
	for i := range b.Rules {
		rule := &b.Rules[i]
		if can, _, ok := r.can(rule.When); ok && !can {
			continue // which was said
		}
		if some[b.LayerOf(rule.Pos)] && !fired[i] {
			r.say(rule.Pos, "rule-untested", "%s fires in no rule test", rule.ID)
		}
	}
}

// hasKnowledge says whether a layer has causes or rules that a test could be for.
func (r *reviewer) hasKnowledge(layer int) bool {
	for i := range r.b.Causes {
		if r.b.LayerOf(r.b.Causes[i].Pos) == layer {
			return true
		}
	}
	for i := range r.b.Rules {
		if r.b.LayerOf(r.b.Rules[i].Pos) == layer {
			return true
		}
	}
	return false
}
