package engine_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// slowOutcomes are the outcomes as advice sees them, by plain enumeration: on a
// bench, what can be put right on none is one "elsewhere".
func slowOutcomes(b *rulebase.Base, s rulebase.Situation) map[string]float64 {
	q := &reference{b: b, s: s, brought: map[bitset][]bool{}}
	q.observe()
	q.suppose()
	q.weigh()
	all, total := map[string]float64{}, 0.0
	for i := range q.worlds {
		w := &q.worlds[i]
		key := "outside"
		if !w.outside {
			lists := map[string]bool{}
			for _, c := range q.members(w.now()) {
				list := strings.TrimSuffix(q.notDone(c), ",")
				if list == "" {
					list = b.Causes[c].ID
				}
				if s.At == rulebase.Bench && !mendedOnABench(b, c) {
					list = "elsewhere"
				}
				lists[list] = true
			}
			key = setText(lists)
		}
		all[key] += w.p
		total += w.p
	}
	for key := range all {
		all[key] /= total
	}
	return all
}

func mendedOnABench(b *rulebase.Base, cause int) bool {
	for _, h := range b.Causes[cause].Remedies {
		if at := b.Remedies[h.Remedy].At; len(at) == 0 || slices.Contains(at, rulebase.Bench) {
			return true
		}
	}
	return false
}

func textOf(t engine.ToDo) string {
	if t.Outside {
		return "outside"
	}
	lists := map[string]bool{}
	for _, l := range t.Lists {
		lists[strings.ReplaceAll(l, " ", ",")] = true
	}
	if t.Elsewhere {
		lists["elsewhere"] = true
	}
	return setText(lists)
}

