package engine

import (
	"slices"
	"strings"

	"downdrop/engine/chain"
	"downdrop/rulebase"
)

// tellFacts writes what is known on the way up, the advice of rules, and the
// conflicts found so far.
func (d *Diagnosis) tellFacts(k *known) {
	d.Conflicts = k.conflicts
	d.Known = k.result.Slots
	d.Fired = slices.Sorted(slices.Values(k.result.Fired))
	derived := map[int][]string{}
	for _, x := range k.result.Derivations {
		for _, r := range x.Rules {
			derived[x.Name] = append(derived[x.Name], d.Base.Rules[r].ID)
		}
	}
	for i, slot := range k.result.Slots {
		if slot.Rank == rulebase.NotKnown {
			continue
		}
		f := Fact{ID: d.Base.Names[i].ID, Value: d.Base.SlotText(i, slot), Because: derived[i], Why: why(k.result.Why(i))}
		switch slot.Rank {
		case rulebase.FromPerson:
			f.Because = []string{"said"}
		case rulebase.FromFilled:
			f.Because = []string{"filled"}
		case rulebase.FromDefault:
			f.Because = []string{"default"}
		}
		d.Facts = append(d.Facts, f)
	}
	for _, c := range d.Situation.Checked {
		why := []string{"by the installation sheet"}
		if c.Sum != "" {
			why = append(why, "  "+c.Sum)
		}
		if c.Source != "" {
			why = append(why, "  limit: "+c.Source)
		}
		d.Tells = append(d.Tells, Tell{"sheet." + c.Rule, "By the installation sheet: " + strings.TrimSpace(c.Says+" "+c.Do), why})
	}
	for _, r := range k.result.Fired {
		if rule := &d.Base.Rules[r]; rule.Tell != "" {
			d.Tells = append(d.Tells, Tell{rule.ID, rule.Tell, why(k.result.WhyRule(r))})
		}
	}
}

func why(lines []chain.Line) []string {
	out := make([]string, len(lines))
	for i, l := range lines {
		out[i] = strings.Repeat("  ", l.Depth) + l.Text
	}
	return out
}
