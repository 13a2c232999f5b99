package rulebase

import (
	"fmt"
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// Remarks are remarks about the sense of a rulebase. They do not stop it from
// loading; `check` prints them beside the problems. Each has a kind, by its place
// sorted.
func (b *Base) Remarks() []Problem {
	r := &remarker{b: b, into: &source.Problems{}, read: b.namesRead(), shown: b.namesShown()}
	r.symptoms()
	r.givens()
	r.causes()
	r.steps()
	r.unused()
	r.into.Sort()
	return r.into.List
}

type remarker struct {
	b     *Base
	into  *source.Problems
	read  []bool // by name: some expression reads it
	shown []bool // by name: some symptom's rows depend on it, through any conditions
}

func (r *remarker) say(pos Position, kind, format string, args ...any) {
	r.into.List = append(r.into.List, Problem{Position: pos, Kind: kind, Says: fmt.Sprintf(format, args...), Text: r.b.Line(pos), Width: 1})
}

// expressions calls visit with every expression of the rulebase.
func (b *Base) expressions(visit func(*Expression)) {
	one := func(e *Expression) {
		if e != nil {
			visit(e)
		}
	}
	for i := range b.Causes {
		for _, x := range b.Causes[i].MoreLikely {
			one(x.When)
		}
	}
	for i := range b.Conditions {
		one(b.Conditions[i].When)
	}
	for i := range b.Symptoms {
		for _, e := range b.Symptoms[i].Limits {
			one(e)
		}
		for _, row := range b.Symptoms[i].Shows {
			one(row.When)
		}
	}
	for i := range b.Rules {
		one(b.Rules[i].When)
	}
	for _, steps := range [][]Step{b.Tests, b.Remedies} {
		for i := range steps {
			one(steps[i].OnlyIf)
		}
	}
}

// namesRead says of every name whether an expression reads it.
func (b *Base) namesRead() []bool {
	read := make([]bool, len(b.Names))
	b.expressions(func(e *Expression) {
		for _, n := range e.Reads() {
			read[n] = true
		}
	})
	return read
}

// namesShown says of every cause and condition whether what is seen can depend on it.
func (b *Base) namesShown() []bool {
	shown := make([]bool, len(b.Names))
	var mark func(e *Expression)
	mark = func(e *Expression) {
		if e == nil {
			return
		}
		for _, n := range e.Reads() {
			if shown[n] {
				continue
			}
			shown[n] = true
			if b.Names[n].Kind == KindCondition {
				mark(b.Conditions[b.Names[n].Index].When)
			}
		}
	}
	for i := range b.Symptoms {
		for _, row := range b.Symptoms[i].Shows {
			mark(row.When)
		}
	}
	return shown
}

// sets says whether any rule sets a name.
func (b *Base) sets(name int) bool {
	for i := range b.Rules {
		if slices.ContainsFunc(b.Rules[i].Then, func(a Assignment) bool { return a.Name == name }) {
			return true
		}
	}
	return false
}

func (r *remarker) symptoms() {
	b := r.b
	obtained := make([]bool, len(b.Symptoms))
	for i := range b.Tests {
		for _, s := range b.Tests[i].Yields {
			obtained[s] = true
		}
	}
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		isComplaint := b.Complaint != nil && b.Complaint.Symptom == i
		if !obtained[i] && !isComplaint && !b.sets(s.Slot) {
			r.say(s.Pos, "never-proposed", "no test yields %s and it does not say `by: asking` or `by: looking`: it is only taken, never proposed", s.ID)
		}
		if !s.Weighs && !r.read[s.Slot] {
			r.say(s.Pos, "weighs-nothing", "%s has no shows, and no rule or step reads it: whatever is seen, nothing follows", s.ID)
		}
		if s.Unit != "" && !s.Banded() {
			r.say(s.Pos, "unit-without-bands", "%s has a unit but no bands: its values are words", s.ID)
		}
		r.rows(s)
	}
}

// rows remarks on rows that say nothing. Of two values, half and half may be meant.
func (r *remarker) rows(s *Symptom) {
	if len(s.Values) < 3 {
		return
	}
	for _, row := range s.Shows {
		if slices.Min(row.P) == slices.Max(row.P) {
			r.say(row.Pos, "row-says-nothing", "the row gives every value of %s the same chance", s.ID)
		}
	}
}

