package rulebase

import (
	"downdrop/rulebase/source"
)

var placeWords = []string{string(Phone), string(Field), string(Bench)}

// step reads a test or a remedy: what both have, then what is its own.
func (l *loader) step(e entry, kind Kind) Step {
	section := "tests"
	if kind == KindRemedy {
		section = "remedies"
	}
	f := l.fields(e, section)
	s := Step{ID: e.id, Kind: kind, Pos: e.key.Pos, Do: f.must("do"), Needs: l.texts(f.get("needs")), Who: Operator, Steps: l.texts(f.get("steps")), Source: f.sourceOf(false)}
	if n := f.need("minutes"); n != nil {
		s.Minutes = l.within(n, 0, 1e6)
	}
	for _, item := range l.items(f.get("at")) {
		if i := l.oneOf(item, "a place", placeWords...); i >= 0 {
			s.At = append(s.At, Place(placeWords[i]))
		}
	}
	if n := f.get("who"); n != nil {
		s.Who = Who(max(0, l.oneOf(n, "a person", whoWords[1:]...)) + 1)
	}
	if n := f.get("stops"); n != nil {
		s.Stops = Stops(max(0, l.oneOf(n, "something to stop", stopsWords...)))
	}
	if n := f.get("puts_in"); n != nil {
		if i := l.oneOf(n, "a thing that can be put in", PutsInWords...); i >= 0 {
			s.PutsIn = PutsInWords[i]
		}
	}
	s.PutsRight = l.refs(f.get("puts_right"), KindCause)
	s.OnlyIf = l.expression(f.get("only_if"), "only_if", false, upward...)
	l.safety(f, &s)
	if kind == KindRemedy {
		l.remedy(f, &s)
		return s
	}
	s.Yields = l.refs(f.get("yields"), KindSymptom)
	if f.get("yields") == nil && f.get("puts_right") == nil && !f.broken {
		l.r.Problem(e.key, "missing-key", "", "%s needs \"yields\": what is seen by it; or \"puts_right\", the causes it takes away", e.id)
	}
	return s
}

// safety reads what can hurt somebody, and refuses a step that can and does not warn.
func (l *loader) safety(f fields, s *Step) {
	s.Hazard = l.hazard(f.get("hazard"))
	s.BringsBack = f.get("brings_back") != nil && l.flag(f.get("brings_back"))
	s.Warnings = l.refs(f.get("warnings"), KindWarning)
	if len(l.items(f.get("warnings"))) > 0 {
		return
	}
	if s.Hazard != 0 {
		l.r.Problem(f.e.key, "no-warning", "", "%s is hazardous and has no warning; add what must be said before the step", f.e.id)
	} else if s.BringsBack {
		l.r.Problem(f.e.key, "no-warning", "", "%s may bring a silent drop back on line and has no warning; add what must be said before the step", f.e.id)
	}
}

func (l *loader) remedy(f fields, s *Step) {
	if n := f.get("ends_as"); n != nil {
		if i := l.oneOf(n, "an outcome of a remedy", Words(RemedyOutcomes)...); i >= 0 {
			s.EndsAs = RemedyOutcomes[i]
		}
	}
	s.Temporary = f.get("temporary") != nil && l.flag(f.get("temporary"))
	l.stopgap(f, s)
	n := f.get("proof")
	if n == nil {
		return
	}
	if n.Shape == source.Map {
		l.allow(n, "proof", keyNames()["proof"])
	}
	if n.Get("watch") == nil {
		l.r.Problem(n, "shape", "", "proof is {watch: a symptom, minutes: how long}")
		return
	}
	s.Proof = &Proof{Watch: l.ref(n.Get("watch"), KindSymptom)}
	if m := n.Get("minutes"); m != nil {
		s.Proof.Minutes = l.within(m, 0, 1e6)
	}
	if u := n.Get("under"); u != nil {
		s.Proof.Under = l.text(u)
	}
}

// stopgap is what only a temporary remedy says.
func (l *loader) stopgap(f fields, s *Step) {
	for _, key := range []string{"side_effects", "days"} {
		if n := f.get(key); n != nil && !s.Temporary {
			l.r.Problem(n, "not-temporary", "", "%s belongs to a temporary remedy; %s does not say temporary: true", key, f.e.id)
		}
	}
	if n := f.get("side_effects"); n != nil {
		s.SideEffects = l.text(n)
	}
	if n := f.get("days"); n != nil {
		s.Days = l.within(n, 0, 3650)
	}
}

// hazard is none, or a list of what a step can hurt somebody with.
func (l *loader) hazard(n *source.Node) Hazard {
	if n == nil || n.Shape == source.Scalar && n.Text == "none" {
		return 0
	}
	var h Hazard
	for _, item := range l.items(n) {
		switch i := l.oneOf(item, "a hazard", append([]string{"none"}, hazardWords...)...); {
		case i == 0 && len(n.Items) > 1:
			l.r.Problem(item, "hazard", "", "none stands alone, never beside a hazard")
		case i > 0:
			h |= 1 << (i - 1)
		}
	}
	return h
}
