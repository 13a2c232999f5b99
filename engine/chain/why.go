package chain

import (
	"fmt"
	"slices"

	"downdrop/rulebase"
)

// A Line is a line of an explanation; each level rests on the lines below it.
type Line struct {
	Depth int
	Text  string
}

// Why explains what is known of a name, down to what a person said. It never
// passes through what it explains: a derived value is explained by the rules of
// the round in which it was first derived, and those read only what was known
// before.
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
	told  map[int]bool // names explained already
	lines []Line
}

func (w *whyer) say(depth int, format string, args ...any) {
	w.lines = append(w.lines, Line{depth, fmt.Sprintf(format, args...)})
}

var origin = map[rulebase.Rank]string{rulebase.FromPerson: "said", rulebase.FromFilled: "known to the program", rulebase.FromDefault: "taken as usual, nothing said"}

func (w *whyer) name(name, depth int) {
	b, slot := w.r.program.base, w.r.Slots[name]
	id := b.Names[name].ID
	is := fmt.Sprintf("%s is %s", id, b.SlotText(name, slot))
	switch {
	case slot.Rank == rulebase.NotKnown && w.r.banned[name]:
		w.say(depth, "%s is not known: rules disagree about it", id)
	case slot.Rank == rulebase.NotKnown:
		w.say(depth, "%s is not known", id)
	case slot.Rank == rulebase.FromFilled && w.r.from[name] != "":
		w.say(depth, "%s: %s", is, w.r.from[name])
	case slot.Rank != rulebase.FromRules:
		w.say(depth, "%s: %s", is, origin[slot.Rank])
	case w.told[name]:
		w.say(depth, "%s (see above)", is)
	default:
		w.told[name] = true
		w.say(depth, "%s", is)
		for _, rule := range w.r.all[w.r.at[name]-1].first {
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
		if w.counted(n, rule) {
			w.name(n, depth+1)
		}
	}
}

// counted says whether a name played a part when a rule fired: it was known
// then, or the rule wants it not to be known.
func (w *whyer) counted(name, rule int) bool {
	switch w.r.Slots[name].Rank {
	case rulebase.NotKnown:
		return slices.ContainsFunc(w.r.program.base.Rules[rule].When.KnownReads(), func(k rulebase.KnownRead) bool { return k.Name == name && k.Negative })
	case rulebase.FromRules:
		return w.r.all[w.r.at[name]-1].Round < w.r.round[rule]
	}
	return true
}
