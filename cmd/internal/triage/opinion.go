package triage

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// An opinion is what is thought of a situation.
type opinion struct {
	call       Call
	good, bad  float64
	likely     string
	likelySays string
	outcome    string
	ask        []string
	bench      float64
}

// opinion diagnoses a situation, or remembers it.
func (d *Desk) opinion(ctx context.Context, s rulebase.Situation) (opinion, error) {
	key := keyOf(s)
	if o, ok := d.opinions.get(key); ok {
		return o, nil
	}
	d.made++
	bench := s.Clone()
	bench.At, bench.Who = rulebase.Bench, rulebase.Technician
	options := engine.Options{Lean: true, Last: true, OneCore: true}
	var at *engine.Diagnosis
	var benchErr error
	done := make(chan struct{})
	go func() {
		defer close(done)
		at, benchErr = engine.Diagnose(ctx, d.prepared, bench, options)
	}()
	phone, err := engine.Diagnose(ctx, d.prepared, s, options)
	<-done
	if err := errors.Join(err, benchErr); err != nil {
		return opinion{}, err
	}
	o := opinion{call: Open}
	if !phone.Possible {
		d.opinions.put(key, o)
		return o, nil
	}
	o.bad, o.good = phone.UnitOut, max(0, 1-phone.UnitOut-phone.Outside)
	switch {
	case o.good >= Probably:
		o.call = ProbablyGood
	case o.bad >= Probably:
		o.call = ProbablyBad
	}
	d.likeliest(&o, phone)
	o.ask = d.questions(phone)
	o.bench = at.Plan.Minutes
	d.opinions.put(key, o)
	return o, nil
}

// likeliest adds the cause and the outcome that are likeliest of the likelier side: of a
// unit that is more likely good than bad, what it is instead. A cause ends as its last
// remedy does, as in the chance that the unit is bad.
func (d *Desk) likeliest(o *opinion, x *engine.Diagnosis) {
	chances := map[rulebase.Outcome]float64{}
	for _, c := range x.Causes {
		list := d.base.Causes[c.Cause].Remedies
		if len(list) == 0 {
			continue
		}
		ends := d.base.Remedies[list[len(list)-1].Remedy].EndsAs
		if (ends == rulebase.UnitOut) != (o.bad > o.good) {
			continue
		}
		if len(chances) == 0 { // causes come the likeliest first
			o.likely, o.likelySays = d.base.Causes[c.Cause].ID, d.base.Causes[c.Cause].Name
		}
		chances[ends] += c.Probability
	}
	best := rulebase.Outcome("")
	for id, p := range chances {
		if p > chances[best] || p == chances[best] && id < best {
			best = id
		}
	}
	o.outcome = string(best)
}

// questions are what to ask the sender: what tells most, needs nothing but looking
// and remembering, and has no warning to be read first.
func (d *Desk) questions(x *engine.Diagnosis) []string {
	var all []string
	for i := range x.Next {
		p := &x.Next[i]
		if len(all) == mostAsked {
			break
		}
		st := p.Step
		if st.Kind != rulebase.KindTest || p.GainBits < engine.Idle || len(p.Warnings) > 0 || st.Hazard != 0 || st.Stops != rulebase.StopsNothing || len(st.PutsRight) > 0 || len(st.Needs) > 0 {
			continue
		}
		text := st.Do
		if st.Implied || len(st.Yields) == 1 {
			text = d.base.Symptoms[st.Yields[0]].Ask
		}
		all = append(all, text)
	}
	return all
}

// keyOf is the same for situations that say the same.
func keyOf(s rulebase.Situation) string {
	var all []string
	seen := map[string]bool{}
	sorted := true
	for i := range s.Findings {
		f := &s.Findings[i]
		sure := "-"
		if f.Sure != nil {
			sure = fmt.Sprint(*f.Sure)
		}
		all = append(all, fmt.Sprintf("%s=%+v@%s after %s drop %d now %v at %s", f.Symptom, f.Value, sure, f.After, f.Drop, f.Now, f.At))
		sorted = sorted && !seen[f.Symptom]
		seen[f.Symptom] = true
	}
	if sorted { // of a symptom that is seen twice the order tells which is the later
		slices.Sort(all)
	}
	var givens []string
	for _, g := range s.Givens {
		givens = append(givens, fmt.Sprintf("%s=%+v", g.ID, g.Value))
	}
	return strings.Join(append(append(all, "|"), givens...), "\n") + fmt.Sprintf("\n|%v %v %v %v %v", s.Drop, s.Drops, s.Order, s.Supplies, s.Done)
}
