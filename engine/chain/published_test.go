package chain_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"downdrop/engine/chain"
	"downdrop/rulebase"
)

// atomRule is a rule over atoms that are known or not.
type atomRule struct {
	Name           string
	Needs, Forbids []string
	Conditions     [][]string
	Adds           []string
}

type step struct {
	Op, Atom string
	Model    []string
}

type program struct {
	ID      string
	Rules   []atomRule
	Facts   []string
	Model   []string
	History []step
	Steps   []step
}

func (r atomRule) when() string {
	var parts []string
	for _, a := range r.Needs {
		parts = append(parts, "known("+a+")")
	}
	for _, a := range r.Forbids {
		parts = append(parts, "not known("+a+")")
	}
	for _, any := range r.Conditions {
		var known []string
		for _, a := range any {
			known = append(known, "known("+a+")")
		}
		parts = append(parts, "("+strings.Join(known, " or ")+")")
	}
	if len(parts) == 0 {
		return "true"
	}
	return strings.Join(parts, " and ")
}

// yaml writes a program as a rulebase: every atom a given, known or not.
func (p program) yaml(order []int) string {
	atoms := map[string]bool{}
	for _, r := range p.Rules {
		for _, a := range slices.Concat(r.Needs, r.Forbids, r.Adds, slices.Concat(r.Conditions...)) {
			atoms[a] = true
		}
	}
	for _, f := range p.Facts {
		atoms[f] = true
	}
	for _, s := range slices.Concat(p.History, p.Steps) {
		atoms[s.Atom] = true
	}
	var names []string
	for a := range atoms {
		names = append(names, a)
	}
	slices.Sort(names)
	var b strings.Builder
	b.WriteString("givens:\n")
	for _, a := range names {
		fmt.Fprintf(&b, "  %s:\n", a)
	}
	b.WriteString("rules:\n")
	for _, i := range order {
		var then []string
		for _, a := range p.Rules[i].Adds {
			then = append(then, a+": true")
		}
		fmt.Fprintf(&b, "  rule_%s: {when: %q, then: {%s}, source: made}\n", p.Rules[i].Name, p.Rules[i].when(), strings.Join(then, ", "))
	}
	return b.String()
}

func inOrder(n int) []int {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	return order
}

func known(b *rulebase.Base, slot func(int) rulebase.Slot) []string {
	all := []string{}
	for i, n := range b.Names {
		if slot(i).Rank > rulebase.FromDefault {
			all = append(all, n.ID)
		}
	}
	slices.Sort(all)
	return all
}

type cases struct {
	Programs, Refused []program
	Hand              []program
	RefusedHand       []program `json:"refused_hand"`
	Strategy          struct {
		Rules     []atomRule
		Facts     []string
		Saturated []string
	} `json:"strategy_example"`
}

func readCases(t *testing.T) cases {
	text, err := os.ReadFile("testdata/rules_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var c cases
	if err := json.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	return c
}

// Every program of the file has its model, and after every edit the memory
// holds the model and what a fresh run would.
func TestProgramsAndEdits(t *testing.T) {
	c := readCases(t)
	edits := 0
	for _, p := range slices.Concat(c.Programs, c.Hand) {
		b := mustLoad(t, p.yaml(inOrder(len(p.Rules))))
		program := chain.Compile(b)
		in := empty(b)
		for _, f := range p.Facts {
			in.Slots[slotOf(t, b, f)] = said(2)
		}
		m := program.NewMemory(in)
		check := func(what string, want []string) {
			fresh := program.Run(in)
			if got := known(b, func(i int) rulebase.Slot { return fresh.Slots[i] }); !slices.Equal(got, want) {
				t.Errorf("%s %s: fresh run knows %v, want %v", p.ID, what, got, want)
			}
			if got := known(b, m.Slot); !slices.Equal(got, want) {
				t.Errorf("%s %s: memory knows %v, want %v", p.ID, what, got, want)
			}
			wellFounded(t, b, fresh)
		}
		if p.Model != nil {
			check("at first", p.Model)
		}
		for i, s := range slices.Concat(p.History, p.Steps) {
			name := slotOf(t, b, s.Atom)
			if s.Op == "assert" {
				in.Slots[name] = said(2)
				m.Set(name, said(2), 0)
			} else {
				in.Slots[name] = notKnown
				m.Retract(name)
			}
			edits++
			check(fmt.Sprintf("after edit %d (%s %s)", i+1, s.Op, s.Atom), s.Model)
		}
	}
	if len(c.Programs) != 12 || edits != 85 {
		t.Errorf("only %d programs and %d edits were checked", len(c.Programs), edits)
	}
}

var circleStep = regexp.MustCompile(`rule_(\w+) reads (\w+), which rule_(\w+) sets`)

// Programs that need something not to be known that rests on themselves are
// refused, and the circle named is there: each step reads what the next sets,
// and one of them wants it not to be known.
func TestRefusedPrograms(t *testing.T) {
	c := readCases(t)
	for _, p := range slices.Concat(c.Refused, c.RefusedHand) {
		_, err := load(p.yaml(inOrder(len(p.Rules))))
		if err == nil {
			t.Errorf("%s: loaded", p.ID)
			continue
		}
		rules := map[string]atomRule{}
		for _, r := range p.Rules {
			rules[r.Name] = r
		}
		steps := circleStep.FindAllStringSubmatch(err.Error(), -1)
		negative := false
		for i, s := range steps {
			reader, atom, setter := rules[s[1]], s[2], rules[s[3]]
			negative = negative || slices.Contains(reader.Forbids, atom)
			if !slices.Contains(slices.Concat(reader.Needs, reader.Forbids), atom) || !slices.Contains(setter.Adds, atom) || s[3] != steps[(i+1)%len(steps)][1] {
				t.Errorf("%s: %q is not so, or does not lead on", p.ID, s[0])
			}
		}
		if !negative {
			t.Errorf("%s: no circle through something that must not be known is named:\n%v", p.ID, err)
		}
	}
}

// A published production system concludes different things when it stops at the
// first conclusion; run to the end, 200 orders of its rules give one answer.
func TestSaturationDoesNotDependOnOrder(t *testing.T) {
	c := readCases(t).Strategy
	p := program{Rules: c.Rules, Facts: c.Facts}
	r := rand.New(rand.NewPCG(1, 1))
	for i := range 200 {
		b := mustLoad(t, p.yaml(r.Perm(len(p.Rules))))
		in := empty(b)
		for _, f := range c.Facts {
			in.Slots[slotOf(t, b, f)] = said(2)
		}
		run := chain.Compile(b).Run(in)
		if got := known(b, func(i int) rulebase.Slot { return run.Slots[i] }); !slices.Equal(got, c.Saturated) {
			t.Fatalf("order %d: %v, want %v", i, got, c.Saturated)
		}
	}
}
