package chain_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"downdrop/engine/chain"
	"downdrop/rulebase"
)

// A thing is what the rules of a random program can set, with the values they
// give and what they can ask of it.
type thing struct {
	id     string
	values []string
	atoms  []string
}

// things are set by rules. Four of them make a stratum: of its own stratum and
// the ones below a rule may read anything, so that circles abound; what must not
// be known is only read from below.
var things = []thing{
	flagThing("f0"), wordThing("w1"), flagThing("f2"), numberThing("n3"),
	flagThing("f4"), flagThing("f5"), wordThing("s0"), flagThing("g3"),
	flagThing("f8"), wordThing("w9"), flagThing("f10"),
}

const stratum = 4

func flagThing(id string) thing {
	return thing{id, []string{"true", "true", "true", "false"}, []string{id, id, "known(" + id + ")", "not " + id, id + " == true"}}
}

func wordThing(id string) thing {
	return thing{id, []string{"red", "red", "green", "blue"}, []string{id + " == red", id + " != blue", id + " in [red, green]", "known(" + id + ")", id + " not in [green]"}}
}

func numberThing(id string) thing {
	return thing{id, []string{"2", "2", "4"}, []string{id + " < 3", id + " + n1 > 4", id + " == 2", id + " >= 2 and " + id + " <= 3", "known(" + id + ")", id + " in [2, 3]"}}
}

// observed is what no rule sets.
var observed = []string{
	"g0", "g1", "not g1", "g2", "not g2", "known(g2)", "not known(g2)", "known(g0)", "g0 == g2",
	"n0 < 30", "n0 >= 20", "n0 > 10 and n0 < 40", "n1 == 20", "n1 != 20", "n0 <= n1", "n1 > n0 * 2", "n1 + 10 <= 30",
	"n0 > 10", "n0 > 20", "n0 <= 10", "known(n1) and n1 >= 20", "n1 < 30 and known(n1)", "b0 == low and b0 > 4", "b0 > 4 and b0 != low",
	"c0 == red", "c0 != green", "c0 in [red, blue]", "s1 == red", "s1 != green", "c0 == s1",
	"b0 == low", "b0 > 15", "b0 in [mid, high]", "true",
}

const declared = `
givens:
  g0: {default: true}
  g1: {default: false}
  g2:
  g3:
  n0: {unit: V, range: [0, 100], default: 20}
  n1: {unit: V, range: [0, 100]}
  c0: {one_of: [red, green, blue]}
symptoms:
  s0: {ask: what, values: [red, green, blue]}
  s1: {ask: what, values: [red, green, blue]}
  b0: {ask: what, unit: V, bands: [{low: 15}, {mid: 30}, high]}
`

func drawRule(t *rapid.T) string {
	at := rapid.IntRange(0, len(things)-1).Draw(t, "sets")
	below := at / stratum * stratum
	within := min(len(things), below+stratum)
	parts := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) string {
		switch k := rapid.IntRange(0, 9).Draw(t, "kind"); {
		case k < 4:
			return rapid.SampledFrom(observed).Draw(t, "observed")
		case k == 4 && below > 0:
			return "not known(" + things[rapid.IntRange(0, below-1).Draw(t, "absent")].id + ")"
		}
		return rapid.SampledFrom(things[rapid.IntRange(0, within-1).Draw(t, "thing")].atoms).Draw(t, "atom")
	}), 1, 3).Draw(t, "parts")
	for i, p := range parts {
		parts[i] = "(" + p + ")"
	}
	join := rapid.SampledFrom([]string{" and ", " and ", " or "}).Draw(t, "join")
	then := things[at].id + ": " + rapid.SampledFrom(things[at].values).Draw(t, "value")
	if other := at - at%stratum; other != at && rapid.IntRange(0, 5).Draw(t, "two") == 0 {
		then += ", " + things[other].id + ": " + rapid.SampledFrom(things[other].values).Draw(t, "other value")
	}
	return fmt.Sprintf("{when: %q, then: {%s}, source: made}", strings.Join(parts, join), then)
}

func drawRules(t *rapid.T) []string {
	rules := rapid.SliceOfN(rapid.Custom(drawRule), 4, 24).Draw(t, "rules")
	for i := range rules {
		rules[i] = fmt.Sprintf("r%d: %s", i, rules[i])
	}
	return rules
}

