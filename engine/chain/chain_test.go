package chain_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/engine/chain"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func load(yaml string) (*rulebase.Base, error) {
	text := "rulebase: {name: made}\nsources: {made: {says: made up for a test, kind: made}}\n" + yaml
	return rulebase.Load(rulebase.Layer{Name: "made", FS: fstest.MapFS{"all.yaml": {Data: []byte(text)}}})
}

func mustLoad(t testing.TB, yaml string) *rulebase.Base {
	t.Helper()
	b, err := load(yaml)
	if err != nil {
		t.Fatalf("%v\n%s", err, yaml)
	}
	return b
}

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

func empty(b *rulebase.Base) chain.Input {
	in := chain.Input{Slots: make([]rulebase.Slot, len(b.Names)), State: make([]int, len(b.Names))}
	for i := range in.Slots {
		in.Slots[i].Number = math.NaN()
	}
	return in
}

func slotOf(t testing.TB, b *rulebase.Base, id string) int {
	for i, n := range b.Names {
		if n.ID == id {
			return i
		}
	}
	t.Fatalf("no name %s", id)
	return -1
}

var holds = rulebase.Slot{Word: 2, Number: math.NaN(), Rank: rulebase.FromPerson}

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
			in.Slots[slotOf(t, b, f)] = holds
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
				in.Slots[name] = holds
				m.Set(name, holds, 0)
			} else {
				in.Slots[name] = rulebase.Slot{Number: math.NaN()}
				m.Retract(name)
			}
			edits++
			check(fmt.Sprintf("after edit %d (%s %s)", i+1, s.Op, s.Atom), s.Model)
		}
	}
	if len(c.Programs) < 12 || edits < 80 {
		t.Errorf("only %d programs and %d edits were checked", len(c.Programs), edits)
	}
}

// wellFounded checks that every derived value's explanation reaches what was
// said without passing through what it explains.
func wellFounded(t *testing.T, b *rulebase.Base, r *chain.Result) {
	t.Helper()
	for _, d := range r.Derivations {
		var path []string
		for _, l := range r.Why(d.Name) {
			path = append(path[:min(l.Depth, len(path))], l.Text)
			is := strings.Fields(l.Text)[0]
			for _, above := range path[:len(path)-1] {
				if is == strings.Fields(above)[0] && is != "by" && !strings.HasSuffix(l.Text, "not known") {
					t.Errorf("the explanation of %s passes through %s twice: %q", b.Names[d.Name].ID, is, path)
				}
			}
		}
		if len(path) < 2 {
			t.Errorf("%s has no explanation", b.Names[d.Name].ID)
		}
	}
}

// Programs that need something not to be known that rests on themselves are
// refused, and the circle is named.
func TestRefusedPrograms(t *testing.T) {
	c := readCases(t)
	for _, p := range slices.Concat(c.Refused, c.RefusedHand) {
		_, err := load(p.yaml(inOrder(len(p.Rules))))
		if err == nil || !strings.Contains(err.Error(), "not known") && !strings.Contains(err.Error(), "circle") {
			t.Errorf("%s: loaded, or refused for another reason: %v", p.ID, err)
			continue
		}
		named := false
		for _, r := range p.Rules {
			named = named || len(r.Forbids) > 0 && strings.Contains(err.Error(), "rule_"+r.Name)
		}
		if !named {
			t.Errorf("%s: the circle does not name a rule with a negative reading:\n%v", p.ID, err)
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
			in.Slots[slotOf(t, b, f)] = holds
		}
		run := chain.Compile(b).Run(in)
		if got := known(b, func(i int) rulebase.Slot { return run.Slots[i] }); !slices.Equal(got, c.Saturated) {
			t.Fatalf("order %d: %v, want %v", i, got, c.Saturated)
		}
	}
}