// The outcomes of an advice have the chances of plain enumeration, none is likelier
// than the lead, and Enough says what it is documented to say.
func TestAdviceAgreesWithEnumeration(t *testing.T) {
	tried := map[string]int{}
	for seed := range support.Deep(t, 400) {
		r := rand.New(rand.NewPCG(uint64(seed), 12))
		w, text := randomRulebase(r)
		b, err := load(text)
		if err != nil {
			continue
		}
		file := w.randomCase()
		s, err := b.ReadCase("case", []byte(file))
		if err != nil {
			t.Fatal(err)
		}
		d := diagnose(t, engine.Prepare(b), s, engine.Options{})
		if !d.Possible {
			continue
		}
		want := slowOutcomes(b, s)
		a := d.Advice
		for _, o := range append([]engine.ToDo{a.Lead}, a.Others...) {
			// What has less than 1 in 10,000 may be missing from what a bench takes together.
			off := math.Abs(o.Probability - want[textOf(o)])
			if !(off <= 1e-9) && (s.At != rulebase.Bench || !(off <= 1e-4*float64(len(want)))) {
				t.Fatalf("seed %d: %q has %v, want %v\n%s\n%s", seed, textOf(o), o.Probability, want[textOf(o)], text, file)
			}
		}
		for key, p := range want {
			if p > a.Lead.Probability+1e-4*float64(len(want)) {
				t.Fatalf("seed %d: %q with %v is likelier than the lead %q with %v", seed, key, p, textOf(a.Lead), a.Lead.Probability)
			}
		}
		tells := slices.ContainsFunc(d.Next, func(p engine.Proposal) bool {
			return p.Step.Kind == rulebase.KindTest && p.GainBits >= engine.Idle && d.Fresh(p.Step)
		})
		worth := slices.ContainsFunc(d.Next, func(p engine.Proposal) bool {
			return p.Step.Kind == rulebase.KindTest && p.GainBits >= engine.Idle && d.Fresh(p.Step) && p.GainBits*engine.BitWorth >= p.Price
		})
		enough := engine.IsWell(d) || a.Lead.Probability >= engine.Settled || a.Lead.Probability >= engine.Likely && !worth
		takesOut := func(key string) bool {
			for list := range strings.SplitSeq(key, " ") {
				ids := strings.Split(list, ",")
				if ref, ok := b.Lookup(ids[len(ids)-1]); ok && ref.Kind == rulebase.KindRemedy && b.Remedies[ref.Index].EndsAs == rulebase.UnitOut {
					return true
				}
			}
			return false
		}
		bad := 0.0
		for key, p := range want {
			if takesOut(key) {
				bad += p
			}
		}
		if math.Abs(bad-engine.Doubt) < 0.002 {
			continue // too near: what is smallest may decide
		}
		if s.At == rulebase.Bench && !engine.IsWell(d) && enough && !takesOut(textOf(a.Lead)) && bad > engine.Doubt {
			enough = false
			tried["not proven"]++
		}
		if a.Enough != enough || a.CannotTell != (!enough && !tells) || len(a.Elsewhere) > 0 && !a.CannotTell {
			t.Fatalf("seed %d: %+v, enough %v, tells %v", seed, a, enough, tells)
		}
		for _, w := range a.Elsewhere {
			if w.Step.Kind != rulebase.KindTest || !d.Fresh(w.Step) || w.GainBits < engine.Idle || len(a.Elsewhere) > 3 {
				t.Fatalf("seed %d: elsewhere %s would be done, of %d; it would show something new: %v, and tells %v bits", seed, w.Step.ID, len(a.Elsewhere), d.Fresh(w.Step), w.GainBits)
			}
		}
		for _, what := range sureAndInVain(b, s, &a, want) {
			t.Fatalf("seed %d: %s\n%s\n%s", seed, what, text, file)
		}
		if (d.Disposition != nil) != (s.At == rulebase.Phone) {
			t.Fatalf("seed %d: a disposition at %q", seed, s.At)
		}
		for what, is := range map[string]bool{"enough": a.Enough, "cannot tell": a.CannotTell, "elsewhere": a.Lead.Elsewhere, "outside": a.Lead.Outside, "needs": len(a.Elsewhere) > 0, "call": d.Disposition != nil} {
			if is {
				tried[what]++
			}
		}
	}
	for _, what := range []string{"enough", "cannot tell", "elsewhere", "outside", "needs", "call", "not proven"} {
		if tried[what] < 2 && !testing.Short() {
			t.Errorf("%s was tried %d times", what, tried[what])
		}
	}
}

// sureAndInVain goes over what is to be done whatever else is, and over what a wrong
// advice costs, by all outcomes; it gives what is not as it should be.
func sureAndInVain(b *rulebase.Base, s rulebase.Situation, a *engine.Advice, want map[string]float64) (wrong []string) {
	near := 1e-4*float64(len(want)) + 1e-9 // what is likely to less than that may be left out
	lost, most := 0.0, 0.0
	for i := range b.Remedies {
		step := &b.Remedies[i]
		first := 0.0
		leads := slices.Contains(a.Lead.Remedies, i)
		minutes := slowPrice(b, s, step)
		for key, p := range want {
			in := false
			for list := range strings.SplitSeq(key, " ") {
				ids := strings.Split(list, ",")
				in = in || slices.Contains(ids, step.ID)
				if ids[0] == step.ID {
					first += p
					break
				}
			}
			if leads && !in && key != textOf(a.Lead) {
				lost += p * minutes
				most = max(most, minutes)
			}
		}
		plain := !slices.ContainsFunc(b.Remedies, func(r rulebase.Step) bool { return r.OnlyIf != nil }) // else the first of a list may be passed over
		if sure := slices.Contains(a.Sure, i); plain && sure != (first >= engine.Settled) && !(math.Abs(first-engine.Settled) <= near) {
			wrong = append(wrong, fmt.Sprintf("%s is to be done with %v, sure %v", step.ID, first, sure))
		}
	}
	if !(math.Abs(a.Wrong-(1-a.Lead.Probability)) <= 1e-12) {
		wrong = append(wrong, fmt.Sprintf("wrong with %v where the lead has %v", a.Wrong, a.Lead.Probability))
	}
	// InVain is a mean over the outcomes that are looked at: as much is missing from both.
	if off := math.Abs(a.InVain*a.Wrong - lost); !(off <= 2*near*(most+1)*float64(1+len(a.Lead.Remedies))) {
		wrong = append(wrong, fmt.Sprintf("%v minutes in vain with %v; %v are lost", a.InVain, a.Wrong, lost))
	}
	return wrong
}

