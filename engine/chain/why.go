package chain

import (
	"fmt"

	"downdrop/rulebase"
)

// A Line is a line of an explanation; each level rests on the lines below it.
type Line struct {
	Depth int
	Text  string
}

// Why explains what is known of a name, down to what a person said; nil where
// nothing is. It never passes through what it explains: a derived value is
// explained by the rules of the round in which it was first derived, and those
// read only what was known before.
func (r *Result) Why(name int) []Line {
	w := whyer{r: r, told: map[int]bool{}}
	w.name(name, 0)
	return w.lines
}

// WhyRule explains why a rule fired.
func (r *Result) WhyRule(rule int) []Line { return r.whyRules([]int{rule}) }

func (r *Result) whyRules(rules []int) []Line {
	w := whyer{r: r, told: map[int]bool{}}
	for _, rule := range rules {
		w.rule(rule, 0)
	}
	return w.lines
}

type whyer struct {
	r     *Result
	told  map[int]bool
	lines []Line
}

func (w *whyer) say(depth int, format string, args ...any) {
	w.lines = append(w.lines, Line{depth, fmt.Sprintf(format, args...)})
}

var origin = map[rulebase.Rank]string{rulebase.FromPerson: "said", rulebase.FromFilled: "known to the program", rulebase.FromDefault: "taken as usual, nothing said"}

func (w *whyer) name(name, depth int) {
	b, slot := w.r.program.base, w.r.Slots[name]
	is := fmt.Sprintf("%s is %s", b.Names[name].ID, b.SlotText(name, slot))
	at, derived := w.r.derived[name]
	switch {
	case slot.Rank == rulebase.NotKnown:
		w.say(depth, "%s is not known", b.Names[name].ID)
	case slot.Rank != rulebase.FromRules || !derived:
		w.say(depth, "%s: %s", is, origin[slot.Rank])
	case w.told[name]:
		w.say(depth, "%s (see above)", is)
	default:
		w.told[name] = true
		w.say(depth, "%s", is)
		for _, rule := range w.r.Derivations[at].first {
			w.rule(rule, depth+1)
		}
	}
}

func (w *whyer) rule(rule, depth int) {
	r := &w.r.program.base.Rules[rule]
	if r.Because != "" {
		w.say(depth, "by the rule %s: %s", r.ID, r.Because)
	} else {
		w.say(depth, "by the rule %s", r.ID)
	}
	for _, n := range w.r.program.reads[rule] {
		// What was only derived later played no part when the rule fired.
		if at, ok := w.r.derived[n]; !ok || w.r.Derivations[at].Round < w.r.round[rule] {
			w.name(n, depth+1)
		}
	}
}