// randomProgram writes rules over flags, words and numbers, with unknowns,
// conflicts, defaults, circles of support and negative readings of lower names.
func randomProgram(r *rand.Rand) string {
	var b strings.Builder
	b.WriteString("givens:\n  g0: {default: true}\n  g1: {default: false}\n  g2:\n  n0: {unit: V, range: [0, 100], default: 24}\n  n1: {unit: V}\n  w0: {one_of: [red, green, blue]}\n")
	b.WriteString("symptoms:\n  s0: {ask: a, values: [on_, off_, odd]}\n  s1: {ask: b, values: [on_, off_, odd]}\nrules:\n")
	facts := 4 + r.IntN(5)
	// A rule for fact f reads, positively, any fact up to two above f; negatively only facts of lower strata.
	stratum := func(f int) int { return f / 3 }
	atom := func(f int) string {
		switch r.IntN(9) {
		case 0:
			return []string{"g0", "g1", "g2", "not g2", "known(g2)", "known(g0)"}[r.IntN(6)]
		case 1:
			return fmt.Sprintf("n%d %s %d", r.IntN(2), []string{"<", ">=", "=="}[r.IntN(3)], 10*r.IntN(6))
		case 2:
			return fmt.Sprintf("w0 %s %s", []string{"==", "!="}[r.IntN(2)], []string{"red", "green"}[r.IntN(2)])
		case 3:
			return fmt.Sprintf("s%d == %s", r.IntN(2), []string{"on_", "off_", "odd"}[r.IntN(3)])
		case 4:
			if stratum(f) > 0 {
				return fmt.Sprintf("not known(f%d)", r.IntN(3*stratum(f)))
			}
			return "known(n1)"
		}
		top := min(facts, 3*stratum(f)+3)
		k := r.IntN(top)
		return []string{fmt.Sprintf("f%d", k), fmt.Sprintf("known(f%d)", k), fmt.Sprintf("f%d", k)}[r.IntN(3)]
	}
	for f := range facts {
		fmt.Fprintf(&b, "  seed%d: {when: g1 and not g1, then: {f%d: true}, source: made}\n", f, f)
	}
	for i := range 6 + r.IntN(12) {
		f := r.IntN(facts)
		parts := []string{}
		for range 1 + r.IntN(3) {
			parts = append(parts, atom(f))
		}
		value := "true"
		if r.IntN(8) == 0 {
			value = "false"
		}
		join := []string{" and ", " and ", " or "}[r.IntN(3)]
		fmt.Fprintf(&b, "  r%d: {when: %q, then: {f%d: %s}, source: made}\n", i, strings.Join(parts, join), f, value)
	}
	return b.String()
}

// slow is the meaning of a program in the most obvious form: strata one after
// another, all rules that hold fire at once, repeat until nothing changes, start
// again without a name that gets two values.
func slow(b *rulebase.Base, in chain.Input) map[string]string {
	levels, _ := rulebase.Strata(b)
	banned := map[int]bool{}
again:
	slots := slices.Clone(in.Slots)
	for i := range b.Givens {
		if g := &b.Givens[i]; slots[g.Name].Rank == rulebase.NotKnown && g.Default != nil {
			slots[g.Name] = *g.Default
		}
	}
	for level := 0; len(levels) > 0 && level <= slices.Max(levels); level++ {
		for {
			next := slices.Clone(slots)
			changed, conflict := false, false
			for i := range b.Rules {
				if levels[i] != level || rulebase.EvalTerm(b.Rules[i].When.Root, slots) != rulebase.True {
					continue
				}
				for _, a := range b.Rules[i].Then {
					switch n := next[a.Name]; {
					case banned[a.Name] || n.Rank > rulebase.FromRules:
					case n.Rank == rulebase.FromRules && n.Word != a.Value.Word:
						banned[a.Name], conflict = true, true
					case n.Rank != rulebase.FromRules:
						next[a.Name] = a.Value
						changed = true
					}
				}
			}
			if conflict {
				goto again
			}
			slots = next
			if !changed {
				break
			}
		}
	}
	return words(b, func(i int) rulebase.Slot { return slots[i] })
}

func words(b *rulebase.Base, slot func(int) rulebase.Slot) map[string]string {
	all := map[string]string{}
	for i, n := range b.Names {
		if s := slot(i); s.Rank > rulebase.NotKnown {
			all[n.ID] = b.SlotText(i, s) + fmt.Sprint(s.Rank)
		}
	}
	return all
}

func observe(r *rand.Rand, b *rulebase.Base, in chain.Input, name int) bool {
	n := b.Names[name]
	s := rulebase.Slot{Number: math.NaN(), Rank: rulebase.FromPerson}
	switch n.Type {
	case rulebase.Number:
		s.Number = float64(10 * r.IntN(6))
	default:
		s.Word = int32(1 + r.IntN(len(n.Words)))
	}
	in.Slots[name] = s
	return true
}