// written is rules as a rulebase. Rules that never hold give every value once, so
// that each is known to the reader.
func written(rules []string) string {
	var b strings.Builder
	b.WriteString(declared + "rules:\n")
	for i, x := range things {
		for j, v := range slices.Compact(slices.Sorted(slices.Values(x.values))) {
			fmt.Fprintf(&b, "  never%d_%d: {when: g1 and not g1, then: {%s: %s}, source: made}\n", i, j, x.id, v)
		}
	}
	for _, r := range rules {
		b.WriteString("  " + r + "\n")
	}
	return b.String()
}

// seen is one thing said: of a name, in a state of work.
type seen struct {
	id    string
	slot  rulebase.Slot
	state int
}

func drawSeen(t *rapid.T, b *rulebase.Base) seen {
	name := rapid.SampledFrom(b.Names).Draw(t, "name")
	s := seen{id: name.ID, slot: rulebase.Slot{Number: math.NaN(), Rank: rapid.SampledFrom([]rulebase.Rank{rulebase.FromPerson, rulebase.FromFilled}).Draw(t, "rank")}}
	s.state = rapid.IntRange(0, 3).Draw(t, "state")
	if name.Type == rulebase.Number || name.Type == rulebase.Banded {
		s.slot.Number = float64(rapid.SampledFrom([]int{2, 4, 10, 20, 30, 40}).Draw(t, "number"))
	}
	if name.Type == rulebase.Banded {
		s.slot.Word = 1 + int32(min(s.slot.Number/15, 2))
	}
	if name.Type == rulebase.Flag || name.Type == rulebase.Choice {
		s.slot.Word = rapid.Int32Range(1, int32(len(name.Words))).Draw(t, "word")
	}
	return s
}

func drawSituation(t *rapid.T, b *rulebase.Base) []seen {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) seen { return drawSeen(t, b) }), 0, 8).Draw(t, "seen")
}

func input(t rapid.TB, b *rulebase.Base, situation []seen) chain.Input {
	in := empty(b)
	for _, s := range situation {
		n := slotOf(t, b, s.id)
		in.Slots[n], in.State[n] = s.slot, s.state
	}
	return in
}

// What follows, told without the order of rules or names.
type told struct {
	Slots     map[string]string // value, rank and state
	Fired     map[string]int    // state
	Derived   map[string]string // value, state, rules
	Below     map[string]string // the same, outranked
	Conflicts map[string]string
}

func tell(b *rulebase.Base, r *chain.Result) told {
	x := told{map[string]string{}, map[string]int{}, map[string]string{}, map[string]string{}, map[string]string{}}
	for i, s := range r.Slots {
		x.Slots[b.Names[i].ID] = fmt.Sprintf("%s rank %d state %d", b.SlotText(i, s), s.Rank, r.State[i])
	}
	for i, rule := range r.Fired {
		x.Fired[b.Rules[rule].ID] = r.FiredState[i]
	}
	derivation := func(d chain.Derivation) string {
		rules := ids(b, d.Rules)
		slices.Sort(rules)
		return fmt.Sprintf("%s state %d round %d by %v", b.SlotText(d.Name, d.Value), d.State, d.Round, rules)
	}
	for _, d := range r.Derivations {
		x.Derived[b.Names[d.Name].ID] = derivation(d)
	}
	for _, d := range r.Overridden {
		x.Below[b.Names[d.Name].ID] = derivation(d)
	}
	for _, c := range r.Conflicts {
		var values []string
		for i, v := range c.Values {
			rules := ids(b, c.Rules[i])
			slices.Sort(rules)
			values = append(values, fmt.Sprintf("%s by %v", b.SlotText(c.Name, v), rules))
		}
		x.Conflicts[b.Names[c.Name].ID] = fmt.Sprint(values, c.Given)
	}
	return x
}

// slow is the meaning of a program in the most obvious form: strata one after
// another, all rules that hold conclude at once, repeat until nothing changes,
// start again without the names that got two values.
func slow(b *rulebase.Base, in chain.Input) told {
	banned := map[int]string{}
	for {
		x, disputed := slowOnce(b, in, banned)
		if len(disputed) == 0 {
			for name, c := range banned {
				x.Conflicts[b.Names[name].ID] = c
			}
			return x
		}
		maps.Copy(banned, disputed)
	}
}

// given is what rules said of a name: who, and first when.
type given struct {
	value        rulebase.Slot
	rules        []string
	round, state int
}

