package rulebase

import (
	"fmt"
	"slices"
	"strings"

	"downdrop/rulebase/graph"
)

// check looks for what is wrong between entries. What an entry lacks because it
// is wrong by itself was said already and is passed over.
func (l *loader) check() {
	l.checkConditionCircles()
	l.checkRuleCircles()
	l.checkCountedTwice()
}

func (l *loader) at(e entry, kind, format string, args ...any) {
	l.r.Problem(e.key, kind, "", format, args...)
}

// checkConditionCircles refuses a condition that depends on its own negation.
func (l *loader) checkConditionCircles() {
	b := l.base
	edges := make([][]graph.Edge, len(b.Conditions))
	for i := range b.Conditions {
		if when := b.Conditions[i].When; when != nil {
			conditionReads(b, when.Root, false, func(to int, negative bool) {
				edges[i] = append(edges[i], graph.Edge{To: to, Negative: negative})
			})
		}
	}
	if circle := graph.NegativeCircle(edges); circle != nil {
		l.at(l.sections["conditions"][circle[0]], "circle", "the condition depends on its own negation: %s; nothing could say whether it holds",
			circleText(circle, func(i int) string { return b.Conditions[i].ID }))
	}
}

func conditionReads(b *Base, t *Term, negative bool, visit func(to int, negative bool)) {
	if t.Op == OpRead && b.Names[t.Name].Kind == KindCondition {
		visit(b.Names[t.Name].Index, negative)
	}
	if t.Op == OpNot {
		negative = !negative
	}
	for _, a := range t.Args {
		conditionReads(b, a, negative, visit)
	}
}

func circleText(circle []int, id func(int) string) string {
	var ids []string
	for _, c := range circle {
		ids = append(ids, id(c))
	}
	return strings.Join(append(ids, ids[0]), " reads ")
}

// checkRuleCircles refuses rules that lead through a known() in a negative
// position back to themselves.
func (l *loader) checkRuleCircles() {
	sound := &Base{Names: l.base.Names}
	for _, r := range l.base.Rules {
		if r.When != nil {
			sound.Rules = append(sound.Rules, r)
		}
	}
	_, circle := Strata(sound)
	if circle == nil {
		return
	}
	at := slices.IndexFunc(l.sections["rules"], func(e entry) bool { return slices.Contains(circle, e.id) })
	l.at(l.sections["rules"][at], "circle", "the rules lead through a known() that must not hold back to themselves: %s; they could not settle in any order", ruleCircleText(circle))
}

// ruleCircleText says how a circle goes, in which rules and the names they read take turns.
func ruleCircleText(circle []string) string {
	var steps []string
	for i := 0; i+1 < len(circle); i += 2 {
		steps = append(steps, fmt.Sprintf("%s reads %s, which %s sets", circle[i], circle[i+1], circle[(i+2)%len(circle)]))
	}
	return strings.Join(steps, "; ")
}

// checkCountedTwice refuses a rule that derives what weighs (a symptom with
// shows, or a given that more_likely reads) from a symptom that weighs already.
func (l *loader) checkCountedTwice() {
	b := l.base
	weighs := l.weighing()
	rests := l.restsOn()
	for i := range b.Rules {
		r := &b.Rules[i]
		if r.Again || r.When == nil {
			continue
		}
		from := firstOf(r.When.Reads(), rests)
		for _, a := range r.Then {
			if from != "" && weighs[a.Name] {
				l.at(l.sections["rules"][i], "counted-twice", "%s derives %s from %s, which weighs by itself: the same evidence would count twice; derive a plain fact, or say `again: true` with a `because`",
					r.ID, b.Names[a.Name].ID, from)
			}
		}
	}
}

// weighing are the names whose value moves probabilities: symptoms with shows,
// and givens that more_likely reads.
func (l *loader) weighing() []bool {
	b := l.base
	weighs := make([]bool, len(b.Names))
	for i := range b.Symptoms {
		weighs[b.Symptoms[i].Slot] = b.Symptoms[i].Weighs
	}
	for i := range b.Causes {
		for _, x := range b.Causes[i].MoreLikely {
			if x.When == nil {
				continue
			}
			for _, n := range x.When.Reads() {
				weighs[n] = true
			}
		}
	}
	return weighs
}

// restsOn names, for each name, a symptom with shows that it can rest on: the
// symptom itself, or what any chain of rules leads from.
func (l *loader) restsOn() []string {
	b := l.base
	rests := make([]string, len(b.Names))
	for i := range b.Symptoms {
		if b.Symptoms[i].Weighs {
			rests[b.Symptoms[i].Slot] = b.Symptoms[i].ID
		}
	}
	readers := make([][]*Rule, len(b.Names))
	var news []int // names just found to rest on a symptom
	for i := range b.Rules {
		if r := &b.Rules[i]; r.When != nil {
			for _, n := range r.When.Reads() {
				readers[n] = append(readers[n], r)
			}
		}
	}
	for n := range rests {
		if rests[n] != "" {
			news = append(news, n)
		}
	}
	for ; len(news) > 0; news = news[1:] {
		for _, r := range readers[news[0]] {
			for _, a := range r.Then {
				if rests[a.Name] == "" {
					rests[a.Name] = rests[news[0]]
					news = append(news, a.Name)
				}
			}
		}
	}
	return rests
}

// firstOf is the first symptom that some names rest on; "" where there is none.
func firstOf(names []int, rests []string) string {
	for _, n := range names {
		if rests[n] != "" {
			return rests[n]
		}
	}
	return ""
}