// Run agrees with the slow version, and a memory with a fresh run after every
// one of a row of random changes; all comes back to where it was when the
// changes are taken back.
func TestRandomProgramsAndChanges(t *testing.T) {
	for seed := range support.Deep(t, 150) {
		r := rand.New(rand.NewPCG(uint64(seed), 4))
		text := randomProgram(r)
		b, err := load(text)
		if err != nil {
			continue // a circle through a negative reading: refused, as it should be
		}
		p := chain.Compile(b)
		in := empty(b)
		m := p.NewMemory(in)
		compare := func(what string) {
			fresh := p.Run(in)
			got := words(b, func(i int) rulebase.Slot { return fresh.Slots[i] })
			if want := slow(b, in); fmt.Sprint(got) != fmt.Sprint(want) {
				t.Fatalf("seed %d %s: run gives\n%v, want\n%v\n%s", seed, what, got, want, text)
			}
			if live := words(b, m.Slot); fmt.Sprint(live) != fmt.Sprint(got) {
				t.Fatalf("seed %d %s: memory gives\n%v, want\n%v\n%s", seed, what, live, got, text)
			}
			for i := range b.Rules {
				if _, fired := slices.BinarySearch(fresh.Fired, i); fired != m.Holds(i) {
					t.Fatalf("seed %d %s: rule %s holds %v in memory, %v afresh", seed, what, b.Rules[i].ID, m.Holds(i), fired)
				}
			}
			wellFounded(t, b, fresh)
		}
		compare("at first")
		first := words(b, m.Slot)
		var touched []int
		for i := range 12 {
			name := r.IntN(len(b.Names))
			if r.IntN(3) == 0 && len(touched) > 0 {
				name = touched[r.IntN(len(touched))]
				in.Slots[name] = rulebase.Slot{Number: math.NaN()}
				m.Retract(name)
			} else {
				observe(r, b, in, name)
				m.Set(name, in.Slots[name], 0)
				touched = append(touched, name)
			}
			compare(fmt.Sprintf("after change %d", i+1))
		}
		for _, name := range touched {
			in.Slots[name] = rulebase.Slot{Number: math.NaN()}
			m.Retract(name)
		}
		compare("when all is taken back")
		if back := words(b, m.Slot); fmt.Sprint(back) != fmt.Sprint(first) {
			t.Fatalf("seed %d: a retracted finding left a trace: %v, want %v", seed, back, first)
		}
	}
}

// Two rules that disagree leave the fact unknown, and both chains are told.
func TestConflict(t *testing.T) {
	b := mustLoad(t, `
symptoms:
  light: {ask: light, values: [lit, dark]}
  volts: {ask: volts, values: [good, none]}
rules:
  by_light: {when: light == lit, then: {powered: true}, because: a lit light has power, source: made}
  by_volts: {when: volts == none, then: {powered: false}, because: no volts no power, source: made}
  follows:  {when: powered, then: {alive: true}, source: made}
`)
	in := empty(b)
	in.Slots[slotOf(t, b, "light")] = rulebase.Slot{Word: 1, Number: math.NaN(), Rank: rulebase.FromPerson}
	in.Slots[slotOf(t, b, "volts")] = rulebase.Slot{Word: 2, Number: math.NaN(), Rank: rulebase.FromPerson}
	r := chain.Compile(b).Run(in)
	if len(r.Conflicts) != 1 || r.Slots[slotOf(t, b, "powered")].Rank != rulebase.NotKnown || r.Slots[slotOf(t, b, "alive")].Rank != rulebase.NotKnown {
		t.Fatalf("conflicts %v, powered %v", r.Conflicts, r.Slots[slotOf(t, b, "powered")])
	}
	c := r.Conflicts[0]
	if want := []string{"powered", "by_volts", "by_light"}; !slices.Equal(c.Members(), want) {
		t.Errorf("members %v, want %v", c.Members(), want)
	}
	if len(c.Chains()) != 2 || !strings.Contains(fmt.Sprint(c.Chains()), "a lit light has power") || !strings.Contains(fmt.Sprint(c.Chains()), "no volts no power") {
		t.Errorf("chains %v", c.Chains())
	}
}

// A derived value belongs to the state of the newest finding it rests on, and a
// person's value outranks it.
func TestStateAndRank(t *testing.T) {
	b := mustLoad(t, `
givens: {spare: {ask: is there a spare}}
symptoms:
  light: {ask: light, values: [lit, dark]}
  mode:  {ask: mode, values: [run, stop]}
rules:
  told_off: {when: light == dark and mode == stop, then: {told: true, spare: true}, source: made}
`)
	in := empty(b)
	light, mode, spare := slotOf(t, b, "light"), slotOf(t, b, "mode"), slotOf(t, b, "spare")
	in.Slots[light] = rulebase.Slot{Word: 2, Number: math.NaN(), Rank: rulebase.FromPerson}
	in.Slots[mode] = rulebase.Slot{Word: 2, Number: math.NaN(), Rank: rulebase.FromPerson}
	in.State[light], in.State[mode] = 1, 3
	r := chain.Compile(b).Run(in)
	if told := slotOf(t, b, "told"); r.State[told] != 3 || r.FiredState[0] != 3 {
		t.Errorf("states %v, %v; want 3", r.State[told], r.FiredState)
	}
	in.Slots[spare] = rulebase.Slot{Word: 1, Number: math.NaN(), Rank: rulebase.FromPerson}
	r = chain.Compile(b).Run(in)
	if r.Slots[spare].Word != 1 || len(r.Overridden) != 1 || r.Overridden[0].Value.Word != 2 {
		t.Errorf("spare is %v, overridden %v", r.Slots[spare], r.Overridden)
	}
}
