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

// slowly is one attempt of the slow version.
type slowly struct {
	b      *rulebase.Base
	slots  []rulebase.Slot
	states []int
	banned map[int]string
	fired  map[int]int // by rule: the round
	known  map[int]*given
	round  int
}

func slowOnce(b *rulebase.Base, in chain.Input, banned map[int]string) (told, map[int]string) {
	s := &slowly{b, slices.Clone(in.Slots), slices.Clone(in.State), banned, map[int]int{}, map[int]*given{}, 0}
	for i := range b.Givens {
		if g := &b.Givens[i]; s.slots[g.Name].Rank == rulebase.NotKnown && g.Default != nil {
			s.slots[g.Name] = *g.Default
		}
	}
	levels, _ := rulebase.Strata(b)
	for level := 0; level <= slices.Max(levels); level++ {
		for {
			var ready []int
			for i := range b.Rules {
				if levels[i] == level && s.fired[i] == 0 && rulebase.EvalTerm(b.Rules[i].When.Root, s.slots) == rulebase.True {
					ready = append(ready, i)
				}
			}
			if len(ready) == 0 {
				break
			}
			if disputed := s.fire(ready); len(disputed) > 0 {
				return told{}, disputed
			}
		}
	}
	return s.told(), nil
}

// fire lets the rules of a round conclude; it gives the names they dispute.
func (s *slowly) fire(ready []int) map[int]string {
	s.round++
	said := map[int]map[string][]int{} // by name and value: the rules
	values := map[string]rulebase.Slot{}
	for _, i := range ready {
		s.fired[i] = s.round
		for _, a := range s.b.Rules[i].Then {
			if s.banned[a.Name] != "" {
				continue
			}
			if said[a.Name] == nil {
				said[a.Name] = map[string][]int{}
			}
			v := s.b.SlotText(a.Name, a.Value)
			said[a.Name][v] = append(said[a.Name][v], i)
			values[fmt.Sprint(a.Name, v)] = a.Value
		}
	}
	disputed := map[int]string{}
	slots, states := slices.Clone(s.slots), slices.Clone(s.states)
	for name, by := range said {
		outranked := s.slots[name].Rank > rulebase.FromRules
		if d := s.dispute(name, by, outranked); d != "" {
			disputed[name] = d
			continue
		}
		for v, rules := range by {
			g := s.give(name, values[fmt.Sprint(name, v)], rules)
			if !outranked {
				slots[name], states[name] = g.value, g.state
			}
		}
	}
	s.slots, s.states = slots, states
	return disputed
}

// give notes that rules gave a name a value.
func (s *slowly) give(name int, value rulebase.Slot, rules []int) *given {
	g := s.known[name]
	if g == nil {
		g = &given{value: value, round: s.round, state: math.MaxInt}
		s.known[name] = g
	}
	g.rules = append(g.rules, ids(s.b, rules)...)
	for _, rule := range rules {
		if g.round == s.round {
			g.state = min(g.state, s.stateOf(rule))
		}
	}
	return g
}

// dispute tells a conflict between what rules say of a name now and before, its
// values in the order of the name's words; "" where they agree.
func (s *slowly) dispute(name int, said map[string][]int, outranked bool) string {
	all := map[string][]string{}
	for v, rules := range said {
		all[v] = ids(s.b, rules)
	}
	if g := s.known[name]; g != nil {
		v := s.b.SlotText(name, g.value)
		all[v] = append(all[v], g.rules...)
	}
	if len(all) == 1 {
		return ""
	}
	var values []string
	words := s.b.Names[name].Words
	order := slices.Sorted(maps.Keys(all))
	slices.SortStableFunc(order, func(x, y string) int { return slices.Index(words, x) - slices.Index(words, y) })
	for _, v := range order {
		slices.Sort(all[v])
		values = append(values, fmt.Sprintf("%s by %v", v, all[v]))
	}
	return fmt.Sprint(values, outranked)
}

func (s *slowly) stateOf(rule int) int {
	state := 0
	for _, n := range s.b.Rules[rule].When.Reads() {
		state = max(state, s.states[n])
	}
	return state
}

func (s *slowly) told() told {
	x := told{map[string]string{}, map[string]int{}, map[string]string{}, map[string]string{}, map[string]string{}}
	for i, slot := range s.slots {
		x.Slots[s.b.Names[i].ID] = fmt.Sprintf("%s rank %d state %d", s.b.SlotText(i, slot), slot.Rank, s.states[i])
	}
	for rule := range s.fired {
		x.Fired[s.b.Rules[rule].ID] = s.stateOf(rule)
	}
	for name, g := range s.known {
		slices.Sort(g.rules)
		line := fmt.Sprintf("%s state %d round %d by %v", s.b.SlotText(name, g.value), g.state, g.round, g.rules)
		if s.slots[name].Rank > rulebase.FromRules {
			x.Below[s.b.Names[name].ID] = line
		} else {
			x.Derived[s.b.Names[name].ID] = line
		}
	}
	return x
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
