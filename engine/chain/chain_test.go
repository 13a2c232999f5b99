package chain_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"downdrop/engine/chain"
	"downdrop/rulebase"
)

// TestMain sets how much the random tests try: DOWNDROP_DEEP times the least.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", strconv.Itoa(150*deep())); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

func deep() int {
	n, _ := strconv.Atoi(os.Getenv("DOWNDROP_DEEP"))
	return max(1, n)
}

func load(yaml string) (*rulebase.Base, error) {
	text := "rulebase: {name: made}\nsources: {made: {says: made up for a test, kind: made}}\n" + yaml
	return rulebase.Load(rulebase.Layer{Name: "made", FS: fstest.MapFS{"all.yaml": {Data: []byte(text)}}})
}

func mustLoad(t rapid.TB, yaml string) *rulebase.Base {
	t.Helper()
	b, err := load(yaml)
	if err != nil {
		t.Fatalf("%v\n%s", err, yaml)
	}
	return b
}

func empty(b *rulebase.Base) chain.Input {
	in := chain.Input{Slots: make([]rulebase.Slot, len(b.Names)), State: make([]int, len(b.Names))}
	for i := range in.Slots {
		in.Slots[i] = notKnown
	}
	return in
}

func slotOf(t rapid.TB, b *rulebase.Base, id string) int {
	for i, n := range b.Names {
		if n.ID == id {
			return i
		}
	}
	t.Fatalf("no name %s", id)
	return -1
}

var notKnown = rulebase.Slot{Number: math.NaN()}

// said is a word that a person gave; for a flag 1 is false, 2 true.
func said(word int32) rulebase.Slot {
	return rulebase.Slot{Word: word, Number: math.NaN(), Rank: rulebase.FromPerson}
}

func ids(b *rulebase.Base, rules []int) []string {
	all := []string{}
	for _, r := range rules {
		all = append(all, b.Rules[r].ID)
	}
	return all
}

// text is an explanation as it is printed.
func text(lines []chain.Line) string {
	var b strings.Builder
	for _, l := range lines {
		b.WriteString(strings.Repeat("  ", l.Depth) + l.Text + "\n")
	}
	return b.String()
}

// wellFounded checks that every derived value's explanation, and every fired
// rule's, ends in what was said or never said, without passing through what it
// explains.
func wellFounded(t rapid.TB, b *rulebase.Base, r *chain.Result) {
	t.Helper()
	for _, d := range r.Derivations {
		lines := r.Why(d.Name)
		if len(lines) < 2 || !strings.HasPrefix(lines[1].Text, "by the rule ") {
			t.Fatalf("%s is derived without a reason:\n%s", b.Names[d.Name].ID, text(lines))
		}
		ends(t, lines)
	}
	for _, rule := range r.Fired {
		ends(t, r.WhyRule(rule))
	}
	for _, c := range r.Conflicts {
		for _, lines := range c.Chains() {
			ends(t, lines)
		}
	}
}

var endings = []string{": said", ": known to the program", ": taken as usual, nothing said", "is not known", "is not known: rules disagree about it", " (see above)"}

func ends(t rapid.TB, lines []chain.Line) {
	t.Helper()
	var path []string
	for i, l := range lines {
		path = append(path[:min(l.Depth, len(path))], l.Text)
		subject := strings.Fields(l.Text)[0]
		leaf := i+1 == len(lines) || lines[i+1].Depth <= l.Depth
		if subject == "by" {
			continue // a rule; one that reads nothing is an end
		}
		for _, above := range path[:len(path)-1] {
			if subject == strings.Fields(above)[0] {
				t.Fatalf("%s is explained by itself:\n%s", subject, text(lines))
			}
		}
		if leaf != slices.ContainsFunc(endings, func(e string) bool { return strings.HasSuffix(l.Text, e) }) {
			t.Fatalf("the line %q does not end as it should:\n%s", l.Text, text(lines))
		}
	}
}