// slowPrice is what a remedy costs that was done in vain.
func slowPrice(b *rulebase.Base, s rulebase.Situation, step *rulebase.Step) float64 {
	effort := b.Effort
	if s.Effort != nil {
		effort = *s.Effort
	}
	minutes := step.Minutes + map[rulebase.Stops]float64{rulebase.StopsDrop: effort.StopsDrop, rulebase.StopsBus: effort.StopsBus}[step.Stops]
	if step.Proof != nil {
		minutes += step.Proof.Minutes
	}
	who := step.Who
	if step.Hazard&(rulebase.HazardLive|rulebase.HazardUnknown) != 0 {
		who = max(who, rulebase.Technician)
	}
	away := s.At != "" && len(step.At) > 0 && !slices.Contains(step.At, s.At) || s.Who != rulebase.Anybody && s.Who < who
	for _, tool := range step.Needs {
		away = away || s.Tools != nil && !slices.Contains(s.Tools, tool)
	}
	if away {
		minutes += effort.Visit
	}
	if step.EndsAs == rulebase.UnitOut {
		minutes += 180
	}
	return minutes
}

// A lean diagnosis offers, in the same order and with the same numbers, all that a
// whole one does but tests already looked at and those that tell next to nothing.
func TestLeanLeavesOutOnlyWhatDecidesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := draw(t)
		whole := mustDiagnose(t, x.p, x.s, engine.Options{})
		lean := mustDiagnose(t, x.p, x.s, engine.Options{Lean: true, OneCore: true})
		var got, want []engine.Proposal
		decides := func(d *engine.Diagnosis) (all []engine.Proposal) {
			for _, p := range d.Next {
				if p.Step.Kind == rulebase.KindRemedy || p.GainBits >= engine.Idle && d.Fresh(p.Step) {
					all = append(all, p)
				}
			}
			return all
		}
		got, want = decides(lean), decides(whole)
		same := slices.EqualFunc(got, want, func(a, b engine.Proposal) bool {
			return a.Step == b.Step && a.GainBits == b.GainBits && a.Planned == b.Planned
		})
		if !same || lean.Advice.Enough != whole.Advice.Enough || lean.Advice.Lead.Probability != whole.Advice.Lead.Probability {
			t.Fatalf("lean %v\nwhole %v\n%s", got, want, x.text)
		}
		brief := mustDiagnose(t, x.p, x.s, engine.Options{NoMinutes: true})
		alike := slices.EqualFunc(brief.Next, whole.Next, func(a, b engine.Proposal) bool {
			return a.Step == b.Step && a.GainBits == b.GainBits && a.Planned == b.Planned
		})
		withheld := slices.EqualFunc(brief.NotOffered, whole.NotOffered, func(a, b engine.Withheld) bool {
			return a.Step == b.Step && a.Why == b.Why && a.GainBits == b.GainBits && a.Detail == b.Detail
		})
		if !alike || !withheld {
			t.Fatalf("without minutes %v %v\nwhole %v %v\n%s", brief.Next, brief.NotOffered, whole.Next, whole.NotOffered, x.text)
		}
		if len(lean.Next) < len(got) || len(lean.Next) > len(whole.Next) {
			t.Fatalf("%d offered, of %d", len(lean.Next), len(whole.Next))
		}
	})
}