func slowOnce(b *rulebase.Base, in chain.Input, banned map[int]string) (told, map[int]string) {
	slots, states := slices.Clone(in.Slots), slices.Clone(in.State)
	for i := range b.Givens {
		if g := &b.Givens[i]; slots[g.Name].Rank == rulebase.NotKnown && g.Default != nil {
			slots[g.Name] = *g.Default
		}
	}
	levels, _ := rulebase.Strata(b)
	fired := map[int]int{} // round
	known := map[int]*given{}
	round := 0
	stateOf := func(rule int) int {
		state := 0
		for _, n := range b.Rules[rule].When.Reads() {
			state = max(state, states[n])
		}
		return state
	}
	for level := 0; level <= slices.Max(levels); level++ {
		for {
			round++
			said := map[int]map[string][]int{} // by name and value: the rules
			texts := map[int]map[string]rulebase.Slot{}
			for i := range b.Rules {
				if levels[i] != level || fired[i] > 0 || rulebase.EvalTerm(b.Rules[i].When.Root, slots) != rulebase.True {
					continue
				}
				fired[i] = round
				for _, a := range b.Rules[i].Then {
					if banned[a.Name] != "" {
						continue
					}
					if said[a.Name] == nil {
						said[a.Name], texts[a.Name] = map[string][]int{}, map[string]rulebase.Slot{}
					}
					v := b.SlotText(a.Name, a.Value)
					said[a.Name][v], texts[a.Name][v] = append(said[a.Name][v], i), a.Value
				}
			}
			disputed := map[int]string{}
			next, nextStates := slices.Clone(slots), slices.Clone(states)
			for name, values := range said {
				outranked := slots[name].Rank > rulebase.FromRules
				all := map[string][]string{}
				for v, rules := range values {
					all[v] = ids(b, rules)
				}
				if g := known[name]; g != nil {
					v := b.SlotText(name, g.value)
					all[v] = append(all[v], g.rules...)
				}
				if len(all) > 1 {
					disputed[name] = disputeText(b, name, all, outranked)
					continue
				}
				for v, rules := range values {
					g := known[name]
					if g == nil {
						g = &given{value: texts[name][v], round: round, state: math.MaxInt}
						known[name] = g
					}
					g.rules = append(g.rules, ids(b, rules)...)
					if g.round == round {
						for _, rule := range rules {
							g.state = min(g.state, stateOf(rule))
						}
					}
					if !outranked {
						next[name], nextStates[name] = g.value, g.state
					}
				}
			}
			if len(disputed) > 0 {
				return told{}, disputed
			}
			slots, states = next, nextStates
			if len(said) == 0 && !slices.Contains(slices.Collect(maps.Values(fired)), round) {
				round--
				break
			}
		}
	}
	x := told{map[string]string{}, map[string]int{}, map[string]string{}, map[string]string{}, map[string]string{}}
	for i, s := range slots {
		x.Slots[b.Names[i].ID] = fmt.Sprintf("%s rank %d state %d", b.SlotText(i, s), s.Rank, states[i])
	}
	for rule := range fired {
		x.Fired[b.Rules[rule].ID] = stateOf(rule)
	}
	for name, g := range known {
		slices.Sort(g.rules)
		line := fmt.Sprintf("%s state %d round %d by %v", b.SlotText(name, g.value), g.state, g.round, g.rules)
		if slots[name].Rank > rulebase.FromRules {
			x.Below[b.Names[name].ID] = line
		} else {
			x.Derived[b.Names[name].ID] = line
		}
	}
	return x, nil
}

// disputeText tells a conflict, its values in the order of the name's words.
func disputeText(b *rulebase.Base, name int, all map[string][]string, outranked bool) string {
	var values []string
	order := slices.Sorted(maps.Keys(all))
	slices.SortStableFunc(order, func(x, y string) int {
		return slices.Index(b.Names[name].Words, x) - slices.Index(b.Names[name].Words, y)
	})
	for _, v := range order {
		slices.Sort(all[v])
		values = append(values, fmt.Sprintf("%s by %v", v, all[v]))
	}
	return fmt.Sprint(values, outranked)
}

