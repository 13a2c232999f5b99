package triage

import (
	"slices"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A sender is asked only what is seen without tools, work and danger.
func TestWhatASenderIsAsked(t *testing.T) {
	base := small(t)
	d := NewDesk(base, 0)
	ask := func(change func(*engine.Proposal)) int {
		p := engine.Proposal{Step: &rulebase.Step{Kind: rulebase.KindTest, Do: "Look", Yields: []int{0}}, GainBits: engine.Idle}
		change(&p)
		return len(d.questions(&engine.Diagnosis{Base: base, Next: []engine.Proposal{p}}))
	}
	if ask(func(*engine.Proposal) {}) != 1 {
		t.Error("what can be seen is not asked")
	}
	for why, change := range map[string]func(*engine.Proposal){
		"a remedy":       func(p *engine.Proposal) { p.Step.Kind = rulebase.KindRemedy },
		"tells nothing":  func(p *engine.Proposal) { p.GainBits = engine.Idle * 0.99 },
		"has a warning":  func(p *engine.Proposal) { p.Warnings = []string{"w"} },
		"can hurt":       func(p *engine.Proposal) { p.Step.Hazard = rulebase.HazardLive },
		"stops the drop": func(p *engine.Proposal) { p.Step.Stops = rulebase.StopsDrop },
		"puts right":     func(p *engine.Proposal) { p.Step.PutsRight = []int{0} },
		"wants a tool":   func(p *engine.Proposal) { p.Step.Needs = []string{"multimeter"} },
	} {
		if ask(change) != 0 {
			t.Errorf("a sender is asked what %s", why)
		}
	}
	look := engine.Proposal{Step: &rulebase.Step{Kind: rulebase.KindTest, Do: "Look at both", Yields: []int{0, 1}}, GainBits: 1}
	one := engine.Proposal{Step: &rulebase.Step{Kind: rulebase.KindTest, Do: "Look at one", Yields: []int{0}}, GainBits: 1}
	implied := engine.Proposal{Step: &rulebase.Step{Kind: rulebase.KindTest, Implied: true, Yields: []int{1, 0}}, GainBits: 1}
	asked := d.questions(&engine.Diagnosis{Base: base, Next: []engine.Proposal{look, one, implied, look, look}})
	if want := []string{"Look at both", base.Symptoms[0].Ask, base.Symptoms[1].Ask, "Look at both"}[:mostAsked]; !slices.Equal(asked, want) {
		t.Errorf("asked is %q, wanted %q", asked, want)
	}
}