const disagreeing = `
symptoms:
  light: {ask: light, values: [lit, dark]}
  volts: {ask: volts, values: [good, none]}
  hum:   {ask: hum, values: [some, none]}
rules:
  by_light: {when: light == lit, then: {powered: true}, because: a lit light has power, source: made}
  by_volts: {when: volts == none, then: {powered: false}, because: no volts no power, source: made}
  by_hum:   {when: hum == some, then: {powered: true}, source: made}
  follows:  {when: powered, then: {alive: true}, source: made}
  lacking:  {when: not known(powered), then: {in_doubt: true}, source: made}
`

// Rules that disagree leave the fact unknown; all of them are told, with their
// chains, in whatever order they are written.
func TestConflict(t *testing.T) {
	b := mustLoad(t, disagreeing)
	in := empty(b)
	for id, word := range map[string]int32{"light": 1, "volts": 2, "hum": 1} {
		in.Slots[slotOf(t, b, id)] = said(word)
	}
	r := chain.Compile(b).Run(in)
	for id, want := range map[string]rulebase.Rank{"powered": rulebase.NotKnown, "alive": rulebase.NotKnown, "in_doubt": rulebase.FromRules} {
		if got := r.Slots[slotOf(t, b, id)].Rank; got != want {
			t.Errorf("%s has rank %v, want %v", id, got, want)
		}
	}
	if len(r.Conflicts) != 1 {
		t.Fatalf("conflicts %v", r.Conflicts)
	}
	c := r.Conflicts[0]
	if want := []string{"powered", "by_volts", "by_light", "by_hum"}; !slices.Equal(c.Members(), want) {
		t.Errorf("members %v, want %v", c.Members(), want)
	}
	if want := "Rules disagree about powered: false by by_volts; true by by_light, by_hum. It is taken as not known."; c.String() != want {
		t.Errorf("%q, want %q", c, want)
	}
	chains := text(c.Chains()[0]) + "against\n" + text(c.Chains()[1])
	want := `by the rule by_volts: no volts no power
  volts is none: said
against
by the rule by_light: a lit light has power
  light is lit: said
by the rule by_hum
  hum is some: said
`
	if diff := cmp.Diff(want, chains); diff != "" {
		t.Error(diff)
	}
	if got := text(r.Why(slotOf(t, b, "in_doubt"))); !strings.Contains(got, "powered is not known: rules disagree about it") {
		t.Errorf("the conflict is missing from\n%s", got)
	}
}

// A rule may disagree with what was derived rounds before, and everything that
// rested on it goes.
func TestConflictWithEarlierRounds(t *testing.T) {
	b := mustLoad(t, `
givens: {start: {ask: did it start}, other: {ask: did the other}}
rules:
  first:  {when: start, then: {x: true}, source: made}
  second: {when: x, then: {y: true}, source: made}
  third:  {when: y, then: {x: false}, source: made}
  apart:  {when: other, then: {y: true}, source: made}
`)
	in := empty(b)
	in.Slots[slotOf(t, b, "start")] = said(2)
	p := chain.Compile(b)
	r := p.Run(in)
	x, y := slotOf(t, b, "x"), slotOf(t, b, "y")
	if len(r.Conflicts) != 1 || r.Slots[x].Rank != rulebase.NotKnown || r.Slots[y].Rank != rulebase.NotKnown {
		t.Errorf("conflicts %v, x %v, y %v", r.Conflicts, r.Slots[x], r.Slots[y])
	}
	in.Slots[slotOf(t, b, "other")] = said(2)
	if r = p.Run(in); r.Slots[y].Word != 2 || r.Slots[x].Rank != rulebase.NotKnown {
		t.Errorf("with another reason: x %v, y %v", r.Slots[x], r.Slots[y])
	}
}

