package engine

import (
	"cmp"
	"slices"
	"strings"

	"downdrop/engine/plan"
	"downdrop/rulebase"
)

// When it is enough (choices of ours, tuned by rehearsal).
const (
	// Settled is how likely an outcome has to be for it to be advised while
	// something could still be looked at.
	Settled = 0.95
	// Likely is how likely it has to be once nothing more on offer would tell,
	// or is worth its minutes.
	Likely = 0.8
	// BitWorth is how many minutes one bit is worth from there on: those of two last
	// resorts (give_up_minutes as usual), since wrong advice costs trust as well.
	BitWorth = 480.0
	// Doubt is how likely a bad unit may still be, on the bench, for an advice that
	// leaves the unit in: above, it is not proven.
	Doubt = 0.03
	// Idle is the gain, in bits, below which a test does not count as telling: a
	// hundredth of a choice between two equals.
	Idle = 0.01
)

// A ToDo is an outcome: what there is to do, with how likely that is. It is the
// set, over the causes still present, of each cause's list of remedies not done.
type ToDo struct {
	Lists       []string // each the ids of a list in order, joined by blanks, or a cause's id where no remedy is left; sorted
	Remedies    []int    // the first of each list whose only_if does not forbid it, places in Base.Remedies, by id
	Bare        []int    // causes for which no remedy is left, places in Base.Causes
	Elsewhere   bool     // on the bench: something that cannot be put right there; it is in no list
	Outside     bool     // something that is not listed
	Probability float64
}

// ids order outcomes that are as likely as each other, in whatever order a rulebase names them.
func (t ToDo) ids() []string {
	if t.Outside {
		return []string{"~"}
	}
	return t.Lists
}

// Same says whether two outcomes are one.
func (t ToDo) Same(o ToDo) bool {
	return t.Outside == o.Outside && t.Elsewhere == o.Elsewhere && slices.Equal(t.Lists, o.Lists)
}

// Nothing says that nothing is to be done.
func (t ToDo) Nothing() bool { return !t.Outside && !t.Elsewhere && len(t.Lists) == 0 }

// An Advice says whether enough is known to stop looking, and what to do then.
type Advice struct {
	// Enough: do what Lead says. It is likely enough that nothing that can still be
	// looked at is worth its minutes.
	Enough bool
	Lead   ToDo   // the likeliest outcome
	Others []ToDo // the likeliest behind it
	// Sure are the remedies that are to be done whatever else is: at least as likely as
	// Settled, each is the first of some list. Places in Base.Remedies, by id.
	Sure []int
	// CannotTell: these cannot be told apart from here, and none is likely enough.
	CannotTell bool
	// Wrong is the chance that Lead is not just what there is to do, and InVain how
	// many minutes are then done in vain on the mean: what of Lead is no part of what
	// there is to do, with its proof, with what a good unit taken out costs. Wrong
	// times InVain is what it costs to be wrong.
	Wrong, InVain float64
	// Further is the test on offer that tells most, nil where none tells. Where it is
	// enough, it is not worth its minutes.
	Further *Proposal
	// Elsewhere is what would tell them apart with another place, person or tool,
	// the most telling first.
	Elsewhere []Withheld
}

// How much of it is kept.
const (
	keptOthers    = 3
	keptElsewhere = 3
	// smallest is the chance of the least outcome that is looked at.
	smallest = 1e-4
)

