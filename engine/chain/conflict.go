package chain

import (
	"fmt"
	"slices"
	"strings"

	"downdrop/rulebase"
)

// A Conflict is a name to which rules give different values. What rules say of it
// does not count: it stays not known, or what a person or the program gave.
type Conflict struct {
	Name   int
	Values []rulebase.Slot // in the order of the name's words, then numbers
	Rules  [][]int         // by value, in rule order
	Given  bool            // a person or the program gave the name a value, which stands

	base *rulebase.Base
	why  [][]Line
}

// clash is the conflict between what was derived of a name before and what rules
// say of it now.
func (r *Result) clash(d *Derivation, said []conclusion) *Conflict {
	all := slices.Clone(said)
	for _, rule := range d.Rules {
		all = append(all, conclusion{name: d.Name, rule: rule, value: d.Value})
	}
	slices.SortFunc(all, byNameThenValue)
	c := &Conflict{Name: d.Name, Given: r.Slots[d.Name].Rank > rulebase.FromRules, base: r.program.base}
	for i, x := range all {
		if i == 0 || !same(x.value, all[i-1].value) {
			x.value.Rank = rulebase.FromRules
			c.Values, c.Rules = append(c.Values, x.value), append(c.Rules, nil)
		}
		last := len(c.Rules) - 1
		c.Rules[last] = append(c.Rules[last], x.rule)
	}
	for _, rules := range c.Rules {
		c.why = append(c.why, r.whyRules(rules))
	}
	return c
}

// Members are the ids that the conflict is about: the name, then the rules.
func (c Conflict) Members() []string {
	ids := []string{c.base.Names[c.Name].ID}
	for _, rules := range c.Rules {
		for _, r := range rules {
			ids = append(ids, c.base.Rules[r].ID)
		}
	}
	return ids
}

// String is the conflict in words.
func (c Conflict) String() string {
	parts := make([]string, len(c.Values))
	for i, v := range c.Values {
		ids := make([]string, len(c.Rules[i]))
		for j, r := range c.Rules[i] {
			ids[j] = c.base.Rules[r].ID
		}
		parts[i] = fmt.Sprintf("%s by %s", c.base.SlotText(c.Name, v), strings.Join(ids, ", "))
	}
	stands := "It is taken as not known."
	if c.Given {
		stands = "The value that was given stands."
	}
	return fmt.Sprintf("Rules disagree about %s: %s. %s", c.base.Names[c.Name].ID, strings.Join(parts, "; "), stands)
}

// Chains are, by value, the reasons for it, down to what a person said.
func (c Conflict) Chains() [][]Line { return c.why }