// Run agrees with the slow version in everything it tells, and every why is well
// founded.
func TestRunIsWhatTheSlowVersionSays(t *testing.T) {
	conflicts, derived, below := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		b := mustLoad(t, written(drawRules(t)))
		in := input(t, b, drawSituation(t, b))
		r := chain.Compile(b).Run(in)
		got := tell(b, r)
		if diff := cmp.Diff(slow(b, in), got); diff != "" {
			t.Fatalf("slow -, run +:\n%s", diff)
		}
		wellFounded(t, b, r)
		conflicts, derived, below = conflicts+len(r.Conflicts), derived+len(r.Derivations), below+len(r.Overridden)
	})
	if conflicts == 0 || derived == 0 || below == 0 {
		t.Errorf("nothing was tried: %d conflicts, %d derived, %d outranked", conflicts, derived, below)
	}
}

// Whatever order the rules are written in, and if all of them are written twice,
// the same follows.
func TestOrderOfRulesNeverMatters(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rules := drawRules(t)
		b := mustLoad(t, written(rules))
		situation := drawSituation(t, b)
		want := tell(b, chain.Compile(b).Run(input(t, b, situation)))

		other := mustLoad(t, written(rapid.Permutation(rules).Draw(t, "order")))
		if diff := cmp.Diff(want, tell(other, chain.Compile(other).Run(input(t, other, situation)))); diff != "" {
			t.Fatalf("as drawn -, in another order +:\n%s", diff)
		}
		twice := slices.Clone(rules)
		for _, r := range rules {
			twice = append(twice, "twice_"+r)
		}
		doubled := mustLoad(t, written(twice))
		got := tell(doubled, chain.Compile(doubled).Run(input(t, doubled, situation)))
		if diff := cmp.Diff(want.Slots, got.Slots); diff != "" {
			t.Fatalf("once -, every rule twice +:\n%s", diff)
		}
	})
}

// After any changes a memory holds what a fresh run does; saying the same again
// costs nothing, and what is taken back leaves no trace.
func TestMemoryIsWhatAFreshRunSays(t *testing.T) {
	conflicts, visits, fresh := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		b := mustLoad(t, written(drawRules(t)))
		p := chain.Compile(b)
		in := input(t, b, drawSituation(t, b))
		m := p.NewMemory(in)
		first := tell(b, p.Run(in))
		check := func(what string) {
			r := p.Run(in)
			for i := range b.Names {
				got, want := m.Slot(i), r.Slots[i]
				if got.Rank != want.Rank || b.SlotText(i, got) != b.SlotText(i, want) || m.Known(i) != (want.Rank > rulebase.FromDefault) {
					t.Fatalf("%s: %s is %v, want %v", what, b.Names[i].ID, got, want)
				}
			}
			for i := range b.Rules {
				if _, fired := slices.BinarySearch(r.Fired, i); fired != m.Holds(i) {
					t.Fatalf("%s: %s holds %v, want %v", what, b.Rules[i].ID, m.Holds(i), fired)
				}
			}
			if diff := cmp.Diff(tell(b, r), tell(b, m.Result())); diff != "" {
				t.Fatalf("%s: %s", what, diff)
			}
			conflicts += len(r.Conflicts)
			fresh += r.Visits
		}
		check("at first")
		before := chain.Input{Slots: slices.Clone(in.Slots), State: slices.Clone(in.State)}
		visits -= m.Visits()
		for i := range rapid.IntRange(1, 12).Draw(t, "changes") {
			s := drawSeen(t, b)
			name := slotOf(t, b, s.id)
			if rapid.IntRange(0, 2).Draw(t, "back") == 0 {
				s.slot, s.state = notKnown, 0
				m.Retract(name)
			} else {
				m.Set(name, s.slot, s.state)
			}
			in.Slots[name], in.State[name] = s.slot, s.state
			if rapid.Bool().Draw(t, "ask") {
				check(fmt.Sprintf("after change %d", i+1))
			}
		}
		check("after all changes")
		at := m.Visits()
		visits += at
		if len(m.Result().Conflicts) == 0 {
			for i, s := range in.Slots {
				m.Set(i, s, in.State[i])
			}
			if m.Visits() != at {
				t.Fatalf("saying the same again evaluated %d conditions", m.Visits()-at)
			}
		}
		check("after saying the same again")
		for i, s := range before.Slots {
			m.Set(i, s, before.State[i])
		}
		in = before
		check("when all is taken back")
		if diff := cmp.Diff(first, tell(b, m.Result())); diff != "" {
			t.Fatalf("a change that was taken back left a trace:\n%s", diff)
		}
	})
	if conflicts == 0 || visits >= fresh {
		t.Errorf("%d conflicts tried; a memory evaluated %d conditions, fresh runs %d", conflicts, visits, fresh)
	}
}
