package engine

import (
	"math"

	"downdrop/rulebase"
)

// QuietByChance is how likely it may still be that a fault which comes and goes is
// merely quiet, for quiet to count as proof: one chance in twenty (a choice of ours).
const QuietByChance = 0.05

// A Proof is how a remedy shows that it held.
type Proof struct {
	Watch   int    // what to watch, place in Base.Symptoms
	Under   string // under what load, ""
	Minutes float64
	// Comes: the fault comes and goes, so that a few quiet minutes mean nothing.
	Comes bool
	// Every is the mean time from one failure to the next in minutes, 0 where nobody
	// said. Quiet is how long quiet has to last then, Times times as long.
	Every, Times, Quiet float64
}

// ProofOf is the proof of a remedy here, nil where it has none.
//
// Failures that come independently of one another at a mean rate follow one another
// after times that are distributed exponentially: the chance of none in t minutes is
// exp(-t/every). It falls to QuietByChance after ln(1/QuietByChance) times the mean
// interval: for one in twenty 3.0 times, the "rule of three" (Hanley and Lippman-Hand,
// JAMA 249, 1983, from memory). A fault that comes with a load, with warmth or with
// motion is no such thing: it has to be watched under just that.
func (d *Diagnosis) ProofOf(step *rulebase.Step) *Proof {
	if step.Proof == nil {
		return nil
	}
	p := &Proof{Watch: step.Proof.Watch, Under: step.Proof.Under, Minutes: step.Proof.Minutes, Times: math.Log(1 / QuietByChance)}
	if d.working != nil {
		p.Every = d.working.known.interval()
	}
	extent, _ := rulebase.Extent(d.Situation.Drop, d.Situation.Drops, d.Situation.Order, d.Situation.Supplies)
	p.Comes = p.Every > 0 || extent == rulebase.ExtentComesAndGoes
	if p.Every > 0 {
		p.Quiet = p.Times * p.Every
		p.Minutes = max(p.Minutes, p.Quiet)
	}
	return p
}

// interval is the mean time between failures that was given, in minutes; 0: none.
func (k *known) interval() float64 {
	for i := range k.base.Givens {
		g := &k.base.Givens[i]
		if slot := k.result.Slots[g.Name]; g.FilledBy == "interval" && g.Type == rulebase.Number && slot.Rank > rulebase.FromDefault && slot.Number > 0 {
			return slot.Number
		}
	}
	return 0
}