// calls is a rulebase of three ends of a call. The numbers are invented.
const calls = `
rulebase: {name: calls, faults_at_most: 1, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: fine}}
causes:
  off: {name: Switched off, part: supply, per_thousand: 100, source: common_practice, remedy: switch_on}
  fuse: {name: Fuse blown, part: supply, per_thousand: 100, source: common_practice, remedy: replace_fuse}
  board: {name: Board dead, part: unit, per_thousand: 100, source: common_practice, remedy: exchange}
conditions: {down: {when: off or fuse or board}}
symptoms:
  works: {ask: works, values: [fine, dead], shows: [{when: down, dead: 1}, {fine: 1}]}
  tells: {ask: tells, values: [a, b, c], by: looking, shows: [{when: off, a: 0.98}, {when: fuse, b: 0.98}, {c: 0.98}]}
remedies:
  switch_on: {do: Switch on, minutes: 5, at: [phone, field], ends_as: adjusted}
  replace_fuse: {do: Replace the fuse, minutes: 20, at: [field], who: electrician, needs: [fuse_link], ends_as: part_replaced}
  exchange: {do: Exchange the unit, minutes: 60, at: [field], who: technician, needs: [spare], ends_as: unit_out}
sources: {common_practice: {says: Common practice, kind: practice}}
`

// What a question saves, worked out by hand: knowing for sure would save the minutes of
// the end chosen now over the mean of the three that would be chosen then, and the
// question tells the share I/H of that. A call goes on while that is worth two people's minutes.
func TestWorthAsking(t *testing.T) {
	for _, minutes := range []float64{1, 500} {
		b, err := load(calls + fmt.Sprintf("tests: {see: {do: See, minutes: %v, yields: [tells], at: [phone]}}\n", minutes))
		if err != nil {
			t.Fatal(err)
		}
		d := diagnose(t, engine.Prepare(b), rulebase.Situation{At: rulebase.Phone, Who: rulebase.Operator}, engine.Options{})
		visit := b.Effort.Visit
		known := (5 + (visit + 5 + 0.5) + (visit + 5 + 5 + 0.5)) / 3
		x := d.Disposition
		if !(math.Abs(x.Minutes-x.ToKnow-known) <= 1e-9*known) {
			t.Errorf("%v minutes, %v of them saved by knowing, want %v left", x.Minutes, x.ToKnow, known)
		}
		i := slices.IndexFunc(d.Next, func(p engine.Proposal) bool { return p.Step.ID == "see" })
		if i < 0 {
			t.Fatalf("nothing is asked: %+v", d.NotOffered)
		}
		p := d.Next[i]
		told := 1 + (0.98*math.Log2(0.98)+0.02*math.Log2(0.01))/math.Log2(3)
		if want := told * x.ToKnow; !(math.Abs(p.Saves-want) <= 1e-9*want) {
			t.Errorf("saves %v, want %v", p.Saves, want)
		}
		if worth := p.Saves > 2*minutes; d.WorthAsking(&p) != worth || x.Enough == worth || worth != (minutes == 1) {
			t.Errorf("%v minutes: worth asking %v, enough %v", minutes, d.WorthAsking(&p), x.Enough)
		}
		if x.Further == nil || x.Further.Step != p.Step {
			t.Errorf("further: %v", x.Further)
		}
	}
}