// fills are the words that the program can fill a given with.
var fills = map[string][]string{
	"at": placeWords, "who": whoWords[1:], "alone": {"false", "true"}, "loss_of_bus": {"off", "hold", "preset"},
	"extent": {ExtentOne, ExtentSome, ExtentSupply, ExtentBeyond, ExtentAll, ExtentComesAndGoes},
}

func (r *remarker) givens() {
	for i := range r.b.Givens {
		g := &r.b.Givens[i]
		if g.Ask == "" && g.FilledBy == "" && !r.b.sets(g.Name) {
			r.say(g.Pos, "no-question", "%s has no ask: nobody can be asked for it", g.ID)
		}
		words := r.b.Names[g.Name].Words
		for _, w := range fills[g.FilledBy] {
			if !slices.Contains(words, w) {
				r.say(g.Pos, "filled-by", "%s is filled by the program, which also knows %s: its words are %s", g.ID, w, strings.Join(fills[g.FilledBy], ", "))
				break
			}
		}
	}
}

func (r *remarker) causes() {
	for i := range r.b.Causes {
		c := &r.b.Causes[i]
		if !r.shown[c.Slot] {
			r.say(c.Pos, "shows-nowhere", "no symptom depends on %s: nothing seen can ever speak for it", c.ID)
		}
		if len(c.Remedies) == 0 {
			r.say(c.Pos, "no-remedy", "%s has no remedy: nothing can be advised against it", c.ID)
		}
		if c.Part == "" {
			r.say(c.Pos, "no-part", "%s does not say of which part it is: supply, line, termination, setting, controller, unit, module, field, tool, ...", c.ID)
		}
	}
	for i := range r.b.Conditions {
		if c := &r.b.Conditions[i]; !r.shown[c.Slot] {
			r.say(c.Pos, "shows-nowhere", "no symptom depends on the condition %s", c.ID)
		}
	}
}

func (r *remarker) steps() {
	for i := range r.b.Tests {
		t := &r.b.Tests[i]
		tells := len(t.PutsRight) > 0
		for _, s := range t.Yields {
			tells = tells || r.b.Symptoms[s].Weighs || r.read[r.b.Symptoms[s].Slot]
		}
		if !tells && !t.Implied {
			r.say(t.Pos, "tells-nothing", "%s yields nothing that weighs or that a rule reads", t.ID)
		}
	}
	for i := range r.b.Remedies {
		if m := &r.b.Remedies[i]; m.EndsAs == "" && !m.Temporary {
			r.say(m.Pos, "no-outcome", "%s does not say how a case ends by it: ends_as is one of %s", m.ID, strings.Join(Words(RemedyOutcomes), ", "))
		}
	}
}

// unused remarks on what no other entry names.
func (r *remarker) unused() {
	b := r.b
	sources, warnings, remedies := map[string]bool{commonPractice: true}, make([]bool, len(b.Warnings)), make([]bool, len(b.Remedies))
	for id := range b.sourcesUsed {
		sources[id] = true
	}
	for i := range b.Causes {
		for _, h := range b.Causes[i].Remedies {
			remedies[h.Remedy] = true
		}
	}
	for _, steps := range [][]Step{b.Tests, b.Remedies} {
		for i := range steps {
			for _, w := range steps[i].Warnings {
				warnings[w] = true
			}
		}
	}
	for i := range b.Sources {
		if s := &b.Sources[i]; !sources[s.ID] {
			r.say(s.Pos, "never-used", "nothing rests on the source %s", s.ID)
		}
	}
	for i := range b.Warnings {
		if w := &b.Warnings[i]; !warnings[i] {
			r.say(w.Pos, "never-used", "no test or remedy gives the warning %s", w.ID)
		}
	}
	for i := range b.Remedies {
		if m := &b.Remedies[i]; !remedies[i] && !m.Temporary {
			r.say(m.Pos, "never-used", "no cause names the remedy %s", m.ID)
		}
	}
}
