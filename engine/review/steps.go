package review

import (
	"slices"
	"strings"

	"downdrop/rulebase"
)

// steps goes through tests and remedies as written.
func (r *reviewer) steps() func(yield func(*rulebase.Step) bool) {
	return func(yield func(*rulebase.Step) bool) {
		for _, list := range [][]rulebase.Step{r.b.Tests, r.b.Remedies} {
			for i := range list {
				if s := &list[i]; !s.Implied && !yield(s) {
					return
				}
			}
		}
	}
}

// handHazards are those that no caller can be led through.
const handHazards = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark | rulebase.HazardStored | rulebase.HazardUnknown | rulebase.HazardLive

// hands looks at who does a step, where, and with what.
func (r *reviewer) hands() {
	for s := range r.steps() {
		if least, why := leastWho(s); s.Who < least {
			r.say(s.Pos, "who-too-low", "%s may be done by any %s and %s: it is at least %s's work", s.ID, s.Who.String(), why, a(least.String()))
		}
		if slices.Contains(s.At, rulebase.Phone) && (s.Hazard&handHazards != 0 || len(s.Needs) > 0 && s.Who > rulebase.Operator) {
			r.say(s.Pos, "hands-by-phone", "%s is offered by phone, and wants tools and hands at the drop", s.ID)
		} else if slices.Contains(s.At, rulebase.Phone) && s.Stops != rulebase.StopsNothing {
			r.say(s.Pos, "hands-by-phone", "%s is offered by phone, and stops something: nobody who decides about that is on the line", s.ID)
		}
	}
}

func leastWho(s *rulebase.Step) (least rulebase.Who, why string) {
	switch {
	case s.Hazard&rulebase.HazardLive != 0:
		return rulebase.Technician, "says the hazard live"
	case s.Hazard&rulebase.HazardMains != 0:
		return rulebase.Electrician, "says the hazard mains"
	case s.Hazard&rulebase.HazardMotion != 0:
		return rulebase.Electrician, "says the hazard motion"
	case s.Hazard&rulebase.HazardSpark != 0:
		return rulebase.Electrician, "says the hazard spark"
	case s.Stops == rulebase.StopsDrop:
		return rulebase.Electrician, "stops the drop"
	case s.Stops == rulebase.StopsBus:
		return rulebase.Electrician, "stops the bus"
	}
	return rulebase.Operator, ""
}

// a puts the article before a word.
func a(word string) string {
	if strings.ContainsAny(word[:1], "aeiou") {
		return "an " + word
	}
	return "a " + word
}

// toolNames looks for names of tools that are one slip of the hand from another one.
func (r *reviewer) toolNames() {
	count := map[string]int{}
	for s := range r.steps() {
		for _, tool := range s.Needs {
			count[tool]++
		}
	}
	for s := range r.steps() {
		for _, tool := range s.Needs {
			if count[tool] > 1 {
				continue
			}
			for _, other := range sorted(count) {
				if other != tool && edits(tool, other, 2) <= 2 && count[other] >= count[tool] && (count[other] > 1 || other < tool) {
					r.say(s.Pos, "tool-once", "only %s needs %s; is it %s, as elsewhere?", s.ID, tool, other)
				}
			}
		}
	}
}

// tests looks at what tests tell, and what for.
func (r *reviewer) tests() {
	b := r.b
	yields := make([][]int, len(b.Tests)) // in order, so that two can be compared
	for i := range b.Tests {
		t := &b.Tests[i]
		yields[i] = slices.Sorted(slices.Values(t.Yields))
		if t.Implied {
			continue
		}
		r.spend((4 + len(t.Yields)) * i)
		r.tells(t)
		for j := range i {
			o := &b.Tests[j]
			if !o.Implied && len(t.Yields) > 0 && slices.Equal(yields[i], yields[j]) && meet(t, o) {
				r.say(t.Pos, "yields-the-same", "%s yields the same as %s, at the same place: one of the two is never worth doing", t.ID, o.ID)
			}
		}
		r.dear(t)
	}
}

// tells remarks on a test whose symptoms show every cause alike.
func (r *reviewer) tells(t *rulebase.Step) {
	weighs, differs := false, len(t.PutsRight) > 0
	for _, s := range t.Yields {
		weighs = weighs || r.b.Symptoms[s].Weighs
		if !r.b.Symptoms[s].Weighs {
			differs = true // it feeds rules, or weighs nothing, which is said elsewhere
		}
		for c := range r.b.Causes {
			differs = differs || r.shows(s, c)
		}
	}
	if weighs && !differs {
		r.say(t.Pos, "tells-nothing", "%s tells nothing: what it yields is as likely with any cause as with none", t.ID)
	}
}

// meet says whether two steps can both be offered somewhere, with the same tools and to the same people.
func meet(x, y *rulebase.Step) bool {
	here := len(x.At) == 0 || len(y.At) == 0 || slices.ContainsFunc(x.At, func(p rulebase.Place) bool { return slices.Contains(y.At, p) })
	return here && x.Who == y.Who && slices.Equal(x.Needs, y.Needs)
}

// dear remarks on a test that costs more than every remedy that it can point to:
// whoever simply tries the remedies is done sooner.
func (r *reviewer) dear(t *rulebase.Step) {
	price, costs, named := r.price(t), 0.0, ""
	for c := range r.b.Causes {
		if !slices.ContainsFunc(t.Yields, func(s int) bool { return r.speaksFor(s, c) }) {
			continue
		}
		for _, h := range r.b.Causes[c].Remedies {
			m := &r.b.Remedies[h.Remedy]
			if p := r.price(m); p > costs {
				costs, named = p, m.ID
			}
		}
	}
	if named != "" && price > costs {
		r.say(t.Pos, "test-too-dear", "%s costs %g minutes, and the dearest remedy that it can point to, %s, costs %g: trying is sooner", t.ID, price, named, costs)
	}
}

func (r *reviewer) price(s *rulebase.Step) float64 {
	return r.b.Effort.Price(s) + s.ProofMinutes()
}

// speaksFor says whether a symptom shows a cause plainly.
func (r *reviewer) speaksFor(symptom, cause int) bool {
	return slices.ContainsFunc(r.known(), func(s *setting) bool {
		p := s.p[symptom]
		return p != nil && apart(p[none], p[alone(cause)]) > 0.3
	})
}

func sorted[V any](set map[string]V) []string {
	var all []string
	for k := range set {
		all = append(all, k)
	}
	slices.Sort(all)
	return all
}
