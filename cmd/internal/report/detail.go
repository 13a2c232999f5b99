package report

import (
	"fmt"
	"io"
	"strings"

	"downdrop/engine"
)

// detail writes everything, with all digits, for those who keep the rulebase.
func (t *text) detail() {
	if t.d.Possible {
		t.allSteps()
		t.allCauses()
		t.allSets()
		t.allConditions()
		t.allWeights()
	}
	t.facts()
	t.numbers()
}

func (t *text) head(says string) {
	t.gap()
	t.say(says)
}

func (t *text) allSteps() {
	if len(t.d.Next) == 0 {
		return
	}
	t.head(headSteps)
	for i := range t.d.Next {
		p := &t.d.Next[i]
		t.gap()
		t.item(fmt.Sprintf("%d. ", i+1), fmt.Sprintf(sayStepNumbers, p.Step.ID, figure(p.Price), figure(p.GainBits), figure(p.ExpectedMinutes)))
		t.step(p)
	}
}

func (t *text) allCauses() {
	t.head(headCauses)
	for _, c := range t.d.Causes {
		cause := &t.d.Base.Causes[c.Cause]
		remedy := ""
		if c.Remedy >= 0 {
			remedy = fmt.Sprintf(sayItsRemedy, t.d.Base.Remedies[c.Remedy].ID)
		}
		t.item("  ", fmt.Sprintf("%s; %s %s%s", digits(c.Probability), digits(c.Now), cause.ID, remedy))
	}
}

func (t *text) allSets() {
	t.head(headExplanations)
	for _, e := range t.d.Explanations {
		t.item("  ", digits(e.Probability)+" "+strings.Join(t.setNames(e), " and "))
	}
}

func (t *text) setNames(e engine.Explanation) []string {
	if len(e.Causes) == 0 {
		return []string{sayEmptySet}
	}
	return causeIDs(t.d, e)
}

func (t *text) allConditions() {
	if len(t.d.Conditions) == 0 {
		return
	}
	t.head(headConditions)
	for _, c := range t.d.Conditions {
		condition := &t.d.Base.Conditions[c.Condition]
		says := digits(c.Probability) + " " + condition.ID
		if condition.Says != "" {
			says += ": " + condition.Says
		}
		t.item("  ", says)
	}
}

func (t *text) allWeights() {
	if len(t.d.Weights) == 0 {
		return
	}
	t.head(headWeights)
	for _, w := range weights(t.d) {
		t.item("  ", digits(w.Factor)+" "+sayWeight(&w))
	}
}

// Weighed writes what every finding did to one cause against another, the strongest first
// (engine.Options.Weighed).
func Weighed(w io.Writer, width int, d *engine.Diagnosis) error {
	p := newPage(width)
	first, second := causeHere(d.Base, d.Weighed[0]), causeHere(d.Base, d.Weighed[1])
	p.gap()
	p.say(sayWeighed(first, second))
	switch all := weights(d); {
	case d.Weights == nil:
		p.item("  ", sayRuledOutSoNot)
	case len(all) == 0:
		p.item("  ", sayNothingWeighs)
	default:
		for i := range all {
			p.item("  ", digits(all[i].Factor)+" "+sayWeight(&all[i]))
		}
	}
	return p.writeTo(w)
}

func (t *text) facts() {
	if len(t.d.Facts) == 0 {
		return
	}
	t.head(headFacts)
	for _, f := range t.d.Facts {
		t.item("  ", fmt.Sprintf("%s = %s: %s", f.ID, f.Value, sayBecause(f.Because)))
		t.chain(f.Why)
	}
	for _, tell := range t.d.Tells {
		t.item("  ", tell.Says)
		t.chain(tell.Why)
	}
}

// chain writes the reasons of a fact, each level a little further in.
func (t *text) chain(why []string) {
	for _, line := range why {
		text := strings.TrimLeft(line, " ")
		t.item(strings.Repeat(" ", 6+len(line)-len(text)), text)
	}
}

func (t *text) numbers() {
	d := t.d
	t.head(headNumbers)
	for _, n := range []struct {
		name  string
		value float64
	}{
		{numberNone, d.None},
		{numberOutside, d.Outside},
		{numberUnitOut, d.UnitOut},
		{numberEvidence, d.Evidence},
		{numberLeftOut, d.LeftOut},
	} {
		t.item("  ", digits(n.value)+" "+n.name)
	}
	t.item("  ", fmt.Sprintf(sayWorkDone, d.Work.Visits, d.Work.Hypotheses, d.Work.Nodes))
	t.item("  ", fmt.Sprintf(sayOrderedBy, d.Policy, d.Base.Digest))
}
