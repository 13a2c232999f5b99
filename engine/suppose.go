package engine

import (
	"downdrop/engine/chain"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// Downward is what causes do, where only the givens are known: the conditions and
// the rows of every symptom as formulas over causes and conditions. It is for
// whoever looks the knowledge over; a diagnosis makes the same from the same.
type Downward struct {
	Conditions []*hypothesis.Formula
	Rows       [][]*hypothesis.Formula // by symptom; nil where it has no shows
	Key        string                  // what the givens decided: the same key means the same formulas
}

// Suppose makes the formulas for what is known of the givens.
func Suppose(base *rulebase.Base, slots []rulebase.Slot) *Downward {
	c := converter{base: base, slots: slots}
	d := &Downward{Conditions: make([]*hypothesis.Formula, len(base.Conditions)), Rows: make([][]*hypothesis.Formula, len(base.Symptoms))}
	for i := range base.Conditions {
		d.Conditions[i] = c.formula(base.Conditions[i].When)
	}
	for i := range base.Symptoms {
		for _, row := range base.Symptoms[i].Shows {
			d.Rows[i] = append(d.Rows[i], c.formula(row.When))
		}
	}
	d.Key = string(c.truths)
	return d
}

// Fired says of every rule whether it fires in some of the situations, by what
// was observed there. Nothing is weighed.
func Fired(base *rulebase.Base, situations []rulebase.Situation) []bool {
	p := &Prepared{base: base, rules: chain.Compile(base)}
	fired := make([]bool, len(base.Rules))
	for i := range situations {
		for _, rule := range p.learn(&situations[i]).result.Fired {
			fired[rule] = true
		}
	}
	return fired
}