// A call ends in the cheapest way: what the caller can do, a visit with what it
// takes, a unit.
func TestDisposition(t *testing.T) {
	b, err := load(calls)
	if err != nil {
		t.Fatal(err)
	}
	for seen, want := range map[string]struct {
		kind     engine.Sending
		who      rulebase.Who
		remedies []string
		tools    []string
	}{
		"a": {engine.SolveNow, rulebase.Operator, []string{"switch_on"}, []string{}},
		"b": {engine.SendSomebody, rulebase.Electrician, []string{"replace_fuse"}, []string{"fuse_link"}},
		"c": {engine.SendUnit, rulebase.Technician, []string{"exchange"}, []string{"spare"}},
	} {
		s := rulebase.Situation{At: rulebase.Phone, Who: rulebase.Operator, Findings: []rulebase.Finding{{Symptom: "tells", Value: rulebase.Value{Word: seen}}}}
		d := diagnose(t, engine.Prepare(b), s, engine.Options{})
		x := d.Disposition
		for _, id := range want.remedies {
			if !slices.ContainsFunc(x.Remedies, func(r int) bool { return b.Remedies[r].ID == id }) {
				t.Errorf("%s: %s is not among what is to be done", seen, id)
			}
		}
		for _, tool := range want.tools {
			if !slices.Contains(x.Tools, tool) {
				t.Errorf("%s: nobody brings %s", seen, tool)
			}
		}
		if x.Kind != want.kind || x.Who != want.who || !x.Enough || !(math.Abs(x.Probability-0.98) <= 0.011) {
			t.Errorf("%s: %+v", seen, *x)
		}
		sum := 0.0
		for _, p := range x.Chances {
			sum += p
		}
		if !(math.Abs(sum-1) <= 1e-9) || x.Chances[want.kind] < 0.97 {
			t.Errorf("%s: chances %v", seen, x.Chances)
		}
	}
}

// Causes that want the same remedies may be helped by them more or less often, and two at once have both to be
// taken away: how a call ends is reckoned over all of them, not by the likeliest.
func TestCausesOfOneListAreHelpedDifferently(t *testing.T) {
	text := `
rulebase: {name: lists, faults_at_most: 1, outside_per_thousand: 0, sure: 1, complaint: {symptom: works, bad: dead, well: fine}}
givens: {user_place: {ask: Where are you, one_of: [phone, field, bench], filled_by: at}}
causes:
  plug:  {name: The plug is loose, part: line, per_thousand: 100, source: common_practice, remedies: [{do: push_plug, helps: 0.5}]}
  screw: {name: A screw is loose, part: line, per_thousand: 50, source: common_practice, remedies: [{do: push_plug, helps: 0.9}]}
  wire:  {name: A wire is off, part: line, per_thousand: 50, source: common_practice, remedies: [{do: push_plug, helps: 1}]}
symptoms:
  works: {ask: Does it work, by: asking, values: [fine, dead], shows: [{when: plug or screw or wire, dead: 1}, {fine: 1}]}
remedies:
  push_plug: {do: Push the plug home, minutes: 5, who: technician, at: [field], ends_as: adjusted, proof: {watch: works, minutes: 5}}
`
	b, err := load(text)
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Phone, Who: rulebase.Operator, Findings: []rulebase.Finding{{Symptom: "works", Value: rulebase.Value{Word: "dead"}}}}
	d := diagnose(t, engine.Prepare(b), s, engine.Options{})
	// One of the three is there, as their odds say: 1/9, 1/19 and 1/19.
	plug, other := 1.0/9, 1.0/19
	want := (plug*0.5 + other*0.9 + other*1) / (plug + 2*other)
	x := d.Disposition
	if x.Kind != engine.SendSomebody || !(math.Abs(x.Probability-want) <= 1e-9) || !(math.Abs(x.Wrong-(1-want)) <= 1e-9) {
		t.Errorf("%+v, wanted to end it with %v", *x, want)
	}
	// A technician's visit, and a second one where it does not end it; knowing what to do changes nothing of that.
	visit := b.Effort.Visit
	if minutes := visit + 10 + (1-want)*visit; !(math.Abs(x.Minutes-minutes) <= 1e-9*minutes) || !(math.Abs(x.ToKnow) <= 1e-9) {
		t.Errorf("%v minutes, %v of them to know; wanted %v and none", x.Minutes, x.ToKnow, minutes)
	}
}

// callCase is what a call of the rulebase calls ends as once somebody has said what it tells.
func callCase(t *testing.T, text, seen string) *engine.Disposition {
	t.Helper()
	s := rulebase.Situation{At: rulebase.Phone, Who: rulebase.Operator, Findings: []rulebase.Finding{{Symptom: "tells", Value: rulebase.Value{Word: seen}}}}
	return diagnose(t, engine.Prepare(mustLoad(t, text)), s, engine.Options{}).Disposition
}