// advise says whether enough is known.
func (d *Diagnosis) advise(w *weighing, outcomes []plan.Outcome, outside float64) {
	all := append(w.k.toDos(outcomes), ToDo{Lists: []string{}, Remedies: []int{}, Outside: true, Probability: outside})
	slices.SortStableFunc(all, func(x, y ToDo) int { // outside is last, and stays so where it is as likely
		return cmp.Or(cmp.Compare(rounded(y.Probability), rounded(x.Probability)), slices.Compare(x.ids(), y.ids()))
	})
	a := Advice{Lead: all[0], Others: all[1:min(1+keptOthers, len(all))]}
	a.Wrong = max(0, 1-a.Lead.Probability)
	a.InVain = w.k.inVain(&a, all)
	a.Sure = w.k.sureOf(all)
	telling := d.telling()
	a.Further = mostTelling(telling)
	switch {
	case w.k.well():
		a.Enough = true
	case a.Lead.Probability >= Settled:
		a.Enough = true
	case a.Lead.Probability >= Likely:
		a.Enough = !slices.ContainsFunc(telling, func(p *Proposal) bool { return p.GainBits*BitWorth >= p.Price })
	}
	if a.Enough && !w.k.well() && d.Situation.At == rulebase.Bench && !w.k.unitComesOut(a.Lead) && w.k.unitBad(all) > Doubt {
		a.Enough = false
	}
	if !a.Enough && len(telling) == 0 {
		a.CannotTell = true
		a.Elsewhere = d.tellingElsewhere()
	}
	d.Advice = a
	if x := d.Disposition; x != nil {
		worth := slices.ContainsFunc(telling, func(p *Proposal) bool { return d.WorthAsking(p) })
		x.Enough = w.k.well() || !worth
		for _, p := range telling {
			if x.Further == nil || p.Saves-talking*p.Price > x.Further.Saves-talking*x.Further.Price {
				x.Further = p
			}
		}
	}
}

// inVain is the mean of the minutes that are lost on the remedies of the lead where
// that is wrong, over all other outcomes.
func (k *known) inVain(a *Advice, all []ToDo) float64 {
	lost, chance := 0.0, 0.0
	may := k.permission()
	for i := range all {
		o := &all[i]
		if o.Same(a.Lead) {
			continue
		}
		chance += o.Probability
		for _, r := range a.Lead.Remedies {
			step := &k.base.Remedies[r]
			if o.wants(step.ID) {
				continue
			}
			minutes := k.price(step) + step.ProofMinutes()
			if may.away(step) {
				minutes += k.effort().Visit
			}
			if step.EndsAs == rulebase.UnitOut {
				minutes += needlessUnit
			}
			lost += float64(o.Probability * minutes)
		}
	}
	if chance == 0 {
		return 0
	}
	return lost / chance
}

// sureOf are the remedies that come first in some list of outcomes which together are
// settled.
func (k *known) sureOf(all []ToDo) []int {
	sure := []int{}
	for _, r := range k.remediesByID() {
		p := 0.0
		for i := range all {
			if slices.Contains(all[i].Remedies, r) {
				p += all[i].Probability
			}
		}
		if p >= Settled {
			sure = append(sure, r)
		}
	}
	return sure
}

// wants says whether a remedy stands in some list of an outcome.
func (t *ToDo) wants(remedy string) bool {
	return slices.ContainsFunc(t.Lists, func(list string) bool { return slices.Contains(strings.Fields(list), remedy) })
}

// mostTelling is the test of the greatest gain, nil where there is none.
func mostTelling(tests []*Proposal) *Proposal {
	var best *Proposal
	for _, p := range tests {
		if best == nil || rounded(p.GainBits) > rounded(best.GainBits) {
			best = p
		}
	}
	return best
}

// unitComesOut says whether the unit is to come out in the end, if nothing before that in
// its list helps.
func (k *known) unitComesOut(t ToDo) bool {
	return slices.ContainsFunc(t.Lists, func(list string) bool {
		step := k.base.Step(list[strings.LastIndexByte(list, ' ')+1:])
		return step != nil && step.EndsAs == rulebase.UnitOut
	})
}

// unitBad is how likely it is that the unit has to come out.
func (k *known) unitBad(all []ToDo) float64 {
	p := 0.0
	for _, t := range all {
		if k.unitComesOut(t) {
			p += t.Probability
		}
	}
	return p
}

// IsWell says whether the drop is well, by what was said last.
func IsWell(d *Diagnosis) bool { return d.working.known.well() }

// ToDo is what there would be to do if these causes, rising, were present now.
func (d *Diagnosis) ToDo(causes []uint16) ToDo { return d.working.known.toDo(causes) }

// toDos are the outcomes as what there is to do here; those that are the same
// here are one.
func (k *known) toDos(outcomes []plan.Outcome) []ToDo {
	var all []ToDo
	for _, o := range outcomes {
		t := k.toDo(o.Causes)
		at := slices.IndexFunc(all, t.Same)
		if k.s.At != rulebase.Bench || at < 0 {
			at = len(all)
			all = append(all, t)
		}
		all[at].Probability += o.Chance
	}
	return all
}