// What a person said stands even where rules disagree, and that they do is told.
func TestConflictBelowAPerson(t *testing.T) {
	b := mustLoad(t, disagreeing)
	in := empty(b)
	for id, word := range map[string]int32{"light": 1, "volts": 2, "powered": 2} {
		in.Slots[slotOf(t, b, id)] = said(word)
	}
	r := chain.Compile(b).Run(in)
	if p := r.Slots[slotOf(t, b, "powered")]; p.Rank != rulebase.FromPerson || p.Word != 2 || r.Slots[slotOf(t, b, "alive")].Word != 2 {
		t.Errorf("slots %v", r.Slots)
	}
	if len(r.Conflicts) != 1 || !r.Conflicts[0].Given || !strings.HasSuffix(r.Conflicts[0].String(), "The value that was given stands.") || len(r.Overridden) != 0 {
		t.Errorf("conflicts %v, overridden %v", r.Conflicts, r.Overridden)
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
	light, mode, spare, told := slotOf(t, b, "light"), slotOf(t, b, "mode"), slotOf(t, b, "spare"), slotOf(t, b, "told")
	in.Slots[light], in.Slots[mode] = said(2), said(2)
	in.State[light], in.State[mode] = 1, 3
	r := chain.Compile(b).Run(in)
	if r.State[told] != 3 || r.FiredState[0] != 3 {
		t.Errorf("states %v, %v; want 3", r.State[told], r.FiredState)
	}
	for _, rank := range []rulebase.Rank{rulebase.FromPerson, rulebase.FromFilled} {
		in.Slots[spare] = rulebase.Slot{Word: 1, Number: math.NaN(), Rank: rank}
		r = chain.Compile(b).Run(in)
		if r.Slots[spare].Word != 1 || len(r.Overridden) != 1 || r.Overridden[0].Value.Word != 2 || r.Overridden[0].State != 3 {
			t.Errorf("rank %v: spare is %v, overridden %v", rank, r.Slots[spare], r.Overridden)
		}
	}
}

// The why goes down to what a person said, each name explained once, by all
// rules of the first round and by what counted when they fired.
func TestWhy(t *testing.T) {
	b := mustLoad(t, `
givens:
  line: {one_of: [pair, coax], default: pair}
  place: {one_of: [phone, field, bench], filled_by: at}
symptoms:
  light: {ask: light, values: [lit, dark]}
  volts: {ask: volts, values: [good, none]}
  mode:  {ask: mode, values: [run, stop]}
rules:
  dead:   {when: light == dark and line == pair, then: {no_power: true}, because: no light without power, source: made}
  empty:  {when: volts == none, then: {no_power: true}, source: made}
  again:  {when: no_power or reported or known(mode), then: {reported: true}, source: made}
  late:   {when: reported, then: {no_power: true}, source: made}
  send:   {when: reported and no_power and place != phone and not known(mode), then: {look: true}, because: somebody is there, source: made}
`)
	in := empty(b)
	in.Slots[slotOf(t, b, "light")], in.Slots[slotOf(t, b, "volts")] = said(2), said(2)
	in.Slots[slotOf(t, b, "place")] = rulebase.Slot{Word: 2, Number: math.NaN(), Rank: rulebase.FromFilled}
	r := chain.Compile(b).Run(in)
	want := `look is true
  by the rule send: somebody is there
    place is field: known to the program
    mode is not known
    no_power is true
      by the rule dead: no light without power
        line is pair: taken as usual, nothing said
        light is dark: said
      by the rule empty
        volts is none: said
    reported is true
      by the rule again
        no_power is true (see above)
`
	if diff := cmp.Diff(want, text(r.Why(slotOf(t, b, "look")))); diff != "" {
		t.Error(diff)
	}
	// Where the program knows something from, it says so of that, and of nothing else.
	place, line := slotOf(t, b, "place"), slotOf(t, b, "line")
	named := in
	named.From = map[int]string{place: "the sheet says so", line: "not asked for"}
	for name, want := range map[int]string{place: "place is field: the sheet says so\n", line: "line is pair: taken as usual, nothing said\n"} {
		if got := text(chain.Compile(b).Run(named).Why(name)); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	at := slices.IndexFunc(r.Derivations, func(d chain.Derivation) bool { return d.Name == slotOf(t, b, "no_power") })
	if got, want := ids(b, r.Derivations[at].Rules), []string{"dead", "empty", "late"}; !slices.Equal(got, want) {
		t.Errorf("no_power rests on %v, want %v", got, want)
	}
	wellFounded(t, b, r)

	// What rules said is no observation: given what a run found, a run finds it again, by the same reasons.
	in.Slots = r.Slots
	if diff := cmp.Diff(tell(b, r), tell(b, chain.Compile(b).Run(in))); diff != "" {
		t.Error(diff)
	}
}

// A choice of more words than a screen's table holds is read all the same.
func TestManyWords(t *testing.T) {
	var words []string
	for i := range 70 {
		words = append(words, fmt.Sprintf("w%d", i))
	}
	b := mustLoad(t, "givens: {many: {one_of: ["+strings.Join(words, ", ")+"]}, other: {ask: the other}}\n"+`
rules:
  last: {when: many == w69 and other, then: {at_last: true}, source: made}
  some: {when: "many in [w31, w32, w63] and known(many)", then: {at_some: true}, source: made}
`)
	p := chain.Compile(b)
	in := empty(b)
	m := p.NewMemory(in)
	many, other := slotOf(t, b, "many"), slotOf(t, b, "other")
	in.Slots[other] = said(2)
	m.Set(other, said(2), 0)
	for i := range words {
		in.Slots[many] = said(int32(i + 1))
		m.Set(many, in.Slots[many], 0)
		r := p.Run(in)
		for _, id := range []string{"at_last", "at_some"} {
			if name := slotOf(t, b, id); m.Known(name) != (r.Slots[name].Word == 2) {
				t.Errorf("many is %s: %s is %v, a fresh run says %v", words[i], id, m.Slot(name), r.Slots[name])
			}
		}
	}
}

// A person's word ends a dispute between rules for as long as it is not taken back.
func TestDisputeComesBack(t *testing.T) {
	b := mustLoad(t, disagreeing)
	in := empty(b)
	in.Slots[slotOf(t, b, "light")], in.Slots[slotOf(t, b, "volts")] = said(1), said(2)
	m := chain.Compile(b).NewMemory(in)
	powered, alive := slotOf(t, b, "powered"), slotOf(t, b, "alive")
	for range 2 {
		if m.Known(powered) || m.Known(alive) {
			t.Error("what rules disagree about is taken as known")
		}
		m.Set(powered, said(2), 0)
		if !m.Known(alive) {
			t.Error("what a person said does not count")
		}
		m.Retract(powered)
	}
	if m.Retract(slotOf(t, b, "volts")); m.Slot(powered).Word != 2 || !m.Known(alive) {
		t.Error("the dispute goes on when one side is taken back")
	}
}

// What was said was all that a circle stood on, although its rules see no
// difference when it is taken back.
func TestCircleStandsOnWhatWasSaid(t *testing.T) {
	b := mustLoad(t, `
givens: {other: {ask: the other}}
rules:
  there: {when: a, then: {b: true}, source: made}
  back:  {when: b, then: {a: true}, source: made}
  out:   {when: b and known(other), then: {c: true}, source: made}
`)
	m := chain.Compile(b).NewMemory(empty(b))
	a, c, other := slotOf(t, b, "a"), slotOf(t, b, "c"), slotOf(t, b, "other")
	m.Set(a, said(2), 0)
	m.Set(other, said(1), 0)
	if !m.Known(c) {
		t.Error("c does not follow")
	}
	m.Retract(a)
	if m.Known(a) || m.Known(c) {
		t.Errorf("a is %v, c is %v after what they stood on was taken back", m.Slot(a), m.Slot(c))
	}
}