// What it costs where an end of the call is wrong, counted on paper for 1,000 calls. What is seen names
// the right cause in 980, and each of the others in 10.
func TestWhatItCostsWhereACallEndsWrong(t *testing.T) {
	visit := mustLoad(t, calls).Effort.Visit
	hard := strings.Replace(calls, "remedy: exchange}", "remedies: [{do: exchange, helps: 0.9}]}", 1)
	clear := strings.NewReplacer("a: 0.98", "a: 1", "b: 0.98", "b: 1", "c: 0.98", "c: 1").Replace(calls)
	for _, c := range []struct {
		text, seen string
		kind       engine.Sending
		wrong      float64 // of 1,000 calls
		lost       float64 // minutes in these
	}{
		// 20 call again, and then somebody comes: 90 minutes of standing still, and the visit.
		{calls, "a", engine.SolveNow, 20, 20 * (90 + visit)},
		// To 10 somebody has to come again, with a unit; 10 could have switched it on themselves.
		{calls, "b", engine.SendSomebody, 20, 20 * visit},
		// In 20 a good unit was sent.
		{calls, "c", engine.SendUnit, 20, 20 * 180},
		// Of 980 dead units the exchange does not help in 98, and somebody comes once more.
		{hard, "c", engine.SendUnit, 98 + 20, 98*visit + 20*180},
		// What is seen leaves no doubt: nothing can be lost.
		{clear, "c", engine.SendUnit, 0, 0},
	} {
		x := callCase(t, c.text, c.seen)
		if x.Kind != c.kind || !(math.Abs(1000*x.Wrong-c.wrong) <= 1e-9) || !(math.Abs(x.InVain*c.wrong-c.lost) <= 1e-6) {
			t.Errorf("%s: %s, wrong in %v of 1,000 with %v minutes; want %s, %v, %v", c.seen, x.Kind, 1000*x.Wrong, x.InVain, c.kind, c.wrong, c.lost/max(c.wrong, 1))
		}
	}
}

// What a caller can do counts though something that only a visit can do is tried before it.
func TestCallerDoesWhatStandsBehindAVisit(t *testing.T) {
	x := callCase(t, strings.Replace(calls, "remedy: switch_on}", "remedies: [{do: replace_fuse, helps: 0.5}, switch_on]}", 1), "a")
	base := mustLoad(t, calls)
	if x.Kind != engine.SolveNow || len(x.Remedies) != 1 || base.Remedies[x.Remedies[0]].ID != "switch_on" || !(math.Abs(x.Probability-0.98) <= 1e-9) {
		t.Errorf("%+v", *x)
	}
}

// Of tests that show the same, and take as long, the ids decide the order; of those that tell as much, the one
// that is offered first is what would tell most.
func TestWhatTellsAsMuch(t *testing.T) {
	b := mustLoad(t, calls+`tests:
  see_c: {do: See, minutes: 5, yields: [tells], at: [field]}
  see_b: {do: See, minutes: 5, yields: [tells], at: [field]}
  a_late: {do: See, minutes: 40, yields: [tells], at: [field]}
  see_a: {do: See, minutes: 5, yields: [tells], at: [field]}
`)
	d := diagnose(t, engine.Prepare(b), rulebase.Situation{At: rulebase.Field}, engine.Options{})
	var tests []string
	for _, p := range d.Next {
		if p.Step.Kind == rulebase.KindTest {
			tests = append(tests, p.Step.ID)
		}
	}
	if want := []string{"see_a", "see_b", "see_c", "a_late"}; !slices.Equal(tests, want) {
		t.Errorf("offered %v, want %v", tests, want)
	}
	if f := d.Advice.Further; f == nil || f.Step.ID != "see_a" {
		t.Errorf("the test that tells most is %v", f)
	}
}