// notOnThisBench says whether a cause can be put right on no bench, and the user is at one.
func (k *known) notOnThisBench(cause int) bool {
	return k.s.At == rulebase.Bench && !slices.ContainsFunc(k.base.Causes[cause].Remedies, func(h rulebase.Helps) bool {
		at := k.base.Remedies[h.Remedy].At
		return len(at) == 0 || slices.Contains(at, rulebase.Bench)
	})
}

func (k *known) toDo(causes []uint16) ToDo {
	t := ToDo{Lists: []string{}, Remedies: []int{}}
	for _, c := range causes {
		if k.notOnThisBench(int(c)) {
			t.Elsewhere = true
			continue
		}
		t.Lists = append(t.Lists, k.list(int(c)))
		if r := k.nextApt(int(c)); r >= 0 {
			t.Remedies = append(t.Remedies, r)
		} else {
			t.Bare = append(t.Bare, int(c))
		}
	}
	slices.Sort(t.Lists)
	t.Lists = slices.Compact(t.Lists)
	slices.SortFunc(t.Remedies, func(a, b int) int { return strings.Compare(k.base.Remedies[a].ID, k.base.Remedies[b].ID) })
	t.Remedies = slices.Compact(t.Remedies)
	return t
}

// nextApt is a cause's first remedy not yet done that is not known to be out of place
// here; where all are, the first of them; -1 where none is left.
func (k *known) nextApt(cause int) int {
	may := permission{s: k.s, slots: k.result.Slots}
	for _, h := range k.base.Causes[cause].Remedies {
		if step := &k.base.Remedies[h.Remedy]; !k.isDone(step.ID) && may.apt(step) == nil {
			return h.Remedy
		}
	}
	return k.nextRemedy(cause)
}

// telling are the tests on offer that would show something not yet looked at in
// this state of work, and tell enough to be worth asking for.
func (d *Diagnosis) telling() []*Proposal {
	var all []*Proposal
	for i := range d.Next {
		p := &d.Next[i]
		if p.Step.Kind == rulebase.KindTest && p.GainBits >= Idle && d.Fresh(p.Step) {
			all = append(all, p)
		}
	}
	return all
}

// Further is what would tell most, or by phone save most, of what can still be looked at;
// nil where nothing would.
func (d *Diagnosis) Further() *Proposal {
	if d.Disposition != nil {
		return d.Disposition.Further
	}
	return d.Advice.Further
}

// WorthAsking says whether a test on offer is worth putting to somebody: it tells
// something not looked at in this state of work, and by phone it saves more in the end of
// the call than its minutes cost.
func (d *Diagnosis) WorthAsking(p *Proposal) bool {
	if p.Step.Kind != rulebase.KindTest || p.GainBits < Idle || !d.Fresh(p.Step) {
		return false
	}
	return d.Disposition == nil || len(p.Step.PutsRight) > 0 || p.Saves > talking*p.Price
}

// Fresh says whether a test would show something that was not yet looked at in
// this state of work. What somebody remembers does not change with work; a test
// that puts something right is done once.
func (d *Diagnosis) Fresh(test *rulebase.Step) bool {
	k := d.working.known
	if k.isDone(test.ID) {
		return false
	}
	if len(test.PutsRight) > 0 {
		return true
	}
	return slices.ContainsFunc(test.Yields, func(s int) bool {
		ever := test.Implied && d.Base.Symptoms[s].By == rulebase.ByAsking
		return d.Base.Symptoms[s].Weighs && !slices.ContainsFunc(k.counting, func(r seen) bool {
			return r.symptom == s && r.rule < 0 && !r.silent && (ever || r.state == len(d.Situation.Done))
		})
	})
}

// tellingElsewhere are the tests that would tell and are withheld for want of a place, a
// person or a tool, the most telling first.
func (d *Diagnosis) tellingElsewhere() []Withheld {
	var all []Withheld
	for _, n := range d.NotOffered { // by falling gain
		if n.Step.Kind == rulebase.KindTest && n.GainBits >= Idle && len(all) < keptElsewhere && d.Fresh(n.Step) {
			switch n.Why {
			case WhyPlace, WhyPerson, WhyTools, WhyPhone, WhyPhoneStops, WhyAlone:
				all = append(all, n)
			}
		}
	}
	return all
}
